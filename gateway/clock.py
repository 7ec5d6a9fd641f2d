"""Core time: integer ms that never go back, whatever the wall clock does.

Last core time plus what CLOCK_BOOTTIME says has passed; at a start the later of last core time and the wall
clock. UTC = core time + offset, and the offset changes only by an entry. A time-lapse makes the whole program
live faster, for the demonstration and for replaying recorded weather.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime

STEP_MS = 500  # a difference larger than this is a step of the wall clock, not drift


@dataclass(frozen=True, slots=True)
class TimeLapse:
    """UTC = epoch + factor * (wall clock - anchor); the same words are given to the simulators."""

    factor: float
    epoch_ms: int
    anchor_s: float

    @classmethod
    def parse(cls, text: str) -> TimeLapse:
        """Return the time-lapse of `FACTOR,EPOCH,ANCHOR`. Raises ValueError saying what is expected."""
        try:
            factor, epoch, anchor = text.split(",")
            moment = datetime.fromisoformat(epoch)
            return cls(float(factor), round(moment.timestamp() * 1000), float(anchor))
        except ValueError as error:
            raise ValueError(f"time-lapse is FACTOR,ISO time with offset,UNIX seconds; got {text!r}") from error

    def wall_ms(self) -> int:
        """UTC now, in the time-lapse."""
        return self.epoch_ms + round(self.factor * (time.time() - self.anchor_s) * 1000)


class Clock:
    """The one reader of the clocks."""

    def __init__(self, last_core_ms: int, lapse: TimeLapse | None = None) -> None:
        self._lapse = lapse
        self._factor = lapse.factor if lapse else 1.0
        self._boot = time.clock_gettime(time.CLOCK_BOOTTIME)
        self._base = max(last_core_ms, self.wall_ms())
        self.offset_ms = self.wall_ms() - self._base

    def wall_ms(self) -> int:
        """UTC by the wall clock, in ms."""
        return self._lapse.wall_ms() if self._lapse else time.time_ns() // 1_000_000

    def core_ms(self) -> int:
        """Core time now."""
        passed = time.clock_gettime(time.CLOCK_BOOTTIME) - self._boot
        return self._base + round(passed * 1000 * self._factor)

    def step(self) -> int | None:
        """Return the new offset when the wall clock has stepped since it was last asked, else None."""
        offset = self.wall_ms() - self.core_ms()
        if abs(offset - self.offset_ms) < STEP_MS * self._factor:
            return None
        self.offset_ms = offset
        return offset
