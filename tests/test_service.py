"""The writer's own promises that need no broker."""

from __future__ import annotations

import time
from collections import deque
from pathlib import Path

import pytest

from gateway import history_command
from gateway.entry import Arrival
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import pack


class Door:
    """A broker's door with messages waiting."""

    def __init__(self, *arrivals: Arrival) -> None:
        self.arrivals, self.told = deque(arrivals), list[Arrival]()

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
