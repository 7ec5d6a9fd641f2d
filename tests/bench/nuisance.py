"""How often the alarm of a limit speaks, and how late: the real alarm on the Payerne month, plain and with noise.

Noise is white, rectangular, ±0.3 K on the steel and ±2 % on the humidity, drawn anew every minute. A sustained
event is a stay outside of ten minutes in the month as measured. Limits: steel margin at least 3 K, deadband 0.5 K;
air humidity at most 85 %, deadband 2 %; on-delay 1 min, off-delay 15 min, as `deploy/example.toml` suggests:
chosen on the odd days of the month, held out are the even ones. Intervals: 95 %, whole days drawn, each with all
its noise, since thirty days are thirty days however often noise is drawn over them.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from alerts.alarm import Alarm, Change, step
from alerts.early import Stay
from alerts.limits import Limit, judge
from alerts.measured import Measured, Quantity, Validity
from tests.bench.forecast import Days, Figure, drawn, mean
from tests.bench.weather import DAY_MIN, payerne
from tests.sites import margin_limit

SHIFT_MIN, AGAIN_MIN, SEEDS = 720, 10, tuple(range(1, 21))
DAYS = range(30)
HELD_OUT = frozenset(DAYS[1::2])  # the second of the month, the fourth, ...
NOISE_K, NOISE_RH = 0.3, 0.02
MARGIN = margin_limit(off_delay_s=900.0)
AIR = margin_limit(
    id="air", quantity=Quantity.RELATIVE_HUMIDITY, relation="at most", threshold=85.0, unit="%RH",
    deadband=2.0, deadband_unit="%RH", off_delay_s=900.0,
)  # fmt: skip


@dataclass
class Heard:
    """What the alarm of one limit did in a month, in minutes; delays: by first minute of each event."""

    raised: list[int] = field(default_factory=list)
    again: list[bool] = field(default_factory=list)  # of each raised: within ten minutes of the last return
    delays: dict[int, int | None] = field(default_factory=dict)
    crossings: list[int] = field(default_factory=list)


def series(limit: Limit, seed: int | None) -> list[float]:
    """Return the values a limit is judged on, as measured (None) or with noise."""
    chance = random.Random(seed)
    wobble = (lambda width: chance.uniform(-width, width)) if seed is not None else (lambda width: 0.0 * width)
    if limit is MARGIN:
        return [air.margin_k(wobble(NOISE_K), wobble(NOISE_RH)) for air in payerne()]
    return [min(1.0, max(0.0, air.rh + wobble(NOISE_RH))) for air in payerne()]


def events(limit: Limit, values: Sequence[float]) -> list[tuple[int, int]]:
    """Return first and last minute of each sustained event."""
    stay, found = Stay(), list[tuple[int, int]]()
    sign = 1.0 if limit.relation == "at least" else -1.0
    for minute, value in enumerate(values):
        began = stay.began
        stay.feed(minute, sign * (value - limit.threshold_inside), limit.deadband_inside)
        if began is not None and stay.began is None:
            found.append((began, minute))
    return [*found, *([(stay.began, len(values))] if stay.began is not None else [])]


def listen(limit: Limit, values: Sequence[float], true: Sequence[tuple[int, int]]) -> Heard:
    """Run the alarm over a month; an event is detected when its alarm stands."""
    alarm, heard, returned, outside = Alarm(), Heard(), -DAY_MIN, False
    standing: list[bool] = []
    for minute, value in enumerate(values):
        judgement = judge(limit, Measured(value, None, minute * 60_000, Validity.GOOD))
        change = step(alarm, limit, judgement, minute * 60_000)
        if change is Change.BREACH:
            heard.raised.append(minute)
            heard.again.append(minute - returned <= AGAIN_MIN)
        elif change is Change.RETURNED:
            returned = minute
        standing.append(alarm.active)
        was, outside = outside, (judgement.distance or 0.0) < 0
        if outside and not was:
            heard.crossings.append(minute)
    for began, ended in true:
        heard.delays[began] = next((m - began for m in range(began, ended) if standing[m]), None)
    return heard


@dataclass(frozen=True)
class Said:
    """The figures of one limit over all months listened to."""

    a_shift: Figure
    worst_shift: int
    again_percent: Figure
    again_held_out: Figure
    missed: int
    events: int
    delay_95_min: Figure
    cut: Figure


def figures(limit: Limit, seeds: Sequence[int | None]) -> Said:
    """Return the figures of a limit, as measured (seeds: None) or with noise drawn several times."""
    true = events(limit, series(limit, None))
    months = [listen(limit, series(limit, seed), true) for seed in seeds]
    shifts: dict[int, int] = {}
    for number, heard in enumerate(months):
        for minute in heard.raised:
            at = 1000 * number + minute // SHIFT_MIN
            shifts[at] = shifts.get(at, 0) + 1
    again = _days(months, lambda h: [(m, 100.0 * a) for m, a in zip(h.raised, h.again, strict=True)])
    delays = _days(months, lambda h: [(began, float(d)) for began, d in h.delays.items() if d is not None])
    return Said(
        drawn(_rates(months, lambda h: h.raised, 0.5), mean),
        max(shifts.values(), default=0),
        drawn(again, mean),
        drawn({day: again[day] for day in HELD_OUT}, mean),
        sum(delay is None for heard in months for delay in heard.delays.values()),
        len(true) * len(months),
        drawn(delays, _late),
        drawn(_pairs(months), lambda rows: _over(list(rows))),
    )


def _days(months: Sequence[Heard], pick: Callable[[Heard], list[tuple[int, float]]]) -> Days:
    """Put values under their day, those of all draws; every day is there, with nothing perhaps."""
    days: Days = {day: [] for day in DAYS}
    for heard in months:
        for minute, value in pick(heard):
            days[minute // DAY_MIN].append(value)
    return days


def _rates(months: Sequence[Heard], pick: Callable[[Heard], list[int]], share: float) -> Days:
    """How often something was heard on each day, times share: a value a draw."""
    counts = [_days([heard], lambda h: [(minute, 1.0) for minute in pick(h)]) for heard in months]
    return {day: [share * len(each[day]) for each in counts] for day in DAYS}


def _pairs(months: Sequence[Heard]) -> Days:
    raw, told = _rates(months, lambda h: h.crossings, 1.0), _rates(months, lambda h: h.raised, 1.0)
    return {day: [sum(raw[day]), sum(told[day])] for day in raw}


def _over(rows: Sequence[list[float]]) -> float:
    return sum(row[0] for row in rows) / max(sum(row[1] for row in rows), 1.0)


def _late(days: object) -> float:
    """The delay that 95 % of the events do not exceed."""
    flat = sorted(value for day in days for value in day)  # type: ignore[attr-defined]
    return float(flat[max(0, -(-len(flat) * 95 // 100) - 1)]) if flat else 0.0
