"""Hours of duty of a person, in site time. The zone's rules come with the program's own pinned zone data."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from gateway.jobsite import Person

MINUTE_MS = 60_000
LOOK_AGAIN_MS = 60 * MINUTE_MS  # so that a change of the clocks, or of summer time, is never off for longer


def on_duty(person: Person, utc_ms: int, zone: str) -> bool:
    """Whether a person is on duty at a moment; without hours, always."""
    if not person.hours:
        return True
    begins, ends = (_minutes(text) for text in person.hours.split("-"))
    now = _of_day(utc_ms, zone)
    return begins <= now < ends if begins < ends else now >= begins or now < ends


def wait_ms(person: Person, utc_ms: int, zone: str) -> int:
    """Return how long to wait [ms] before asking again whether a person who is off duty is on it."""
    minutes = (_minutes(person.hours[:5]) - _of_day(utc_ms, zone)) % (24 * 60)
    return min(minutes * MINUTE_MS - utc_ms % MINUTE_MS, LOOK_AGAIN_MS)


def _minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def _of_day(utc_ms: int, zone: str) -> int:
    at = datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(ZoneInfo(zone))
    return at.hour * 60 + at.minute
