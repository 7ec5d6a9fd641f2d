"""The answers of `dewgate air` as a person reads them, in the units typed, and as JSON in SI units."""

from __future__ import annotations

import json
from collections.abc import Mapping

from alerts.measured import UNITS
from gateway.air_state import WET, Answer
from gateway.air_typed import SPELLINGS, Typed

BAR_WIDTH = 40
_FIXED = {
    "relative_humidity": (100.0, "%RH", 1), "relative_humidity_ice": (100.0, "% over ice", 1),
    "rh_at_steel": (100.0, "%RH", 1), "humidity_ratio_kg_per_kg": (1e3, "g/kg of dry air", 3),
    "absolute_humidity_kg_per_m3": (1e3, "g/m³", 3), "moisture_kg_per_m3_iso_8573_1": (1e3, "g", 3),
    "enthalpy_j_per_kg": (1e-3, "kJ/kg of dry air", 2), "ppmv_dry": (1.0, "ppm", 0),
    "vapour_pressure_pa": (1.0, "Pa", 1),
}  # fmt: skip


def shown(key: str, value: float | str | None, temperature_unit: str) -> str:
    """One value in the reader's unit."""
    if isinstance(value, str):
        return value
    if value is None:
        return "not worked out"
    if key in _FIXED:
        factor, unit, places = _FIXED[key]
        number = f"{value * factor:.{places}f}"
        return f"{number if float(number) or not value else format(value * factor, '.3g')} {unit}"
    unit = temperature_unit if key.endswith("_c") else {"°C": "K", "°F": "Δ°F"}[temperature_unit]
    return f"{UNITS[unit].outside(value):.2f} {unit}"


def text(air: Typed, found: list[Answer], beside: Mapping[str, float] | None = None) -> str:
    """The whole answer for a terminal; `beside` are another program's values by key."""
    lines = [f"Air: {air.said}, at {_pressure(air)}"]
    lines += [f"  assumed: {each}" for each in air.assumed]
    section = ""
    for answer in found:
        if answer.section != section:
            section = answer.section
            lines += ["", section] + ([_gap(air, found)] if section == WET else [])
        lines.append(_line(answer, air.temperature_unit, beside))
    return "\n".join(line for line in lines if line is not None)


def _pressure(air: Typed) -> str:
    spelling = next(s for s in SPELLINGS.values() if s.shown == air.pressure_unit and "pressure" in s.measures)
    if spelling.measures == "absolute pressure":
        said = "" if air.pressure_unit in ("bar(a)", "psia") else " absolute"
        return f"{air.p_pa / spelling.inside(1.0):.6g} {air.pressure_unit}{said}"
    gauge = (air.p_pa - air.station_pa) / spelling.inside(1.0)
    return f"{gauge:.4g} {air.pressure_unit} ({air.p_pa / 100.0:.1f} hPa absolute)"


def _line(answer: Answer, unit: str, beside: Mapping[str, float] | None) -> str:
    line = f"  {answer.words:<42} {shown(answer.key, answer.value, unit):<24}"
    if beside is not None:
        line += f" CoolProp {shown(answer.key, beside[answer.key], unit)}" if answer.key in beside else ""
    return (line + (f" ({answer.reason})" if answer.reason else "")).rstrip()


def _gap(air: Typed, found: list[Answer]) -> str:
    """The gap as text: from the point where water leaves the air to the temperature of the air, and the steel."""
    points = {a.key: a.value for a in found if isinstance(a.value, float)}
    low = points.get("frost_point_c", points.get("dew_point_c"))
    if low is None:
        return "  (no point to draw)"
    ends = [low, air.t_c] + ([air.steel_c] if air.steel_c is not None else [])
    spare = max(0.2 * (max(ends) - min(ends)), 1.0)
    start, end = min(ends) - spare, max(ends) + spare

    def at(t_c: float) -> int:
        return round((t_c - start) / (end - start) * (BAR_WIDTH - 1))

    cells = ["█" if at(low) <= i <= at(air.t_c) else "·" for i in range(BAR_WIDTH)]
    if air.steel_c is not None:
        cells[at(air.steel_c)] = "S"
    scale = UNITS[air.temperature_unit]
    legend = " S: steel" if air.steel_c is not None else ""
    return f"  {scale.outside(start):.1f} {''.join(cells)} {scale.outside(end):.1f} {scale.spelling}{legend}"


def as_json(air: Typed, found: list[Answer], beside: Mapping[str, float] | None = None) -> str:
    """The same for a machine: SI units in the keys, null with a reason where nothing is known."""
    made: dict[str, object] = {
        "air_temperature_c": air.t_c,
        "pressure_pa": air.p_pa,
        "station_pressure_pa": air.station_pa,
        "assumed": list(air.assumed),
        **{answer.key: answer.value for answer in found},
        "reasons": {answer.key: answer.reason for answer in found if answer.reason},
    }
    if air.steel_c is not None:
        made["steel_temperature_c"] = air.steel_c
    if beside is not None:
        made["coolprop"] = dict(beside)
    return json.dumps(made, ensure_ascii=False, indent=2)
