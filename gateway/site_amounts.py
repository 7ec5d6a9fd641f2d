"""Numbers with units as a keeper writes them: "0.5 K", "10 min", "20 m".

A closed list of spellings and one pattern; whatever does not fit is refused in words a keeper can act on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from math import isfinite
from unicodedata import normalize

from alerts.measured import DIMENSION, UNITS, Dimension, Quantity
from gateway.jobsite import RAW_UNITS, Scale

TIME_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
LENGTH_M = {"m": 1.0, "ft": 0.3048}
_AMOUNT = re.compile(r"([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?) *([^\s\d.,+-]\S*)")


def closest(word: str, choices: Iterable[str]) -> str:
    """Return ", did you mean 'x'?" for the nearest choice, or an empty string."""
    folded = {choice.lower(): choice for choice in choices}
    near = get_close_matches(normalize("NFKC", word).lower(), folded, 1, 0.5)
    return f", did you mean '{folded[near[0]]}'?" if near else ""


def split_amount(text: str, units: Iterable[str], likely: Iterable[str] = ()) -> tuple[float, str]:
    """Return number and unit of "0.5 K". likely: offered first. Raises ValueError in the words a keeper reads."""
    if re.match(r"\s*[+-]?\d*,\d", text):
        raise ValueError(f"a decimal is written with a point: '{text.replace(',', '.', 1)}'")
    found = _AMOUNT.fullmatch(text.strip())
    if not found:
        raise ValueError("write a number, a blank and a unit, such as '0.5 K'")
    number, unit = float(found[1]), found[2]
    if unit not in units:
        raise ValueError(f"unknown unit '{unit}'{closest(unit, likely) or closest(unit, units) or _offer(units)}")
    if not isfinite(number):
        raise ValueError("this number is too large")
    return number, unit


def _offer(units: Iterable[str]) -> str:
    return f"; known here: {', '.join(units)}"


def amount(text: str, dimension: Dimension) -> tuple[float, str]:
    """Return number and unit of a text in a unit of this dimension. Raises ValueError."""
    likely = [name for name, each in UNITS.items() if each.dimension is dimension]
    number, unit = split_amount(text, UNITS, likely)
    fitting(unit, dimension)
    return number, unit


def fitting(unit: str, dimension: Dimension) -> None:
    """Raise ValueError when a known unit does not measure this dimension."""
    if UNITS[unit].dimension is dimension:
        return
    if dimension is Dimension.DIFFERENCE and UNITS[unit].dimension is Dimension.TEMPERATURE:
        raise ValueError(f"'{unit}' is a temperature, but a difference is meant: use K, Δ°C or Δ°F")
    units = ", ".join(name for name, each in UNITS.items() if each.dimension is dimension)
    raise ValueError(f"'{unit}' is not a unit of {dimension.split(' - ')[0]}: use {units}")


def spread(quantity: Quantity) -> Dimension:
    """Return what a half width or a deadband of this quantity is measured in: never a temperature scale."""
    dimension = DIMENSION[quantity]
    return Dimension.DIFFERENCE if dimension is Dimension.TEMPERATURE else dimension


def scale(text: str, dimension: Dimension) -> tuple[Scale, str]:
    """Return the scale of "4 mA = -60 °C, 20 mA = 60 °C" and the unit it leads to. Raises ValueError."""
    if re.search(r"\d,\d", text):
        raise ValueError("a decimal is written with a point")
    points = [_point(each, dimension) for each in text.split(",")]
    if len(points) != 2:
        raise ValueError(_TWO_POINTS)
    low, high = sorted(points)
    for what, first, second in zip(("signal", "value"), low[:2], high[:2], strict=True):
        if first == second:
            raise ValueError(f"both points have the same {what}")
    if low[2:] != high[2:]:
        raise ValueError("both points are written in the same two units")
    if low[2] != "V":
        _fitting_signal(low[0], high[0], low[2])
    return Scale(low[2], low[:2], high[:2]), low[3]


_TWO_POINTS = "write two points, such as '4 mA = -60 °C, 20 mA = 60 °C'"


def _point(text: str, dimension: Dimension) -> tuple[float, float, str, str]:
    """Return signal, value, raw unit and unit of "4 mA = -60 °C"."""
    left, equals, right = text.partition("=")
    if not equals or "=" in right:
        raise ValueError(_TWO_POINTS)
    raw, raw_unit = split_amount(left, RAW_UNITS)
    value, unit = amount(right, dimension)
    if dimension is Dimension.FRACTION and not 0 <= UNITS[unit].inside(value) <= 1:
        raise ValueError("a relative humidity lies between 0 and 100 %RH")
    return raw, value, raw_unit, unit


def _fitting_signal(low: float, high: float, raw_unit: str) -> None:
    if low < 0:
        raise ValueError(f"a signal in {raw_unit} cannot be below zero")
    if raw_unit == "mA" and (high > 20 or 0 < low < 4):
        raise ValueError("a current loop goes from 4 mA, or from 0 mA, to 20 mA")


def seconds(text: str) -> float:
    """Return a duration such as "10 min" in seconds. Raises ValueError."""
    number, unit = split_amount(text, TIME_S)
    if number < 0:
        raise ValueError("a time cannot be negative")
    return number * TIME_S[unit]


def seconds_or_nothing(text: str) -> float | None:
    """Return a duration in seconds, None for an empty text. Raises ValueError."""
    return seconds(text) if text else None


def celsius_or_nothing(text: str) -> float | None:
    """Return a temperature such as "38 °C" or "100 °F" in °C, None for an empty text. Raises ValueError."""
    if not text:
        return None
    number, unit = amount(text, Dimension.TEMPERATURE)
    return UNITS[unit].inside(number)


def metres(text: str) -> float:
    """Return a height such as "20 m" or "66 ft" in metres. Raises ValueError."""
    number, unit = split_amount(text, LENGTH_M)
    if not -500 <= number * LENGTH_M[unit] <= 9000:
        raise ValueError("no jobsite lies at this altitude")
    return number * LENGTH_M[unit]
