"""Many hours through one plan: which of them put water into pot or hose, how much, and which are not known."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from textwrap import wrap

from gateway.plan import Plan, Result, run
from gateway.plan_need import (
    DRY_KG_PER_H,
    doubts,
    is_wet,
    meets_need,
    pot_margin_k,
    water_in_pot_and_hose_kg_per_h,
)
from gateway.plan_times import Hour
from gateway.plan_units import Units, restated
from gateway.psychrometrics import OutOfRange

WORST = 10
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one hour of weather brings: water in pot and hose [kg/h], their least gap [K]; None where not known."""

    hour: Hour
    water_kg_per_h: float | None = None
    margin_k: float | None = None
    wet: bool = False
    short: bool = False
    met: bool | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Year:
    """All hours worked out, and the water of each piece over all known hours [kg]."""

    outcomes: tuple[Outcome, ...]
    formed_kg: dict[str, float]
    need_k: float | None

    @property
    def known(self) -> list[Outcome]:
        """The hours that could be worked out."""
        return [each for each in self.outcomes if each.water_kg_per_h is not None]

    @property
    def wet(self) -> list[Outcome]:
        """The hours with water in pot or hose."""
        return [each for each in self.outcomes if each.wet]

    @property
    def below_need(self) -> list[Outcome]:
        """The hours in which what the user asked of the pot is not met; empty where nothing was asked."""
        return [each for each in self.known if each.met is False]


def work_out(plan: Plan, hours: Sequence[Hour], progress: Progress) -> Year:
    """Walk every hour; what lies outside the physics is not known, with the reason."""
    outcomes: list[Outcome] = []
    formed: dict[str, float] = {}
    for done, hour in enumerate(hours, 1):
        outcomes.append(_outcome(plan, hour, formed))
        progress(done, len(hours))
    return Year(tuple(outcomes), formed, plan.need.pot_margin_k if plan.need else None)


def _outcome(plan: Plan, hour: Hour, formed: dict[str, float]) -> Outcome:
    if hour.weather is None:
        return Outcome(hour, reason=hour.reason)
    try:
        result: Result = run(plan, hour.weather)
    except OutOfRange as error:
        return Outcome(hour, reason=str(error))
    short = result.shortfall_share > 0.0
    if (doubted := doubts(plan, result)) and not is_wet(result):
        return Outcome(hour, short=short, reason=doubted[0])
    for passage in result.passages:
        formed[passage.label] = formed.get(passage.label, 0.0) + max(passage.formed_kg_per_h, 0.0)
    water = water_in_pot_and_hose_kg_per_h(result)
    return Outcome(hour, water, pot_margin_k(result), is_wet(result), short, meets_need(plan, result))


def text(year: Year, units: Units) -> str:
    """The hours in words and tables, for a terminal."""
    known, wet, total = len(year.known), len(year.wet), len(year.outcomes)
    share = f" ({100.0 * wet / known:.1f} %)" if known else ""
    lines = [
        f"Of {known} hours worked out, water falls out in pot or hose in {wet}{share}.",
        "Every hour is counted as if the crew blasted through it.",
    ]
    if total > known:
        lines.append(f"{total - known} of {total} hours are not known, which is not the same as dry:")
        lines += _reasons(year, units)
    if unplaced := sum(each.hour.month == 0 for each in year.outcomes):
        lines.append(
            f"{unplaced} rows have no time such as 2026-07-01 13:00: hours missing between them cannot be seen."
        )
    if year.need_k is not None:
        lines.append(f"The pot margin asked for is not met in {len(year.below_need)} hours, modelled.")
    else:
        lines.append("No limit set: no pot margin was asked for.")
    if short := sum(each.short for each in year.outcomes):
        lines.append(
            f"The compressor is short of air in {short} of the hours: the pressure at the nozzle will fall."
        )
    return "\n".join(
        [*lines, *_percentiles(year, units), *_months(year), *_worst(year, units), *_pieces(year, units)]
    )


def _reasons(year: Year, units: Units) -> list[str]:
    """Every reason with its count and the first hour it stands for; figures in it are those of that hour."""
    firsts: dict[str, tuple[int, Outcome]] = {}
    for each in year.outcomes:
        if each.water_kg_per_h is None:
            kind = re.sub(r"-?\d[\d.e+-]*", "#", each.reason)
            count, first = firsts.get(kind, (0, each))
            firsts[kind] = (count + 1, first)
    return [
        f"  {count} x {restated(first.reason, units)} (first at {first.hour.time})"
        for count, first in firsts.values()
    ]


def _percentiles(year: Year, units: Units) -> list[str]:
    margins = sorted(each.margin_k for each in year.known if each.margin_k is not None)
    if not margins:
        return []
    at = {p: margins[min(int(p / 100.0 * len(margins)), len(margins) - 1)] for p in (0, 1, 10, 50, 90)}
    told = ", ".join(
        f"{'least' if p == 0 else f'{p} % of hours below'} {units.difference(k)}" for p, k in at.items()
    )
    return ["", *wrap(f"Least gap of pot and hose: {told}.", 100)]


def _months(year: Year) -> list[str]:
    months = sorted({each.hour.month for each in year.outcomes} - {0})
    if not months:
        return []
    rows = ["", "month   hours known   water in pot or hose   not known"]
    for month in months:
        these = [each for each in year.outcomes if each.hour.month == month]
        known = sum(each.water_kg_per_h is not None for each in these)
        rows.append(f"{month:>5}{known:>14}{sum(each.wet for each in these):>23}{len(these) - known:>12}")
    return rows


def _worst(year: Year, units: Units) -> list[str]:
    worst = sorted(year.wet, key=lambda each: (-(each.water_kg_per_h or 0.0), each.margin_k or 0.0))[:WORST]
    if not worst:
        return []
    rows = ["", f"{'worst hours':<22}{'outside':>10}{'RH':>7}{'pot and hose get':>19}{'least gap':>12}"]
    for each in worst:
        air = each.hour.weather
        assert air is not None
        gap = "-" if each.margin_k is None else units.difference(each.margin_k)
        rows.append(
            f"  {each.hour.time:<20}{units.temperature(air.air_temperature_c):>10}{100.0 * air.rh:>5.0f} %"
            f"{units.water.little(each.water_kg_per_h or 0.0):>19}{gap:>12}"
        )
    return rows


def _pieces(year: Year, units: Units) -> list[str]:
    told = [f"{label} {units.amount.little(kg)}" for label, kg in year.formed_kg.items() if kg > DRY_KG_PER_H]
    return ["", f"Water that falls out over all known hours: {', '.join(told) or 'none'}."]


def as_json(year: Year) -> str:
    """The same for a machine: SI units in the keys, null where an hour is not known."""
    made = {
        "hours": len(year.outcomes),
        "hours_known": len(year.known),
        "hours_not_known": len(year.outcomes) - len(year.known),
        "hours_with_water_in_pot_or_hose": len(year.wet),
        "hours_below_need": None if year.need_k is None else len(year.below_need),
        "formed_kg": year.formed_kg,
        "each": [
            {
                "time": each.hour.time, "water_in_pot_and_hose_kg_per_h": each.water_kg_per_h,
                "pot_margin_k": each.margin_k, "reason": each.reason,
            }
            for each in year.outcomes
        ],
    }  # fmt: skip
    return json.dumps(made, ensure_ascii=False)
