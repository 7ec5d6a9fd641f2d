"""How values become words, symbols and times on the board.

Input: plain values of `gateway.board`. Output: short texts for the templates. Colours follow IEC 60073
(red danger, yellow caution, green normal, blue action required, grey no meaning) and always come with a
shape and a word, so that nothing depends on seeing the colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from alerts.limits import Verdict

_MOST_DECIMALS = 4  # the flow rounds to this before it compares


@dataclass(frozen=True, slots=True)
class Look:
    """Colour name and shape of one verdict."""

    colour: str
    shape: str


LOOKS = {
    Verdict.INSIDE: Look("green", "disc"),
    Verdict.CLOSE: Look("yellow", "triangle"),
    Verdict.OUTSIDE: Look("red", "octagon"),
    Verdict.UNKNOWN: Look("unknown", "question"),
    Verdict.NO_LIMIT: Look("grey", "ring"),
    Verdict.NOT_RUNNING: Look("grey", "dash"),
    Verdict.NOT_ENTERED: Look("grey", "dash"),
}


def look(verdict: Verdict) -> Look:
    """Return colour and shape of a verdict."""
    return LOOKS[verdict]


def zone(name: str) -> tzinfo:
    """Return the site's time zone; UTC when this machine does not know the name (the offset is shown)."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def site_time(utc_ms: int, zone_name: str) -> datetime:
    """Return the moment in site time."""
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone(zone_name))


def typed_ms(text: str, zone_name: str) -> int | None:
    """Return UTC ms of a time as a form gives it, in site time where it names no offset; None for what is none."""
    try:
        said = datetime.fromisoformat(text)
        return round((said if said.tzinfo else said.replace(tzinfo=zone(zone_name))).timestamp() * 1000)
    except (ValueError, OverflowError, OSError):
        return None


def clock(utc_ms: int, zone_name: str) -> str:
    """Return HH:MM:SS in site time."""
    return site_time(utc_ms, zone_name).strftime("%H:%M:%S")


def offset(utc_ms: int, zone_name: str) -> str:
    """Return the offset as UTC+02:00."""
    written = site_time(utc_ms, zone_name).strftime("%z")
    return f"UTC{written[:3]}:{written[3:5]}"


def date(utc_ms: int, zone_name: str) -> str:
    """Return the day as 2026-03-09."""
    return site_time(utc_ms, zone_name).strftime("%Y-%m-%d")


def since(since_utc_ms: int, now_utc_ms: int, zone_name: str) -> str:
    """Return the time of day, with the date before it when that was another day."""
    day, today = date(since_utc_ms, zone_name), date(now_utc_ms, zone_name)
    time = clock(since_utc_ms, zone_name)
    return time if day == today else f"{day} {time}"


def age(age_ms: int | None) -> str:
    """Return an age as a person says it; None is a reading without a usable time."""
    if age_ms is None:
        return "age unknown"
    seconds = max(0, age_ms) // 1000
    if seconds < 120:
        return f"{seconds} s ago"
    return f"{seconds // 60} min ago" if seconds < 7200 else f"{seconds // 3600} h ago"


def number(value: float, decimals: int = 1) -> str:
    """Return the number with a true minus sign and without a negative zero."""
    written = f"{value:.{decimals}f}"
    if float(written) == 0:
        written = written.lstrip("-")
    return written.replace("-", "\N{MINUS SIGN}")


def number_beside(value: float, *bounds: float | None) -> str:
    """Return the number with as many decimals as it takes to show the side of each bound it is on.

    2.96 beside a limit of 3 is written 2.96, because 3.0 would read as reached; 0.04 beside 0 likewise.
    """
    known = [bound for bound in bounds if bound is not None]
    for decimals in range(1, _MOST_DECIMALS):
        if all(_side(round(value, decimals), bound) == _side(value, bound) for bound in known):
            return number(value, decimals)
    return number(value, _MOST_DECIMALS)


def _side(value: float, bound: float) -> int:
    return (value > bound) - (value < bound)


def is_unacknowledged(state: str) -> bool:
    """Tell whether an ISA-18.2 state still waits for a person: only these flash and carry a button."""
    return "unacknowledged" in state.lower().replace("-", "")


def alarm_colour(priority: str) -> str:
    """Red for the highest priority, yellow for the others (IEC 60073)."""
    return "red" if priority == "high" else "yellow"
