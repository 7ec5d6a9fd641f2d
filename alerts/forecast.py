"""How long until a slow value crosses its limit: probabilities, the likely minute, and how sure.

Fed the distance to the limit once a minute. A damped trend speaks for a new site; the site's own usual day with a
filter of what differs from it takes over when its rolling Brier score on this site is the better one (Brier 1950,
"Verification of forecasts expressed in terms of probability"), and loses the word as quickly. Nothing is
extrapolated as a straight line, and a value that is not known now has no forecast. The humidity of the air and the
spread of the air's own dew point are hardly forecastable, so nothing is promised of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import accumulate
from math import exp, log
from operator import truediv

from alerts.early import Early
from alerts.forecast_paths import Filter, Holt, UsualDay
from alerts.forecast_scores import Odds, Spread
from alerts.limits import Limit
from alerts.measured import Quantity

HORIZONS_MIN = (15, 30, 60, 120, 240, 480)
LEADS_MIN = (15, 30, 60, 120, 240, 480, 720)
STEPS_MIN = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 180, 210, 240, 300, 360, 420, 480, 600, 720)
EVERY_MIN = 5  # a word is kept to be scored
KEPT = 24  # words waiting at one lead, at most
LONGEST_GAP_MIN = 10  # a longer one begins the paths anew
OFFSET_K, LEAST_K = 5.0, 0.1  # of the logarithm of a margin
ONE = 10.0  # K of a temperature that count as one on the path's scale
FORECAST = frozenset({Quantity.DEW_POINT_MARGIN, Quantity.STEEL_TEMPERATURE, Quantity.AIR_TEMPERATURE})
TREND, DAY = 0, 1
COMPARED = (2, 3)  # horizons by which the two ways are compared: 60 and 120 min
FARTHEST_AHEAD = 2.0  # Brier points one way can be ahead: so much it must lose before the other speaks
MIXING = 0.7  # a point ahead gives a way e to this power times the weight of the other
FIRST_MIN = 15  # of values before anything is said


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a distance to the limit [inside unit] lies on the path's scale; the limit lies at 0.

    A margin is taken as the logarithm of itself plus 5 K, since it moves by shares of itself; others straight.
    threshold_k: of a margin that must be at least so much, else None.
    """

    threshold_k: float | None

    @classmethod
    def of(cls, limit: Limit) -> Scale:
        """Return the scale of a limit."""
        margin = limit.quantity is Quantity.DEW_POINT_MARGIN and limit.relation == "at least"
        return cls(max(limit.threshold_inside, LEAST_K - OFFSET_K) if margin else None)

    def y(self, distance: float) -> float:
        """Return the place of a distance."""
        if self.threshold_k is None:
            return distance / ONE
        edge = self.threshold_k + OFFSET_K
        return log(max(distance + edge, LEAST_K) / edge)

    def distance(self, y: float) -> float:
        """Return the distance of a place."""
        if self.threshold_k is None:
            return y * ONE
        edge = self.threshold_k + OFFSET_K
        return edge * exp(min(y, 5.0)) - edge


@dataclass(slots=True)
class Word:
    """What both ways said at one moment about one lead, until it is known what came. z, p may be empty."""

    due: int
    inside: bool
    expected: list[float]
    z: list[float]
    p: list[float]


def _spreads() -> list[list[Spread]]:
    return [[Spread(0.06 * (lead / 60) ** 0.6) for lead in LEADS_MIN] for _ in range(4)]


@dataclass(slots=True)
class Track:
    """Everything remembered of one limit: bounded, and a function of what it was fed.

    recent: the last minutes on the path's scale, None where unknown. spreads: by way, inside, then outside. ahead:
    by how many Brier points the usual day is ahead of the trend here, of late; it begins behind.
    """

    minute: int = -1
    recent: list[float | None] = field(default_factory=list)
    known: int = 0  # minutes since the paths began
    trend: Holt = field(default_factory=Holt)
    filter: Filter = field(default_factory=Filter)
    usual: UsualDay = field(default_factory=UsualDay)
    spreads: list[list[Spread]] = field(default_factory=_spreads)
    odds: list[list[Odds]] = field(default_factory=lambda: [[Odds() for _ in HORIZONS_MIN] for _ in range(2)])
    waiting: list[list[Word]] = field(default_factory=lambda: [[] for _ in LEADS_MIN])
    ahead: float = -FARTHEST_AHEAD
    early: Early = field(default_factory=Early)

    @property
    def now(self) -> float | None:
        """The newest value on the path's scale, None when it is not known."""
        return self.recent[-1] if self.recent else None

    @property
    def way(self) -> int:
        """Which way speaks: the usual day only where its rolling score on this site is better."""
        return DAY if self.usual.known and self.ahead > 0 else TREND


def feed(track: Track, minute: int, y: float | None) -> None:
    """Take one minute [of UTC, counted from 1970] in; y is None where the value is not known.

    A minute not later than the last is left out, unless the clock was set far back; one passed over is unknown.
    """
    if -LONGEST_GAP_MIN <= minute - track.minute <= 0:
        return
    far = abs(minute - track.minute) > LONGEST_GAP_MIN
    if far or all(each is None for each in track.recent[-LONGEST_GAP_MIN:]):
        _begin_anew(track)
        track.minute = minute - 1
    for missed in range(track.minute + 1, minute):
        _step(track, missed, None)
    _step(track, minute, y)


def _begin_anew(track: Track) -> None:
    """Nothing is derived across a gap: the usual day and what was learned of errors stay, the paths do not."""
    track.recent, track.known = [], 0
    track.trend, track.filter = Holt(), Filter()
    track.waiting = [[] for _ in LEADS_MIN]


def _step(track: Track, minute: int, y: float | None) -> None:
    track.minute = minute
    track.recent = [*track.recent[1 - HORIZONS_MIN[-1] :], y]
    track.trend.feed(y)
    if y is not None:
        track.known += 1
        track.usual.feed(minute, y)
    if track.usual.known:
        track.filter.feed(None if y is None else y - track.usual.at(minute))
    _settle(track, minute, y)
    if y is not None and track.known > FIRST_MIN:
        _say(track, minute, y)


def _settle(track: Track, minute: int, y: float | None) -> None:
    """Score the words whose time has come."""
    for at, words in enumerate(track.waiting):
        if words and words[0].due <= minute:
            word = words.pop(0)
            for way, expected in enumerate(word.expected):
                if y is not None:
                    track.spreads[way + (0 if word.inside else 2)][at].learn(y - expected)
            if word.z and (came := _came(track.recent, LEADS_MIN[at])) is not None:
                _learn(track, at, word, came)


def _came(recent: list[float | None], lead: int) -> bool | None:
    """Whether the limit was crossed in these minutes; None when too little of them is known."""
    known = [v for v in recent[-lead:] if v is not None]
    return min(known) < 0 if len(known) >= 0.9 * lead else None


def _learn(track: Track, at: int, word: Word, came: bool) -> None:
    for way, z in enumerate(word.z):
        track.odds[way][at].learn(z, came)
    if len(word.p) == 2 and at in COMPARED:  # only words given side by side compare
        trend, day = ((p - came) ** 2 for p in word.p)
        track.ahead = max(-FARTHEST_AHEAD, min(FARTHEST_AHEAD, track.ahead + trend - day))


def _say(track: Track, minute: int, y: float) -> None:
    due = [at for at, lead in enumerate(LEADS_MIN) if minute % max(EVERY_MIN, lead // KEPT) == 0]
    if not due:
        return
    inside = y >= 0
    paths = [path_of(track, way) for way in range(1 + track.usual.known)]
    nearest = [_nearest(track, way, path) for way, path in enumerate(paths)] if inside else []
    for at in due:
        step = STEPS_MIN.index(LEADS_MIN[at])
        z = [each[step] for each in nearest] if at < len(HORIZONS_MIN) else []
        p = [track.odds[way][at].probability(each) for way, each in enumerate(z)]
        word = Word(minute + LEADS_MIN[at], inside, [path[step] for path in paths], z, p)
        track.waiting[at].append(word)


def _nearest(track: Track, way: int, path: list[float]) -> list[float]:
    """Return, for every step, the least distance of the path from the limit up to there, in errors."""
    error = at_steps([each.error for each in track.spreads[way]])
    return list(accumulate(map(truediv, path, error), min))


def path_of(track: Track, way: int) -> list[float]:
    """Return what a way expects at STEPS_MIN from now, on the path's scale."""
    if way == TREND:
        return track.trend.path(STEPS_MIN)
    ahead = zip(track.filter.path(STEPS_MIN), STEPS_MIN, strict=True)
    return [difference + track.usual.at(track.minute + step) for difference, step in ahead]


def at_steps(by_lead: list[float]) -> list[float]:
    """Return figures known at the leads at every step; before the first lead they shrink toward zero."""
    return [by_lead[low] * share + by_lead[high] * rest for low, high, share, rest in _BETWEEN]


def _between(step: int) -> tuple[int, int, float, float]:
    if step <= LEADS_MIN[0]:
        return 0, 0, (step / LEADS_MIN[0]) ** 0.7, 0.0
    high = next(at for at, lead in enumerate(LEADS_MIN) if lead >= step)
    share = (LEADS_MIN[high] - step) / (LEADS_MIN[high] - LEADS_MIN[high - 1])
    return high - 1, high, share, 1 - share


_BETWEEN = tuple(_between(step) for step in STEPS_MIN)


def probabilities(track: Track) -> list[float]:
    """Return the probability of being outside at some minute within each of HORIZONS_MIN, never falling.

    Both ways' words, mixed by how much the usual day is ahead of the trend on this site of late. The value must be
    known and inside now.
    """
    share = 1 / (1 + exp(-MIXING * track.ahead)) if track.usual.known else 0.0
    said = [_said(track, way) for way in range(1 + track.usual.known)]
    mixed = [(1 - share) * trend + share * day for trend, day in zip(said[TREND], said[-1], strict=True)]
    return list(accumulate(mixed, max))


def _said(track: Track, way: int) -> list[float]:
    nearest = _nearest(track, way, path_of(track, way))
    odds = zip(track.odds[way], HORIZONS_MIN, strict=True)
    return [each.probability(nearest[STEPS_MIN.index(horizon)]) for each, horizon in odds]
