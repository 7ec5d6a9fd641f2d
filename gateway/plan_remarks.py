"""What a person of the trade would point at in a plan, each with its figure in the reader's units."""

from __future__ import annotations

from gateway.plan import Plan, Recipe, Result, each_recipe
from gateway.plan_need import DRY_KG_PER_H, DRYERS, WORKPLACE, spoils
from gateway.plan_units import Units
from gateway.water_path import Air, Passage, each_piece

OIL_K = 10.0
_LOW_PA = 10_000.0  # a train that ends this much below the nozzle's pressure is pointed at; ours


def remarks(plan: Plan, result: Result, units: Units) -> list[str]:
    """Every remark, in the order of the flow, the end of the train last."""
    passages = each_piece(result.passages)
    inlets = {passage.label: passage.inlet for passage in passages}
    # Where all the air goes past a piece, nothing reaches it.
    reached = [recipe for recipe in each_recipe(plan) if recipe.label in inlets]
    found = [words for recipe in reached for words in _about(recipe, inlets[recipe.label], units)]
    found += [f"{p.label}: ice may block" for p in passages if _ices(p)]
    found += _drains_in_frost(result, passages, units) + _water_in_oil(result, units)
    return found + _wall_assumed(plan, passages, units) + _ends_low(plan, result, units)


def _about(recipe: Recipe, inlet: Air, units: Units) -> list[str]:
    found = []
    highest, liquid = recipe.figures.get("highest_inlet_c"), inlet.liquid_kg_per_s * 3600.0
    fed = f"{recipe.label} is fed at {units.temperature(inlet.temperature_c)}"
    if recipe.kind in DRYERS and highest is None:
        found.append(f"{fed}; whether it can take that is not known, its highest inlet is not stated")
    elif highest is not None and inlet.temperature_c > highest:
        found.append(
            f"{fed}, above the {units.temperature(highest)} entered for it: what it then does is not known"
        )
    if spoils(recipe, inlet):
        how = "dissolves its salt" if recipe.kind == "deliquescent dryer" else "ruins its adsorbent"
        found.append(f"{recipe.label} gets {units.water(liquid)} of liquid, which {how}")
    return found


def _ices(passage: Passage) -> bool:
    return passage.wall_c is not None and passage.wall_c < 0.0 and (passage.gap_k or 0.0) < 0.0


def _drains_in_frost(result: Result, passages: list[Passage], units: Units) -> list[str]:
    """A drain that freezes drains nothing, and the model does not know it."""
    draining = [p.label for p in passages if p.drained_kg_per_h > DRY_KG_PER_H]
    if result.weather.air_temperature_c >= 0.0 or not draining:
        return []
    where = ", ".join(draining)
    return [f"{where}: drains in air below {units.temperature(0.0)} may freeze; the model takes them as working"]


def _water_in_oil(result: Result, units: Units) -> list[str]:
    """A discharge near the dew point of what it carries keeps water in the oil."""
    hot = result.passages[0].outlet
    above_k = hot.temperature_c - hot.point[0]
    if above_k > OIL_K:
        return []
    return [
        f"compressor: its discharge is {units.difference(above_k)} above the dew point there; below "
        f"{units.difference(OIL_K)} (suggestion: common practice, no source) water may stay in its oil"
    ]


def _wall_assumed(plan: Plan, passages: list[Passage], units: Units) -> list[str]:
    """Where nobody said how cold the pot gets, how much colder it may be before the answer turns."""
    if not any(each.name == "pot_wall_below_air" for each in plan.assumed):
        return []
    return [
        f"{p.label}: how far its wall lies below the air was not stated and is taken as {units.difference(0.0)}; "
        f"at {units.difference(p.gap_k)} or more water falls out in it"
        for p in passages
        if p.kind == WORKPLACE[0] and p.gap_k is not None and p.gap_k > 0.0
    ]


def _ends_low(plan: Plan, result: Result, units: Units) -> list[str]:
    end_pa = result.passages[-1].outlet.pressure_pa - result.weather.station_pressure_pa
    asked_pa = max((nozzle.gauge_pa for nozzle in plan.nozzles), default=0.0)
    if end_pa >= asked_pa - _LOW_PA:
        return []
    return [f"the train ends at {units.gauge(end_pa)}, the nozzle was planned at {units.gauge(asked_pa)}"]
