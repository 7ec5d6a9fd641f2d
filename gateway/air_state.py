"""Everything that follows from one state of air: what it holds, when it turns wet, in the line, at the steel.

Each answer carries its SI unit in its key, so that text and JSON come from one list. What lies outside the range
of the physics is answered with the reason, never with a number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from gateway.air_typed import Typed
from gateway.compressed_air import (
    condensation_point_at,
    iso_8573_humidity_class,
    moisture_kg_per_m3_at_reference,
    ppmv_dry,
)
from gateway.psychrometrics import (
    OutOfRange,
    absolute_humidity_kg_per_m3,
    condensation_point_c,
    dew_point_from_vapour_pressure_c,
    frost_point_from_vapour_pressure_c,
    humidity_ratio,
    relative_humidity,
    relative_humidity_ice,
)
from gateway.wet_bulb import enthalpy_j_per_kg, wet_bulb_c

ISO_REFERENCE_GAUGE_PA = 700_000.0  # ISO 8573-3: pressure dew points at 7 bar(e) unless agreed otherwise

HOLDS, WET, LINE, STEEL = "What the air holds", "When it turns wet", "In the line", "At the steel"


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer: its section, its key with the SI unit, its words, and a value or the reason for none."""

    section: str
    key: str
    words: str
    value: float | str | None
    reason: str = ""


def answers(air: Typed) -> list[Answer]:
    """Work everything out, in the order a person asks."""
    found = [*_holds(air), *_wet(air)]
    if air.in_line:
        found += _line(air)
    if air.steel_c is not None:
        found += _steel(air, air.steel_c)
    return found


def _answer(section: str, key: str, words: str, law: Callable[[], float | str]) -> Answer:
    try:
        return Answer(section, key, words, law())
    except OutOfRange as error:
        return Answer(section, key, words, None, str(error))


def _holds(air: Typed) -> list[Answer]:
    t, e, p = air.t_c, air.e_pa, air.p_pa
    found = [
        _answer(HOLDS, "relative_humidity", "relative humidity", lambda: min(relative_humidity(t, e, p), 1.0)),
        _answer(HOLDS, "vapour_pressure_pa", "vapour pressure", lambda: e),
        _answer(HOLDS, "humidity_ratio_kg_per_kg", "humidity ratio", lambda: humidity_ratio(e, p)),
        _answer(
            HOLDS, "absolute_humidity_kg_per_m3", "absolute humidity", lambda: absolute_humidity_kg_per_m3(t, e, p)
        ),
        _answer(HOLDS, "ppmv_dry", "water vapour by volume of dry air", lambda: ppmv_dry(e, p)),
        _answer(HOLDS, "enthalpy_j_per_kg", "enthalpy", lambda: enthalpy_j_per_kg(t, humidity_ratio(e, p))),
    ]
    if t <= 0.0:
        over_ice = _answer(
            HOLDS, "relative_humidity_ice", "relative humidity over ice", lambda: relative_humidity_ice(t, e, p)
        )
        found.insert(1, over_ice)
    return found


def _wet(air: Typed) -> list[Answer]:
    t, e, p = air.t_c, air.e_pa, air.p_pa
    name = "pressure dew point" if air.in_line else "dew point"
    dew = _answer(WET, "dew_point_c", name, lambda: dew_point_from_vapour_pressure_c(e, p))
    found = [dew]
    if isinstance(dew.value, float) and dew.value < 0.0:
        found.append(
            _answer(WET, "frost_point_c", "frost point", lambda: frost_point_from_vapour_pressure_c(e, p))
        )
    above = _answer(
        WET, "above_condensation_point_k", "the air is above it by", lambda: t - condensation_point_c(e, p)[0]
    )
    if isinstance(above.value, float) and above.value < 0.0:
        above = replace(above, words="more than saturated: the air is above it by")
    found.append(above)
    if not air.in_line:
        found.append(
            _answer(WET, "wet_bulb_c", "wet bulb", lambda: wet_bulb_c(t, min(relative_humidity(t, e, p), 1.0), p))
        )
    return found


def _line(air: Typed) -> list[Answer]:
    e, p, station = air.e_pa, air.p_pa, air.station_pa
    reference = ISO_REFERENCE_GAUGE_PA + station
    return [
        _restated(air, "let_down_to_station_c", "let down to station pressure", station),
        _restated(air, "at_7_bar_gauge_c", "restated at 7 bar(g)", reference),
        _answer(
            LINE, "indicated_humidity_class", "ISO 8573-1",
            lambda: iso_8573_humidity_class(_point_at(air, reference)[0], reference, station),
        ),
        _answer(
            LINE, "moisture_kg_per_m3_iso_8573_1", "water per m³ at 1 bar, 20 °C, dry",
            lambda: moisture_kg_per_m3_at_reference(e, p, "ISO 8573-1"),
        ),
    ]  # fmt: skip


def _point_at(air: Typed, at_pa: float) -> tuple[float, bool]:
    return condensation_point_at(air.e_pa, air.p_pa, at_pa)


def _restated(air: Typed, key: str, words: str, at_pa: float) -> Answer:
    """The point at another pressure, named a frost point where it is one."""
    try:
        point_c, frost = _point_at(air, at_pa)
    except OutOfRange as error:
        return Answer(LINE, key, words, None, str(error))
    return Answer(LINE, key, f"{words}, {'frost' if frost else 'dew'} point", point_c)


def _steel(air: Typed, steel_c: float) -> list[Answer]:
    e, p = air.e_pa, air.p_pa
    return [
        _answer(
            STEEL, "dew_point_margin_k", "steel is above it by", lambda: steel_c - condensation_point_c(e, p)[0]
        ),
        _answer(STEEL, "rh_at_steel", "relative humidity at the steel", lambda: relative_humidity(steel_c, e, p)),
    ]
