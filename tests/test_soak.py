"""How the soak counts: what grew between two stretches, which alarms came, how much of a wait was a fault."""

from __future__ import annotations

import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.faults import stepped
from tests.faults.soak import delays_s, fault_s, growth
from tests.faults.soak_box import TITLE


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
