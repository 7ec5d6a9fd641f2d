"""What sensors say, and what several of them said together: since when, how far it may be used, why it is so."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from alerts.measured import BOUND, GOOD, SATURATED, UNKNOWN, Measured, Validity, unknown
from gateway.jobsite import Jobsite, Sensor
from gateway.uncertainty import raw

Read = Callable[[str], Measured]
_NOT_HEARD = unknown("not heard yet", -1)


class Told(NamedTuple):
    """What the inputs of a value said: since when, the worst flag, their reasons; UNKNOWN: why it is missing."""

    since_ms: int
    validity: Validity
    reason: str


Said = Measured | Told  # a reading says the same of itself


def joined(one: Said, other: Said) -> Said:
    """Return what two inputs said together; the first that is missing says why."""
    earlier = one if one.since_ms <= other.since_ms else other
    if one.validity is other.validity is GOOD and not one.reason and not other.reason:
        return earlier
    for each in (one, other):
        if each.validity is UNKNOWN:
            return Told(earlier.since_ms, UNKNOWN, each.reason)
    reason = f"{one.reason}; {other.reason}" if one.reason and other.reason else one.reason or other.reason
    return Told(earlier.since_ms, _worse(one.validity, other.validity), reason)


def _worse(one: Validity, other: Validity) -> Validity:
    if BOUND in (one, other):
        return BOUND
    return SATURATED if SATURATED in (one, other) else GOOD


class Channel:
    """The newest value of one sensor: as measured, and as an input of what is made from it (0 where unknown)."""

    __slots__ = ("exact", "measured", "name", "sensor")

    def __init__(self, sensor: Sensor) -> None:
        self.name, self.sensor = sensor.id, sensor
        self.measured = _NOT_HEARD
        self.exact = raw(sensor.id, 0.0, None)

    def hear(self, said: Measured) -> bool:
        """Take what the sensor says now; return whether that is something else, and not the same said again."""
        last, self.measured = self.measured, said
        if said.value == last.value and said.u == last.u:
            return said.validity is not last.validity or said.reason != last.reason
        self.exact = raw(self.name, said.value or 0.0, said.u)
        return True


class Channels:
    """The sensors of a jobsite as they were last heard, however many values are made from each."""

    def __init__(self, site: Jobsite, read: Read) -> None:
        self._read = read
        self._channels = {sensor.id: Channel(sensor) for sensor in site.sensors}

    def __getitem__(self, name: str) -> Channel:
        """Return a sensor's channel; it says what it said when it was last renewed."""
        return self._channels[name]

    def renew(self, names: Iterable[str]) -> list[str]:
        """Read sensors again; return those that say something else, or are heard for the first time."""
        return [name for name in names if self._channels[name].hear(self._read(name))]
