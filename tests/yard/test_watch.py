"""The yard's alarms: a site that falls silent, a record that is refused; told once, ended once, sent for real."""

from __future__ import annotations

import sqlite3
import threading
import time
from pathlib import Path
from unittest.mock import Mock

import pytest

from alerts.contacts import read_contacts
from gateway import entry
from gateway.entry import Kind
from gateway.vouching import Refused
from gateway.yard import watch as watching
from gateway.yard.watch import YardWatch, work
from gateway.yard_batch import Stretch
from tests.faults.deliver_kill import Phone
from tests.yard.conftest import Stage, part
from tests.yard_site import Site


def outbox(stage: Stage) -> list[tuple[str, str, str]]:
    rows = stage.db._all("SELECT event_number, channel, title FROM outbox ORDER BY id")
    return [(str(a), str(b), str(c)) for a, b, c in rows]


@pytest.fixture
def watch(stage: Stage) -> YardWatch:
    return YardWatch(stage.db, stage.intake, ["clerk", "boss"], stage.now_ms)


def test_silence_is_told_once_and_ends_once(stage: Stage, site: Site, watch: YardWatch) -> None:
    """Each channel gets a row; a second look adds none; new entries end it."""
    stage.take(1, part(site, 1, 50))
    stage.now_ms += 300_000
    watch.turn(stage.now_ms)
    assert outbox(stage) == []
    stage.now_ms += 1
    watch.turn(stage.now_ms)
    watch.turn(stage.now_ms + 5000)
    told = "Y-1 Site north is silent. Treat its verdict as unknown."
    assert outbox(stage) == [("Y-1", "clerk", told), ("Y-1", "boss", told)]
    assert [(each.kind, each.ended_ms) for each in stage.db.alarms(standing=True)] == [("silent", None)]
    stage.now_ms += 60_000
    stage.take(50, part(site, 50, 50))
    watch.turn(stage.now_ms)
    assert len(stage.db.alarms(standing=True)) == 1, "the same entries again are no sign of life"
    stage.take(51, part(site, 51, 60))
    watch.turn(stage.now_ms)
    assert stage.db.alarms(standing=True) == [] and outbox(stage)[2:] == [
        ("Y-1", "clerk", "Y-1 Site north sends again"), ("Y-1", "boss", "Y-1 Site north sends again"),
    ]  # fmt: skip


def test_nobody_is_silent_while_the_yard_itself_was_away(stage: Stage, site: Site) -> None:
    """A yard that starts after a night gives each site its time; the page says unknown all the while."""
    stage.take(1, part(site, 1, 50))
    stage.now_ms += 36_000_000
    watch = YardWatch(stage.db, stage.intake, [], stage.now_ms)
    watch.turn(stage.now_ms + 300_000)
    assert stage.db.alarms() == []
    watch.turn(stage.now_ms + 300_001)
    assert len(stage.db.alarms()) == 1


def test_only_entries_end_a_silence(stage: Stage, site: Site, watch: YardWatch) -> None:
    """Not the yard's own restart, not its full disk, not a record begun again: it would say "sends again"."""
    stage.take(1, part(site, 1, 50))
    watch.turn(stage.now_ms + 300_001)
    assert len(stage.db.alarms(standing=True)) == 1
    stage.now_ms += 400_000
    YardWatch(stage.db, stage.intake, [], stage.now_ms).turn(stage.now_ms)
    stage.intake.full_ms = stage.now_ms
    watch.turn(stage.now_ms)
    stage.intake.begin_again("north")
    watch.turn(stage.now_ms)
    assert len(stage.db.alarms(standing=True)) == 1 and len(outbox(stage)) == 2
    stage.take(1, part(site, 1, 50))
    watch.turn(stage.now_ms)
    assert stage.db.alarms(standing=True) == []


def test_a_site_that_never_sent_or_was_dropped_is_not_silent(stage: Stage, site: Site, watch: YardWatch) -> None:
    """Nothing was promised; and what was dropped is over."""
    watch.turn(stage.now_ms + 10_000_000)
    assert stage.db.alarms() == []
    stage.take(1, part(site, 1, 50))
    watch.turn(stage.now_ms + 10_000_000)
    stage.db.drop("north")
    watch.turn(stage.now_ms + 10_000_001)
    assert [each.ended_ms is None for each in stage.db.alarms()] == [False]


def test_a_refusal_is_an_alarm_until_somebody_looked(stage: Stage, site: Site, watch: YardWatch) -> None:
    """It does not end because the site goes on."""
    stage.take(1, part(site, 1, 50))
    with pytest.raises(Refused):
        stage.take(50, Stretch([entry.plain(Kind.HEARTBEAT, 1)], []))
    watch.turn(stage.now_ms)
    stage.take(51, part(site, 51, 60))
    watch.turn(stage.now_ms)
    (alarm,) = stage.db.alarms(standing=True)
    assert alarm.kind == "refused" and "entry 50 is held with other content" in alarm.why
    stage.db.looked_at("north", "ann")
    watch.turn(stage.now_ms)
    assert stage.db.alarms(standing=True) == []
    assert [each[2] for each in outbox(stage)][::2] == [
        "Y-1 Site north: its record was refused", "Y-1 Site north was looked at",
    ]  # fmt: skip


def test_a_look_that_fails_is_said_once(
    stage: Stage, watch: YardWatch, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk for an hour is one line, not a line each two seconds; another reason is another line."""
    said = ""
    for why in ("database or disk is full", "database or disk is full", "disk I/O error"):
        monkeypatch.setattr(stage.db, "sites", Mock(side_effect=sqlite3.OperationalError(why)))
        said = watching._look(watch, stage.now_ms, said)
    assert capsys.readouterr().err.count("event=site") == 2
    monkeypatch.undo()
    assert watching._look(watch, stage.now_ms, said) == ""


def test_the_messenger_sends_it(stage: Stage, site: Site, tmp_path: Path) -> None:
    """To a real server over HTTP, with the number of the event."""
    import random

    phone, contacts, stop = Phone(random.Random(1)), tmp_path / "contacts.toml", threading.Event()
    contacts.touch(mode=0o600)
    contacts.write_text(f'[channels]\nclerk = "json://127.0.0.1:{phone.port}/"\n')
    stage.take(1, part(site, 1, 50))
    watch = YardWatch(stage.db, stage.intake, ["clerk"], stage.now_ms)
    later = stage.now_ms + 400_000
    args = (stage.folder, watch, read_contacts(contacts), lambda: later, stop)
    thread = threading.Thread(target=work, args=args)
    thread.start()
    end = time.monotonic() + 30
    while not phone.taken and time.monotonic() < end:
        time.sleep(0.05)
    stop.set()
    thread.join()
    phone.stop()
    assert phone.taken == [("Y-1", "#1")]
