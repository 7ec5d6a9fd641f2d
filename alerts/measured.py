"""Quantities, units and a value that knows how much it can be trusted.

The lowest room of the house: everything above speaks of values in these words.
Inside, one unit per dimension (°C for temperatures, K for differences, Pa absolute or
gauge, relative humidity 0..1); the reader's and the specification's units are converted
here, at the edge, from a closed list of spellings.
Sources: factors of the International System (BIPM, SI Brochure, 9th ed., 2019, ch. 2 and 4);
psi, °F, mph and cubic foot from the international yard and pound agreement of 1959 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class Quantity(StrEnum):
    """One name for each quantity everywhere; DEVELOPERS.md has the table with symbols and sources."""

    AIR_TEMPERATURE = "air_temperature"
    RELATIVE_HUMIDITY = "relative_humidity"
    STATION_PRESSURE = "station_pressure"
    STEEL_TEMPERATURE = "steel_temperature"
    GAS_TEMPERATURE = "gas_temperature"
    WALL_TEMPERATURE = "wall_temperature"
    GAUGE_PRESSURE = "gauge_pressure"
    ABSOLUTE_PRESSURE = "absolute_pressure"
    DEW_POINT = "dew_point"
    FROST_POINT = "frost_point"
    DEW_POINT_MARGIN = "dew_point_margin"
    RH_AT_STEEL = "rh_at_steel"
    PRESSURE_DEW_POINT = "pressure_dew_point"
    ATMOSPHERIC_DEW_POINT = "atmospheric_dew_point"
    CONDENSATION_MARGIN = "condensation_margin"
    STEEL_MINUS_AIR = "steel_minus_air"
    PRESSURE_LOSS = "pressure_loss"
    POT_MINUS_LINE = "pot_minus_line"
    HUMIDITY_RATIO = "humidity_ratio"
    ABSOLUTE_HUMIDITY = "absolute_humidity"
    AIR_FLOW = "air_flow"
    LIQUID_LEVEL = "liquid_level"
    DRAIN_COUNT = "drain_count"
    VALVE_POSITION = "valve_position"
    WIND_SPEED = "wind_speed"
    PRODUCT_TEMPERATURE = "product_temperature"
    AIR_TEMPERATURE_CHANGE = "air_temperature_change"
    RELATIVE_HUMIDITY_CHANGE = "relative_humidity_change"
    STEEL_TEMPERATURE_CHANGE = "steel_temperature_change"
    DEW_POINT_MARGIN_CHANGE = "dew_point_margin_change"
    RAIN_OR_FOG = "rain_or_fog"
    TIME_INSIDE = "time_inside"


class Dimension(StrEnum):
    """What a unit measures; the unit after the dash is the one used inside."""

    TEMPERATURE = "temperature - °C"
    DIFFERENCE = "temperature difference - K"
    PRESSURE = "pressure - Pa"
    FRACTION = "relative humidity - 0..1"
    RATIO = "humidity ratio - kg/kg"
    DENSITY = "absolute humidity - kg/m³"
    FLOW = "air flow - m³/s"
    SHARE = "share of full scale - 0..1"
    COUNT = "count - 1"
    SPEED = "speed - m/s"
    TIME = "length of time - s"
    WARMING = "change of temperature - K/h"
    MOISTENING = "change of humidity - 1/h"


DIMENSION = {
    Quantity.AIR_TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.RELATIVE_HUMIDITY: Dimension.FRACTION,
    Quantity.STATION_PRESSURE: Dimension.PRESSURE,
    Quantity.STEEL_TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.GAS_TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.WALL_TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.GAUGE_PRESSURE: Dimension.PRESSURE,
    Quantity.ABSOLUTE_PRESSURE: Dimension.PRESSURE,
    Quantity.DEW_POINT: Dimension.TEMPERATURE,
    Quantity.FROST_POINT: Dimension.TEMPERATURE,
    Quantity.DEW_POINT_MARGIN: Dimension.DIFFERENCE,
    Quantity.RH_AT_STEEL: Dimension.FRACTION,
    Quantity.PRESSURE_DEW_POINT: Dimension.TEMPERATURE,
    Quantity.ATMOSPHERIC_DEW_POINT: Dimension.TEMPERATURE,
    Quantity.CONDENSATION_MARGIN: Dimension.DIFFERENCE,
    Quantity.STEEL_MINUS_AIR: Dimension.DIFFERENCE,
    Quantity.PRESSURE_LOSS: Dimension.PRESSURE,
    Quantity.POT_MINUS_LINE: Dimension.PRESSURE,
    Quantity.HUMIDITY_RATIO: Dimension.RATIO,
    Quantity.ABSOLUTE_HUMIDITY: Dimension.DENSITY,
    Quantity.AIR_FLOW: Dimension.FLOW,
    Quantity.LIQUID_LEVEL: Dimension.SHARE,
    Quantity.DRAIN_COUNT: Dimension.COUNT,
    Quantity.VALVE_POSITION: Dimension.SHARE,
    Quantity.WIND_SPEED: Dimension.SPEED,
    Quantity.PRODUCT_TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.AIR_TEMPERATURE_CHANGE: Dimension.WARMING,
    Quantity.RELATIVE_HUMIDITY_CHANGE: Dimension.MOISTENING,
    Quantity.STEEL_TEMPERATURE_CHANGE: Dimension.WARMING,
    Quantity.DEW_POINT_MARGIN_CHANGE: Dimension.WARMING,
    Quantity.RAIN_OR_FOG: Dimension.COUNT,
    Quantity.TIME_INSIDE: Dimension.TIME,
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A spelling a person may write; inside value = written * factor + offset."""

    spelling: str
    dimension: Dimension
    factor: float
    offset: float = 0.0

    def inside(self, written: float) -> float:
        """Return the written value in the unit used inside."""
        return written * self.factor + self.offset

    def outside(self, inside: float) -> float:
        """Return a value from inside as a person would write it in this unit."""
        return (inside - self.offset) / self.factor


_PSI_PA = 6894.757293168
UNITS: dict[str, Unit] = {
    unit.spelling: unit
    for unit in (
        Unit("°C", Dimension.TEMPERATURE, 1.0),
        Unit("degC", Dimension.TEMPERATURE, 1.0),
        Unit("Cel", Dimension.TEMPERATURE, 1.0),  # RFC 8428, 12.1
        Unit("°F", Dimension.TEMPERATURE, 5 / 9, -160 / 9),
        Unit("degF", Dimension.TEMPERATURE, 5 / 9, -160 / 9),
        Unit("K", Dimension.DIFFERENCE, 1.0),
        Unit("Δ°C", Dimension.DIFFERENCE, 1.0),
        Unit("Δ°F", Dimension.DIFFERENCE, 5 / 9),  # differences convert without the offset
        Unit("%RH", Dimension.FRACTION, 0.01),  # RFC 8428, 12.1
        Unit("%", Dimension.FRACTION, 0.01),
        Unit("/", Dimension.FRACTION, 1.0),  # RFC 8428, 12.1
        Unit("Pa", Dimension.PRESSURE, 1.0),
        Unit("hPa", Dimension.PRESSURE, 100.0),
        Unit("kPa", Dimension.PRESSURE, 1000.0),
        Unit("MPa", Dimension.PRESSURE, 1e6),
        Unit("bar", Dimension.PRESSURE, 1e5),
        Unit("psi", Dimension.PRESSURE, _PSI_PA),
        Unit("kg/kg", Dimension.RATIO, 1.0),
        Unit("g/kg", Dimension.RATIO, 0.001),
        Unit("kg/m3", Dimension.DENSITY, 1.0),
        Unit("g/m3", Dimension.DENSITY, 0.001),
        Unit("m3/s", Dimension.FLOW, 1.0),  # RFC 8428, 12.1
        Unit("m3/min", Dimension.FLOW, 1 / 60),
        Unit("l/s", Dimension.FLOW, 0.001),  # RFC 8428, 12.1
        Unit("cfm", Dimension.FLOW, 0.3048**3 / 60),
        Unit("%FS", Dimension.SHARE, 0.01),
        Unit("share", Dimension.SHARE, 1.0),
        Unit("count", Dimension.COUNT, 1.0),  # RFC 8428, 12.1
        Unit("m/s", Dimension.SPEED, 1.0),  # RFC 8428, 12.1
        Unit("km/h", Dimension.SPEED, 1 / 3.6),
        Unit("mph", Dimension.SPEED, 0.44704),
        Unit("kn", Dimension.SPEED, 1852 / 3600),
        Unit("s", Dimension.TIME, 1.0),  # RFC 8428, 12.1
        Unit("min", Dimension.TIME, 60.0),
        Unit("h", Dimension.TIME, 3600.0),
        Unit("K/h", Dimension.WARMING, 1.0),
        Unit("Δ°F/h", Dimension.WARMING, 5 / 9),
        Unit("%RH/h", Dimension.MOISTENING, 0.01),
    )
}


class Validity(StrEnum):
    """How far a value may be used. Only GOOD and SATURATED may end in a good verdict."""

    GOOD = "good"
    SATURATED = "saturated"  # RH counted as 100 %: judged wet
    BOUND = "upper bound"  # below what the sensor resolves: decides only if the bound itself does
    UNKNOWN = "unknown"


# Python 3.11 looks a member of an enum up in 0.2 us, a name of a module in 0.03.
GOOD, SATURATED, BOUND, UNKNOWN = Validity.GOOD, Validity.SATURATED, Validity.BOUND, Validity.UNKNOWN


class Measured(NamedTuple):  # made for every value of every second: half the cost of a frozen class
    """A value in the unit used inside, its standard uncertainty, since when, and why it is as it is.

    value is None exactly when validity is UNKNOWN; u is None when a sensor's accuracy is not stated
    (never 0); since_ms is the core time of the oldest reading that went into it (one that says the same
    again makes it no younger); reason is a sentence for a person, empty when there is nothing to say.
    """

    value: float | None
    u: float | None
    since_ms: int
    validity: Validity
    reason: str = ""


def unknown(reason: str, since_ms: int) -> Measured:
    """Return the value that is not known, with the reason a person will read."""
    return Measured(None, None, since_ms, UNKNOWN, reason)
