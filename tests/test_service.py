"""The writer's own promises that need no broker."""

from __future__ import annotations

import random
import shutil
import sqlite3
import time
from collections import deque
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.limits import Verdict
from alerts.measured import Validity
from gateway import entry, history_command, overview
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Arrival, Kind
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import pack


class Door:
    """A broker's door with messages waiting."""

    def __init__(self, *arrivals: Arrival) -> None:
        self.arrivals, self.told = deque(arrivals), list[Arrival]()
        self.left = False

    def stop(self) -> None:
        self.left = True

    def standing(self) -> tuple[str, str]:
        return "good", ""

    def trouble(self) -> tuple[str, ...]:
        return ()

    def committed(self, arrivals: list[Arrival]) -> None:
        self.told += arrivals


def test_nothing_is_judged_before_the_start_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Killed between a reading and its judging, started a second later: what replay cannot see is not done."""
    prepare(tmp_path)
    killed = Service(tmp_path)
    killed.broker = Door(Arrival("dewgate/test/steel", pack("steel", 20.0, None)))  # type: ignore[assignment]
    killed.turn()
    killed.book.close()
    killed._lock.close()
    time.sleep(1.1)  # the second in which it was to be judged has passed
    Service(tmp_path).close()
    assert history_command.run("rebuild", ["--home", str(tmp_path), "--check"], "") == 0, capsys.readouterr().out
    assert history_command.run("replay", ["--home", str(tmp_path)], "") == 0


class PowerCut(Door):
    """At every acknowledgement the files are copied as a power cut would leave them."""

    def __init__(self, home: Path, images: Path) -> None:
        super().__init__()
        self.home, self.images, self.told_at = home, images, list[int]()

    def committed(self, arrivals: list[Arrival]) -> None:
        super().committed(arrivals)
        image = self.images / str(len(self.told_at))
        image.mkdir(parents=True)
        for name in ("journal.db", "journal.db-wal"):
            shutil.copy(self.home / name, image / name)
        self.told_at.append(len(self.told))


def payloads(home: Path) -> list[bytes]:
    with closing(open_reader(home / "journal.db")) as reader:
        unpacked = [entry.unpack(made) for made in entries_after(reader, 0)]
    return [entry.message_of(body).payload for kind, _, body in unpacked if kind is Kind.MESSAGE]


def test_a_power_cut_at_any_acknowledgement_leaves_what_was_acknowledged(tmp_path: Path) -> None:
    """Forty images, also while blocks are sealed; and each with a torn piece of log behind the last commit."""
    prepare(tmp_path / "home")
    service, chance, began = Service(tmp_path / "home"), random.Random(1), time.time_ns() // 1_000_000
    door = PowerCut(tmp_path / "home", tmp_path / "images")
    service.broker = door  # type: ignore[assignment]
    (level,) = service.book.db.execute("PRAGMA synchronous").fetchone()
    assert level == 2  # FULL: the log is forced to the disk at every commit, which a copy cannot show
    sent = [pack("steel", 20 + n % 7 / 10, began + n) for n in range(12_000)]
    for _ in range(40):
        part = chance.randrange(1, 300)
        at = len(door.told)
        door.arrivals.extend(Arrival("dewgate/test/steel", each) for each in sent[at : at + part])
        service.turn()
    for number, told in enumerate(door.told_at):
        image = tmp_path / "images" / str(number)
        with (image / "journal.db-wal").open("ab") as log:
            log.write(chance.randbytes(chance.randrange(10_000)))  # written by the disk, never committed
        assert payloads(image) == sent[:told]
    service.broker = None
    service.close()


@pytest.mark.parametrize("code", [sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE], ids=["full", "failing"])
def test_a_commit_that_fails_never_acknowledges(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """A full disk is waited for with everything unknown; anything else ends the writer."""
    prepare(tmp_path)
    service = Service(tmp_path)
    door = Door(Arrival("dewgate/test/steel", pack("steel", 20.0, time.time_ns() // 1_000_000)))
    service.broker = door  # type: ignore[assignment]
    real = service.book.commit

    def refuse(*_: object) -> None:
        error = sqlite3.OperationalError("refused")
        error.sqlite_errorcode = code
        raise error

    monkeypatch.setattr(service.book, "commit", refuse)
    if code != sqlite3.SQLITE_FULL:
        with pytest.raises(sqlite3.OperationalError, match="refused"):
            service.turn()
        assert not door.told
        service.broker = None
        service.close()
        return
    service._shown = -1.0
    service.turn()
    assert door.left and not door.told and service.broker is None
    board = service.board
    assert board is not None and "the disk is full" in board.trouble[0]
    assert {limit.verdict for area in board.verdicts for limit in area.limits} == {Verdict.UNKNOWN}
    assert {each.value for each in board.sensors} == {"not known"}
    monkeypatch.setattr(service.book, "commit", real)
    service.turn()
    assert len(payloads(tmp_path)) == 1 and not door.told  # it comes again as a repeat, and is acknowledged then
    service.close()


def test_what_stands_still_shows_no_good_verdict(tmp_path: Path) -> None:
    """A board that was inside limits a second ago: every verdict, bar and sensor is unknown, with the reason."""
    prepare(tmp_path)
    service = Service(tmp_path)
    board = service.board or overview.board(service.flow, service.clock.core_ms())
    service.close()
    assert board is not None
    areas = [
        replace(
            each, verdict=Verdict.INSIDE, limits=tuple(replace(one, verdict=Verdict.INSIDE) for one in each.limits)
        )
        for each in board.verdicts
    ]
    sensors = tuple(replace(each, value="20.0 °C", validity=Validity.GOOD) for each in board.sensors)
    still = overview.standing_still(replace(board, verdicts=tuple(areas), sensors=sensors), "no room", 7)
    said = [one for area in still.verdicts for one in (area, *area.limits)]
    assert said and {each.verdict for each in said} == {Verdict.UNKNOWN}
    assert {(each.value, each.reason, each.validity) for each in still.sensors} == {
        ("not known", "no room", Validity.UNKNOWN)
    }
    assert {(each.margin_k, each.condensation_point_c, each.reason) for each in still.gaps} <= {
        (None, None, "no room")
    }
    assert (still.utc_ms, still.trouble) == (7, ("no room",))
