"""The plan page's sliders as a plan file: the same text a person would write, read by the same reader.

What the sliders begin with is a made example on a hot, humid day, not advice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.web.taste import Taste


@dataclass(frozen=True, slots=True)
class Range:
    """A slider in one system of units: the unit as a plan file writes it, ends, step and where it begins."""

    unit: str
    low: float
    high: float
    step: float
    begin: float


@dataclass(frozen=True, slots=True)
class Slider:
    """One figure: its key in the page's address, its words, its place in the file (table.key), its ranges."""

    name: str
    words: str
    group: str
    at: str
    si: Range
    us: Range | None = None

    @property
    def dryer(self) -> str:
        """The kind of dryer this is a figure of, or empty."""
        kind = self.at.rpartition(".")[0]
        return kind if kind in DRYERS else ""

    def range(self, taste: Taste) -> Range:
        """Return the range in the reader's unit; lengths go with the temperature."""
        if self.us is None:
            return self.si
        wanted = _WANTED.get(self.us.unit, taste.temperature == "°F")
        return self.us if wanted in (True, taste.pressure, taste.flow) else self.si


def _share(begin: float, low: float = 0.0, high: float = 100.0, unit: str = "%") -> Range:
    return Range(unit, low, high, 1, begin)


_WANTED: dict[str, bool | str] = {"psig": "psi", "psi": "psi", "cfm": "cfm"}
GROUPS = ("Weather", "Air used", "Pieces")
SLIDERS = (
    Slider("air", "Air outside", "Weather", "weather.air_temperature",
           Range("°C", -25, 50, 1, 35), Range("°F", -15, 120, 1, 95)),
    Slider("rh", "Relative humidity", "Weather", "weather.relative_humidity", _share(80, 1, 100, "%RH")),
    Slider("pot_wall", "Pot wall below the air (night sky)", "Weather", "weather.pot_wall_below_air",
           Range("K", 0, 15, 0.5, 0), Range("Δ°F", 0, 27, 1, 0)),
    Slider("altitude", "Altitude", "Weather", "weather.altitude",
           Range("m", 0, 3000, 50, 10), Range("ft", 0, 10000, 100, 0)),
    Slider("nozzles", "Nozzles", "Air used", "nozzle.number", Range("", 1, 6, 1, 1)),
    Slider("bore", "Bore of a nozzle as new", "Air used", "nozzle.bore",
           Range("mm", 4, 16, 0.5, 9.5), Range("in", 0.1875, 0.625, 0.0625, 0.375)),
    Slider("wear", "Wear of the bore", "Air used", "nozzle.wear", _share(5, 0, 40)),
    Slider("nozzle_p", "Pressure at the nozzle", "Air used", "nozzle.pressure",
           Range("bar(g)", 3, 10, 0.1, 6.2), Range("psig", 40, 140, 1, 90)),
    Slider("hoods", "Air to hoods, counted as a load", "Air used", "hood.flow",
           Range("m3/min", 0, 4, 0.1, 0.6), Range("cfm", 0, 140, 5, 20)),
    Slider("fad", "Compressor, free air delivery", "Air used", "compressor.free_air_delivery",
           Range("m3/min", 2, 45, 0.5, 10.5), Range("cfm", 75, 1600, 25, 375)),
    Slider("line_p", "Compressor, pressure", "Air used", "compressor.pressure",
           Range("bar(g)", 5, 14, 0.1, 7.6), Range("psig", 80, 200, 1, 110)),
    Slider("discharge", "Compressor, discharge (oil circuit)", "Air used", "compressor.discharge_temperature",
           Range("°C", 60, 120, 1, 93), Range("°F", 140, 250, 1, 200)),
    Slider("approach", "Aftercooler, outlet above the air", "Pieces", "aftercooler.approach",
           Range("K", 2, 30, 0.5, 8), Range("Δ°F", 4, 54, 1, 14)),
    Slider("separator_take", "Separator takes", "Pieces", "separator.efficiency", _share(95, 30)),
    Slider("filter_take", "Coalescing filter takes", "Pieces", "coalescing filter.efficiency", _share(99, 30)),
    Slider("salt_rh", "Salt bed, humidity over its brine", "Pieces", "deliquescent dryer.equilibrium_humidity",
           _share(50, 11, 80, "%RH")),
    Slider("cold_pdp", "Refrigerated dryer, pressure dew point", "Pieces", "refrigerated dryer.pressure_dew_point",
           Range("°C", 2, 15, 0.5, 3), Range("°F", 35, 60, 1, 38)),
    Slider("dry_pdp", "Adsorption dryer, pressure dew point", "Pieces", "adsorption dryer.pressure_dew_point",
           Range("°C", -70, 0, 1, -40), Range("°F", -95, 32, 1, -40)),
    Slider("regulator_p", "Regulator, outlet pressure", "Pieces", "regulator.outlet_pressure",
           Range("bar(g)", 4, 10, 0.1, 6.6), Range("psig", 60, 140, 1, 95)),
    Slider("hose_loss", "Blast hose, loss of pressure", "Pieces", "hose.loss",
           Range("bar", 0, 2, 0.05, 0.35), Range("psi", 0, 30, 0.5, 5)),
)  # fmt: skip
SWITCHES = {
    "aftercooler": "Aftercooler", "separator": "Separator", "receiver": "Receiver (wet tank)",
    "filter": "Coalescing filter", "regulator": "Regulator",
}  # fmt: skip
DRYERS = ("none", "deliquescent dryer", "refrigerated dryer", "adsorption dryer")
_KINDS = {"filter": "coalescing filter"}
_ORDER = ("aftercooler", "separator", "receiver", "filter", "dryer", "regulator", "pot", "hose")


@dataclass(frozen=True, slots=True)
class Typed:
    """What stands on the sliders, each within its range, and which pieces are in the train."""

    units: Taste
    figures: Mapping[str, float]
    pieces: frozenset[str]
    dryer: str


def typed(query: Mapping[str, str], units: Taste) -> Typed:
    """Return what an address says; what it leaves out or gets wrong stands where it begins."""
    figures = {each.name: _within(query.get(each.name), each.range(units)) for each in SLIDERS}
    stated = "set" in query  # a form leaves out what is switched off
    pieces = frozenset(name for name in SWITCHES if (name in query if stated else True))
    dryer = query.get("dryer", DRYERS[1])
    return Typed(units, figures, pieces, dryer if dryer in DRYERS else DRYERS[1])


def _within(text: str | None, allowed: Range) -> float:
    try:
        value = allowed.begin if text is None else float(text)
    except ValueError:
        return allowed.begin
    return min(allowed.high, max(allowed.low, value)) if value == value else allowed.begin  # noqa: PLR0124 - not a number


def plan_text(said: Typed) -> str:
    """Return the plan file of what stands on the sliders."""
    lines = ["[plan]", 'label = "From the sliders"', "", "[weather]", *_keys(said, "weather"), ""]
    lines += ["[compressor]", 'kind = "oil-flooded screw"', *_keys(said, "compressor"), ""]
    lines += ["[[nozzle]]", *_keys(said, "nozzle"), ""]
    if said.figures["hoods"] > 0:
        lines += ["[[hood]]", *_keys(said, "hood"), ""]
    for name in _ORDER:
        kind = said.dryer if name == "dryer" else _KINDS.get(name, name)
        if kind == "none" or (name in SWITCHES and name not in said.pieces):
            continue
        lines += ["[[piece]]", f'kind = "{kind}"', *_keys(said, kind), *_outlet(said, kind), ""]
    return "\n".join(lines)


def _keys(said: Typed, table: str) -> list[str]:
    found = []
    for each in SLIDERS:
        where, _, key = each.at.rpartition(".")
        if where == table:
            value, unit = said.figures[each.name], each.range(said.units).unit
            found.append(f'{key} = "{value:g} {unit}"' if unit else f"{key} = {value:.0f}")
    return found


def _outlet(said: Typed, kind: str) -> list[str]:
    """A refrigerated dryer warms its air again: taken as to 2 K below what comes in, within what makes sense."""
    if kind != "refrigerated dryer":
        return []
    warm = said.figures["air"] - (4.0 if said.units.temperature == "°F" else 2.0)
    least = said.figures["cold_pdp"] + (9.0 if said.units.temperature == "°F" else 5.0)
    return [f'outlet_temperature = "{max(warm, least):g} {said.units.temperature}"']
