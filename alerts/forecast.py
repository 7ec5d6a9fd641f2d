"""How long until a slow value crosses its limit: probabilities, the likely minute, and how sure.

Fed the distance to the limit once a minute. A damped trend speaks for a new site. Once the site's usual day is
known, a trend of what differs from that day joins it. What is said is the mean of the two in weights that follow
from their Brier losses on this site (Brier 1950, "Verification of forecasts expressed in terms of probability"),
so that it is never much worse than the trend alone; and where no day is like another the usual day shrinks to
nothing by itself. Nothing is extrapolated as a straight line, and a value that is not known now has no forecast.
The humidity of the air and the spread of the air's own dew point are hardly forecastable: nothing is promised.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import accumulate
from math import exp, log
from operator import add, truediv

from alerts.early import Early
from alerts.forecast_paths import DAMPED, Holt, UsualDay
from alerts.forecast_scores import Odds, Spread, reweighed
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
TREND, DAY = 0, 1  # the way that needs no history, and the one that knows the usual day
FIRST_WEIGHTS = (0.7, 0.3)
COMPARED = (2, 3)  # horizons by which the ways are compared: 60 and 120 min
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
    """What each way said at one moment about one lead, until it is known what came. z, p may be empty.

    rise: what was to come on a usual day; kept with p where ways are compared.
    """

    due: int
    inside: bool
    expected: list[float]
    z: list[float]
    p: list[float]
    rise: float | None = None


def _spreads() -> list[Spread]:
    return [Spread(0.06 * (lead / 60) ** 0.6) for lead in LEADS_MIN]


@dataclass(slots=True)
class Way:
    """One way to look ahead, and what was learned of its errors inside the limit and outside, by lead."""

    path: Holt = field(default_factory=Holt)
    inside: list[Spread] = field(default_factory=_spreads)
    outside: list[Spread] = field(default_factory=_spreads)
    odds: list[Odds] = field(default_factory=lambda: [Odds() for _ in HORIZONS_MIN])

    def heir(self) -> Way:
        """Return another way that begins with what this one knows of errors, and with no path."""
        inside, outside = ([replace(each) for each in side] for side in (self.inside, self.outside))
        return Way(Holt(), inside, outside, [replace(each) for each in self.odds])

    def spreads(self, inside: bool) -> list[Spread]:
        """Return the errors learned on this side of the limit."""
        return self.inside if inside else self.outside


@dataclass(slots=True)
class Track:
    """Everything remembered of one limit: bounded, and a function of what it was fed.

    recent: the last minutes on the path's scale, None where unknown. ways: the trend alone, both once the
    usual day is known; weights: theirs. words: waiting at each lead.
    """

    minute: int = -1
    recent: list[float | None] = field(default_factory=list)
    known: int = 0  # minutes since the paths began
    usual: UsualDay = field(default_factory=UsualDay)
    ways: list[Way] = field(default_factory=lambda: [Way()])
    weights: list[float] = field(default_factory=lambda: [1.0])
    words: list[list[Word]] = field(default_factory=lambda: [[] for _ in LEADS_MIN])
    early: Early = field(default_factory=Early)

    @property
    def now(self) -> float | None:
        """The newest value on the path's scale, None when it is not known."""
        return self.recent[-1] if self.recent else None

    @property
    def way(self) -> int:
        """Which way has the greater part in what is said."""
        return TREND if self.weights[TREND] >= 0.5 else DAY


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
    track.words = [[] for _ in LEADS_MIN]
    for way in track.ways:
        way.path = Holt()


def _step(track: Track, minute: int, y: float | None) -> None:
    track.minute = minute
    track.recent = [*track.recent[1 - HORIZONS_MIN[-1] :], y]
    if y is not None:
        track.known += 1
        track.usual.feed(minute, y)
    if len(track.ways) == 1 and track.usual.known:
        track.ways.append(track.ways[TREND].heir())
        track.weights = list(FIRST_WEIGHTS)
    _walk(track, y)
    _settle(track, minute, y)
    if y is not None and track.known > FIRST_MIN:
        _say(track, minute, y)


def _walk(track: Track, y: float | None) -> None:
    track.ways[TREND].path.feed(y, DAMPED)
    if len(track.ways) > 1:
        usual = track.usual
        track.ways[DAY].path.feed(None if y is None else y - usual.at(track.minute), usual.habit)


def _settle(track: Track, minute: int, y: float | None) -> None:
    """Score the words whose time has come."""
    for at, words in enumerate(track.words):
        if words and words[0].due <= minute:
            word = words.pop(0)
            if y is not None:
                _learn_value(track, at, word, y)
            if word.z and (came := _came(track.recent, LEADS_MIN[at])) is not None:
                _learn(track, at, word, came)


def _learn_value(track: Track, at: int, word: Word, y: float) -> None:
    for way, expected in zip(track.ways, word.expected, strict=False):  # an old word knows fewer ways
        way.spreads(word.inside)[at].learn(y - expected)
    before = track.recent[-1 - LEADS_MIN[at]] if word.rise is not None else None
    if word.rise is not None and before is not None:
        track.usual.learn(word.rise, y - before)


def _came(recent: list[float | None], lead: int) -> bool | None:
    """Whether the limit was crossed in these minutes; None when too little of them is known."""
    known = [v for v in recent[-lead:] if v is not None]
    return min(known) < 0 if len(known) >= 0.9 * lead else None


def _learn(track: Track, at: int, word: Word, came: bool) -> None:
    for way, z in zip(track.ways, word.z, strict=False):
        way.odds[at].learn(z, came)
    if word.p:
        track.weights = reweighed(track.weights, [(p - came) ** 2 for p in word.p], FIRST_WEIGHTS)


def _say(track: Track, minute: int, y: float) -> None:
    due = [at for at, lead in enumerate(LEADS_MIN) if minute % max(EVERY_MIN, lead // KEPT) == 0]
    if not due:
        return
    inside, paths = y >= 0, paths_of(track)
    nearest = [_nearest(way, path) for way, path in zip(track.ways, paths, strict=True)] if inside else []
    for at in due:
        step = STEPS_MIN.index(LEADS_MIN[at])
        z = [each[step] for each in nearest] if at < len(HORIZONS_MIN) else []
        word = Word(minute + LEADS_MIN[at], inside, [path[step] for path in paths], z, [])
        if at in COMPARED and len(paths) > 1:
            word.rise = track.usual.rise(minute, LEADS_MIN[at])
            word.p = [way.odds[at].probability(each) for way, each in zip(track.ways, z, strict=False)]
        track.words[at].append(word)


def _nearest(way: Way, path: list[float]) -> list[float]:
    """Return, for every step, the least distance of the path from the limit up to there, in errors."""
    error = at_steps([each.error for each in way.inside], len(path))
    return list(accumulate(map(truediv, path, error), min))


def paths_of(track: Track, steps: tuple[int, ...] = STEPS_MIN) -> list[list[float]]:
    """Return what each way expects at these minutes from now, on the path's scale."""
    trend = track.ways[TREND].path.path(steps, DAMPED)
    if len(track.ways) == 1:
        return [trend]
    usual, differs = track.usual.path(track.minute, steps), track.ways[DAY].path.path(steps, track.usual.habit)
    return [trend, [*map(add, usual, differs)]]


def at_steps(by_lead: list[float], count: int = len(STEPS_MIN)) -> list[float]:
    """Return figures known at the leads at the first steps; before the first lead they shrink toward zero."""
    return [by_lead[low] * share + by_lead[high] * rest for low, high, share, rest in _BETWEEN[:count]]


def _between(step: int) -> tuple[int, int, float, float]:
    if step <= LEADS_MIN[0]:
        return 0, 0, (step / LEADS_MIN[0]) ** 0.7, 0.0
    high = next(at for at, lead in enumerate(LEADS_MIN) if lead >= step)
    share = (LEADS_MIN[high] - step) / (LEADS_MIN[high] - LEADS_MIN[high - 1])
    return high - 1, high, share, 1 - share


_BETWEEN = tuple(_between(step) for step in STEPS_MIN)


def probabilities(track: Track, horizons_min: tuple[int, ...] = HORIZONS_MIN) -> list[float]:
    """Return the probability of being outside at some minute within the first of HORIZONS_MIN, never falling.

    The words of both ways in their weights. The value must be known and inside now.
    """
    steps = STEPS_MIN[: STEPS_MIN.index(horizons_min[-1]) + 1]
    mixed = [0.0] * len(horizons_min)
    for way, weight, path in zip(track.ways, track.weights, paths_of(track, steps), strict=True):
        nearest = _nearest(way, path)
        for at, horizon in enumerate(horizons_min):
            mixed[at] += weight * way.odds[at].probability(nearest[STEPS_MIN.index(horizon)])
    return list(accumulate(mixed, max))
