"""How the soak counts: what grew between two stretches, which alarms came, how much of a wait was a fault."""

from __future__ import annotations

import struct
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from gateway import entry
from gateway.adapters.journal import Journal
from gateway.entry import Arrival, Kind
from gateway.flow_state import Outcomes
from gateway.payload.canonical import to_bytes
from tests.faults import stepped
from tests.faults.soak_box import TITLE, UNKNOWN
from tests.faults.soak_counts import could_know, delays_s, fault_s, growth
from tests.sites import T0, pack


def test_growth_is_between_the_warm_and_the_last_stretch() -> None:
    """Before and after kills nothing counts: 100 MB and 50 MB become 103 and 49, 12 files become 14."""
    samples = [(0.1, 300.0, 300.0, 90), (0.74, 99.0, 50.0, 12), (0.79, 101.0, 50.0, 11), (0.85, 200.0, 9.0, 50),
               (0.89, 103.0, 49.0, 14), (0.97, 20.0, 20.0, 5)]  # fmt: skip
    run, deliver, files = growth(samples)
    assert (run, deliver, files) == (pytest.approx(3.0), pytest.approx(-2.0), 2)


def test_an_alarm_belongs_to_the_last_time_it_got_wet() -> None:
    """Told after 5 s, never, and after 7 s; another title is none; one that still stands is not told twice."""
    told = [
        (105.0, f"A-1 #1 {TITLE}"),
        (150.0, f"A-1 #2 {TITLE}"),
        (210.0, "A-2 #1 Close to limit: area A"),
        (307.0, f"A-3 {TITLE}"),
    ]
    assert delays_s([100.0, 200.0, 300.0], told, 400.0) == [5.0, 0.0, 7.0]
    told.insert(2, (190.0, "A-1 #1 Limits back: area A shell"))
    assert delays_s([100.0, 200.0, 300.0], told, 400.0) == [5.0, None, 7.0]


def test_where_nothing_could_be_known_the_crew_hears_that_it_is_unknown() -> None:
    """Told 4 s after, or before it got wet; where readings came in time only the alarm itself will do."""
    told = [(104.0, f"A-1 {UNKNOWN} shell. Treat as outside limits."), (195.0, "A-1 #1 Limits back: area A shell")]
    assert delays_s([100.0], told[:1], 190.0, [False]) == [4.0]
    assert delays_s([100.0, 110.0], told, 190.0, [False, False]) == [4.0, 0.0]
    assert delays_s([100.0, 110.0], told, 190.0, [True, True]) == [None, None]
    assert delays_s([200.0], told, 290.0, [False]) == [None]


def test_whether_the_gateway_could_know(tmp_path: Path) -> None:
    """Thirteen wet readings ten seconds apart are enough; twelve, late ones, or a start between are not."""
    for number, (count, lag_ms, restart_at) in enumerate(((14, 0, 99), (13, 0, 99), (14, 61_000, 99), (14, 0, 7))):
        home = tmp_path / str(number)
        home.mkdir()
        _write_wet(home, count, lag_ms, restart_at)
        assert could_know(home, [T0]) == [number == 0], number


def _write_wet(home: Path, count: int, lag_ms: int, restart_at: int) -> None:
    """A journal of wet readings of the steel; a dry one, one of another sensor, and an older one do not count."""
    made = [entry.plain(Kind.STARTED, T0, to_bytes({"offset_ms": 0}))]
    said = [(T0 + 10_000 * n, "steel", 9.0) for n in range(count)]
    for n, (at, name, value) in enumerate([*said, (T0 + 300_000, "steel", 12.0), (T0 + 300_000, "baro", 9.0)]):
        if n == restart_at:
            made.append(entry.plain(Kind.STARTED, at, to_bytes({"offset_ms": 0})))
        made.append(entry.message(Arrival(f"dewgate/test/{name}", pack(name, value, at), n + 1), at + lag_ms))
    with closing(Journal(home / "journal.db")) as book:
        book.commit(1, made, 1, Outcomes(), 0)


def test_what_of_a_wait_was_a_fault() -> None:
    """Overlaps count, what lies outside does not."""
    assert fault_s([(0.0, 4.0), (6.0, 9.0), (20.0, 30.0)], 2.0, 8.0) == 4.0


def test_the_program_under_test_lives_by_the_stepped_clock(tmp_path: Path) -> None:
    """Its own time is off by what the file says, also while it runs; this process keeps its clock."""
    clock = tmp_path / "clock"
    stepped.step(clock, 3600.0)
    assert struct.unpack("d", clock.read_bytes()) == (3600.0,)
    look = """
import sys, time
import gateway.__main__
from tests.faults import stepped
gateway.__main__.main = lambda _: print(time.time(), time.time_ns() / 1e9)
stepped.main()
"""
    began = time.time()
    said = subprocess.run(
        [sys.executable, "-c", look, str(clock)], capture_output=True, text=True, check=True
    ).stdout
    assert all(3600 <= float(each) - began < 3630 for each in said.split())
