"""One thing said in a reader's language and units: a limit, a value, a moment, the decision rule.

All sentences are in `texts_en` and `texts_es`; `notification` makes messages of what is said here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from alerts import texts_en, texts_es
from alerts.limits import Limit, conformity_note, written
from alerts.measured import DIMENSION, UNITS, Dimension, Measured, Quantity, Unit


@dataclass(frozen=True, slots=True)
class Texts:
    """Everything that can be said in one language."""

    words: dict[str, str]
    quantities: dict[str, str]
    look: dict[str, str]
    activities: dict[str, str]


LANGUAGES = {
    "en": Texts(texts_en.WORDS, texts_en.QUANTITIES, texts_en.LOOK, texts_en.ACTIVITIES),
    "es": Texts(texts_es.WORDS, texts_es.QUANTITIES, texts_es.LOOK, texts_es.ACTIVITIES),
}
SYSTEMS = {
    "si": {
        Dimension.TEMPERATURE: "°C",
        Dimension.DIFFERENCE: "K",
        Dimension.PRESSURE: "bar",
        Dimension.SPEED: "m/s",
        Dimension.WARMING: "K/h",
    },
    "us": {
        Dimension.TEMPERATURE: "°F",
        Dimension.DIFFERENCE: "Δ°F",
        Dimension.PRESSURE: "psi",
        Dimension.SPEED: "mph",
        Dimension.WARMING: "Δ°F/h",
    },
}
"""The reader's units; where a system says nothing, or none is chosen, the limit's own."""


@dataclass(frozen=True, slots=True)
class Reader:
    """How a person wants to be told: language "en" | "es", units "si" | "us" | "" (as the limit), the zone."""

    language: str = "en"
    units: str = ""
    zone: str = "UTC"


def say(reader: Reader, key: str, **places: object) -> str:
    """Return a sentence of the reader's language, its places filled in."""
    return LANGUAGES[reader.language].words[key].format(**places)


ENGLISH = Reader()


def limit_words(limit: Limit, reader: Reader = ENGLISH) -> str:
    """Return the limit as the specification writes it, with its clause; beside it in the reader's unit."""
    if limit.quantity is Quantity.RAIN_OR_FOG:
        return say(reader, "no rain", clause=limit.clause)
    unit = unit_of(limit, reader)
    beside = ""
    if unit.spelling != limit.unit:
        beside = f" = {written(limit.threshold_inside, DIMENSION[limit.quantity], unit, _decimals(limit))}"
    relation = say(reader, limit.relation)
    return f"{quantity_words(limit, reader)} {relation} {limit.threshold:g} {limit.unit}{beside} ({limit.clause})"


def quantity_words(limit: Limit, reader: Reader) -> str:
    """Return what a limit judges, as a person says it."""
    return LANGUAGES[reader.language].quantities.get(limit.quantity, limit.quantity.replace("_", " "))


def advice_words(limit: Limit, reader: Reader, where: str) -> str:
    """Return what to stop, as the keeper wrote it for this language; else that it is outside, and his words."""
    if reader.language == "en":
        return limit.advice
    return limit.advice_es or say(reader, "outside", where=where, advice=limit.advice)


def unit_of(limit: Limit, reader: Reader) -> Unit:
    """Return the reader's unit of what a limit judges, else the specification's."""
    system = SYSTEMS.get(reader.units, {})
    return UNITS[system.get(DIMENSION[limit.quantity], limit.unit)]


def _decimals(limit: Limit) -> int:
    """Two decimals on a difference: 2.96 K must not be shown as 3.0 K beside a limit of 3 K."""
    return _DECIMALS.get(DIMENSION[limit.quantity], 1)


_DECIMALS = {Dimension.DIFFERENCE: 2, Dimension.WARMING: 2, Dimension.TIME: 0}


def value_words(limit: Limit, measured: Measured, reader: Reader = ENGLISH) -> str:
    """Return the value ± expanded uncertainty (k=2) in the reader's unit, or what is not known."""
    if measured.value is None:
        return say(reader, "not known")
    if limit.quantity is Quantity.RAIN_OR_FOG:
        return say(reader, "seen" if measured.value else "over")
    unit, decimals = unit_of(limit, reader), _decimals(limit)
    number = written(measured.value, DIMENSION[limit.quantity], unit, decimals)
    if measured.u is None:
        return say(reader, "not stated", value=number)
    if measured.u == 0.0:  # counted, not measured
        return number
    return f"{number} ± {2 * measured.u / unit.factor:.{decimals}f}"


def clock_words(utc_ms: int, zone: str = "UTC") -> str:
    """Return a moment as an alert says it: hour and minute at the site, with the offset from UTC."""
    at = datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(ZoneInfo(zone))
    offset = at.strftime("%z")
    return f"{at:%H:%M} UTC{offset[:3]}:{offset[3:]}"


def hour_words(utc_ms: int, zone: str) -> str:
    """Return hour and minute at the site, beside a moment that has said the offset."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(ZoneInfo(zone)):%H:%M}"


def place_words(place: str, reader: Reader) -> str:
    """Return a spot of an area, its kind said once and in the reader's language: "Shell low (coldest)"."""
    for spot in ("coldest", "warmest"):
        plain = place.removesuffix(f" ({spot})")
        if plain != place:
            return plain if spot in plain.lower() else f"{plain} ({say(reader, spot)})"
    return place


def rule_words(limit: Limit, measured: Measured, reader: Reader) -> str:
    """The decision rule in force and the four-state note, in the reader's language."""
    said = conformity_note(limit, measured)
    if reader.language == "en":
        return said
    words = LANGUAGES[reader.language].words
    for key in sorted(_RULE, key=len, reverse=True):
        said = said.replace(key, words[key])
    return said


_RULE = (
    "simple acceptance", "guarded by U", "before the guard band", "conforms", "does not conform",
    "within the uncertainty", "uncertainty not stated", "not known whether it conforms",
)  # fmt: skip
