"""A plan's result as a person of the trade reads it, in SI or US units, and as JSON with SI units in the keys."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from textwrap import fill

from gateway.compressed_air import (
    PSI_PA,
    at_pressure_c,
    iso_8573_humidity_class,
    modelled_liquid_class,
    productivity_loss_share,
    reference_dry_air_kg_per_m3,
)
from gateway.plan import (
    DRY_KG_PER_H,
    SOLIDS,
    WORKPLACE,
    Plan,
    Result,
    is_wet,
    meets_need,
    pot_margin_k,
    run,
    treatment,
    water_in_pot_and_hose_kg_per_h,
    without,
)
from gateway.plan_figures import SCALES
from gateway.psychrometrics import OutOfRange
from gateway.water_path import Air, Passage, each_piece

GALLON_KG = 3.785411784  # of water, taken as 1 kg/l


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit a reader wants: its sign, what turns the inside value into it, and decimals."""

    unit: str
    outside: Callable[[float], float]
    decimals: int

    def number(self, inside: float) -> str:
        """The number alone, for a table that names the unit in its head."""
        return f"{self.outside(inside):.{self.decimals}f}"

    def __call__(self, inside: float) -> str:
        """Number and unit."""
        return f"{self.number(inside)} {self.unit}"


@dataclass(frozen=True, slots=True)
class Units:
    """How a reader wants temperatures, differences, gauge pressures and water [kg/h inside]."""

    temperature: Scale
    difference: Scale
    gauge: Scale
    water: Scale


UNITS = {
    "si": Units(
        Scale("°C", lambda c: c, 1), Scale("K", lambda k: k, 1), Scale("bar(g)", lambda pa: pa / 1e5, 1),
        Scale("l/h", lambda kg: kg, 2),
    ),
    "us": Units(
        Scale("°F", lambda c: c * 1.8 + 32.0, 1), Scale("Δ°F", lambda k: k * 1.8, 1),
        Scale("psig", lambda pa: pa / PSI_PA, 0), Scale("gal/day", lambda kg: kg * 24.0 / GALLON_KG, 1),
    ),
}  # fmt: skip


def text(plan: Plan, result: Result, units: Units) -> str:
    """The whole plan for a terminal of 100 columns."""
    label = f"{plan.label}{' (simulated)' if plan.simulated else ''}"
    said = [f"{label}: {_weather(result, units)}", sentence(result, units), *_flow(result, units)]
    parts = [
        *said, _need(plan, result, units), "", *_table(result, units), "", *_pot_sees(result, units), "",
        *_with_and_without(plan, result, units),
    ]  # fmt: skip
    parts += ["", *(f"Look at: {remark}." for remark in result.remarks)] if result.remarks else []
    parts += ["", "Assumed, because it was not stated:", *_assumed(plan)] if plan.assumed else []
    return "\n".join(fill(part, 100, subsequent_indent="  ") if len(part) > 100 else part for part in parts)


def _assumed(plan: Plan) -> list[str]:
    """Each assumption once, with the places it holds for."""
    places: dict[str, list[str]] = {}
    for each in plan.assumed:
        places.setdefault(each.what, []).append(each.where)
    return [f"  {what}: {', '.join(where)}" for what, where in places.items()]


def _weather(result: Result, units: Units) -> str:
    w = result.weather
    pot = f", pot wall {units.difference(w.pot_wall_below_air_k)} below the air" if w.pot_wall_below_air_k else ""
    return (
        f"{units.temperature(w.air_temperature_c)}, {100.0 * w.rh:.0f} %RH, "
        f"{w.station_pressure_pa / 100.0:.0f} hPa{pot}"
    )


def sentence(result: Result, units: Units) -> str:
    """Where water falls out, and what that means at the pot."""
    wet = [
        f"{p.label} {units.water(p.formed_kg_per_h)}" for p in result.passages if p.formed_kg_per_h > DRY_KG_PER_H
    ]
    falls = f"Water falls out in: {', '.join(wet)}." if wet else "No water falls out anywhere."
    margin, water = pot_margin_k(result), units.water(water_in_pot_and_hose_kg_per_h(result))
    if margin is None:
        return f"{falls} The plan has no pot or hose."
    if margin <= 0.0:
        below = f"{units.difference(-margin)} below the dew point of what reaches it"
        return f"{falls} Pot and hose get {water}: their coldest wall is {below}."
    if is_wet(result):
        return f"{falls} Pot and hose get {water}, carried over as liquid."
    clear = f"{units.difference(margin)} above the dew point of what reaches it"
    return f"{falls} None falls out in pot and hose: their coldest wall is {clear}."


def _flow(result: Result, units: Units) -> list[str]:
    per_scfm = SCALES["flow of free air"]["cfm"] * reference_dry_air_kg_per_m3("scf 68 °F")
    used, low, high, available = (
        f"{flow / per_scfm:.0f}"
        for flow in (result.flow_used_kg_per_s, *result.flow_band_kg_per_s, result.flow_available_kg_per_s)
    )
    found = [
        f"Air used: {used} scfm (dry, 68 °F; {low} to {high} by the band of the trade's nozzle chart). "
        f"The compressor gives {available}."
    ]
    if result.shortfall_share > 0.0:
        share = 100.0 * result.shortfall_share
        found.append(f"The compressor is short by {share:.0f} %: the pressure at the nozzle will fall.")
    lost_pa = sum(p.inlet.pressure_pa - p.outlet.pressure_pa for p in result.passages if p.kind == "hose")
    if lost_pa > 0.0:
        found.append(
            f"The hose takes {units.gauge(lost_pa).removesuffix('(g)').removesuffix('g')}: {_work(lost_pa)}."
        )
    return found


def _work(lost_pa: float) -> str:
    """The trade's rule about pressure lost before the nozzle, as what it is."""
    share = 100.0 * productivity_loss_share(lost_pa)
    return f"by a rule of thumb (common practice, no source) up to {share:.0f} % of the work"


def _need(plan: Plan, result: Result, units: Units) -> str:
    if plan.need is None:
        return "No limit set: the plan says where water falls out, not whether that is acceptable."
    asked = f"Pot margin of {units.difference(plan.need.pot_margin_k)} ({plan.need.clause})"
    met = meets_need(plan, result)
    if met is None:
        return f"{asked}: not known, the plan has no pot or hose."
    if met:
        return f"{asked}: met, modelled."
    margin = pot_margin_k(result)
    liquid = margin is not None and margin >= plan.need.pot_margin_k
    return f"{asked}: not met, modelled{'; liquid is carried into pot or hose' if liquid else ''}."


COLUMNS = ("", "leaves", "pressure", "dew point", "wall", "gap", "formed", "drained", "carried", "stays")
_WIDTHS = (19, 7, 8, 11, 7, 7, 7, 7, 7, 7)


def _table(result: Result, units: Units) -> list[str]:
    station = result.weather.station_pressure_pa
    t, k, p, w = (scale.unit for scale in (units.temperature, units.difference, units.gauge, units.water))
    start, end = result.passages[0].inlet, result.passages[-1].outlet
    gone = sum(each.drained_kg_per_h + each.taken_kg_per_h + each.left_kg_per_h for each in result.passages)
    return [
        _columns(COLUMNS),
        _columns(("in flow order", t, p, f"{t} arriving", t, k, w, w, w, w)),
        *(_row(each, station, units) for each in each_piece(result.passages)),
        f"Water in {units.water(start.water_kg_per_s * 3600.0)} = drained, taken up or left {units.water(gone)}"
        f" + leaving with the air {units.water(end.water_kg_per_s * 3600.0)}.",
    ]


def _columns(cells: tuple[str, ...]) -> str:
    first, *others = zip(cells, _WIDTHS, strict=True)
    return f"{first[0][: first[1]]:<{first[1]}}" + "".join(f"{cell:>{width + 1}}" for cell, width in others)


def _row(p: Passage, station_pa: float, units: Units) -> str:
    def water(kg_per_h: float) -> str:
        return units.water.number(kg_per_h) if abs(kg_per_h) > DRY_KG_PER_H else "-"

    drained = water(p.drained_kg_per_h + p.taken_kg_per_h)
    t = units.temperature.number
    cells = (
        p.label, t(p.outlet.temperature_c), units.gauge.number(p.outlet.pressure_pa - station_pa),
        f"{'ice ' if p.frost else ''}{t(p.point_c)}", "-" if p.wall_c is None else t(p.wall_c),
        "-" if p.gap_k is None else units.difference.number(p.gap_k),
        water(p.formed_kg_per_h), drained, water(p.carried_kg_per_h), water(p.left_kg_per_h),
    )  # fmt: skip
    return _columns(cells)


def _pot_sees(result: Result, units: Units) -> list[str]:
    air, station = _air_at_the_pot(result), result.weather.station_pressure_pa
    point_c, frost = air.point
    reference = station + 7e5
    at_7, _ = at_pressure_c(point_c, air.pressure_pa, reference, frost)
    let_down, ice = at_pressure_c(point_c, air.pressure_pa, station, frost)
    dry_m3 = reference_dry_air_kg_per_m3("ISO 8573-1")
    basis = f"{(air.pressure_pa - station) / 1e5:.1f} bar(g)"
    liquid = "no liquid modelled"
    if air.liquid_kg_per_s > 0.0:
        liquid = modelled_liquid_class(air.liquid_kg_per_s / air.dry_kg_per_s * dry_m3, basis)
    word = {True: "frost point", False: "dew point"}
    line = units.gauge(air.pressure_pa - station)
    vapour, wet = (units.water(kg_per_s * 3600.0) for kg_per_s in (air.vapour_kg_per_s, air.liquid_kg_per_s))
    return [
        f"What the pot sees: air of {units.temperature(air.temperature_c)}, vapour {vapour}, liquid {wet}; "
        f"pressure {word[frost]} {units.temperature(point_c)} at {line}, let down "
        f"to the station's pressure {word[ice]} {units.temperature(let_down)}; "
        f"{iso_8573_humidity_class(at_7, reference, station)}; {liquid} (ISO 8573-1:2010).",
    ]


def _air_at_the_pot(result: Result) -> Air:
    """The air that reaches the pot, or what leaves the train where there is none."""
    return next((p.inlet for p in result.passages if p.kind == "pot"), result.passages[-1].outlet)


def _with_and_without(plan: Plan, result: Result, units: Units) -> list[str]:
    """Every treatment piece left out in turn: what pot and hose then get, what liquid a dryer must swallow."""
    lines = [f"{'With and without':<28}{'pot and hose get':>18}{'least gap there':>17}{'liquid into dryers':>20}"]
    lines.append(_what_if("all pieces", result, units))
    for label in treatment(plan):
        try:
            lines.append(_what_if(f"without {label}", run(without(plan, label)), units))
        except OutOfRange as error:
            lines.append(f"  {'without ' + label:<26} not worked out: {error}")
    return lines


def _what_if(words: str, result: Result, units: Units) -> str:
    margin = pot_margin_k(result)
    gap = "-" if margin is None else units.difference(margin)
    into = sum(p.inlet.liquid_kg_per_s for p in each_piece(result.passages) if p.kind in SOLIDS) * 3600.0
    return (
        f"  {words:<26}{units.water(water_in_pot_and_hose_kg_per_h(result)):>18}{gap:>17}{units.water(into):>20}"
    )


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
        "need": plan.need and {"pot_margin_k": plan.need.pot_margin_k, "clause": plan.need.clause},
        "pieces": [_piece(p) for p in each_piece(result.passages)],
        "remarks": list(result.remarks),
        "assumed": [f"{each.where}: {each.what}" for each in plan.assumed],
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
