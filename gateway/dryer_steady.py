"""Where a test stood still: the stretch whose means are judged, found by the program and not by an eye.

A stretch is steady when none of its channels, over any quarter of an hour of it, drifts by more than MAY_DRIFT
(ours, no source: an absorption dryer has no standard test), and no minute is missing for longer than three.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from gateway.dryer_unit import Row

WINDOW_MIN, GAP_MIN = 15.0, 3.0
# Per WINDOW_MIN: an absolute drift in the unit used inside, or a share of the mean.
MAY_DRIFT = {
    "inlet_temperature": (0.7, 0.0), "outlet_temperature": (0.7, 0.0), "inlet_humidity": (0.03, 0.0),
    "outlet_humidity": (0.02, 0.0), "inlet_dew_point": (0.7, 0.0), "outlet_dew_point": (0.7, 0.0),
    "inlet_pressure": (0.0, 0.02), "outlet_pressure": (0.0, 0.02), "flow": (0.0, 0.05),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mean:
    """One channel over a stretch: its mean, the scatter of one reading, and how many there are."""

    value: float
    scatter: float
    count: int


@dataclass(frozen=True, slots=True)
class Steady:
    """A steady stretch: from and to [min of the test], and the mean of every channel."""

    start_min: float
    end_min: float
    means: dict[str, Mean]

    @property
    def minutes(self) -> float:
        """How long it lasts."""
        return self.end_min - self.start_min


def steady(rows: Sequence[Row]) -> Steady | None:
    """Return the longest steady stretch, the later of two as long; None where there is none."""
    windows = [window for end in range(len(rows)) if (window := _window(rows, end)) and not _drifts(window)]
    best: tuple[float, float] | None = None
    start = end = 0.0
    for window in windows:
        if not best or window[0].minute > end:
            start = window[0].minute
        end = window[-1].minute
        if best is None or end - start >= best[1] - best[0]:
            best = (start, end)
    if best is None:
        return None
    inside = [row for row in rows if best[0] <= row.minute <= best[1]]
    return Steady(best[0], best[1], {name: _mean(inside, name) for name in inside[0].values})


def still_moves(rows: Sequence[Row]) -> list[str]:
    """Return which channels still drift in the newest window, in words; empty when steady or too short to say."""
    window = _window(rows, len(rows) - 1) if rows else None
    return [] if window is None else _drifts(window)


def _window(rows: Sequence[Row], end: int) -> list[Row] | None:
    """The rows of the quarter of an hour up to `end`, or None when they do not fill it."""
    from_min = rows[end].minute - WINDOW_MIN
    window = [rows[end]]
    for at in range(end - 1, -1, -1):
        if rows[at].minute < from_min - 1e-9 or window[-1].minute - rows[at].minute > GAP_MIN:
            break
        window.append(rows[at])
    window.reverse()
    return window if window[-1].minute - window[0].minute > WINDOW_MIN - GAP_MIN / 2 else None


def _drifts(window: Sequence[Row]) -> list[str]:
    found = []
    for name, (absolute, share) in MAY_DRIFT.items():
        if not all(name in row.values for row in window):
            continue
        values = [row.values[name] for row in window]
        allowed = absolute + share * abs(sum(values) / len(values))
        drift = _slope([row.minute for row in window], values) * WINDOW_MIN
        if abs(drift) > allowed:
            found.append(f"{name.replace('_', ' ')} moves {abs(drift) / allowed:.1f} times as much as it may")
    return found


def _slope(at: Sequence[float], values: Sequence[float]) -> float:
    """Slope of the least-squares line."""
    middle, mean = sum(at) / len(at), sum(values) / len(values)
    spread = sum((t - middle) ** 2 for t in at)
    return sum((t - middle) * (v - mean) for t, v in zip(at, values, strict=True)) / spread if spread else 0.0


def _mean(rows: Sequence[Row], name: str) -> Mean:
    values = [row.values[name] for row in rows if name in row.values]
    mean = sum(values) / len(values)
    scatter = sqrt(sum((v - mean) ** 2 for v in values) / max(len(values) - 1, 1))
    return Mean(mean, scatter, len(values))
