"""The words and figures of a climate record: English and Spanish, site time, the reader's units.

What persons wrote and what alarms said then stands as it was written. Figures are finished texts here, since a
number would lose its last nought on the way to the page.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from alerts.limits import Limit
from alerts.measured import UNITS, Dimension, Unit
from gateway.clocks import Celsius
from gateway.record_spanish import SPANISH

LANGUAGES = ("en", "es")
_SI = {
    Dimension.TEMPERATURE: "°C",
    Dimension.DIFFERENCE: "K",
    Dimension.FRACTION: "%RH",
    Dimension.PRESSURE: "bar",
    Dimension.SPEED: "m/s",
    Dimension.WARMING: "K/h",
    Dimension.MOISTENING: "%RH/h",
}
_US = {
    **_SI,
    Dimension.TEMPERATURE: "°F",
    Dimension.DIFFERENCE: "Δ°F",
    Dimension.PRESSURE: "psi",
    Dimension.SPEED: "mph",
    Dimension.WARMING: "Δ°F/h",
}
MOST_DECIMALS = 4  # values are judged at this many
MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Words:
    """How a record speaks: language, time zone, units ("si" | "us")."""

    language: str
    zone: str
    units: str = "si"

    def __call__(self, text: str, **parts: object) -> str:
        """Return a fixed text in the reader's language, its {parts} filled in."""
        said = SPANISH.get(text, text) if self.language == "es" else text
        return said.format(**parts) if parts else said

    def unit(self, dimension: Dimension) -> Unit:
        """Return the reader's unit."""
        return UNITS[(_US if self.units == "us" else _SI)[dimension]]

    def number(self, value: float | None, dimension: Dimension, beside: Iterable[float] = ()) -> str:
        """Return a value in the reader's unit without its unit, a dash where nothing is known.

        beside: limits in the unit inside, which no rounding may carry the figure over or onto.
        """
        if value is None:
            return "–"
        unit = self.unit(dimension)
        beside = (0.0, *beside) if dimension is Dimension.DIFFERENCE else tuple(beside)
        for decimals in range(1, MOST_DECIMALS):
            said = f"{unit.outside(value):.{decimals}f}"
            again = unit.inside(float(said))
            if all((again < each) == (value < each) and (again > each) == (value > each) for each in beside):
                return said.removeprefix("-") if float(said) == 0 else said
        return f"{unit.outside(value):.{MOST_DECIMALS}f}"

    def degrees(self, at: Celsius) -> str:
        """Return a temperature of a sentence in the reader's unit."""
        unit = self.unit(Dimension.TEMPERATURE)
        return f"{unit.outside(at.t_c):.{at.decimals}f} {unit.spelling}"

    def moment(self, utc_ms: int) -> str:
        """Return a moment in site time, to the minute."""
        return self._at(utc_ms).strftime("%Y-%m-%d %H:%M")

    def iso(self, utc_ms: int) -> str:
        """Return a moment in site time as ISO 8601, with its offset."""
        return self._at(utc_ms).isoformat(timespec="minutes")

    def clock(self, utc_ms: int) -> str:
        """Return the time of day of a moment in site time."""
        return self._at(utc_ms).strftime("%H:%M")

    def day(self, utc_ms: int) -> str:
        """Return the day of a moment in site time."""
        return self._at(utc_ms).strftime("%Y-%m-%d")

    def offset(self, utc_ms: int) -> str:
        """Return how far site time is from UTC then, as UTC-05:00."""
        said = self._at(utc_ms).strftime("%z")
        return f"UTC{said[:3]}:{said[3:5]}"

    def _at(self, utc_ms: int) -> datetime:
        return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(ZoneInfo(self.zone))

    def length(self, length_ms: int) -> str:
        """Return a length of time in hours and minutes; less than a minute in seconds."""
        if 0 < length_ms < MINUTE_MS:
            return f"{-(-length_ms // 1000)} s"
        minutes = round(length_ms / MINUTE_MS)
        return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"

    def limit(self, limit: Limit) -> str:
        """Return a limit in the specification's own unit."""
        return f"{self(limit.relation)} {limit.threshold:g} {limit.unit}"


def utc(utc_ms: int) -> str:
    """Return a moment as ISO 8601 in UTC."""
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def moment_of(said: str, zone: str, *, whole_day: bool = False) -> int:
    """Return a moment that a person wrote, in site time unless it names its offset, as UTC ms.

    whole_day: a day alone means its end. Raises ValueError saying what is expected.
    """
    try:
        at = datetime.fromisoformat(said)
    except ValueError:
        raise ValueError(f"{said!r} is no time; write 2026-06-01 or 2026-06-01T06:00, in site time") from None
    if whole_day and len(said) == len("2026-06-01"):
        at += timedelta(days=1)
    at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))
    return round(at.astimezone(UTC).timestamp() * 1000)
