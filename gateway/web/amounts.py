"""Numbers in the reader's unit. Judging is done before: here a value is only converted and written.

A difference converts without the offset (5 °F is 2.78 K). A limit keeps the unit of its specification; the
reader's own unit stands beside it where it is another.
"""

from __future__ import annotations

from dataclasses import dataclass

from alerts.measured import DIMENSION, UNITS, Dimension, Quantity, Unit
from gateway.board import Amount
from gateway.web.taste import Taste
from gateway.web.words import number, number_beside

_KINDS = {Quantity.GAUGE_PRESSURE: "(g)", Quantity.ABSOLUTE_PRESSURE: "(a)"}


@dataclass(frozen=True, slots=True)
class Written:
    """How one dimension is written: the unit, what stands behind a number, and the decimals of a plain value."""

    unit: Unit
    sign: str
    decimals: int = 1


def written_in(quantity: Quantity, taste: Taste) -> Written:
    """Return how a quantity is written for a reader."""
    dimension = DIMENSION[quantity]
    if dimension is Dimension.PRESSURE:
        return _pressure(quantity, taste.pressure)
    if dimension is Dimension.TEMPERATURE:
        return Written(UNITS[taste.temperature], taste.temperature)
    if dimension is Dimension.FLOW:
        return Written(UNITS[taste.flow.replace("m³", "m3")], taste.flow)
    return (_FAHRENHEIT if taste.temperature == "°F" else _CELSIUS).get(dimension) or _OTHERS[dimension]


def _pressure(quantity: Quantity, unit: str) -> Written:
    if quantity is Quantity.STATION_PRESSURE:
        return Written(UNITS["psi"], "psi", 2) if unit == "psi" else Written(UNITS["hPa"], "hPa")
    return Written(UNITS[unit], f"{unit}{_KINDS.get(quantity, '')}", 1 if unit == "psi" else 2)


_CELSIUS = {
    Dimension.DIFFERENCE: Written(UNITS["K"], "K"),
    Dimension.WARMING: Written(UNITS["K/h"], "K/h"),
    Dimension.SPEED: Written(UNITS["m/s"], "m/s"),
}
_FAHRENHEIT = {
    Dimension.DIFFERENCE: Written(UNITS["Δ°F"], "°F"),
    Dimension.WARMING: Written(UNITS["Δ°F/h"], "°F/h"),
    Dimension.SPEED: Written(UNITS["mph"], "mph"),
}
_OTHERS = {
    Dimension.FRACTION: Written(UNITS["%RH"], "%RH"),
    Dimension.RATIO: Written(UNITS["g/kg"], "g/kg"),
    Dimension.DENSITY: Written(UNITS["g/m3"], "g/m³"),
    Dimension.SHARE: Written(UNITS["%FS"], "%FS"),
    Dimension.COUNT: Written(UNITS["count"], "", 0),
    Dimension.TIME: Written(UNITS["min"], "min", 0),
    Dimension.MOISTENING: Written(UNITS["%RH/h"], "%RH/h"),
}


def amount(found: Amount, taste: Taste, beside: Amount | None = None) -> str:
    """Return value ± expanded uncertainty (k = 2) with the unit, never rounded across the limit beside it."""
    how = written_in(found.quantity, taste)
    value = how.unit.outside(found.value)
    said = number(value, how.decimals)
    if beside:
        longer = number_beside(value, how.unit.outside(beside.value))
        said = longer if len(longer) > len(said) else said
    if beside and found.u is None:
        return f"{said} {how.sign} (uncertainty not stated)"
    return f"{said} {how.sign}" + (
        f" ± {2 * found.u / how.unit.factor:.1f} {how.sign}" if found.u is not None and beside else ""
    )


def own(limit: str, threshold: Amount | None, taste: Taste) -> str:
    """Return a limit's threshold in the reader's unit where the specification writes another, else nothing."""
    if threshold is None:
        return ""
    how = written_in(threshold.quantity, taste)
    spellings = {unit.spelling for unit in UNITS.values() if unit == Unit(unit.spelling, *_same(how.unit))}
    if any(f" {spelling} " in f"{limit} " for spelling in spellings):
        return ""
    return f"{number(how.unit.outside(threshold.value), 2)} {how.sign}"


def _same(unit: Unit) -> tuple[Dimension, float, float]:
    return unit.dimension, unit.factor, unit.offset


def example(text: str, taste: Taste) -> str:
    """Return an example for a form, such as 24.5 °C, in the reader's unit; others stay as they are."""
    value, _, spelling = text.partition(" ")
    unit = UNITS.get(spelling)
    wanted = {Dimension.TEMPERATURE: taste.temperature, Dimension.PRESSURE: taste.pressure}
    if unit is None or unit.dimension not in wanted or wanted[unit.dimension] in ("°C", "bar"):
        return text
    into = UNITS[wanted[unit.dimension]]
    return f"{number(into.outside(unit.inside(float(value))))} {into.spelling}"


def sign(taste: Taste) -> str:
    """Return what stands behind a difference of temperatures."""
    return written_in(Quantity.DEW_POINT_MARGIN, taste).sign


def degrees(value_c: float, taste: Taste) -> float:
    """Return a temperature in the reader's unit."""
    return UNITS[taste.temperature].outside(value_c)


def difference(value_k: float, taste: Taste) -> float:
    """Return a difference of temperatures in the reader's unit."""
    return written_in(Quantity.DEW_POINT_MARGIN, taste).unit.outside(value_k)
