"""The messenger as a watchman: silence and its end are said once; the sign of life goes only while all is well."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.channels import Sent
from alerts.contacts import Contacts
from alerts.delivery_book import Book
from alerts.delivery_watch import Newest, Pulse, Watchman, journal_reader, newest_entry
from gateway.adapters.home import outcomes_after, people_told
from gateway.entry import Kind
from gateway.jobsite import Person
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.faults.real import fill, small_disk, until
from tests.sites import margin_limit, site
from tests.test_delivery import Target, a_row, outcomes, target, write_contacts

__all__ = ["target"]
NOW = 1_783_944_000_000
LEAD = [("lead", "phone"), ("boss", "mail")]


# -- the pulse -------------------------------------------------------------------------------------------


def at(seq: int, stopping: bool = False) -> Newest:
    return Newest(seq, stopping)


def test_a_growing_journal_is_no_news() -> None:
    pulse = Pulse(150)
    assert [pulse.look(at(n), 60.0 * n) for n in range(10)] == [""] * 10
    assert pulse.grows(60 * 9 + 149)
    assert not pulse.grows(60 * 9 + 150)


def test_silence_and_its_end_are_said_once() -> None:
    pulse = Pulse(150)
    looks = [(at(1), 0), (at(2), 10), (at(2), 159), (at(2), 160), (None, 400), (at(3), 500), (at(3), 501)]
    assert [pulse.look(newest, s) for newest, s in looks] == ["", "", "", "silent", "", "back", ""]


def test_a_journal_that_stands_still_from_the_start_is_silent_but_no_proof_of_life() -> None:
    pulse = Pulse(150)
    assert pulse.look(at(9), 1000) == ""
    assert not pulse.grows(1000)
    assert pulse.look(at(9), 1150) == "silent"


def test_without_a_journal_there_is_nothing_to_watch() -> None:
    pulse = Pulse(150)
    assert [pulse.look(None, s) for s in (0, 1000)] == ["", ""]
    assert [pulse.look(at(1), 1001), pulse.look(None, 1151)] == ["", "silent"]


def test_silence_told_before_a_restart_is_not_told_again() -> None:
    pulse = Pulse(150, told=True)
    assert [pulse.look(at(9), s) for s in (0, 500)] == ["", ""]
    assert pulse.look(at(10), 501) == "back"


# -- what is said ----------------------------------------------------------------------------------------


@pytest.fixture
def home(tmp_path: Path) -> Path:
    prepare(tmp_path / "home")
    return tmp_path / "home"


def watchman(home: Path, book: Book, people: Callable[[], list[tuple[str, str]]] = lambda: LEAD) -> Watchman:
    return Watchman(home, book, Contacts({"phone": "json://h", "mail": "json://h"}, "json://h"), people)


def test_people_hear_that_nothing_is_judged_and_when_it_is_again(home: Path) -> None:
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book)
        for second in (0, 150):
            man.turn(NOW + 1000 * second, second)
        again = watchman(home, book)  # the messenger is started again meanwhile
        again.turn(NOW + 300_000, 300)
        again.turn(NOW + 600_000, 600)
        with closing(sqlite3.connect(home / "journal.db")) as db, db:
            db.execute("INSERT INTO entries VALUES (10000, ?)", (bytes([Kind.HEARTBEAT, 1]) + bytes(8),))
        again.turn(NOW + 601_000, 601)
        rows = book.own_after(0)
    assert [(row.event_number, row.person, row.channel, row.priority) for row in rows] == [
        ("D-1", "lead", "phone", "high"), ("D-1", "boss", "mail", "high"),
        ("D-1", "lead", "phone", "high"), ("D-1", "boss", "mail", "high"),
    ]  # fmt: skip
    assert rows[0].headline == "D-1 #0 Nothing is judged. Treat every limit as unknown."
    assert "has fallen silent; its record has not grown since about 13 Jul 12:00 UTC" in rows[0].body
    assert rows[2].title == "D-1 The gateway judges again"
    assert "Between about 13 Jul 12:00 UTC and 13 Jul 12:10 UTC nothing was judged" in rows[2].body


def test_a_stop_that_was_asked_for_is_called_one(home: Path) -> None:
    service = Service(home)
    service.stopping.set()
    service.loop()
    service.close()
    newest = newest_entry(home / "journal.db")
    assert newest is not None and newest.stopping
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book)
        for second in (0, 150):
            man.turn(NOW, second)
        assert "The gateway was asked to stop" in book.own_after(0)[0].body


def test_where_nobody_is_named_every_channel_hears_it(home: Path) -> None:
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book, list)
        for second in (0, 150):
            man.turn(NOW, second)
        assert [row.channel for row in book.own_after(0)] == ["phone", "mail"]


def test_it_looks_once_a_second(home: Path) -> None:
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book)
        man.turn(NOW, 0)
        man.pulse.seq = -1
        man.turn(NOW, 0.9)
        assert man.pulse.seq == -1
        man.turn(NOW, 1.0)
        assert man.pulse.seq != -1


def test_the_sign_of_life_goes_at_its_interval_while_the_journal_grows(home: Path) -> None:
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book)
        man.pulse.look(at(1), 0)
        assert not man.beat_is_due(0), "a journal that was only found proves nothing"
        man.pulse.look(at(2), 10)
        assert [man.beat_is_due(s) for s in (10, 100)] == [True, False]
        man.pulse.look(at(3), 300)
        assert [man.beat_is_due(s) for s in (309, 310, 311, 700)] == [False, True, False, False]
        man.contacts = Contacts({})
        man.pulse.look(at(4), 900)
        assert not man.beat_is_due(900)


def test_people_come_from_the_jobsite_in_force(home: Path) -> None:
    expected = [(each.id, channel) for each in site(margin_limit()).people for channel in each.channels]
    assert people_told(home / "journal.db") == expected != []
    assert people_told(home / "journal.db", person=expected[0][0]) == expected[:1]
    assert people_told(home / "journal.db", person="stranger") == []
    calm = replace(site(margin_limit()), people=(Person("boss", "owner", ("mail",), ("low",)),))
    prepare(home, calm)
    assert people_told(home / "journal.db") == []
    assert people_told(home / "journal.db", "low") == [("boss", "mail")]
    assert people_told(home / "nothing" / "journal.db") == []


def test_the_journal_takes_note_of_what_the_messenger_says(home: Path) -> None:
    """Number, person, channel, reason and how long it waited, but neither address nor words."""
    with closing(Book(home / "delivery.db")) as book:
        man = watchman(home, book)
        for second in (0, 150):
            man.turn(NOW, second)
        row = book.lease(book.own_after(0)[0], NOW + 1)
        row = book.lease(row, NOW + 1_000)
        book.settle(row, Sent.NOT_ACCEPTED, NOW + 4_000)
    ((_, said),) = outcomes_after(home / "delivery.db", 0)
    assert said == {
        "outbox": -1, "attempt": 2, "outcome": "try again", "reason": "the server did not take it",
        "number": "D-1", "person": "lead", "channel": "phone", "waited_ms": 3_999,
    }  # fmt: skip


# -- the disk --------------------------------------------------------------------------------------------


def test_a_lone_journal_is_read_as_it_is(home: Path) -> None:
    """On a full disk the files beside it cannot be made."""
    (home / "journal.db").chmod(0o444)
    with journal_reader(home / "journal.db") as db:
        assert db.execute("SELECT count(*) FROM entries").fetchone()[0] > 0
    with pytest.raises(sqlite3.OperationalError), journal_reader(home / "none.db"):
        pass


def deliverer(home: Path, contacts: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "gateway", "deliver", "--home", str(home), "--contacts", str(contacts)]
    return subprocess.Popen(command, stderr=subprocess.PIPE, text=True)


def test_with_a_full_disk_messages_go_out_and_are_settled(tmp_path: Path, target: Target) -> None:
    """Also by a messenger that starts when it is full, and one that is killed then: from its reserve."""
    contacts = write_contacts(tmp_path, phone=target.url("ok"))
    contacts.write_text(contacts.read_text() + '[watch]\nsilent = "3 s"\n')
    with small_disk(tmp_path / "disk", "8m") as home:
        prepare(home)
        service = Service(home)  # so that the journal is as a running gateway leaves it
        service.close()
        Book(home / "delivery.db").close()
        with closing(sqlite3.connect(home / "journal.db")) as db, db:
            told = [(f"A-{n}", "lead", "phone", "high", f"A-{n} Stop.", "Body.", NOW) for n in range(1, 41)]
            db.executemany("INSERT INTO outbox VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", told)
        fill(home)
        target.pause_s = 0.02
        first = deliverer(home, contacts)
        until(lambda: len(target.taken) >= 10, "ten messages")
        first.kill()
        first.communicate()
        second = deliverer(home, contacts)
        until(lambda: any(title.startswith("D-1 #1 Nothing is judged") for title in target.taken), "the silence")
        until(lambda: sum(row[2] == "delivered" for row in outcomes(home)) == 41, "all is settled")
        second.send_signal(signal.SIGTERM)
        _, said = second.communicate(timeout=20)
    assert [line.rpartition("event=")[2] for line in said.splitlines()] == ["started", "stopped"]
    assert any("The disk is full: make room." in text for text in target.texts)
    assert target.numbers() == {"D-1"} | {f"A-{n}" for n in range(1, 41)}
    numbers = [" ".join(title.split()[:2]) for title in target.taken]
    assert len(set(numbers)) == len(numbers) <= 42


def test_when_even_the_reserve_is_used_up_messages_still_go_and_are_written_later(tmp_path: Path) -> None:
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.db.execute("PRAGMA query_only = 1")
        leased = book.lease(a_row(1), NOW)
        assert (leased.attempt, book.refused) == (1, "attempt to write a readonly database")
        assert book.settle(leased, Sent.ACCEPTED, NOW) is None
        book.db.execute("PRAGMA query_only = 0")
        book.remember("anything", 1)
        assert book.refused == ""
    assert outcomes(tmp_path) == [(1, 1, "delivered", "the server took it")]


def test_the_whole_way(tmp_path: Path, target: Target) -> None:
    """The real gateway and messenger: a sign of life while it runs, an alarm when it is killed, an end of it."""
    home = tmp_path / "home"
    prepare(home)
    contacts = write_contacts(tmp_path, **{each: target.url("ok") for _, each in people_told(home / "journal.db")})
    more = f'[heartbeat]\naddress = "{target.url("beat")}"\nevery = "1 s"\n[watch]\nsilent = "3 s"\n'
    contacts.write_text(contacts.read_text() + more)
    stop = threading.Event()
    process = deliverer(home, contacts)
    try:
        service = Service(home)
        thread = threading.Thread(target=_beats, args=(service, stop))
        thread.start()
        until(lambda: any("sign of life" in each for each in target.taken), "a sign of life")
        stop.set()
        thread.join()
        service.close()
        until(lambda: any("D-1 #1 Nothing is judged" in each for each in target.taken), "the alarm")
        beats = sum("sign of life" in each for each in target.taken)
        Service(home).close()
        until(lambda: any("D-1 #1 The gateway judges again" in each for each in target.taken), "its end")
        assert sum("sign of life" in each for each in target.taken) <= beats + 1
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=20)


def _beats(service: Service, stop: threading.Event) -> None:
    """An entry a second, where a real gateway writes one each minute."""
    while not stop.wait(0.5):
        service.actions.append((Kind.HEARTBEAT, b""))
        service.turn()
