"""What a person is told: the consequence first, then the number, the limit, its clause, since when, where to look.

Texts fit a lock screen. They say what to stop; they never say that work may go on, and never tell anyone to open
or adjust a pressurised piece. All sentences are in `texts_en` and `texts_es`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from alerts import texts_en
from alerts.alarm import Change
from alerts.limits import Limit
from alerts.measured import DIMENSION, Dimension, Measured
from alerts.reasons import in_language
from alerts.saying import (
    LANGUAGES,
    Reader,
    advice_words,
    clock_words,
    hour_words,
    limit_words,
    place_words,
    quantity_words,
    rule_words,
    say,
    unit_of,
    value_words,
)

__all__ = ["LANGUAGES", "Notice", "Reader", "Standing", "clock_words", "limit_words", "value_words"]
CAUTION = texts_en.WORDS["caution"]
LOCK_SCREEN = 70  # characters of a title that a phone shows without being unlocked: common practice, no source
PLACES = 3  # named in the title of what is back
STEADY = 0.5  # a change per hour below this many standard uncertainties is none: ours
COATED = frozenset({"priming", "stripe coat", "coating", "curing"})
"""Activities with a film on the steel, which a breach exposes."""


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one person on one channel; the outbox keeps it until it is settled."""

    event_number: str
    person: str
    channel: str
    priority: str
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a forecast says beside an alarm, UTC ms; None is beyond its reach.

    moments: earliest, likely and latest crossing, of a warning. again: when it is likely inside again, and in nine
    of ten, of a breach. reach: how far the forecast goes, in words. history: whether this site's usual day speaks.
    start: the last blast start, where a crossing is foreseen and a time to prime, allowed (clause), is entered.
    """

    moments: tuple[int | None, ...] = ()
    again: tuple[int | None, ...] = ()
    reach: str = ""
    history: bool = False
    start: int | None = None
    allowed: str = ""
    clause: str = ""


NOTHING = Foreseen()


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm as a message tells it.

    where: area or piece by its label; place: which of its spots; since_utc_ms: since when; cause: the station or
    sensor that says nothing, where that is why; going_on: the activities begun there; per_hour: how the value
    changes, in the unit used inside, None when that is not known.
    """

    number: str
    change: Change
    limit: Limit
    where: str
    place: str
    measured: Measured
    since_utc_ms: int
    cause: str = ""
    going_on: frozenset[str] = frozenset()
    per_hour: float | None = None
    often: bool = False  # it has come back so often that its delays or its sensor deserve a look
    foreseen: Foreseen = NOTHING


def trend_words(of: Standing, reader: Reader) -> str:
    """Return how the value changes, or nothing where that is not known."""
    unit, dimension = unit_of(of.limit, reader), DIMENSION[of.limit.quantity]
    if of.per_hour is None or of.measured.value is None or dimension in _NO_TREND:
        return ""
    if abs(of.per_hour) < STEADY * (of.measured.u or 0.0) or of.per_hour == 0.0:
        return say(reader, "steady")
    spelling = {"°C": "K", "°F": "Δ°F"}.get(unit.spelling, unit.spelling)
    rate = abs(of.per_hour) / unit.factor
    decimals = 2 if dimension is Dimension.PRESSURE else 1
    said = say(reader, "an hour", value=f"{rate:.{decimals}f} {spelling}")
    return say(reader, "rising" if of.per_hour > 0 else "falling", rate=said)


_NO_TREND = frozenset({Dimension.WARMING, Dimension.MOISTENING, Dimension.TIME, Dimension.COUNT})


# -- one message -----------------------------------------------------------------------------------------


def consequence(of: Standing, reader: Reader) -> str:
    """Return what an alarm means for the work, on one line: what to stop, or what has happened to the coat."""
    match of.change:
        case Change.BREACH if of.going_on and of.going_on <= {"curing"}:
            return say(reader, "exposed", where=of.where)  # nothing can be stopped: the coat cures on
        case Change.BREACH:
            advice = advice_words(of.limit, reader, of.where)
            return advice if len(advice) <= LOCK_SCREEN else _first_sentence(advice)
        case Change.UNKNOWN:
            return say(reader, "unknown", where=of.where)
        case Change.RETURNED if of.going_on & COATED:
            return say(reader, "back exposed", where=of.where)
        case Change.RETURNED:
            return say(reader, "back", where=of.where)
        case _:
            value = f"{quantity_words(of.limit, reader)} {value_words(of.limit, of.measured, reader)}"
            return say(reader, "ahead" if of.change is Change.AHEAD else "close", where=of.where, value=value)


def _first_sentence(text: str) -> str:
    first, dot, _ = text.partition(". ")
    return first + dot.strip()


def title(number: str, alarms: Sequence[Standing], reader: Reader) -> str:
    """Return the line a lock screen shows, for one alarm or several of one cause, the worst first."""
    first = alarms[0]
    said = consequence(first, reader)
    if len(alarms) > 1 and first.change is Change.UNKNOWN and first.cause:
        said = say(reader, "unknown of", cause=first.cause, count=len(alarms))
    elif first.change is Change.RETURNED:
        places = list(dict.fromkeys(each.where for each in alarms))
        said = consequence(replace(first, where="; ".join(places[:PLACES])), reader)
    elif others := {consequence(each, reader) for each in alarms} - {said}:
        said = say(reader, "more", title=said, count=len(others))
    return f"{number} {said}"


def escalated(text: str, minutes: int, reader: Reader) -> str:
    """Return a title for whom it reaches because nobody acknowledged."""
    return _after_number(text, "escalated", reader, minutes=minutes)


def still(text: str, reader: Reader) -> str:
    """Return a title that is told again."""
    return _after_number(text, "still", reader)


def _after_number(text: str, key: str, reader: Reader, **places: object) -> str:
    number, _, rest = text.partition(" ")
    return f"{number} {say(reader, key, title=rest, **places)}"


def body(alarms: Sequence[Standing], reader: Reader) -> str:
    """Return the lines under the title: each alarm with value, limit, clause and since when; where to look."""
    first, *others = alarms
    said = consequence(first, reader)
    lines = _in_full(first, reader)
    if first.change is Change.UNKNOWN and others:
        named = (f"{quantity_words(each.limit, reader)} {each.number}" for each in others)
        lines.append(say(reader, "also unknown", what="; ".join(named)))
    else:
        lines += [_beside(each, said, reader) for each in others]
    lines += _closing(alarms, reader)
    return "\n".join([*lines, say(reader, "caution")])


def _beside(of: Standing, said: str, reader: Reader) -> str:
    """Another alarm of the same message, on one line: what else it asks for, its value and limit."""
    own = consequence(of, reader)
    asks = f"{own.removesuffix('.')}. " if own != said and of.change is Change.BREACH else ""
    value, limit = value_words(of.limit, of.measured, reader), limit_words(of.limit, reader)
    return say(reader, "also", number=of.number, title=f"{asks}{value}; {limit}.")


def _in_full(of: Standing, reader: Reader) -> list[str]:
    lines = []
    advice = advice_words(of.limit, reader, of.where)
    cures = of.going_on and of.going_on <= {"curing"}
    if of.change is Change.BREACH and consequence(of, reader) != advice and not cures:
        lines.append(advice)
    measured = of.measured
    lines.append(in_short(of, reader))
    lines.append(say(reader, "limit", limit=limit_words(of.limit, reader)))
    if measured.value is not None and measured.u != 0.0:
        lines.append(say(reader, "rule", rule=rule_words(of.limit, measured, reader)))
    since = clock_words(of.since_utc_ms, reader.zone)
    trend = "" if of.change is Change.RETURNED else trend_words(of, reader)
    lines.append(say(reader, "since", clock=since, trend=trend))
    lines += _foreseen(of, reader)
    if measured.reason:
        lines.append(f"{in_language(measured.reason, reader.language)}.")
    if of.often:
        lines.append(say(reader, "often"))
    return lines


def _foreseen(of: Standing, reader: Reader) -> list[str]:
    """When it is likely to cross, with its 80 % interval, or inside again; the last blast start; the grounds."""
    found, lines = of.foreseen, list[str]()

    def clock(utc_ms: int | None) -> str:
        return say(reader, "later") if utc_ms is None else hour_words(utc_ms, reader.zone)

    if found.moments:
        earliest, likely, latest = map(clock, found.moments)
        key = "moments open" if found.moments[2] is None else "moments"
        lines.append(say(reader, key, earliest=earliest, likely=likely, latest=latest))
    if found.again and found.again[0] is None:
        lines.append(say(reader, "not again", reach=found.reach))
    elif found.again:
        likely, by = map(clock, found.again)
        lines.append(say(reader, "again", likely=likely, by=by))
    if found.start is not None:
        key = "last start" if found.start > of.since_utc_ms else "start passed"
        lines.append(say(reader, key, clock=clock(found.start), allowed=found.allowed, clause=found.clause))
    if lines and not found.history:
        lines.append(say(reader, "no history"))
    return lines


def in_short(of: Standing, reader: Reader) -> str:
    """Return where, what and how much, on one line."""
    place = place_words(of.place, reader)
    where = f"{of.where}, {place}" if place and place not in of.where else of.where
    value = value_words(of.limit, of.measured, reader)
    return say(reader, "value", where=where, quantity=quantity_words(of.limit, reader), value=value)


def _closing(alarms: Sequence[Standing], reader: Reader) -> list[str]:
    """What follows for the coat, and where to look next: once a message."""
    first, look = alarms[0], LANGUAGES[reader.language].look
    lines = []
    if first.change is Change.RETURNED:
        return [say(reader, "exposure")]
    if first.change is Change.BREACH and any("curing" in each.going_on for each in alarms):
        lines.append(say(reader, "cure"))
    if first.change is Change.UNKNOWN:
        lines.append(say(reader, "look", what=look["unknown"].format(cause=first.cause or first.where)))
    elif what := look.get(f"{first.limit.quantity} {first.limit.relation}") or look.get(first.limit.quantity):
        lines.append(say(reader, "look", what=what))
    return lines


def flood(count: int, minutes: int, reader: Reader) -> tuple[str, str]:
    """Return title and body of the one message that says that others wait."""
    said = say(reader, "flood", count=count, minutes=minutes)
    return said, f"{say(reader, 'flood body')}\n{say(reader, 'caution')}"
