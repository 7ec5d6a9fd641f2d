"""What a person types about a state of air: `20C 50% 7barg`, read into one air temperature, vapour and pressure.

A typed line holds one air temperature, one statement about its water, and if wanted a pressure and the temperature
of steel. Nothing is guessed silently: what was not said is assumed and listed. A pressure that could be gauge or
absolute is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from alerts.measured import UNITS
from gateway.psychrometrics import (
    OutOfRange,
    dew_point_from_vapour_pressure_c,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_from_absolute_humidity_pa,
    vapour_pressure_from_humidity_ratio_pa,
    vapour_pressure_pa,
)
from gateway.wet_bulb import psychrometer_rh, vapour_pressure_from_wet_bulb_pa

ATMOSPHERE_PA = 101_325.0
INCH_OF_MERCURY_PA = 3386.389  # at 0 °C (from memory)
# Rounding of a humidity that was worked out from exactly saturated air.
ROUNDING = 1e-4


class NotUnderstood(ValueError):
    """A typed line cannot be read, or says something that cannot be; the message says what to type."""


@dataclass(frozen=True, slots=True)
class Spelling:
    """How a unit may be typed: what it measures, and its value in the unit used inside."""

    measures: str
    inside: Callable[[float], float]
    shown: str


def _scaled(measures: str, factor: float, shown: str) -> Spelling:
    return Spelling(measures, lambda value: value * factor, shown)


_PSI = UNITS["psi"].factor
_ABSOLUTE = {
    "pa": ("Pa", 1.0), "hpa": ("hPa", 100.0), "mbar": ("mbar", 100.0), "kpa": ("kPa", 1e3), "mpa": ("MPa", 1e6),
    "kpa(a)": ("kPa", 1e3), "bar(a)": ("bar(a)", 1e5), "bara": ("bar(a)", 1e5), "psia": ("psia", _PSI),
    "psi(a)": ("psia", _PSI), "inhg": ("inHg", INCH_OF_MERCURY_PA), "atm": ("atm", ATMOSPHERE_PA),
}  # fmt: skip
_GAUGE = {
    "bar(g)": ("bar(g)", 1e5), "barg": ("bar(g)", 1e5), "bar(e)": ("bar(g)", 1e5), "psig": ("psig", _PSI),
    "psi(g)": ("psig", _PSI), "kpag": ("kPa(g)", 1e3), "kpa(g)": ("kPa(g)", 1e3), "mpag": ("MPa(g)", 1e6),
}  # fmt: skip
SPELLINGS: dict[str, Spelling] = {
    **{unit: Spelling("temperature", UNITS["°C"].inside, "°C") for unit in ("c", "°c", "degc", "cel")},
    **{unit: Spelling("temperature", UNITS["°F"].inside, "°F") for unit in ("f", "°f", "degf")},
    **{unit: _scaled("rh", 0.01, "%RH") for unit in ("%", "%rh")},
    **{unit: _scaled("absolute humidity", 1e-3, "g/m³") for unit in ("g/m3", "g/m³")},
    **{unit: _scaled("humidity ratio", 1e-3, "g/kg") for unit in ("g/kg",)},
    **{typed: _scaled("absolute pressure", factor, shown) for typed, (shown, factor) in _ABSOLUTE.items()},
    **{typed: _scaled("gauge pressure", factor, shown) for typed, (shown, factor) in _GAUGE.items()},
}

# What stands before a number, and in words what it then is.
WATER = {
    "dp": "dew point over liquid water", "fp": "frost point", "wb": "thermodynamic wet bulb",
    "sling": "wet bulb of a whirled sling psychrometer", "rh": "relative humidity over liquid water",
    "e": "vapour pressure",
}  # fmt: skip
_UNIT = "|".join(sorted(map(re.escape, SPELLINGS), key=len, reverse=True))
_WORD = re.compile(
    rf"\s*(?P<before>dp|fp|wb|sling|rh|e|steel)?\s*(?P<number>[-+]?\d+(?:[.,]\d+)?)\s*(?P<unit>{_UNIT})(?=\s|$)",
    re.IGNORECASE,
)
EXAMPLE = 'for example: dewgate air 20C 50% 7bar(g), or "68F dp 50F 100psig"'


@dataclass(frozen=True, slots=True)
class Word:
    """One typed figure: what stood before it, its unit, and its value in the unit used inside."""

    text: str
    before: str
    unit: Spelling
    value: float


@dataclass(frozen=True, slots=True)
class Typed:
    """A state of air as typed. Temperatures [°C], pressures [Pa absolute], e_pa the real partial pressure."""

    t_c: float
    e_pa: float
    p_pa: float
    station_pa: float
    steel_c: float | None
    temperature_unit: str
    pressure_unit: str
    said: str
    assumed: tuple[str, ...]

    @property
    def in_line(self) -> bool:
        """Whether the air is under pressure: above the station's by more than 0.1 bar."""
        return self.p_pa > self.station_pa + 10_000.0


def words(text: str) -> list[Word]:
    """Split a typed line. Raises: NotUnderstood, with the place that cannot be read."""
    plain = text.strip().replace("−", "-").replace("º", "°")
    found, at = [], 0
    while at < len(plain):
        match = _WORD.match(plain, at)
        if match is None:
            raise NotUnderstood(_unread(plain[at:].strip()))
        number = number_of(match["number"])
        unit = SPELLINGS[match["unit"].lower()]
        found.append(Word(match[0].strip(), (match["before"] or "").lower(), unit, unit.inside(number)))
        at = match.end()
    return found


def number_of(typed: str) -> float:
    """A number with a decimal point or comma. Raises: NotUnderstood for what could be a comma of thousands."""
    if re.search(r",\d{3}$", typed):
        raise NotUnderstood(
            f'"{typed}": thousands or a decimal? Type {typed.replace(",", "")} or {typed.replace(",", ".")}'
        )
    return float(typed.replace(",", "."))


def _unread(rest: str) -> str:
    if re.match(r"[-+]?[\d.,]+\s*(bar|psi)(\s|$)", rest, re.IGNORECASE):
        return f'"{rest}": gauge or absolute? Type bar(g) or bar(a), psig or psia'
    return f'"{rest}" is not understood: a number with its unit is wanted; {EXAMPLE}'


def read(text: str, station_pa: float | None = None, whence: str = "as given") -> Typed:
    """Read a typed line; station_pa [Pa] makes a gauge pressure absolute, one atmosphere if not given;
    whence says where it comes from.

    Raises: NotUnderstood for what is missing, said twice or cannot be; OutOfRange from the physics.
    """
    found = words(text)
    air = _one(found, "the air temperature", "20C", lambda w: w.unit.measures == "temperature" and not w.before)
    water = _one(found, "the water in the air", "50% or dp10C or wb15C or 8g/m3 or 6g/kg or e1200Pa", _is_water)
    steel = _at_most_one(found, "steel", lambda w: w.before == "steel" and w.unit.measures == "temperature")
    pressure = _at_most_one(found, "pressure", lambda w: w.unit.measures.endswith("pressure") and not w.before)
    _nothing_else(found, [air, water, steel, pressure])
    station, assumed = _station(station_pa, pressure, whence)
    p_pa = _pressure_pa(pressure, station)
    if steel is not None and p_pa > station + 10_000.0:
        raise NotUnderstood(f'"{steel.text}": steel stands in open air; leave out the line pressure')
    e_pa = _vapour_pressure_pa(water, air, p_pa)
    return Typed(
        air.value, e_pa, p_pa, station, steel.value if steel else None, air.unit.shown,
        pressure.unit.shown if pressure else "hPa", f"{air.text}, {water.text}", (*assumed, _meant(water)),
    )  # fmt: skip


def _is_water(word: Word) -> bool:
    return word.before in WATER or word.unit.measures in ("rh", "absolute humidity", "humidity ratio")


def _at_most_one(found: list[Word], what: str, wanted: Callable[[Word], bool]) -> Word | None:
    fitting = [word for word in found if wanted(word)]
    if len(fitting) > 1:
        raise NotUnderstood(f'{what} is said twice: "{fitting[0].text}" and "{fitting[1].text}"; leave one out')
    return fitting[0] if fitting else None


def _one(found: list[Word], what: str, example: str, wanted: Callable[[Word], bool]) -> Word:
    word = _at_most_one(found, what, wanted)
    if word is None:
        raise NotUnderstood(f"{what} is missing: add {example}")
    return word


def _nothing_else(found: list[Word], used: list[Word | None]) -> None:
    for word in found:
        if not any(word is each for each in used):
            raise NotUnderstood(f'"{word.text}" does not fit: {word.before} takes another unit; {EXAMPLE}')


def _station(station_pa: float | None, pressure: Word | None, whence: str) -> tuple[float, list[str]]:
    if station_pa is not None:
        return station_pa, [f"station pressure {station_pa / 100.0:.2f} hPa, {whence}"]
    said = pressure is not None and pressure.unit.measures == "absolute pressure" and pressure.value <= 110_000.0
    if said and pressure is not None:
        return pressure.value, []
    return ATMOSPHERE_PA, ["station pressure 1013.25 hPa (one atmosphere); give --altitude or --station for yours"]


def _pressure_pa(pressure: Word | None, station_pa: float) -> float:
    if pressure is None:
        return station_pa
    return pressure.value + (station_pa if pressure.unit.measures == "gauge pressure" else 0.0)


def _meant(water: Word) -> str:
    kind = water.before or water.unit.measures
    meant = {"rh": WATER["rh"], **WATER}.get(kind, kind)
    return f'"{water.text}" is {meant}'


def _vapour_pressure_pa(water: Word, air: Word, p_pa: float) -> float:
    """The partial pressure a statement about water stands for. Raises: NotUnderstood when it cannot be."""
    kind = water.before or water.unit.measures
    wanted = "temperature" if kind in ("dp", "fp", "wb", "sling") else "absolute pressure" if kind == "e" else None
    if (wanted and water.unit.measures != wanted) or (kind == "rh" and water.unit.measures != "rh"):
        raise NotUnderstood(f'"{water.text}": {WATER[kind]} does not come in {water.unit.shown}')
    if not water.value > 0.0 and wanted != "temperature":
        raise NotUnderstood(
            f'"{water.text}": air with no water at all does not occur; a sensor that says so is dead'
        )
    if kind == "rh" and water.value > 1.0:
        raise NotUnderstood(f'"{water.text}": relative humidity goes to 100 %; for saturated air type 100%')
    try:
        e_pa = _LAWS[kind](water.value, air.value, p_pa)
        rh = relative_humidity(air.value, e_pa, p_pa)
        if rh > 1.0 + ROUNDING:
            raise NotUnderstood(f'"{water.text}" with "{air.text}" would be {100.0 * rh:.1f} %RH; it goes to 100')
        dew_point_from_vapour_pressure_c(e_pa, p_pa)
    except OutOfRange as error:
        raise NotUnderstood(f'"{water.text}" with "{air.text}" at {p_pa:.0f} Pa: {error}') from error
    return e_pa


_LAWS: dict[str, Callable[[float, float, float], float]] = {
    "rh": lambda rh, t, p: vapour_pressure_pa(t, rh, p),
    "dp": lambda point, _, p: saturated_vapour_pressure_pa(point, p, frost=False),
    "fp": lambda point, _, p: saturated_vapour_pressure_pa(point, p, frost=True),
    "wb": lambda wet, t, p: vapour_pressure_from_wet_bulb_pa(t, wet, p),
    "sling": lambda wet, t, p: vapour_pressure_pa(t, psychrometer_rh(t, wet, p), p),
    "absolute humidity": vapour_pressure_from_absolute_humidity_pa,
    "humidity ratio": lambda ratio, _, p: vapour_pressure_from_humidity_ratio_pa(ratio, p),
    "e": lambda e, _, __: e,
}
