"""A reading: one sensor, one value in the unit used inside, one time; or the reason there is none.

Payloads make these, the flow keeps the newest. Nothing here knows where the bytes came from.
"""

from __future__ import annotations

from dataclasses import dataclass

import msgspec


class Reading(msgspec.Struct, gc=False):  # made for every message, in a third of the time of a dataclass
    """One value of one sensor.

    measured_ms is UTC in milliseconds since 1970, or None when the message gave no time of its own; relative
    says that it was given as "so long ago" and holds only if the message did not wait anywhere. saturated and
    below_resolution carry what the payload had to say about a humidity (100..100+accuracy+3 counts as 100;
    0..accuracy is an upper bound). next_within_ms is the longest the sensor itself promises to be silent after
    this reading, 1 ms to 2^28 s, or None when it promised nothing (RFC 8428, 4.2, update time).
    historical: sent to be stored, not to be judged.
    """

    sensor: str
    value: float
    measured_ms: int | None
    saturated: bool = False
    below_resolution: bool = False
    relative: bool = False
    next_within_ms: int | None = None
    historical: bool = False

    @property
    def absolute(self) -> bool:
        """Whether the sensor gave a time that stays true however long the message waited."""
        return self.measured_ms is not None and not self.relative


@dataclass(frozen=True, slots=True)
class Silent:
    """A sensor of which nothing is known from since_ms on, and why."""

    sensor: str
    since_ms: int
    reason: str


News = Reading | Silent


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message nothing is believed of: a stable code to count by, and a sentence for the keeper."""

    code: str
    detail: str
