"""Values of an area that no reading of this second gives: how fast a value changes, and what persons saw.

A change is the slope of a straight line through one value a minute (least squares) over the last WINDOW_MIN
minutes, so that neither a cloud nor a sensor's last digit is a trend. Rain or fog stands from its entry until
somebody enters that it is dry again; where nobody entered anything, nothing is said, and "dry again" is believed
for one shift.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import sqrt
from typing import Any

from alerts.measured import Measured, Quantity, Validity, unknown
from gateway import manual
from gateway.accuracy import RECTANGULAR
from gateway.conditions import Condition, Conditions, Made
from gateway.flow_state import ByHand, Drift, State, Weather
from gateway.jobsite import Jobsite

MINUTE = 60_000
WINDOW_MIN, ENOUGH = 30, 20  # minutes looked back over, and how many of them must have a value: ours
SHORTEST_MIN = 25  # from the first to the last of them
DRY_MS = 12 * 3_600_000  # "dry again" says nothing of the next shift: ours
DRY, SEEN = "dry again", ("rain", "fog or mist", "dew", "snow or ice", "dry again")
NOTHING = "nobody has entered rain or fog; nothing measures it here"
HAND_MS = 3_600_000  # a product in its pot warms or cools: read again after an hour. Ours
NOT_READ = "nobody has entered the temperature of the product; nothing measures it here"
READ_AGAIN = "the temperature of the product was entered more than an hour ago: read it again"
BY_HAND = "entered by hand"
CHANGE_OF = {
    Quantity.AIR_TEMPERATURE_CHANGE: Quantity.AIR_TEMPERATURE,
    Quantity.RELATIVE_HUMIDITY_CHANGE: Quantity.RELATIVE_HUMIDITY,
    Quantity.STEEL_TEMPERATURE_CHANGE: Quantity.STEEL_TEMPERATURE,
    Quantity.DEW_POINT_MARGIN_CHANGE: Quantity.DEW_POINT_MARGIN,
}


class Lasting:
    """The lasting values that limits of a jobsite ask for, put beside its conditions."""

    def __init__(self, state: State, site: Jobsite, found: Conditions) -> None:
        self.state = state
        self.found = found
        asked = dict.fromkeys((each.area, each.quantity) for each in site.limits)
        self.changes = [each for each in asked if each[1] in CHANGE_OF]
        fitted = {area.id for area in site.areas if area.product_temperature}
        self.read = [
            area for area, quantity in asked if quantity is Quantity.PRODUCT_TEMPERATURE and area not in fitted
        ]
        self.rained = [area for area, quantity in asked if quantity is Quantity.RAIN_OR_FOG]

    def update(self) -> list[Made]:
        """Bring them up to the second being judged; return all of them."""
        for area, quantity in self.changes:
            of = self.found.get((area, CHANGE_OF[quantity]), [])
            self.found[area, quantity] = [
                Condition(f"{each.place}, over {WINDOW_MIN} min", self._change(f"{area}|{quantity}|{at}", each))
                for at, each in enumerate(of)
            ]
        for area in self.rained:
            seen = _seen(self.state.weather.get(area), self.state.judged_ms)
            self.found[area, Quantity.RAIN_OR_FOG] = [Condition(BY_HAND, seen)]
        for area in self.read:
            read = _read(self.state.products.get(area), self.state.judged_ms)
            self.found[area, Quantity.PRODUCT_TEMPERATURE] = [Condition(BY_HAND, read)]
        keys = [*self.changes, *((area, Quantity.RAIN_OR_FOG) for area in self.rained)]
        keys += [(area, Quantity.PRODUCT_TEMPERATURE) for area in self.read]
        return [(key, each) for key in keys for each in self.found[key]]

    def _change(self, name: str, of: Condition) -> Measured:
        said, now_ms = of.measured, self.state.judged_ms
        if said.value is None or said.validity is not Validity.GOOD:
            return unknown(f"{said.reason}; how it changes is not known", said.since_ms)
        drift = self.state.drifts.get(name)
        if drift is None:
            drift = self.state.drifts[name] = Drift()
        if not drift.minutes or now_ms // MINUTE > drift.minutes[-1]:
            take(drift, now_ms // MINUTE, said.value)
        if drift.per_hour is None:
            return unknown(
                f"how it changes is not known yet: that takes {WINDOW_MIN} min of values", said.since_ms
            )
        return Measured(drift.per_hour, drift.u, drift.minutes[0] * MINUTE, Validity.GOOD)

    def deadlines(self) -> Iterator[int]:
        """Yield the core times at which "dry again", or a product's temperature, is no longer believed."""
        yield from (each.since_ms + DRY_MS for each in self.state.weather.values() if each.seen == DRY)
        yield from (each.since_ms + HAND_MS for each in self.state.products.values())


def take(drift: Drift, minute: int, value: float) -> None:
    """Take the value of one more minute, and work the change out anew."""
    first = next((at for at, each in enumerate(drift.minutes) if each >= minute - WINDOW_MIN), len(drift.minutes))
    drift.minutes = [*drift.minutes[first:], minute]
    drift.values = [*drift.values[first:], value]
    drift.per_hour = drift.u = None
    if len(drift.minutes) >= ENOUGH and minute - drift.minutes[0] >= SHORTEST_MIN:
        drift.per_hour, drift.u = _slope(drift)


def _slope(drift: Drift) -> tuple[float, float]:
    """Slope an hour by least squares, and its standard uncertainty from what scatters about the line.

    Errors that all values share leave the slope as it is. Source: JCGM 100:2008, H.3.3.
    """
    count = len(drift.minutes)
    middle, mean = sum(drift.minutes) / count, sum(drift.values) / count
    hours = [(minute - middle) / 60 for minute in drift.minutes]
    square = sum(each * each for each in hours)
    slope = sum(hour * (value - mean) for hour, value in zip(hours, drift.values, strict=True)) / square
    left = [value - mean - slope * hour for hour, value in zip(hours, drift.values, strict=True)]
    u = sqrt(sum(each * each for each in left) / (count - 2) / square)
    return round(slope, 4), round(u, 4)


def enter(state: State, body: Mapping[str, Any]) -> None:
    """Take what a person saw of the weather; a look that is older does not undo a newer one."""
    at_ms = body.get("at_ms")
    since_ms = state.core_ms if at_ms is None else at_ms - state.offset_ms
    before = state.weather.get(body["area"])
    if body["seen"] in SEEN and (before is None or since_ms >= before.since_ms):
        state.weather[body["area"]] = Weather(body["seen"], since_ms, body["person"])


def enter_product(state: State, body: Mapping[str, Any]) -> None:
    """Take what a person read of the product of an area; an older reading does not undo a newer one."""
    found, at_ms = manual.product(body), body.get("at_ms")
    since_ms = state.core_ms if at_ms is None else at_ms - state.offset_ms
    before = state.products.get(body["area"])
    if found is not None and (before is None or since_ms >= before.since_ms):
        value, half_k = found
        u = None if half_k is None else half_k / RECTANGULAR
        state.products[body["area"]] = ByHand(value, u, since_ms, body["person"])


def _read(read: ByHand | None, now_ms: int) -> Measured:
    if read is None:
        return unknown(NOT_READ, now_ms)
    if now_ms >= read.since_ms + HAND_MS:
        return unknown(READ_AGAIN, read.since_ms)
    return Measured(read.value, read.u, read.since_ms, Validity.GOOD, f"entered by {read.by}")


def _seen(weather: Weather | None, now_ms: int) -> Measured:
    if weather is None or (weather.seen == DRY and now_ms >= weather.since_ms + DRY_MS):
        return unknown(NOTHING, now_ms)
    value, reason = float(weather.seen != DRY), f"{weather.seen}, entered by {weather.by}"
    return Measured(value, 0.0, weather.since_ms, Validity.GOOD, reason)
