"""The units a reader of a plan wants: every figure of lines, remarks, reasons and the picture goes through here.

Inside everything is °C, K, Pa, m, kg/h and kg/s; JSON stays there. Sources: 1 gal (US) = 3.785411784 l, 1 ft =
0.3048 m, 1 lbf/in² and 1 inHg as in `compressed_air` and `air_typed`; reference states as in `compressed_air`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from gateway.air_typed import INCH_OF_MERCURY_PA
from gateway.compressed_air import PSI_PA, reference_dry_air_kg_per_m3

GALLON_KG, FOOT_M = 3.785411784, 0.3048  # of water, taken as 1 kg/l
_CUBIC_FOOT_PER_MINUTE = FOOT_M**3 / 60.0


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit a reader wants: its sign, what turns the inside value into it, and decimals."""

    unit: str
    outside: Callable[[float], float]
    decimals: int

    def number(self, inside: float) -> str:
        """The number alone, for a table that names the unit in its head; never "-0.0"."""
        return f"{round(self.outside(inside), self.decimals) + 0.0:.{self.decimals}f}"

    def __call__(self, inside: float) -> str:
        """Number and unit."""
        return f"{self.number(inside)} {self.unit}"

    def little(self, inside: float) -> str:
        """Number and unit; more than nothing is never shown as 0, and nothing is said as nothing."""
        if inside <= 0.0:
            return "none"
        least = 10.0**-self.decimals
        return f"under {least:.{self.decimals}f} {self.unit}" if self.outside(inside) < least / 2 else self(inside)


@dataclass(frozen=True, slots=True)
class Units:
    """How a reader wants each figure. Inside: °C, K, Pa gauge, Pa, Pa absolute, Pa, m, kg/h, kg, dry kg/s."""

    temperature: Scale
    difference: Scale
    gauge: Scale
    pressure_drop: Scale
    absolute: Scale
    station: Scale
    altitude: Scale
    water: Scale
    amount: Scale
    flow: Scale
    flow_basis: str

    def said(self, measures: str, inside: float) -> str:
        """A figure by what it measures, in the words of `plan_figures`."""
        scales = {
            "temperature": self.temperature, "temperature difference": self.difference,
            "gauge pressure": self.gauge, "pressure difference": self.pressure_drop,
            "station pressure": self.station, "altitude": self.altitude, "share": _SHARE,
        }  # fmt: skip
        return scales[measures](inside)


_SHARE = Scale("%", lambda share: 100.0 * share, 0)
UNITS = {
    "si": Units(
        Scale("°C", lambda c: c, 1), Scale("K", lambda k: k, 1), Scale("bar(g)", lambda pa: pa / 1e5, 1),
        Scale("bar", lambda pa: pa / 1e5, 1), Scale("bar absolute", lambda pa: pa / 1e5, 2),
        Scale("hPa", lambda pa: pa / 100.0, 0), Scale("m", lambda m: m, 0), Scale("l/h", lambda kg: kg, 2),
        Scale("l", lambda kg: kg, 0),
        Scale("m³/min", lambda kg: 60.0 * kg / reference_dry_air_kg_per_m3("ISO 8573-1"), 1),
        "dry, 20 °C, 1 bar absolute",
    ),
    "us": Units(
        Scale("°F", lambda c: c * 1.8 + 32.0, 1), Scale("Δ°F", lambda k: k * 1.8, 1),
        Scale("psig", lambda pa: pa / PSI_PA, 0), Scale("psi", lambda pa: pa / PSI_PA, 1),
        Scale("psi absolute", lambda pa: pa / PSI_PA, 1), Scale("inHg", lambda pa: pa / INCH_OF_MERCURY_PA, 2),
        Scale("ft", lambda m: m / FOOT_M, 0), Scale("gal/h", lambda kg: kg / GALLON_KG, 2),
        Scale("gal", lambda kg: kg / GALLON_KG, 0),
        Scale("scfm", lambda kg: kg / (_CUBIC_FOOT_PER_MINUTE * reference_dry_air_kg_per_m3("scf 68 °F")), 0),
        "dry, 68 °F, 14.696 psi absolute",
    ),
}  # fmt: skip


def mixed(fahrenheit: bool, psi: bool, cfm: bool, gallons: bool) -> Units:
    """Return each figure in the system a reader wants it in; lengths go with the temperature."""
    t, p, f, v = (UNITS["us" if us else "si"] for us in (fahrenheit, psi, cfm, gallons))
    litres = {} if gallons else {"water": replace(v.water, unit="L/h"), "amount": replace(v.amount, unit="L")}
    return replace(
        t, gauge=p.gauge, pressure_drop=p.pressure_drop, absolute=p.absolute, station=p.station,
        flow=f.flow, flow_basis=f.flow_basis, **({"water": v.water, "amount": v.amount} | litres),
    )  # fmt: skip


_REFUSED = re.compile(r"(.*) \((C|K|Pa|fraction)\) is ([^,]+), allowed is (.*)")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_BARE_C = re.compile(r"(-?\d+(?:\.\d+)?) C\b")


def restated(words: str, units: Units) -> str:
    """A refusal of the physics, in °C, K and Pa, with its figures in the reader's units; other words stay."""
    return "\n".join(_restated(line, units) for line in words.split("\n"))


def _restated(words: str, units: Units) -> str:
    found = _REFUSED.fullmatch(words)
    if found is None:
        return _BARE_C.sub(lambda m: units.temperature(float(m[1])), words)
    what, sign, value, allowed = found.groups()
    scale = _scale(what, sign, units)
    value, allowed = (
        _NUMBER.sub(lambda m: f"{scale.outside(float(m[0])):.4g}", part) for part in (value, allowed)
    )
    return f"{what} ({scale.unit}) is {value}, allowed is {allowed}"


def _scale(what: str, sign: str, units: Units) -> Scale:
    if sign == "Pa":
        return units.pressure_drop if re.search("drop|loss", what) else units.absolute
    return {"C": units.temperature, "K": units.difference, "fraction": _SHARE}[sign]
