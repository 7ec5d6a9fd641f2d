"""The lines of how good forecasts and alarms are: each figure with its 95 % interval and its goal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from tests.bench import forecast, nuisance, places
from tests.bench.forecast import Figure
from tests.bench.weather import fronts


class Line(NamedTuple):
    """One line of the bench: name, figure, unit, goal, decimals."""

    name: str
    figure: Figure
    unit: str
    goal: str
    decimals: int = 1


def lines(*, short: bool) -> Iterator[Line]:
    """Yield every line; of a short run those of other sites are left out."""
    month = forecast.month()
    yield from _site("forecast", forecast.run(month), 70, 50)
    yield from _alarms(short=short)
    if not short:
        yield from _site("forecast_new_site", forecast.fallback_only(month), None, 55)
        yield from _elsewhere(month)


def _site(name: str, said: forecast.Run, at_15: int | None, at_30: int) -> Iterator[Line]:
    if at_15 is not None:
        yield Line(f"{name}_warned_15_min_ahead", forecast.warned(said, 15), "%", f">={at_15}")
    yield Line(f"{name}_warned_30_min_ahead", forecast.warned(said, 30), "%", f">={at_30}")
    yield Line(f"{name}_false_warnings", forecast.false_a_week(said), "a week", "<=2", 2)
    if at_15 is not None:
        yield from _probabilities(name, said)


def _probabilities(name: str, said: forecast.Run) -> Iterator[Line]:
    for horizon in (60, 120):
        bare, dressed = forecast.skills(said, horizon)
        yield Line(f"{name}_skill_{horizon}_over_bare", bare, "of 1", ">=0.5", 2)
        yield Line(f"{name}_skill_{horizon}_over_dressed", dressed, "of 1", ">=0.2", 2)
    whole = forecast.coverage(said)
    yield Line(f"{name}_coverage_low", whole, "%", ">=75")
    yield Line(f"{name}_coverage_high", whole, "%", "<=85")
    for first in (0, 10, 20):
        block = forecast.coverage(said, max(first, forecast.FIRST_DAY), first + 10)
        yield Line(f"{name}_coverage_days_{first + 1}_to_{first + 10}", block, "%", ">=75")
    yield Line(f"{name}_crossing_in_its_80_percent", forecast.moments(said), "%", ">=75")


def _elsewhere(month: list[float]) -> Iterator[Line]:
    """Brier of what is said over the fallback's: at a day never seen, after a move, and where no day is alike."""
    unseen = [margins for day in (130, 220) for margins in places.months(day).values()]
    pairs = [(forecast.run(margins), forecast.fallback_only(margins)) for margins in unseen]
    yield from _site("forecast_elsewhere", forecast.joined([ours for ours, _ in pairs]), None, 50)
    plain = forecast.joined([each for _, each in pairs])
    yield from _site("forecast_elsewhere_new_site", plain, None, 55)
    yield Line("forecast_elsewhere_over_fallback", forecast.over(pairs), "x", "<=1", 2)
    moved = [forecast.moved_to_fronts(month, seed) for seed in (1, 2)]
    day = forecast.over_fallback([forecast.moved_to_alamosa(month)], 10)
    yield Line("forecast_unseen_day_over_fallback", day, "x", "<=1", 2)
    yield Line(
        "forecast_fronts_over_fallback", forecast.over_fallback([fronts(14, 1), fronts(14, 2)]), "x", "<=1", 2
    )
    yield Line("forecast_moved_to_fronts_over_fallback", forecast.over_fallback(moved, 10), "x", "<=1", 2)


def _alarms(*, short: bool) -> Iterator[Line]:
    noises: dict[str, tuple[int | None, ...]] = {"measured": (None,)}
    noises["noisy"] = nuisance.SEEDS
    for limit in (nuisance.MARGIN, nuisance.AIR):
        for kind, seeds in noises.items():
            said, name = nuisance.figures(limit, seeds), f"alarm_{limit.id}_{kind}"
            yield Line(f"{name}_a_shift", said.a_shift, "alarms", "<=1", 2)
            yield Line(f"{name}_worst_shift", _exact(said.worst_shift), "alarms", "<=4", 0)
            yield Line(f"{name}_again_in_10_min", said.again_percent, "%", "<=5")
            yield Line(f"{name}_missed_of_{said.events}", _exact(said.missed), "events", "<=0", 0)
            yield Line(f"{name}_delay_95", said.delay_95_min, "min", "<=3" if kind == "measured" else "<=6")
            if kind == "noisy":
                yield Line(f"{name}_again_in_10_min_held_out", said.again_held_out, "%", "<=5")
                yield Line(f"{name}_crossings_cut", said.cut, "x", ">=8")


def _exact(count: int) -> Figure:
    return Figure(count, count, count)
