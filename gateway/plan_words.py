"""A plan's result as a person of the trade reads it, in SI or US units, and as JSON with SI units in the keys."""

from __future__ import annotations

import json
from textwrap import fill

from gateway.compressed_air import (
    at_pressure_c,
    iso_8573_humidity_class,
    modelled_liquid_class,
    productivity_loss_share,
    reference_dry_air_kg_per_m3,
)
from gateway.plan import Assumption, Plan, Result
from gateway.plan_need import (
    DRY_KG_PER_H,
    WORKPLACE,
    doubts,
    is_wet,
    meets_need,
    pot_margin_k,
    water_in_pot_and_hose_kg_per_h,
)
from gateway.plan_remarks import remarks
from gateway.plan_table import flow_table, with_and_without
from gateway.plan_units import UNITS, Units, restated
from gateway.psychrometrics import OutOfRange
from gateway.water_path import Air, Passage, each_piece

SCOPE = (
    "Modelled for a steady hour, every piece working as entered. A start, a stop, a full drain, spent salt or air "
    "that goes past a piece are not in it; the steel's own dew point is another question."
)


def text(plan: Plan, result: Result, units: Units) -> str:
    """The whole plan for a terminal of 100 columns."""
    label = f"{plan.label}{' (simulated)' if plan.simulated else ''}"
    said = [f"{label}: {_weather(result, units)}", sentence(plan, result, units), *_flow(result, units)]
    parts = [
        *said, _need(plan, result, units), SCOPE, "", *flow_table(result, units), "",
        *_pot_sees(result, units), "", *with_and_without(plan, result, units),
    ]  # fmt: skip
    if found := remarks(plan, result, units):
        parts += ["", *(f"Look at: {remark}." for remark in found)]
    parts += ["", "Assumed, because it was not stated:", *_assumed(plan, units)] if plan.assumed else []
    return "\n".join(fill(part, 100, subsequent_indent="  ") if len(part) > 100 else part for part in parts)


def _assumed(plan: Plan, units: Units) -> list[str]:
    """Each assumption once, with the places it holds for."""
    places: dict[str, list[str]] = {}
    for each in plan.assumed:
        places.setdefault(taken(each, units), []).append(each.where)
    return [f"  {what}: {', '.join(where)}" for what, where in places.items()]


def taken(each: Assumption, units: Units) -> str:
    """What an assumption takes, its figure in the reader's units."""
    return each.what.replace("{}", units.said(each.measures, each.value)) if each.measures else each.what


def _weather(result: Result, units: Units) -> str:
    w = result.weather
    pot = f", pot wall {units.difference(w.pot_wall_below_air_k)} below the air" if w.pot_wall_below_air_k else ""
    return (
        f"{units.temperature(w.air_temperature_c)}, {100.0 * w.rh:.0f} %RH, "
        f"{units.station(w.station_pressure_pa)}{pot}"
    )


def sentence(plan: Plan, result: Result, units: Units) -> str:
    """Where water falls out, and what that means at the pot."""
    wet = [
        f"{p.label} {units.water.little(p.formed_kg_per_h)}"
        for p in result.passages
        if p.formed_kg_per_h > DRY_KG_PER_H
    ]
    falls = f"Water falls out in: {', '.join(wet)}." if wet else "By this model no water falls out anywhere."
    margin, water = pot_margin_k(result), units.water.little(water_in_pot_and_hose_kg_per_h(result))
    if margin is None:
        return f"{falls} The plan has no pot or hose: what reaches the steel is not known."
    point = _point(result)
    if margin <= 0.0:
        below = f"{units.difference(-margin)} below the {point} of what reaches it"
        if water_in_pot_and_hose_kg_per_h(result) <= DRY_KG_PER_H:  # the air as a whole stays above its dew point
            return f"{falls} Water falls out on the walls of pot or hose, {below}; how much is not modelled."
        return f"{falls} Pot and hose get {water}: their coldest wall is {below}."
    if is_wet(result):
        return f"{falls} Pot and hose get {water}, carried over as liquid."
    clear = f"{units.difference(margin)} above the {point} of what reaches it"
    if doubted := doubts(plan, result):
        why = restated("\n".join(doubted), units).replace("\n", "; ")
        return f"{falls} Pot and hose: not known, since {why}. Worked out all the same, their wall is {clear}."
    none = "None falls out in pot and hose by this model" if wet else "In pot and hose"
    return f"{falls} {none}: their coldest wall is {clear}."


def _point(result: Result) -> str:
    """What the vapour has at the place of the least gap: a dew point or, below freezing, a frost point."""
    at_work = [p for p in result.passages if p.kind in WORKPLACE and p.gap_k is not None]
    return "frost point" if min(at_work, key=lambda p: p.gap_k or 0.0).frost else "dew point"


def _flow(result: Result, units: Units) -> list[str]:
    used, low, high, available = (
        units.flow.number(flow)
        for flow in (result.flow_used_kg_per_s, *result.flow_band_kg_per_s, result.flow_available_kg_per_s)
    )
    word = "wanted" if result.shortfall_share > 0.0 else "used"
    found = [
        f"Air {word}: {used} {units.flow.unit} ({units.flow_basis}; {low} to {high} by the band of the trade's "
        f"nozzle chart). The compressor gives {available}."
    ]
    if result.shortfall_share > 0.0:
        share = 100.0 * result.shortfall_share
        found.append(
            f"The compressor is short by {share:.0f} %: the pressure at the nozzle will fall. What follows is "
            "worked out with all the air it gives, at the pressures entered, so it does not hold as it stands."
        )
    lost_pa = sum(p.inlet.pressure_pa - p.outlet.pressure_pa for p in result.passages if p.kind == "hose")
    if lost_pa > 0.0:
        found.append(f"The hose takes {units.pressure_drop(lost_pa)}{_work(lost_pa)}.")
    return found


def _work(lost_pa: float) -> str:
    """The trade's rule about pressure lost before the nozzle, as what it is."""
    try:
        share = 100.0 * productivity_loss_share(lost_pa)
    except OutOfRange:  # the rule ends there, not the plan
        return ", more than the rule of thumb for the work lost by it is meant for"
    return f": by a rule of thumb (common practice, no source) up to {share:.0f} % of the work"


def _need(plan: Plan, result: Result, units: Units) -> str:
    if plan.need is None:
        return "No limit set: the plan says where water falls out, not whether that is acceptable."
    asked = f"Pot margin of {units.difference(plan.need.pot_margin_k)} ({plan.need.clause})"
    met = meets_need(plan, result)
    if met is None:
        why = "see above" if doubts(plan, result) else "see what to look at"
        why = "the plan has no pot or hose" if pot_margin_k(result) is None else why
        return f"{asked}: not known, {why}."
    if met:
        return f"{asked}: met, modelled."
    margin = pot_margin_k(result)
    liquid = margin is not None and margin >= plan.need.pot_margin_k
    return f"{asked}: not met, modelled{'; liquid is carried into pot or hose' if liquid else ''}."


def _pot_sees(result: Result, units: Units) -> list[str]:
    air, station = _air_at_the_pot(result), result.weather.station_pressure_pa
    point_c, frost = air.point
    at_7, _ = at_pressure_c(point_c, air.pressure_pa, station + 7e5, frost)
    word = {True: "frost point", False: "dew point"}
    line = units.gauge(air.pressure_pa - station)
    vapour, wet = (
        units.water.little(kg_per_s * 3600.0) for kg_per_s in (air.vapour_kg_per_s, air.liquid_kg_per_s)
    )
    indicated = iso_8573_humidity_class(at_7).removesuffix("the line's pressure") + units.gauge(7e5)
    return [
        f"{_reached(result)}: air of {units.temperature(air.temperature_c)}, vapour {vapour}, liquid {wet}; "
        f"pressure {word[frost]} {units.temperature(point_c)} at {line}, let down "
        f"to the station's pressure {_let_down(air, station, units)}; "
        f"{indicated}; {_liquid(air, line)} (ISO 8573-1:2010).",
    ]


def _let_down(air: Air, station_pa: float, units: Units) -> str:
    point_c, frost = air.point
    try:
        there_c, ice = at_pressure_c(point_c, air.pressure_pa, station_pa, frost)
    except OutOfRange:
        return "too dry to be worked out"
    return f"{'frost point' if ice else 'dew point'} {units.temperature(there_c)}"


def _reached(result: Result) -> str:
    return "What reaches the pot" if any(p.kind == "pot" for p in result.passages) else "What leaves the train"


def _liquid(air: Air, line: str) -> str:
    if air.liquid_kg_per_s <= 0.0:
        return "no liquid modelled"
    dry_m3 = reference_dry_air_kg_per_m3("ISO 8573-1")
    return modelled_liquid_class(air.liquid_kg_per_s / air.dry_kg_per_s * dry_m3, line)


def _air_at_the_pot(result: Result) -> Air:
    """The air that reaches the pot, or what leaves the train where there is none."""
    return next((p.inlet for p in result.passages if p.kind == "pot"), result.passages[-1].outlet)


def as_json(plan: Plan, result: Result) -> str:
    """The same for a machine."""
    w = result.weather
    made = {
        "label": plan.label,
        "simulated": plan.simulated,
        "weather": {
            "air_temperature_c": w.air_temperature_c, "relative_humidity": w.rh,
            "station_pressure_pa": w.station_pressure_pa, "pot_wall_below_air_k": w.pot_wall_below_air_k,
        },
        "flow_used_kg_per_s": result.flow_used_kg_per_s,
        "flow_used_band_kg_per_s": list(result.flow_band_kg_per_s),
        "flow_available_kg_per_s": result.flow_available_kg_per_s,
        "shortfall_share": result.shortfall_share,
        "water_in_pot_and_hose_kg_per_h": water_in_pot_and_hose_kg_per_h(result),
        "pot_margin_k": pot_margin_k(result),
        "doubts": doubts(plan, result),
        "need": plan.need and {"pot_margin_k": plan.need.pot_margin_k, "clause": plan.need.clause},
        "pieces": [_piece(p) for p in each_piece(result.passages)],
        "remarks": remarks(plan, result, UNITS["si"]),
        "assumed": [f"{each.where}: {taken(each, UNITS['si'])}" for each in plan.assumed],
    }  # fmt: skip
    return json.dumps(made, ensure_ascii=False, indent=2)


def _piece(p: Passage) -> dict[str, object]:
    return {
        "label": p.label, "kind": p.kind, "at_work": p.kind in WORKPLACE,
        "inlet_c": p.inlet.temperature_c, "outlet_c": p.outlet.temperature_c,
        "inlet_pa": p.inlet.pressure_pa, "outlet_pa": p.outlet.pressure_pa,
        "condensation_point_c": p.point_c, "frost": p.frost, "wall_c": p.wall_c, "gap_k": p.gap_k,
        "condensation_margin_k": p.margin_k, "formed_kg_per_h": p.formed_kg_per_h,
        "drained_kg_per_h": p.drained_kg_per_h, "taken_kg_per_h": p.taken_kg_per_h,
        "carried_kg_per_h": p.carried_kg_per_h, "left_kg_per_h": p.left_kg_per_h, "heat_w": p.heat_w,
    }  # fmt: skip
