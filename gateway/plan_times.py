"""The hours of a weather file put in their places in time, so that an hour without a row is never passed over.

A file spans its first to its last hour, an EPW year always 8,760 or 8,784 hours. A typical year, whose months come
from different years, counts as one year. Times: ISO 8601, date and time, 24:00 allowed, offset or none.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from gateway.plan import Weather

LONGEST_YEARS = 50  # a longer span is a mistyped year; ours
LEAP, COMMON = 2000, 2001  # the years a typical year is laid into
_TIME = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[T ](\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?\s*(?:(Z)|([+-])(\d{2}):?(\d{2}))?"
)


class WeatherErrors(Exception):
    """A weather file cannot be read at all; the message says which line and what is wanted."""


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour: its time as written, its month (0 where its time tells no place), and its weather or why not."""

    time: str
    month: int
    weather: Weather | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class When:
    """A time stamp: hour 0 to 24; offset_min: minutes ahead of UTC, None where none is written."""

    year: int
    month: int
    day: int
    hour: int
    minute: int = 0
    offset_min: int | None = None

    def slot(self, year: int) -> int:
        """The hour since the calendar's beginning, laid into a year. Raises: ValueError for a day there is not."""
        minutes = date(year, self.month, self.day).toordinal() * 1440 + self.hour * 60 + self.minute
        return (minutes - (self.offset_min or 0)) // 60


Row = tuple[When | None, Hour]


def when(text: str) -> When | None:
    """A time stamp, None where the text is none. Raises: WeatherErrors for a month, day or hour there is not."""
    found = _TIME.fullmatch(text.strip())
    if found is None:
        return None
    year, month, day, hour, minute = (int(part) for part in found.groups()[:5])
    offset = 0 if found[6] else None
    if found[7]:
        offset = int(f"{found[7]}1") * (60 * int(found[8]) + int(found[9]))
    return checked(When(year, month, day, hour, minute, offset), f"time {text!r}")


def checked(stamp: When, where: str) -> When:
    """The stamp itself. Raises: WeatherErrors, with the place, for a month, day or hour there is not."""
    if not 1 <= stamp.month <= 12:
        raise WeatherErrors(f"{where}: the month is {stamp.month}, allowed is 1 to 12")
    try:
        stamp.slot(stamp.year)
    except ValueError:
        raise WeatherErrors(f"{where}: there is no such day") from None
    if stamp.hour * 60 + stamp.minute > 1440 or stamp.minute > 59:
        raise WeatherErrors(f"{where}: there is no such hour")
    return stamp


def in_their_places(rows: Sequence[Row], whole_year: bool = False, leap: bool = False) -> list[Hour]:
    """Every hour of the span in order: its row, or why it is not known; rows without a time stamp come last.

    whole_year: months of one year each make a year of 8,760 hours, 8,784 if leap. Raises: WeatherErrors.
    """
    timed = [(stamp, hour) for stamp, hour in rows if stamp is not None]
    others = [hour for stamp, hour in rows if stamp is None]
    if not timed:
        return others
    stamps = [stamp for stamp, _ in timed]
    one_year = _one_year(stamps) if whole_year else _typical(stamps)
    leap = leap or any((s.month, s.day) == (2, 29) for s in stamps)
    laid = (LEAP if leap else COMMON) if one_year else None
    slots: dict[int, list[Hour]] = {}
    for stamp, hour in timed:
        slots.setdefault(stamp.slot(laid or stamp.year), []).append(hour)
    first, last = min(slots), max(slots)
    if whole_year and laid:
        first, last = When(laid, 1, 1, 1).slot(laid), When(laid, 12, 31, 24).slot(laid)
    if last - first > LONGEST_YEARS * 8784:
        raise WeatherErrors(f"the times span more than {LONGEST_YEARS} years: is a year mistyped?")
    utc = any(stamp.offset_min is not None for stamp in stamps)
    return [_hour(slot, slots.get(slot, []), laid, utc) for slot in range(first, last + 1)] + others


def _one_year(stamps: Sequence[When]) -> bool:
    """Whether no month comes under two years."""
    return len({(s.year, s.month) for s in stamps}) == len({s.month for s in stamps})


def _typical(stamps: Sequence[When]) -> bool:
    """Whether a month is followed by the next one of another year, as it never is in a real run of hours."""
    jumps = any(b.month == a.month + 1 and b.year != a.year for a, b in pairwise(stamps))
    return jumps and _one_year(stamps)


def _hour(slot: int, found: list[Hour], laid: int | None, utc: bool) -> Hour:
    """The one row of an hour; none or several: not known."""
    if len(found) == 1:
        return found[0]
    if found:
        reason = f"{len(found)} rows for this hour, one is wanted"
        return Hour(found[0].time, found[0].month, None, reason)
    # A typical year counts its hours from 1 to 24, as its formats do.
    day, hour = divmod(slot - (1 if laid else 0), 24)
    on = date.fromordinal(day)
    said = f"{on:%m-%d} {hour + 1:02d}:00" if laid else f"{on.isoformat()} {hour:02d}:00{'Z' if utc else ''}"
    return Hour(said, on.month, None, "no row in the file")
