"""How good time to limit and the warnings ahead are, on weather whose future is known.

Nothing is fitted to the days that are scored: the program learns errors, curves and thresholds as it goes, from
the days before. Its few constants were chosen on the Payerne month, on simulated fronts and on a year of the Po
valley, so figures of the first two flatter; Alamosa and the three of `places` chose nothing. A warning is right
when a sustained stay below 3 K (ten minutes) begins while it stands, at most four hours.
Intervals are 95 %, from 1,000 drawings of whole days. The first two days are not scored.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from alerts import forecast, forecast_paths
from alerts.forecast import HORIZONS_MIN, LEADS_MIN, Scale, Track, paths_of
from alerts.time_to_limit import hear, outlook
from tests.bench.weather import DAY_MIN, alamosa, fronts, payerne
from tests.sites import margin_limit

LIMIT = margin_limit()
LIMIT_K, BUDGET, FIRST_DAY, BLOCK_DAYS = 3.0, 2.0, 2, 10
MIDNIGHT = 20_000 * DAY_MIN
SCORED = (30, 60, 120)
AT_60 = LEADS_MIN.index(60)
Days = dict[int, list[float]]


class Figure(NamedTuple):
    """One figure with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass
class Word:
    """What was said at one minute inside the limit."""

    minute: int
    p: dict[int, float]
    moment: tuple[float, float | None] | None  # 80 % of the crossing, where one is likely


@dataclass
class Run:
    """What the program said of one series, and what came."""

    margins: Sequence[float]
    words: list[Word] = field(default_factory=list)
    covered: list[tuple[int, bool]] = field(
        default_factory=list
    )  # minute, the value an hour later inside its 80 %
    stays: list[tuple[int, int | None]] = field(default_factory=list)  # first minute, minutes it was warned ahead
    false: list[int] = field(default_factory=list)


def run(margins: Sequence[float], track: Track | None = None, start: int = MIDNIGHT) -> Run:
    """Feed a series minute by minute and note what is said."""
    track, found = Track() if track is None else track, Run(margins)
    for minute, margin in enumerate(margins):
        stood, in_stay = track.early.said.since, track.early.stay.began
        hear(track, LIMIT, start + minute, margin - LIMIT_K, BUDGET)
        _note_warning(found, track, start, minute, stood, in_stay)
        if minute % 5 == 0:
            _note_word(found, track, minute)
    return found


def _note_warning(
    found: Run, track: Track, start: int, minute: int, stood: int | None, in_stay: int | None
) -> None:
    early = track.early
    if in_stay is None and early.stay.began is not None:
        began = early.stay.began - start
        ahead = None if stood is None or stood - start >= began else began - (stood - start)
        found.stays.append((began, ahead))
    elif stood is not None and early.said.since is None:
        found.false.append(minute)


def _note_word(found: Run, track: Track, minute: int) -> None:
    said = outlook(track, LIMIT)
    if said.why_not:
        return
    if minute + 60 < len(found.margins):
        spread, path = track.ways[track.way].spreads(said.inside)[AT_60], paths_of(track)[track.way]
        off = Scale.of(LIMIT).y(found.margins[minute + 60] - LIMIT_K) - path[forecast.STEPS_MIN.index(60)]
        found.covered.append((minute, spread.low * spread.error <= off <= spread.high * spread.error))
    if said.inside:
        moment = None if said.likely_min is None else (said.earliest_min or 0.0, said.latest_min)
        p = dict(zip(HORIZONS_MIN, forecast.probabilities(track), strict=True))
        found.words.append(Word(minute, p, moment))


# -- scores ----------------------------------------------------------------------------------------------


def drawn(days: Days, figure: Callable[[Iterable[list[float]]], float]) -> Figure:
    """Return a figure of all days and its 95 % interval from drawings of whole days."""
    chance, names = random.Random(1), sorted(days)
    draws = sorted(figure([days[chance.choice(names)] for _ in names]) for _ in range(1000))
    return Figure(figure(list(days.values())), draws[25], draws[974])


def empty(run_: Run) -> Days:
    """Return one row of nothing for every scored day."""
    return {day: [] for day in range(FIRST_DAY, len(run_.margins) // DAY_MIN)}


def warned(run_: Run, ahead_min: int) -> Figure:
    """Return the share [%] of sustained stays warned at least so many minutes ahead."""
    days = empty(run_)
    for began, ahead in run_.stays:
        if began // DAY_MIN in days:
            days[began // DAY_MIN].append(100.0 * (ahead is not None and ahead >= ahead_min))
    return drawn(days, mean)


def false_a_week(run_: Run) -> Figure:
    """Return false warnings a week."""
    days = {day: [0.0] for day in empty(run_)}
    for minute in run_.false:
        if minute // DAY_MIN in days:
            days[minute // DAY_MIN][0] += 7.0
    return drawn(days, mean)


def mean(days: Iterable[list[float]]) -> float:
    """Return the mean of all values of these days, 0 where there are none."""
    flat = [value for day in days for value in day]
    return sum(flat) / max(len(flat), 1)


def crossed(margins: Sequence[float], minute: int, horizon: int) -> bool | None:
    """Whether the limit is crossed within a horizon; None when the series ends before."""
    if minute + horizon >= len(margins):
        return None
    return min(margins[minute + 1 : minute + horizon + 1]) < LIMIT_K


def skills(run_: Run, horizon: int) -> tuple[Figure, Figure]:
    """Return Brier skill against bare persistence ("inside stays inside") and against error-dressed persistence.

    Dressed: the share of the falls within the horizon, on the days of other blocks, that would cross from here.
    """
    rows = [
        (each.minute, each.p[horizon], float(came)) for each in run_.words
        if (came := crossed(run_.margins, each.minute, horizon)) is not None and each.minute >= FIRST_DAY * DAY_MIN
    ]  # fmt: skip
    falls = [(m // (BLOCK_DAYS * DAY_MIN), _fall(run_.margins, m, horizon)) for m, _, _ in rows]
    others = {b: sorted(fall for block, fall in falls if block != b) for b in {block for block, _ in falls}}
    days = {day: [0.0, 0.0, 0.0] for day in empty(run_)}
    for minute, p, came in rows:
        known = others[minute // (BLOCK_DAYS * DAY_MIN)]
        dressed = bisect_left(known, LIMIT_K - run_.margins[minute]) / len(known)
        for at, error in enumerate((p - came, came, dressed - came)):
            days[minute // DAY_MIN][at] += error * error
    return drawn(days, lambda drawn_: _skill(drawn_, 1)), drawn(days, lambda drawn_: _skill(drawn_, 2))


def _fall(margins: Sequence[float], minute: int, horizon: int) -> float:
    return min(margins[minute + 1 : minute + horizon + 1]) - margins[minute]


def _skill(days: Iterable[list[float]], against: int) -> float:
    rows = list(days)
    return 1 - sum(row[0] for row in rows) / max(sum(row[against] for row in rows), 1e-9)


def coverage(run_: Run, first_day: int = FIRST_DAY, last_day: int = 1000) -> Figure:
    """Return how many [%] of the values an hour later lay inside their 80 % interval."""
    days: Days = {}
    for minute, inside in run_.covered:
        if first_day <= minute // DAY_MIN < last_day:
            days.setdefault(minute // DAY_MIN, []).append(100.0 * inside)
    return drawn(days, mean)


def moments(run_: Run) -> Figure:
    """Return how many [%] of the crossings came between the earliest and the latest minute that were said."""
    days = empty(run_)
    below = [minute for minute, margin in enumerate(run_.margins) if margin < LIMIT_K]
    for each in run_.words:
        at = bisect_left(below, each.minute + 1)
        if each.moment is None or at == len(below) or each.minute // DAY_MIN not in days:
            continue
        after, (earliest, latest) = below[at] - each.minute, each.moment
        # The curve is read between its points, so a minute may fall half a step beside.
        days[each.minute // DAY_MIN].append(100.0 * (earliest <= after and (latest is None or after <= latest)))
    return drawn(days, mean)


# -- other sites -----------------------------------------------------------------------------------------


def fallback_only(margins: Sequence[float]) -> Run:
    """Return what a site says that never learns its usual day."""
    least, forecast_paths.LEAST_DAYS = forecast_paths.LEAST_DAYS, 1 << 30
    try:
        return run(margins)
    finally:
        forecast_paths.LEAST_DAYS = least


def over_fallback(series: Sequence[Sequence[float]], first_day: int = FIRST_DAY) -> Figure:
    """Return Brier of what is said over that of the fallback alone, at 60 and 120 min together."""
    return over([(run(margins), fallback_only(margins)) for margins in series], first_day)


def over(pairs: Sequence[tuple[Run, Run]], first_day: int = FIRST_DAY) -> Figure:
    """Return the same of series that were run already, with the usual day and without."""
    days: Days = {}
    for number, (ours, plain) in enumerate(pairs):
        margins = ours.margins
        for one, other in zip(ours.words, plain.words, strict=True):
            if one.minute < first_day * DAY_MIN:
                continue
            row = days.setdefault(1000 * number + one.minute // DAY_MIN, [0.0, 0.0])
            for horizon in (60, 120):
                if (came := crossed(margins, one.minute, horizon)) is not None:
                    row[0] += (one.p[horizon] - came) ** 2
                    row[1] += (other.p[horizon] - came) ** 2
    return drawn(days, lambda drawn_: 1 - _skill(drawn_, 1))


def joined(runs: Sequence[Run]) -> Run:
    """Return several series as one, for figures of warnings; each begins as a new site."""
    found, start = Run([]), 0
    for each in runs:
        found.margins = [*found.margins, *each.margins]
        found.stays += [(start + began, ahead) for began, ahead in each.stays]
        found.false += [start + minute for minute in each.false]
        start += len(each.margins)
    return found


def month() -> list[float]:
    """Return the margins of the Payerne month."""
    return [air.margin_k() for air in payerne()]


def moved_to_alamosa(margins: Sequence[float]) -> list[float]:
    """Return ten days at Payerne and then the day at Alamosa: the usual day is another site's."""
    return [*margins[: 10 * DAY_MIN], *(air.margin_k() for air in alamosa())]


def moved_to_fronts(margins: Sequence[float], seed: int) -> list[float]:
    """Return ten days at Payerne and then five of fronts."""
    return [*margins[: 10 * DAY_MIN], *fronts(5, seed)]
