"""Two ways to say where a slow value is going: a damped trend, and the site's own day with what differs from it.

Each is fed one value a minute, or told that a minute brought none, and returns the expected path ahead. Neither
draws a straight line: a trend dies out, a difference from the usual day fades. Values are on the scale `forecast`
chose (the logarithm for a margin). How sure a path is, is learned from how it did (`forecast_scores`).
Sources: Gardner and McKenzie 1985, "Forecasting trends in time series" (damped trend); Kalman 1960, "A new
approach to linear filtering and prediction problems". The constants are ours, chosen on a measured month.
"""

from __future__ import annotations

from dataclasses import dataclass, field

LEVEL, TREND, FADE = 0.4, 0.005, 0.99
"""Damped trend, a minute: share of a surprise the level and the trend take, and what is left of the trend."""

DAY_MIN = 1440
BIN_MIN = 15
BINS = DAY_MIN // BIN_MIN
DAYS = 7  # of the usual day: older ones fade
LEAST_DAYS = 2  # before that a difference from the usual day means nothing


@dataclass(slots=True)
class Holt:
    """A level and a trend per minute that dies out."""

    level: float = 0.0
    trend: float = 0.0
    begun: bool = False

    def feed(self, y: float | None) -> None:
        """Take one minute in; one without a value lets the trend run on and die."""
        if y is not None and not self.begun:
            self.level, self.trend, self.begun = y, 0.0, True
            return
        self.trend *= FADE
        self.level += self.trend
        if y is not None:
            surprise = y - self.level
            self.level += LEVEL * surprise
            self.trend += TREND * surprise

    def path(self, steps: tuple[int, ...]) -> list[float]:
        """Return the expected values these minutes ahead."""
        return [self.level + self.trend * FADE * (1 - FADE**h) / (1 - FADE) for h in steps]


@dataclass(slots=True)
class UsualDay:
    """The mean of the last days by quarter of an hour of the day, UTC."""

    means: list[float] = field(default_factory=lambda: [0.0] * BINS)
    days: list[int] = field(default_factory=lambda: [0] * BINS)
    bin: int = -1
    total: float = 0.0
    count: int = 0

    @property
    def known(self) -> bool:
        """Whether every quarter has been seen on enough days."""
        return min(self.days) >= LEAST_DAYS

    def feed(self, minute: int, y: float) -> None:
        """Take one value in. A quarter joins the mean when it is over."""
        at = minute % DAY_MIN // BIN_MIN
        if at != self.bin:
            self._close()
            self.bin, self.total, self.count = at, 0.0, 0
        self.total += y
        self.count += 1

    def _close(self) -> None:
        if self.count < BIN_MIN // 3:
            return
        at = self.bin
        self.days[at] = min(self.days[at] + 1, DAYS)
        self.means[at] += (self.total / self.count - self.means[at]) / self.days[at]

    def at(self, minute: float) -> float:
        """Return the usual value of this minute, straight between the middles of the quarters."""
        place = (minute % DAY_MIN) / BIN_MIN - 0.5
        low = int(place // 1)
        share = place - low
        return self.means[low % BINS] * (1 - share) + self.means[(low + 1) % BINS] * share


STAYS, DIES = 0.997, 0.93
"""Filter, a minute: what is left of a difference from the usual day, and of its trend."""
LEVEL_VAR, TREND_VAR, NOISE_VAR = 1e-3, 5e-6, 1e-3
"""What a minute adds to the variance of the two, and the variance of one minute's value (log of a margin)."""


@dataclass(slots=True)
class Filter:
    """A Kalman filter of the difference from the usual day and its trend. p: variances level, both, trend."""

    x: float = 0.0
    v: float = 0.0
    p: tuple[float, float, float] = (1.0, 0.0, 1e-4)

    def feed(self, difference: float | None) -> None:
        """Move on a minute, then take the value in, if there is one."""
        a, b, c = self.p
        self.x, self.v = STAYS * self.x + self.v, DIES * self.v
        a, b, c = STAYS**2 * a + 2 * STAYS * b + c + LEVEL_VAR, DIES * (STAYS * b + c), DIES**2 * c + TREND_VAR
        if difference is not None:
            gain_x, gain_v = a / (a + NOISE_VAR), b / (a + NOISE_VAR)
            surprise = difference - self.x
            self.x, self.v = self.x + gain_x * surprise, self.v + gain_v * surprise
            a, b, c = a - gain_x * a, b - gain_x * b, c - gain_v * b
        self.p = (a, b, c)

    def path(self, steps: tuple[int, ...]) -> list[float]:
        """Return the expected differences these minutes ahead."""
        k = self.v / (STAYS - DIES)
        return [STAYS**h * (self.x + k) - DIES**h * k for h in steps]
