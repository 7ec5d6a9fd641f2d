"""Where a slow value is going: a level with a trend that dies out, of the value or of what differs from its day.

Each is fed one value a minute, or told that a minute brought none, and returns the expected path ahead. No
straight line is drawn: a trend dies out. Values are on the scale `forecast` chose (the logarithm for a margin).
How sure a path is, is learned from how it did (`forecast_scores`).
Sources: Gardner and McKenzie 1985, "Forecasting trends in time series" (damped trend): the steady state of a
filter of Kalman's (1960) with the gains of its habit. The constants are ours, chosen on half of a measured month,
on a typical year of another place and on invented fronts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple


class Habit(NamedTuple):
    """How a level with a trend moves in a minute.

    level, trend: the share of a surprise each takes. fade: what is left of the trend. stays: what is left of the
    level, 1 where it has nowhere to return to.
    """

    level: float
    trend: float
    fade: float
    stays: float


DAMPED = Habit(0.4, 0.005, 0.99, 1.0)
RETURNING = Habit(0.4, 0.008, 0.98, 0.997)  # of what differs from a usual day that comes as it was

DAY_MIN = 1440
BIN_MIN = 15
BINS = DAY_MIN // BIN_MIN
DAYS = 7  # of the usual day: older ones fade
LEAST_DAYS = 2  # before that a difference from the usual day means nothing
HELD = 0.5  # of the usual day's rises and falls, believed before any was seen to come
HELD_MEMORY = 2000  # rises remembered: two at one in five minutes, three days and a half


@cache
def habit_of(held_tenths: int) -> Habit:
    """Return the habit of a difference from the usual day: RETURNING as far as that day has held, else DAMPED."""
    return Habit(*(d + (r - d) * held_tenths / 10 for d, r in zip(DAMPED, RETURNING, strict=True)))


@cache
def _carried(habit: Habit, steps: tuple[int, ...]) -> tuple[tuple[float, float], ...]:
    """Shares of the level and of the trend in the value so many minutes ahead."""
    _, _, fade, stays = habit
    return tuple((stays**h, fade * (stays**h - fade**h) / (stays - fade)) for h in steps)


@dataclass(slots=True)
class Holt:
    """A level and a trend per minute that dies out."""

    level: float = 0.0
    trend: float = 0.0
    begun: bool = False

    def feed(self, y: float | None, habit: Habit = DAMPED) -> None:
        """Take one minute in; one without a value lets the trend run on and die."""
        if y is not None and not self.begun:
            self.level, self.trend, self.begun = y, 0.0, True
            return
        self.trend *= habit.fade
        self.level = self.level * habit.stays + self.trend
        if y is not None:
            surprise = y - self.level
            self.level += habit.level * surprise
            self.trend += habit.trend * surprise

    def path(self, steps: tuple[int, ...], habit: Habit = DAMPED) -> list[float]:
        """Return the expected values these minutes ahead."""
        level, trend = self.level, self.trend
        return [level * stays + trend * runs for stays, runs in _carried(habit, steps)]


@dataclass(slots=True)
class UsualDay:
    """The mean of the last days by quarter of an hour of the day, UTC, as far as it has held here.

    mean: of the quarters. together, square: sums of what came times what was usual, and of what was usual squared,
    older ones fading: their ratio is how much of the usual rises and falls comes on this site.
    """

    means: list[float] = field(default_factory=lambda: [0.0] * BINS)
    days: list[int] = field(default_factory=lambda: [0] * BINS)
    bin: int = -1
    total: float = 0.0
    count: int = 0
    mean: float = 0.0
    together: float = HELD
    square: float = 1.0

    @property
    def known(self) -> bool:
        """Whether every quarter has been seen on enough days."""
        return min(self.days) >= LEAST_DAYS

    @property
    def held(self) -> float:
        """How much of the usual day has come of late, 0..1: nothing where no day is like another."""
        return max(0.0, min(1.0, self.together / self.square))

    @property
    def habit(self) -> Habit:
        """How what differs from this day moves."""
        return habit_of(round(10 * self.held))

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
        self.mean = sum(self.means) / BINS

    def learn(self, usual: float, came: float) -> None:
        """Take in how much a value was to rise on a usual day, and how much it did."""
        self.together += usual * came - self.together / HELD_MEMORY
        self.square += usual * usual - self.square / HELD_MEMORY

    def rise(self, minute: int, lead: int) -> float:
        """Return how much a value rises from a minute on usual days, whole.

        Both ends lie half a quarter later, so that no quarter counts that this very day has already changed.
        """
        half = minute + (BIN_MIN + 1) // 2
        return self._mean_at(half + lead) - self._mean_at(half)

    def at(self, minute: int) -> float:
        """Return the usual value of this minute, nearer to the mean of all the less it has held."""
        return self.mean + self.held * (self._mean_at(minute) - self.mean)

    def path(self, minute: int, steps: tuple[int, ...]) -> list[float]:
        """Return the usual values so many minutes after this one."""
        mean, held, mean_at = self.mean, self.held, self._mean_at
        return [mean + held * (mean_at(minute + step) - mean) for step in steps]

    def _mean_at(self, minute: int) -> float:
        """Straight between the middles of the quarters."""
        low, into = divmod(2 * (minute % DAY_MIN) - BIN_MIN, 2 * BIN_MIN)
        before = self.means[low]  # -1 is the last quarter
        return before + (self.means[low + 1 - BINS] - before) * into / (2 * BIN_MIN)
