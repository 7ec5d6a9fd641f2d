"""Simulated time: the wall clock, or a faster one that every simulator and the gateway share.

A time-lapse is written FACTOR,EPOCH,ANCHOR: at the wall-clock time ANCHOR [s since 1970] the simulated UTC is
EPOCH, and from there it runs FACTOR times as fast. Example: 60,2026-06-10T16:30:00Z,1764080000.0
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, slots=True)
class TimeLapse:
    """factor (above 0), and the same instant on both clocks [s since 1970]."""

    factor: float
    epoch_s: float
    anchor_s: float

    def simulated_s(self, wall_s: float) -> float:
        """Simulated UTC [s since 1970] at this wall-clock time [s since 1970]."""
        return self.epoch_s + self.factor * (wall_s - self.anchor_s)

    def late_s(self, elapsed_s: float) -> float:
        """By how many real seconds the moment elapsed_s [simulated s after the epoch] has passed."""
        return time.time() - (self.anchor_s + elapsed_s / self.factor)

    async def reach(self, elapsed_s: float) -> None:
        """Sleep until that moment. Each is reckoned from the anchor, so delays do not add up."""
        await asyncio.sleep(max(-self.late_s(elapsed_s), 0.0))


def from_now() -> TimeLapse:
    """The plain clock: factor 1, starting now."""
    now = time.time()
    return TimeLapse(1.0, now, now)


def parse(text: str) -> TimeLapse:
    """Read FACTOR,EPOCH,ANCHOR; an empty text means the plain clock.

    Raises: ValueError: not three parts, a factor not above 0, or a date without a time zone.
    """
    if not text:
        return from_now()
    factor, epoch, anchor = text.split(",")
    start = datetime.fromisoformat(epoch)
    if start.tzinfo is None or not float(factor) > 0.0:
        message = f"time-lapse {text!r}: the factor must be above 0 and the date must end in Z or an offset"
        raise ValueError(message)
    return TimeLapse(float(factor), start.astimezone(UTC).timestamp(), float(anchor))
