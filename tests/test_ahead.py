"""A box whose clock starts in the past: what it refused as ahead is read once the clock is set, and once only."""

from __future__ import annotations

import time
from collections import Counter
from contextlib import closing
from pathlib import Path
from sqlite3 import Connection

import pytest

from gateway import entry, history_command
from gateway.adapters import ahead
from gateway.adapters.journal import entries_after, open_reader
from gateway.clock import Clock
from gateway.entry import Arrival, Kind
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import pack
from tests.test_service import Door

BEHIND_MS = 3_600_000
BEGAN = time.time_ns() // 1_000_000


@pytest.fixture
def off(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How far the wall clock is off, as the program reads it [ms]."""
    off, real = [0], Clock.wall_ms
    monkeypatch.setattr(Clock, "wall_ms", lambda clock: real(clock) + off[0])
    return off


def waited(count: int, beside: bytes = b"") -> list[Arrival]:
    """What sensors kept for an hour: more than ten of one topic in a minute, all of them with their time."""
    packs = [pack("steel", 20 + n / 1000, BEGAN - n * 1000)[:-1] + beside + b"]" for n in range(count)]
    return [Arrival("dewgate/test/steel", each, packet_id=n + 1) for n, each in enumerate(packs)]


def begun(home: Path, *arrivals: Arrival) -> Service:
    service = Service(home)
    service.broker = Door(*arrivals)  # type: ignore[assignment]
    service.turn()
    return service


def turn_until_quiet(service: Service) -> None:
    for _ in range(200):
        service.turn()
        if service._ahead._looking:
            service._ahead._looking.result(20)
        elif not service._ahead._waiting and not service._ahead._wanted:
            return
    raise AssertionError("still not done")


def ended(service: Service) -> Counter[Kind]:
    """Close it and count the entries by kind."""
    service.broker = None
    service.close()
    with closing(open_reader(service.home / "journal.db")) as db:
        return Counter(entry.kind_and_time(each)[0] for each in entries_after(db, 0))


def test_what_a_clock_that_was_behind_refused_is_read_once_it_is_set(
    tmp_path: Path, off: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    """Forty of one topic are acknowledged while refused; set right, all are read, none is judged as current."""
    prepare(tmp_path)
    off[0] = -BEHIND_MS
    service = begun(tmp_path, *waited(40))
    assert service.flow.state.counts == {"rejected": 40} and len(service.broker.told) == 40  # type: ignore[union-attr]
    off[0] = 0
    turn_until_quiet(service)
    assert service.flow.state.counts["message"] == 40
    assert service.flow.state.tracks["steel"].values[-1] == 20.0  # the newest of them is the last in time
    for offset_ms in (-BEHIND_MS, 0):  # set back and forward once more: all of it is known
        off[0] = offset_ms
        turn_until_quiet(service)
    kinds = ended(service)
    assert (kinds[Kind.MESSAGE], kinds[Kind.REJECTION], kinds[Kind.DUPLICATE]) == (40, 40, 0)
    assert history_command.run("rebuild", ["--home", str(tmp_path), "--check"], "") == 0, capsys.readouterr().out
    assert history_command.run("replay", ["--home", str(tmp_path)], "") == 0


@pytest.mark.parametrize("beside", [b"", b',{"n":"steel","v":19}'], ids=["timed", "beside an untimed one"])
def test_a_start_with_a_right_clock_reads_it_too_and_the_next_start_does_not(
    tmp_path: Path, off: list[int], beside: bytes
) -> None:
    """Killed before the clock was set. All else that was remembered of the readings is forgotten by then."""
    prepare(tmp_path)
    off[0] = -BEHIND_MS
    assert ended(begun(tmp_path, *waited(12, beside)))[Kind.MESSAGE] == 0
    off[0] = 0
    for _ in range(2):
        service = begun(tmp_path)
        service.flow.state.tracks.clear()
        turn_until_quiet(service)
        newest = service.flow.state.newest.get("steel")
        assert newest is None or newest.value != 19  # what has no time is as old as the rest
        service._checkpoint()
        assert ended(service)[Kind.MESSAGE] == 12


def test_what_the_sensor_has_sent_again_in_other_words_is_not_read_twice(tmp_path: Path, off: list[int]) -> None:
    prepare(tmp_path)
    off[0] = -BEHIND_MS
    service = begun(tmp_path, *waited(3))
    off[0] = 0
    service.turn()
    service.broker = Door(Arrival("dewgate/test/steel", b" " + waited(1)[0].payload))  # type: ignore[assignment]
    service.turn()
    turn_until_quiet(service)
    kinds = ended(service)
    assert (kinds[Kind.MESSAGE], kinds[Kind.DUPLICATE]) == (3, 0)


def test_a_sensor_that_is_ahead_itself_stays_refused(tmp_path: Path, off: list[int]) -> None:
    """Set forward by a minute, the box still knows no year 2090; nor is anything refused a second time."""
    prepare(tmp_path)
    service = begun(tmp_path, Arrival("dewgate/test/steel", pack("steel", 20.0, 3_786_912_000_000), 1))
    off[0] = 60_000
    turn_until_quiet(service)
    kinds = ended(service)
    assert (kinds[Kind.MESSAGE], kinds[Kind.REJECTION], kinds[Kind.CLOCK_STEP]) == (0, 1, 1)


def test_where_nothing_was_refused_as_ahead_nobody_looks(
    tmp_path: Path, off: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither at a start nor at a step of the clock."""
    monkeypatch.setattr(ahead, "refused_ahead", lambda *_: pytest.fail("looked"))
    prepare(tmp_path)
    service = begun(tmp_path, Arrival("dewgate/test/steel", pack("steel", 400.0, BEGAN), 1))
    for off[0] in (1000, 2000):
        turn_until_quiet(service)
    kinds = ended(service)
    assert (kinds[Kind.REJECTION], kinds[Kind.CLOCK_STEP]) == (1, 2)


def test_more_than_fits_into_memory_is_read_in_rounds(
    tmp_path: Path, off: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And a message of which only a part was kept is left alone."""
    monkeypatch.setattr(ahead, "AT_ONCE", 7)
    monkeypatch.setattr(ahead, "A_TURN", 2)
    prepare(tmp_path)
    off[0] = -BEHIND_MS
    long = Arrival("dewgate/test/steel", pack("steel", 25.0, BEGAN) + b" " * entry.KEPT_OF_REJECTED, 99)
    service = begun(tmp_path, *waited(20), long)
    off[0] = 0
    turn_until_quiet(service)
    assert ended(service)[Kind.MESSAGE] == 20


def test_a_stop_does_not_wait_for_the_whole_journal(
    tmp_path: Path, off: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is looked through a block at a time, and what is left is looked at after the next start."""
    prepare(tmp_path)
    off[0] = -BEHIND_MS
    assert ended(begun(tmp_path, *waited(3)))[Kind.MESSAGE] == 0
    off[0] = 0
    looked, real = [], ahead.open_reader

    def slow(path: Path) -> Connection:
        looked.append(1)
        time.sleep(0.5)
        return real(path)

    with monkeypatch.context() as patch:
        patch.setattr(ahead, "open_reader", slow)
        patch.setattr(ahead, "SEAL", 1)
        service = begun(tmp_path)
        service.turn()
        ended(service)
    assert 1 <= len(looked) <= 2, "of more than three blocks"
    service = begun(tmp_path)
    turn_until_quiet(service)
    assert ended(service)[Kind.MESSAGE] == 3
