"""From what a message says to a reading: time, unit, and whether the value can be this sensor's at all.

Every payload form ends here, so that the same value is believed or refused for the same reasons.
"""

from __future__ import annotations

from math import isfinite

from alerts.measured import DIMENSION, UNITS, Dimension, Quantity, Unit
from gateway.jobsite import Scale, Sensor
from gateway.payload.scale import fault, scaled
from gateway.reading import Reading, Rejected

MAX_PAYLOAD = 65_536
ABSOLUTE_S = 2**28  # below this a time is relative to now (RFC 8428, 4.5.3)
FUTURE_MS = 60_000

# What a working sensor of a kind can say at all, in the unit used inside (trade: generous on purpose).
PLAUSIBLE: dict[Quantity, tuple[float, float]] = {
    Quantity.AIR_TEMPERATURE: (-60.0, 80.0),
    Quantity.STEEL_TEMPERATURE: (-60.0, 150.0),
    Quantity.WALL_TEMPERATURE: (-60.0, 200.0),
    Quantity.GAS_TEMPERATURE: (-60.0, 200.0),
    Quantity.STATION_PRESSURE: (50_000.0, 110_000.0),
    Quantity.GAUGE_PRESSURE: (-20_000.0, 1_600_000.0),
    Quantity.ABSOLUTE_PRESSURE: (50_000.0, 1_700_000.0),
    Quantity.PRESSURE_DEW_POINT: (-100.0, 100.0),
    Quantity.AIR_FLOW: (0.0, 10.0),
    Quantity.LIQUID_LEVEL: (-0.05, 1.05),
    Quantity.VALVE_POSITION: (-0.05, 1.05),
    Quantity.DRAIN_COUNT: (0.0, 1e9),
    Quantity.WIND_SPEED: (0.0, 115.0),  # the strongest gust on record is 113 m/s (WMO, 1996; from memory)
    Quantity.PRODUCT_TEMPERATURE: (-30.0, 120.0),  # heated hoses of plural spray reach some 80 °C
}
_FRACTION = Dimension.FRACTION
# What is asked of a value of each kind: its dimension, and the range it can have.
_ASKED = {
    quantity: (dimension, *PLAUSIBLE.get(quantity, (-1e9, 1e9))) for quantity, dimension in DIMENSION.items()
}

# Units of messages that a jobsite file does not use: there K is a difference, and % is written so.
_OF_MESSAGES = {
    "K": Unit("K", Dimension.TEMPERATURE, 1.0, -273.15),  # RFC 8428, 12.1
    "/100": Unit("/100", Dimension.FRACTION, 0.01),  # RFC 8798, 3
}


class Refused(Exception):
    """Carries a rejection out of the reading of a message."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.why = Rejected(code, detail)


def time_ms(seconds: float, received_ms: int) -> int | None:
    """Return UTC ms of a time [s] as RFC 8428, 4.5.3 counts it; None where it says no more than "now" (0).

    Raises: Refused for a time that is not finite or more than a minute after received_ms.
    """
    if seconds == 0:
        return None
    if not isfinite(seconds * 1000):  # in ms a double may hold no more
        raise Refused("bad time", "the time is not finite")
    absolute = seconds if seconds >= ABSOLUTE_S else received_ms / 1000 + seconds
    measured_ms = round(absolute * 1000)
    if measured_ms > received_ms + FUTURE_MS:
        raise Refused("bad time", f"measured {(measured_ms - received_ms) / 1000:.0f} s in the future")
    return measured_ms


def reading_of(sensor: Sensor, written: float, unit: str, measured_ms: int | None) -> Reading:
    """Return the reading in the unit used inside. Raises when the value or unit cannot be this sensor's."""
    if not isfinite(written):
        raise Refused("not finite", f"{sensor.id}: the value is not a finite number")
    if sensor.scale is not None:
        written, unit = _scaled(sensor, sensor.scale, written, unit), sensor.unit
    spelling = UNITS.get(unit or sensor.unit)
    dimension, low, high = _ASKED[sensor.quantity]
    if spelling is None or spelling.dimension is not dimension:
        spelling = _OF_MESSAGES.get(unit)
    if spelling is None or spelling.dimension is not dimension:
        raise Refused("wrong unit", f"{sensor.id} states {sensor.unit}, the message says {unit[:20]}")
    value = written * spelling.factor + spelling.offset
    if dimension is _FRACTION:
        return _humidity(sensor, value, measured_ms)
    if not low <= value <= high:
        raise Refused("impossible value", f"{sensor.id}: {written:g} {unit or sensor.unit} is outside its range")
    return Reading(sensor.id, value, measured_ms)


def _scaled(sensor: Sensor, scale: Scale, raw: float, unit: str) -> float:
    """Return the value a transmitter's signal stands for. Raises for another unit, a fault, a saturated signal."""
    if unit and unit != scale.raw_unit:
        raise Refused("wrong unit", f"{sensor.id} states {scale.raw_unit}, the message says {unit[:20]}")
    if why := fault(scale, raw):
        raise Refused(why[0], f"{sensor.id}: {raw:g} {scale.raw_unit}: {why[1]}")
    return scaled(scale, raw)


def _humidity(sensor: Sensor, rh: float, measured_ms: int | None) -> Reading:
    """Sort a relative humidity: impossible, saturated, below what the sensor resolves, or plain."""
    accuracy = sensor.accuracy.half_width or 0.0
    if rh < 0 or rh > 1 + accuracy + 0.03:
        raise Refused("impossible value", f"{sensor.id}: {rh * 100:g} %RH cannot be")
    if rh > 1:
        return Reading(sensor.id, 1.0, measured_ms, saturated=True)
    if rh <= accuracy or rh == 0:
        return Reading(sensor.id, max(accuracy, rh), measured_ms, below_resolution=True)
    return Reading(sensor.id, rh, measured_ms)
