"""The journal as it grows, one plain line for each thing said: site time, who, value, lag, and what to know of it.

Input: entries in order and what was in force before. Output: lines for a terminal or a pipe; what comes from the
network is escaped (`heard_message.printable`), and every colour has its word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from gateway import entry
from gateway.entry import Kind
from gateway.heard_message import (
    CONFLICT,
    LATE,
    REMEMBERED,
    Seen,
    Shown,
    Standing,
    after,
    believed,
    printable,
    printable_bytes,
    shown,
    span,
    told,
    value_words,
)
from gateway.payload import canonical
from gateway.reading import Rejected
from gateway.web import words

MOST_VALUES = 3  # of a refused message, in its line
MOST_BYTES = 40
RED, YELLOW, BOLD = "31", "33", "1"


@dataclass(frozen=True, slots=True)
class Line:
    """One line without its time. about: sensor ids and topic levels it is about, None for the program itself."""

    sequence: int
    core_ms: int
    utc_ms: int
    text: str
    about: frozenset[str] | None = None
    refused: bool = False
    colour: str = ""


@dataclass(slots=True)
class Watching:
    """The place reached in the journal, what is in force there, and what was seen on the way."""

    standing: Standing
    sequence: int
    seen: Seen = field(default_factory=dict)
    topics: dict[int, tuple[int, str]] = field(default_factory=dict)


def lines(watching: Watching, made: bytes) -> list[Line]:
    """Return the lines of the next entry. Raises ValueError for an entry of a newer program."""
    kind, core_ms, body = entry.unpack(made)
    before = watching.standing
    watching.sequence += 1
    watching.standing = after(before, kind, body)
    match kind:
        case Kind.MESSAGE:
            return _message(watching, body, core_ms)
        case Kind.REJECTION:
            return [_rejection(watching, body, core_ms)]
        case Kind.DUPLICATE:
            return [_duplicate(watching, body, core_ms)]
        case Kind.HEARTBEAT | Kind.STANDING:
            return []
        case _:
            said = _program(kind, canonical.to_dict(body) if body else {}, before, watching.standing)
            return [_line(watching, core_ms, said, colour=BOLD)]


def wanted(line: Line, only: frozenset[str], refused_only: bool) -> bool:
    """Whether a line is asked for; what the program itself does always is."""
    if line.about is None:
        return True
    return (not only or bool(line.about & only)) and (line.refused or not refused_only)


def timed(line: Line, standing: Standing, colour: bool) -> str:
    """Return the line with its site time in front, coloured if asked."""
    said = f"{words.clock(line.utc_ms, standing.time_zone)}  {line.text}"
    return f"\x1b[{line.colour}m{said}\x1b[0m" if colour and line.colour else said


def day(line: Line, standing: Standing) -> str:
    """Return the day and the offset of the site's time at a line."""
    zone = standing.time_zone
    return f"-- {words.date(line.utc_ms, zone)} {words.offset(line.utc_ms, zone)} --"


def _line(
    watching: Watching,
    core_ms: int,
    text: str,
    about: Iterable[str] | None = None,
    refused: bool = False,
    colour: str = "",
) -> Line:
    of = None if about is None else frozenset(about)
    return Line(
        watching.sequence, core_ms, core_ms + watching.standing.offset_ms, text.rstrip(), of, refused, colour
    )


def _message(watching: Watching, body: bytes, core_ms: int) -> list[Line]:
    arrival, standing = entry.message_of(body), watching.standing
    _remember(watching, arrival.topic)
    readings = believed(arrival, standing, core_ms)
    if isinstance(readings, Rejected):
        text = f"{printable(arrival.topic)}  taken in, in a form this command does not read"
        return [_line(watching, core_ms, text, [standing.level(arrival.topic)])]
    every = [shown(reading, arrival, standing, core_ms, watching.seen) for reading in readings]
    return [_line(watching, core_ms, _reading(each), [each.sensor], colour=_colour(each)) for each in every]


def _reading(said: Shown) -> str:
    lag = "no time" if said.lag_ms is None else f"lag {span(said.lag_ms)}"
    value = value_words(said.value, said.unit)
    marks = (mark.upper() if mark in (LATE, CONFLICT) else mark for mark in said.marks)
    return f"{said.sensor:<16}  {value:<14}  {lag:<12}  {', '.join(marks)}"


def _colour(said: Shown) -> str:
    return YELLOW if said.marks else ""


def _rejection(watching: Watching, body: bytes, core_ms: int) -> Line:
    refusal, standing = entry.rejection_of(body), watching.standing
    _remember(watching, refusal.topic)
    said = told(refusal.kept)
    level = standing.level(refusal.topic) or refusal.topic
    values = ", ".join(
        f"{printable(each.name or level)} {value_words(each.value, each.unit)}" for each in said[:MOST_VALUES]
    )
    values += f" and {len(said) - MOST_VALUES} more" if len(said) > MOST_VALUES else ""
    sent = values or printable_bytes(refusal.kept[:MOST_BYTES]) or "no bytes kept"
    text = f"{printable(level):<16}  REFUSED {refusal.code}: {printable(refusal.detail)}; sent: {sent}"
    about = {level, refusal.topic, *(each.name for each in said)}
    return _line(watching, core_ms, text, about, refused=True, colour=RED)


def _duplicate(watching: Watching, body: bytes, core_ms: int) -> Line:
    first = entry.duplicate_of(body)
    at, topic = watching.topics.get(first % REMEMBERED, (0, ""))
    level = watching.standing.level(topic) or topic if at == first else ""
    text = f"{printable(level or '(not read here)'):<16}  duplicate of entry {first}, not counted again"
    return _line(watching, core_ms, text, [level])


def _remember(watching: Watching, topic: str) -> None:
    watching.topics[watching.sequence % REMEMBERED] = (watching.sequence, topic)


# -- what the program and its people do ------------------------------------------------------------------------


def _program(kind: Kind, said: dict[str, Any], before: Standing, now: Standing) -> str:
    match kind:
        case Kind.STARTED:
            text = f"STARTED, version {said.get('core_version', 'not stated')}"
        case Kind.STOPPING:
            text = f"STOPPED: {said.get('cause', 'no cause stated')}"
        case Kind.CLOCK_STEP:
            step = now.offset_ms - before.offset_ms
            text = f"CLOCK STEP of {'+' if step > 0 else ''}{span(step)}: {said.get('cause', 'no cause stated')}"
        case Kind.CONFIG_SET:
            text = f"JOBSITE SET by {said.get('who')}: {said.get('why')}; {_changed(before, now)}"
        case Kind.ACTION:
            text = _action(said)
        case _:
            text = f"{kind.name.replace('_', ' ').lower()}: {_rest(said)}"
    return printable(text)


def _changed(before: Standing, now: Standing) -> str:
    new = ", ".join(sorted(now.sensors.keys() - before.sensors.keys()))
    gone = ", ".join(sorted(before.sensors.keys() - now.sensors.keys()))
    parts = [f"{len(now.sensors)} sensors", f"new: {new}" if new else "", f"gone: {gone}" if gone else ""]
    return ", ".join(part for part in parts if part)


def _action(said: dict[str, Any]) -> str:
    """A person's act, whatever acts there are: alarm number, act and person first."""
    number = f"ALARM {said['number']} " if "number" in said else ""
    more = {key: value for key, value in said.items() if key not in ("number", "act", "person")}
    act = "acknowledged" if said.get("act") == "acknowledge" else said.get("act", "act")
    return f"{number}{act} by {said.get('person', 'not stated')}" + (f": {_rest(more)}" if more else "")


def _rest(said: dict[str, Any]) -> str:
    return ", ".join(f"{key} {value}" for key, value in said.items())
