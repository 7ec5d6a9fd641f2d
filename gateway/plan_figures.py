"""Which tables a plan file has, which figures each holds, and in which units they may be written.

Every figure is text with its unit. What is not stated is either an error or an assumption that is printed; an
assumption says where it comes from.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from alerts.measured import UNITS
from gateway.air_typed import INCH_OF_MERCURY_PA
from gateway.pieces import SALTS
from gateway.site_amounts import LENGTH_M, closest, split_amount

_PSI, _CUBIC_FOOT = UNITS["psi"].factor, 0.3048**3
_IN_BAR = {"bar": 1e5, "kPa": 1e3, "psi": _PSI}
SCALES: dict[str, dict[str, float]] = {
    "temperature difference": {"K": 1.0, "Δ°C": 1.0, "Δ°F": 5 / 9},
    "pressure difference": _IN_BAR,
    "gauge pressure": {"bar(g)": 1e5, "kPa(g)": 1e3, "psig": _PSI},
    "station pressure": {"hPa": 100.0, "kPa": 1e3, "inHg": INCH_OF_MERCURY_PA},
    "share": {"%": 0.01, "%RH": 0.01},
    "flow of free air": {"cfm": _CUBIC_FOOT / 60.0, "m3/min": 1 / 60.0, "m3/h": 1 / 3600.0, "l/s": 1e-3},
    "bore": {"mm": 1e-3, "in": 0.0254},
    "altitude": LENGTH_M,
    "mass": {"kg": 1.0, "g": 1e-3, "lb": 0.45359237},
    "density": {"kg/m3": 1.0, "kg/l": 1e3, "g/ml": 1e3},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "fall of pressure": {"mbar/min": 100.0, "bar/min": 1e5, "psi/min": _PSI},
}
TEMPERATURES = {"°C": UNITS["°C"], "degC": UNITS["°C"], "°F": UNITS["°F"], "degF": UNITS["°F"]}
COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Figure:
    """One key: what it measures, what it means; `assumed` is used and printed where it is not stated."""

    measures: str
    meaning: str
    assumed: str = ""
    why: str = ""
    optional: bool = False


_DROP = Figure("pressure difference", "loss of pressure", "0.1 bar", COMMON)
_CARRY = Figure("share", "share of the liquid it takes out", "95 %", COMMON)
_DRAINED = Figure("share", "share of its liquid that leaves by the drain", "95 %", COMMON)

WEATHER = {
    "air_temperature": Figure("temperature", "outside air, such as '35 °C'"),
    "relative_humidity": Figure("share", "over water, such as '80 %RH'", optional=True),
    "dew_point": Figure("temperature", "over liquid water, instead of the relative humidity", optional=True),
    "station_pressure": Figure("station pressure", "at the site, not sea level", optional=True),
    "altitude": Figure("altitude", "instead of the station pressure", optional=True),
    "pot_wall_below_air": Figure(
        "temperature difference",
        "under a night sky a pot is colder than the air",
        "0 K",
        "ours: pot as warm as the air",
    ),
}
COMPRESSOR = {
    "free_air_delivery": Figure("flow of free air", "at the intake, such as '375 cfm'"),
    "pressure": Figure("gauge pressure", "in the line, such as '100 psig'"),
    "discharge_temperature": Figure("temperature", "set by the oil circuit, such as '200 °F'", optional=True),
    "isentropic_efficiency": Figure("share", "of one reciprocating stage, such as '75 %'", optional=True),
    "altitude_derating": Figure("share", "of the delivery lost at this altitude", "0 %", "ours: none stated"),
}
NOZZLE = {
    "bore": Figure("bore", "as new, such as '3/8 in'"),
    "wear": Figure("share", "growth of the bore", "0 %", "ours: a new nozzle"),
    "pressure": Figure("gauge pressure", "at the nozzle, such as '90 psig'"),
}
HOOD = {"flow": Figure("flow of free air", "of one hood, counted as a load only")}
BLOW_DOWN = {"flow": Figure("flow of free air", "mean over the hour")}
NEED = {"pot_margin": Figure("temperature difference", "what is asked of the pot, such as '3 K'")}
_SEPARATOR = {"efficiency": _CARRY, "loss": _DROP}
PIECES: dict[str, dict[str, Figure]] = {
    "aftercooler": {
        "approach": Figure("temperature difference", "outlet above the air it draws, such as '10 K'"),
        "housing": Figure(
            "temperature difference",
            "how much warmer than outside the air is that it draws",
            "0 K",
            "ours: outside air",
        ),
        "loss": _DROP,
    },
    "separator": _SEPARATOR,
    "coalescing filter": _SEPARATOR,
    "after-filter": _SEPARATOR,
    "pot-inlet trap": _SEPARATOR,
    "receiver": {
        "contact": Figure("share", "of the way to its wall that the air cools", "50 %", COMMON),
        "drained": _DRAINED,
        "wall_above_air": Figure("temperature difference", "its wall above outside", "0 K", "ours: in the shade"),
    },
    "refrigerated dryer": {
        "pressure_dew_point": Figure("temperature", "such as '3 °C'"),
        "outlet_temperature": Figure("temperature", "after it warms the air again"),
        "drained": _DRAINED,
        "highest_inlet": Figure("temperature", "by its data sheet", optional=True),
        "loss": _DROP,
    },
    "adsorption dryer": {
        "pressure_dew_point": Figure("temperature", "such as '-40 °C'"),
        "warming": Figure("temperature difference", "of the air", "5 K", COMMON),
        "purge": Figure("share", "of the air blown off", "15 %", COMMON),
        "highest_inlet": Figure("temperature", "by its data sheet", optional=True),
        "loss": _DROP,
    },
    "deliquescent dryer": {
        "equilibrium_humidity": Figure("share", "over its brine, such as '50 %RH', or give salt", optional=True),
        "shell_loss": Figure(
            "share", "of the heat of absorption lost through the shell", "0 %", "ours: adiabatic"
        ),
        "highest_inlet": Figure("temperature", "by its data sheet", optional=True),
        "loss": _DROP,
    },
    "regulator": {"outlet_pressure": Figure("gauge pressure", "such as '90 psig'")},
    "bypass": {"open": Figure("share", "of the air that goes past, such as '10 %'")},
    "pot": {
        "contact": Figure("share", "of the way to its wall that the air cools", "100 %", "ours: the worst case"),
        "loss": _DROP,
    },
    "hose": {
        "contact": Figure("share", "of the way to outside that the air cools", "100 %", "ours: the worst case"),
        "loss": Figure("pressure difference", "over its length, with abrasive, such as '0.7 bar'"),
    },
}
# The name inside, where it is not the key of the file.
INSIDE = {
    "loss": "drop_pa", "approach": "approach_k", "housing": "housing_k", "wall_above_air": "wall_above_air_k",
    "pressure_dew_point": "pdp_c", "outlet_temperature": "outlet_c", "highest_inlet": "highest_inlet_c",
    "warming": "warming_k", "equilibrium_humidity": "equilibrium_rh", "outlet_pressure": "outlet_gauge_pa",
    "open": "share",
}  # fmt: skip


def read(text: object, figure: Figure) -> float:
    """A figure in the unit used inside (°C, K, Pa, share, m³/s, m). Raises: ValueError in a user's words."""
    if not isinstance(text, str):
        raise ValueError(f"write it as text with its unit: {figure.meaning}")
    if figure.measures == "temperature":
        number, unit = split_amount(text, TEMPERATURES)
        return TEMPERATURES[unit].inside(number)
    scale = SCALES[figure.measures]
    number, unit = split_amount(_without_fraction(text) if figure.measures == "bore" else text, scale)
    value = number * scale[unit]
    if figure.measures == "share" and not 0.0 <= value <= 1.0:
        raise ValueError("a share lies between 0 % and 100 %")
    if value < 0.0 and figure.measures != "altitude":
        raise ValueError("cannot be negative")
    return value


def _without_fraction(text: str) -> str:
    """'3/8 in' as '0.375 in'."""
    found = re.fullmatch(r"\s*(\d+)/(\d+)\s*(\S+)\s*", text)
    if found is None:
        return text
    if found[2].strip("0") == "":
        raise ValueError("a fraction over nothing")
    return f"{int(found[1]) / int(found[2])} {found[3]}"


def known(word: str, choices: Mapping[str, object] | tuple[str, ...], what: str) -> None:
    """Raise ValueError unless a word is one of the choices."""
    if word not in choices:
        raise ValueError(f"{what} '{word}' is not known here{closest(word, choices) or ': ' + ', '.join(choices)}")


def salt(text: object) -> str:
    """The name of a salt of `pieces.SALTS`. Raises ValueError."""
    known(str(text), SALTS, "salt")
    return str(text)
