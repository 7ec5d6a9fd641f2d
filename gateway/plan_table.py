"""The tables of a plan in words: every piece in the order of the flow, each treatment piece left out in turn."""

from __future__ import annotations

from gateway.plan import Plan, Result, run, treatment, without
from gateway.plan_need import DRY_KG_PER_H, SOLIDS, doubts, is_wet, pot_margin_k, water_in_pot_and_hose_kg_per_h
from gateway.plan_units import Units, restated
from gateway.psychrometrics import OutOfRange
from gateway.water_path import Passage, each_piece

COLUMNS = ("", "leaves", "pressure", "dew point", "wall", "gap", "formed", "removed", "carried", "stays")
_WIDTHS = (19, 7, 8, 11, 7, 7, 7, 7, 7, 7)


def flow_table(result: Result, units: Units) -> list[str]:
    """Every piece with its figures, the balance of the water, and what the columns mean."""
    t, p, k, w = units.temperature.unit, units.gauge.unit, units.difference.unit, units.water.unit
    station = result.weather.station_pressure_pa
    start, end = result.passages[0].inlet, result.passages[-1].outlet
    gone = sum(each.drained_kg_per_h + each.taken_kg_per_h + each.left_kg_per_h for each in result.passages)
    return [
        _columns(COLUMNS),
        _columns(("in flow order", t, p, f"{t} arriving", t, k, w, w, w, w)),
        *(_row(each, station, units) for each in each_piece(result.passages)),
        f"Water in {units.water(start.water_kg_per_s * 3600.0)} = removed or left {units.water(gone)}"
        f" + leaving with the air {units.water(end.water_kg_per_s * 3600.0)}.",
        *_legend(result, units),
    ]


def _legend(result: Result, units: Units) -> list[str]:
    """What a column means, where this plan needs it."""
    passages = each_piece(result.passages)
    told = ["Gap: wall less dew point, of vapour alone. Removed: by drains, or taken up by salt or adsorbent."]
    if any(p.frost for p in passages):
        told.append("'ice': a frost point, below 0 °C the higher of the two.".replace("0 °C", _freezing(units)))
    if any(_water(p.formed_kg_per_h, units).startswith("-0") for p in passages):
        told.append("Formed below 0: liquid that evaporates again.")
    return told


def _freezing(units: Units) -> str:
    return f"{units.temperature.outside(0.0):.0f} {units.temperature.unit}"


def _columns(cells: tuple[str, ...]) -> str:
    first, *others = zip(cells, _WIDTHS, strict=True)
    return f"{first[0][: first[1]]:<{first[1]}}" + "".join(f"{cell:>{width + 1}}" for cell, width in others)


def _water(kg_per_h: float, units: Units) -> str:
    """One cell: what falls out is never shown as 0."""
    if abs(kg_per_h) <= DRY_KG_PER_H:
        return "-"
    shown = units.water.number(kg_per_h)
    least = 10.0**-units.water.decimals
    return shown if float(shown) else ("-" if kg_per_h < 0.0 else f"<{least:.{units.water.decimals}f}")


def _row(p: Passage, station_pa: float, units: Units) -> str:
    def water(kg_per_h: float) -> str:
        return _water(kg_per_h, units)

    t = units.temperature.number
    cells = (
        p.label, t(p.outlet.temperature_c), units.gauge.number(p.outlet.pressure_pa - station_pa),
        f"{'ice ' if p.frost else ''}{t(p.point_c)}", "-" if p.wall_c is None else t(p.wall_c),
        "-" if p.gap_k is None else units.difference.number(p.gap_k),
        water(p.formed_kg_per_h), water(p.drained_kg_per_h + p.taken_kg_per_h),
        water(p.carried_kg_per_h), water(p.left_kg_per_h),
    )  # fmt: skip
    return _columns(cells)


def with_and_without(plan: Plan, result: Result, units: Units) -> list[str]:
    """Every treatment piece left out in turn: what pot and hose then get, what liquid a dryer must swallow."""
    lines = [f"{'With and without':<28}{'pot and hose get':>18}{'least gap there':>17}{'liquid into dryers':>20}"]
    lines.append(_what_if("all pieces", plan, result, units))
    for label in treatment(plan):
        try:
            bare = without(plan, label)
            lines.append(_what_if(f"without {label}", bare, run(bare), units))
        except OutOfRange as error:
            lines.append(f"  {'without ' + label:<26} not known: {restated(str(error), units)}")
    spoils = any(p.kind in SOLIDS for p in each_piece(result.passages))
    lines.append(
        "A piece left out takes its loss of pressure with it."
        + (" Liquid into a dryer spoils what is in it." if spoils else "")
    )
    return lines


def _what_if(words: str, plan: Plan, result: Result, units: Units) -> str:
    margin = pot_margin_k(result)
    gap = "-" if margin is None else units.difference(margin)
    if doubts(plan, result) and not is_wet(result):
        return f"  {words:<26}{'not known':>18}{'not known':>17}{'':>20}".rstrip()
    into = [p.inlet.liquid_kg_per_s * 3600.0 for p in each_piece(result.passages) if p.kind in SOLIDS]
    gets = _little(water_in_pot_and_hose_kg_per_h(result), units) if margin is not None else "-"
    return f"  {words:<26}{gets:>18}{gap:>17}{_little(sum(into), units) if into else '-':>20}"


def _little(kg_per_h: float, units: Units) -> str:
    """What is so little that the plan does not call it wet is rounding, and said as none."""
    return "none" if kg_per_h <= DRY_KG_PER_H else units.water.little(kg_per_h)
