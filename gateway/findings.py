"""Which piece of a train fails: what is remembered of each train, and when a figure has moved.

Once a minute `take` gets the figures of a train (`train_features`). The first hour of steady running is the
measure of all later ones; a finding begins when the mean of the last minutes has moved further than noise and
weather can move it, and ends when it has been back for a while. A minute without a figure neither begins nor ends
anything.
What several figures together mean is in `finding_rules`, the words in `finding_words`. State is a function of the
minutes alone and bounded: a handful of numbers a figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt

from gateway.finding_rules import ABSOLUTE, Meaning, Moved, meaning
from gateway.finding_words import Finding, finding
from gateway.jobsite import Train
from gateway.observability import measures
from gateway.train_features import LEVEL, POSITION, Minute, Told, Water

LEARN = 60  # steady minutes that are the measure: ours
RECENT = 8  # minutes of the mean that is compared: ours
WEIGHED = 3  # minutes in a row that several figures must mean the same: ours
HOLD, CALM = 3, 10  # minutes beyond before a finding begins, minutes back before it ends: ours
# What a figure at rest may change within RECENT: share of its move, or of its floor: ours
STILL, STILL_FLOOR = 0.12, 0.2
STILL_K = 3.0  # the floor of a figure that has none of its own
NOISE = 4.0  # standard deviations of the mean of RECENT that never count: ours
WARM_UP, AFTER_PAUSE = 20, 5  # minutes after a start, and after a pause of at most SHORT, that do not count
# Minutes after a pause in which the metal still warms: nothing ends, nothing is called otherwise: ours
SETTLED = 25
SHORT = 30
DRAIN_MINUTES, DRAIN_OPENINGS = 25, 3.0  # over how long, and how many openings due, a drain is judged: ours


@dataclass(slots=True)
class Trend:
    """One figure: sums of its first hour, its last minutes, how many it has been beyond (with sign) or back."""

    count: int = 0
    total: float = 0.0
    squares: float = 0.0
    recent: list[float] = field(default_factory=list)
    floor: float = 0.0
    beyond: int = 0
    back: int = 0

    @property
    def learnt(self) -> bool:
        """Whether its first hour is full."""
        return self.count >= LEARN

    @property
    def base(self) -> float:
        """Mean of the first hour."""
        return self.total / max(self.count, 1)

    @property
    def spread(self) -> float:
        """Standard deviation of a minute in the first hour."""
        return sqrt(max(self.squares / max(self.count, 1) - self.base**2, 0.0))

    @property
    def mean(self) -> float:
        """Mean of the last minutes."""
        return sum(self.recent) / max(len(self.recent), 1)


@dataclass(slots=True)
class Drain:
    """A drain: its counter, kg and openings of its first hour, the last minutes (kg, openings), kg since one.

    came_kg: vapour the intake brought in the first hour. The kg of later minutes are the least that must fall.
    """

    count: float
    kg: float = 0.0
    openings: float = 0.0
    minutes: int = 0
    waiting_kg: float = 0.0
    recent: list[tuple[float, float]] = field(default_factory=list)
    came_kg: float = 0.0


@dataclass(slots=True)
class Watched:
    """What is remembered of one train. steady: minutes since air began to flow; open: finding -> since, ms.

    turning: findings about to begin or end, with the minutes that said so. numbers: of the open ones. seen: what a
    person entered of a level or a bypass, by the figure's name; it stands where no sensor says better.
    """

    steady: int = 0
    needed: int = WARM_UP
    stopped: int = SHORT
    trends: dict[str, Trend] = field(default_factory=dict)
    drains: dict[str, Drain] = field(default_factory=dict)
    open: dict[str, int] = field(default_factory=dict)
    turning: dict[str, int] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)
    seen: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Change:
    """A finding that began or ended, by its key "kind piece"."""

    key: str
    began: bool


def take(watched: Watched, train: Train, minute: Minute, now_ms: int) -> list[Change]:
    """Take in one minute of a train and return what began or ended."""
    if minute.flowing is not True:
        watched.stopped += 1 if minute.flowing is False else 0
        watched.steady = 0
        return []
    if watched.steady == 0:
        watched.needed = WARM_UP if watched.stopped >= SHORT else AFTER_PAUSE
    watched.steady, watched.stopped = watched.steady + 1, 0
    if watched.steady <= watched.needed:
        return []
    settled = watched.steady > SETTLED
    for name, told in {**_seen(watched, minute), **minute.figures}.items():
        _feed(watched.trends.setdefault(name, Trend()), name, told, minute.came_rh, settled)
    for piece, water in minute.drains.items():
        _drain(watched, piece, water)
    return _changes(watched, meaning(moved(watched), measures(train), watched.open), now_ms, settled)


def _seen(watched: Watched, minute: Minute) -> dict[str, Told]:
    """What a person entered, as if a sensor went on saying it; a position sensor knows better."""
    return {
        name: Told(share, LEVEL if name.startswith("level") else POSITION)
        for name, share in watched.seen.items() if name.replace("seen", "position") not in minute.figures
    }  # fmt: skip


def _feed(trend: Trend, name: str, told: Told, came_rh: float | None, settled: bool) -> None:
    value, trend.floor = told.value, told.floor
    if name.startswith("outlet_rh") and came_rh is not None and _says_nothing(trend, value, came_rh):
        return
    if not trend.learnt and not name.startswith(ABSOLUTE):
        trend.count += 1
        trend.total += value
        trend.squares += value * value
        return
    trend.recent = [*trend.recent[-RECENT + 1 :], value]
    if len(trend.recent) == RECENT:
        _compare(trend, name, settled=settled)


def _says_nothing(trend: Trend, value: float, came_rh: float) -> bool:
    """Air that arrives nearly as dry as a good bed leaves it says nothing good of the bed."""
    wet_enough = max(trend.base if trend.learnt else value, value) + 0.1
    return came_rh < wet_enough and not (trend.learnt and value > trend.base)


def _compare(trend: Trend, name: str, *, settled: bool) -> None:
    off = trend.mean if name.startswith(ABSOLUTE) else trend.mean - trend.base
    least = least_move(trend, name)
    if abs(off) > least:
        same = trend.beyond * off > 0
        trend.beyond = trend.beyond + (1 if off > 0 else -1) if same else (1 if off > 0 else -1)
        trend.back = 0
    elif settled and (abs(off) < 0.7 * least or trend.back):
        trend.back += 1
        if trend.back >= CALM or abs(trend.beyond) < HOLD:
            trend.beyond, trend.back = 0, 0


def least_move(trend: Trend, name: str) -> float:
    """The least move that counts: the figure's own floor, or what its scatter could do."""
    if name.startswith(ABSOLUTE):
        return trend.floor
    return max(trend.floor, NOISE * trend.spread / sqrt(RECENT) + trend.spread)


def _drain(watched: Watched, piece: str, water: Water) -> None:
    drain = watched.drains.get(piece)
    if drain is None or water.opened < drain.count:  # a counter that was exchanged begins again
        watched.drains[piece] = Drain(water.opened)
        return
    opened, drain.count = water.opened - drain.count, water.opened
    if drain.minutes < LEARN or drain.openings < 2 * DRAIN_OPENINGS:
        drain.kg, drain.openings, drain.minutes = drain.kg + water.kg, drain.openings + opened, drain.minutes + 1
        drain.came_kg += water.came_kg
        return
    least_kg = _least_kg(drain, water)
    drain.recent = [*drain.recent[-DRAIN_MINUTES + 1 :], (least_kg, opened)]
    due = sum(kg for kg, _ in drain.recent) * drain.openings / drain.kg if drain.kg else 0.0
    trend = watched.trends.setdefault(f"drain {piece}", Trend(LEARN, float(LEARN), float(LEARN)))
    trend.floor = 0.5
    drain.waiting_kg = 0.0 if opened else drain.waiting_kg + least_kg
    if due >= DRAIN_OPENINGS and len(drain.recent) >= DRAIN_MINUTES // 2:
        often = sum(opened for _, opened in drain.recent) / due
        waiting = drain.waiting_kg * drain.openings / drain.kg
        trend.recent = [min(often, 1.0 / max(waiting, 1.0))]
        _compare(trend, "drain", settled=True)


def _least_kg(drain: Drain, water: Water) -> float:
    """What must have fallen out at least: probes that are off count by how much less of the vapour falls than did.

    What they were off in the first hour is in its openings a kg; the rest is 2 u of the vapour beyond its share.
    """
    beyond = abs(water.came_kg - drain.came_kg * water.kg / drain.kg) if drain.kg and drain.came_kg else 0.0
    return max(water.kg - 2.0 * water.u * beyond, 0.0)


def moved(watched: Watched) -> dict[str, Moved]:
    """Every figure that has been learnt, by name: how far it moved, whether that counts, and its floor."""
    found = {}
    for name, trend in watched.trends.items():
        if trend.recent:
            off = trend.mean if name.startswith(ABSOLUTE) else trend.mean - trend.base
            counts = abs(trend.beyond) >= HOLD
            found[name] = Moved(
                off, counts, least_move(trend, name), trend.base, trend.mean, _still(trend), trend.beyond
            )
    return found


def _still(trend: Trend) -> bool:
    """Whether the last minutes no longer move: metal that follows its gas late looks like a sensor that lies."""
    half = len(trend.recent) // 2
    if not half:
        return False
    early, late = sum(trend.recent[:half]) / half, sum(trend.recent[-half:]) / half
    return abs(late - early) < max(STILL * abs(trend.mean - trend.base), STILL_FLOOR * min(trend.floor, STILL_K))


def _changes(watched: Watched, meant: Mapping[str, Meaning], now_ms: int, settled: bool) -> list[Change]:
    """Begin what has been meant, and end what has not been, for WEIGHED minutes in a row."""
    turning = {
        key: watched.turning.get(key, 0) + 1
        for key in meant.keys() ^ watched.open.keys() if settled or _is_news(watched, key)
    }  # fmt: skip
    turned = sorted(key for key, minutes in turning.items() if minutes >= WEIGHED)
    watched.turning = {key: minutes for key, minutes in turning.items() if minutes < WEIGHED}
    changes = [Change(key, key not in watched.open) for key in turned]
    for change in changes:
        if change.began:
            watched.open[change.key] = now_ms
        else:
            del watched.open[change.key]
    return changes


def _is_news(watched: Watched, key: str) -> bool:
    """Whether a finding is of a piece that none stands of."""
    return key.rpartition(" ")[2] not in {each.rpartition(" ")[2] for each in watched.open}


def told(watched: Watched, train: Train) -> list[Finding]:
    """Return the open findings of a train in words, oldest first."""
    figures = moved(watched)
    meant = meaning(figures, measures(train), watched.open)
    return [
        finding(train, meant.get(key) or _as_it_was(key), figures, since) for key, since in watched.open.items()
    ]


def _as_it_was(key: str) -> Meaning:
    """A finding that is about to end: nothing moved speaks for it any more."""
    kind, _, piece = key.rpartition(" ")
    return Meaning(kind, piece, ())
