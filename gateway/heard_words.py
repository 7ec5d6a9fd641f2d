"""What was heard, in words for a keeper: tables for the terminal, JSON for a machine, and the table of an unknown
sensor to paste into the jobsite file.

Input: a `Heard`. Names and bytes come from the network, so whatever is not printable is written as its escape and
never reaches a terminal raw. What a message does not state is asked, never guessed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from alerts.measured import DIMENSION, UNITS, Quantity
from gateway.heard import Heard, Refused, Speaker, Unknown, Voice, still_unknown
from gateway.heard_message import Said, Shown
from gateway.jobsite import Sensor
from gateway.sensor_sense import patience_ms
from gateway.web import words

MOST_ROWS = 30  # in one section on a terminal; --json has all
NO_FORM = 'not known here; a device sends SenML JSON (RFC 8428), such as [{"n":"NAME","u":"Cel","v":21.3}]'
PLACES = (
    "A sensor makes a gap only where it is named: steel under [[areas.steel]] of its area, air and station",
    "pressure in [[stations]], gas, walls and gauge pressure in [[trains.pieces]]. Then: dewgate check FILE,",
    "dewgate apply FILE.",
)


@dataclass(frozen=True, slots=True)
class Rules:
    """What a jobsite file takes: the bases of each quantity, and the check of an id (raises ValueError)."""

    bases: Mapping[Quantity, tuple[str, ...]]
    plain_id: Callable[[str], None]


# -- small words ---------------------------------------------------------------------------------------------


def printable(text: str) -> str:
    """Return the text with every control and format character escaped, so that no terminal obeys it."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def printable_bytes(first: bytes) -> str:
    """Return bytes as text, with what is not printable UTF-8 escaped."""
    return printable(first.decode("utf-8", "backslashreplace"))


def span(ms: float) -> str:
    """Return a length of time as a person says it."""
    seconds = abs(ms) / 1000
    sign = "-" if ms < 0 else ""
    for size, least, unit in ((86400, 172_800, "days"), (3600, 7200, "h"), (60, 120, "min")):
        if seconds >= least:
            return f"{sign}{seconds / size:.3g} {unit}"
    return f"{sign}{seconds:.1f} s" if seconds < 9.95 else f"{sign}{seconds:.0f} s"


def value_words(value: float | str | None, unit: str) -> str:
    """Return a value as sent with its unit."""
    number = "no value" if value is None else f"{value:.6g}" if isinstance(value, float) else repr(value)
    return printable(f"{number} {unit}".strip())


# -- the table to paste --------------------------------------------------------------------------------------


def sketch(unknown: Unknown, heard: Heard, rules: Rules) -> list[str]:
    """Return a [[sensors]] table with what the messages state; what they do not is a commented question.

    Where no table would help, only comments say what must change in the device.
    """
    every = _every(unknown.voice)
    last = value_words(unknown.example.value, unknown.example.unit) if unknown.example else "nothing readable"
    lines = [f"# {printable(unknown.topic)}: {unknown.voice.count} times, {every}; example {last}"]
    if why := _no_table(unknown, heard, rules):
        return [*lines, f"# {why}"]
    assert unknown.name is not None
    level, said = heard.standing.level(unknown.topic), unknown.example or Said("", None, "")
    lines += ["[[sensors]]", f'id = "{unknown.name}"']
    lines += [f'topic = "{level}"'] if level != unknown.name else []
    return lines + _unit_lines(said.unit, rules) + _questions(said.unit, every, rules)


def _no_table(unknown: Unknown, heard: Heard, rules: Rules) -> str:
    """Why no table can be pasted for this name, or nothing."""
    level, name = heard.standing.level(unknown.topic), unknown.name
    if name is None:
        first = printable_bytes(unknown.first_bytes) or "none kept"
        return f"{printable(unknown.detail)}; form {NO_FORM}; first bytes: {first}"
    try:
        rules.plain_id(name)
        rules.plain_id(level)
    except ValueError as error:
        return f'name "{printable(name)}": {error}; change the name or topic in the device'
    if name in heard.standing.sensors:
        there = heard.standing.sensors[name].topic
        return f'"{name}" is already a sensor on topic level {there}: give this device another name, or that topic'
    return ""


def _unit_lines(unit: str, rules: Rules) -> list[str]:
    if unit in UNITS and _fitting(unit, rules):
        return [_line(f'unit = "{unit}"', "as the message says")]
    says = (
        f'the message says "{printable(unit)}", not a unit of a sensor here'
        if unit
        else "the message does not say"
    )
    return [_line('# unit = ""', f"in which unit does it publish? {says}")]


def _questions(unit: str, every: str, rules: Rules) -> list[str]:
    fitting = _fitting(unit, rules) or list(rules.bases)
    return [
        _line('# label = ""', "what do people call this sensor?"),
        _line('# quantity = ""', "what is measured, and what does the value refer to? one line of these:"),
        _line('# basis = ""', ""),
        *(f"#     {quantity:<20} {' or '.join(rules.bases[quantity])}" for quantity in fitting),
        _line('# element = ""', "where is the sensing element? line, vented cell or ambient"),
        _line('# interval = ""', f'time between two readings, such as "10 s"? heard {every}'),
        _line('# accuracy = ""', 'half width on its sheet, such as "0.3 K"? or "not stated"'),
        _line('# accuracy_means = ""', '"limit", "k=2" or "k=1", as the sheet says? not when "not stated"'),
        _line('# classified_area = ""', "is the place a hazardous (classified) location? yes, no or unknown"),
    ]


def _fitting(unit: str, rules: Rules) -> list[Quantity]:
    spelling = UNITS.get(unit)
    return [quantity for quantity in rules.bases if spelling and DIMENSION[quantity] is spelling.dimension]


def _line(key: str, question: str) -> str:
    return f"{key:<24}# {question}".rstrip(" #") if not question else f"{key:<24}# {question}"


def _every(voice: Voice) -> str:
    return "once" if voice.every_ms is None else f"about every {span(voice.every_ms)}"


# -- the terminal --------------------------------------------------------------------------------------------


def text(heard: Heard, rules: Rules, hours: float, writing: bool) -> str:
    """Return everything that was heard, the jobsite's sensors first."""
    site = heard.standing.site
    lines = [
        f"{printable(site.label)}: {heard.entries} entries of {hours:g} h to {_newest(heard)}"
        if site
        else "no jobsite is in force; use: dewgate apply FILE",
        _writer(heard, writing),
    ]
    lines += ["", *_own(heard, hours), *_unknown(heard, rules), *_refused(heard), *_rest(heard)]
    return "\n".join(lines)


def _writer(heard: Heard, writing: bool) -> str:
    if writing:
        return "a dewgate is writing this journal"
    how = "it was asked to stop" if heard.stopped else "no stop was written: killed, or without power"
    return f"NOT WRITTEN since {_newest(heard)}: {how}"


def _own(heard: Heard, hours: float) -> list[str]:
    rows = [_own_row(heard, sensor, hours) for sensor in heard.standing.sensors.values()]
    silent = [sensor.id for sensor in heard.standing.sensors.values() if silence(heard, sensor)]
    said = f"; SILENT: {', '.join(silent)}" if silent else ""
    heads = ("sensor", "readings", "every", "longest gap", "last said", "received", "lag", "remarks")
    return [f"Sensors of the jobsite: {len(rows)}{said}", *columns([heads, *rows])] if rows else []


def silence(heard: Heard, sensor: Sensor) -> str:
    """Return how a sensor is silent at the newest entry, or nothing."""
    speaker = heard.speakers.get(sensor.id)
    if speaker is None:
        return "not heard"
    quiet = heard.newest_ms - speaker.voice.last_ms
    return f"for {span(quiet)}" if quiet > patience_ms(sensor) else ""


def _own_row(heard: Heard, sensor: Sensor, hours: float) -> tuple[str, ...]:
    speaker = heard.speakers.get(sensor.id, Speaker())
    voice, last, quiet = speaker.voice, speaker.last, silence(heard, sensor)
    remarks = [f"SILENT {quiet}" + (f" in {hours:g} h" if last is None else "")] if quiet else []
    remarks += [f"{sensor.interval_s:g} s is stated"] if quiet or _slow(voice, sensor) else []
    remarks += [f"{count} {mark}" for mark, count in speaker.marked.items()]
    return (
        sensor.id, str(voice.count), span(voice.every_ms) if voice.every_ms is not None else "",
        span(voice.longest_ms) if voice.gaps else "", value_words(last.value, last.unit) if last else "",
        _at(heard, voice.last_utc_ms) if last else "", _lag(last), ", ".join(remarks),
    )  # fmt: skip


def _slow(voice: Voice, sensor: Sensor) -> bool:
    return voice.every_ms is not None and voice.every_ms > 1500 * sensor.interval_s


def _lag(last: Shown | None) -> str:
    return "" if last is None else "no time" if last.lag_ms is None else span(last.lag_ms)


def _unknown(heard: Heard, rules: Rules) -> list[str]:
    found = still_unknown(heard)
    lines = ["", f"Not known to the jobsite: {len(found)}" + (", ready to paste:" if found else "")]
    for unknown in found[:MOST_ROWS]:
        lines += ["", *sketch(unknown, heard, rules)]
    return lines + _more(found) + (["", *(f"# {line}" for line in PLACES)] if found else [])


def _refused(heard: Heard) -> list[str]:
    found = sorted(heard.refused.values(), key=lambda each: -each.voice.count)
    rows = [_refused_row(heard, each) for each in found[:MOST_ROWS]]
    heads = ("topic", "times", "last", "reason", "first sentence")
    total = sum(each.voice.count for each in found) + heard.beyond
    return ["", f"Refused messages: {total}", *(columns([heads, *rows]) if rows else []), *_more(found)]


def _refused_row(heard: Heard, each: Refused) -> tuple[str, ...]:
    last = _at(heard, each.voice.last_utc_ms)
    return (printable(each.topic), str(each.voice.count), last, each.code, printable(each.detail)[:120])


def _rest(heard: Heard) -> list[str]:
    again = (f"{printable(topic) or 'of a message before these'} {n}" for topic, n in heard.duplicates.items())
    lines = ["", f"Messages that came again: {sum(heard.duplicates.values())}", *(f"  {each}" for each in again)]
    if heard.unread:
        topics = ", ".join(printable(topic) for topic in heard.unread)
        lines.append(f"Taken in, in a form this command does not read: {sum(heard.unread.values())}, on {topics}")
    if heard.beyond:
        lines.append(f"{heard.beyond} more came on further topics and names; they are not told apart")
    return lines


def _more(found: list[Unknown] | list[Refused]) -> list[str]:
    return [f"and {len(found) - MOST_ROWS} more; --json has them"] if len(found) > MOST_ROWS else []


def columns(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows as aligned lines."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  " + "  ".join(f"{c:<{w}}" for c, w in zip(row, widths, strict=True)).rstrip() for row in rows]


def _at(heard: Heard, utc_ms: int) -> str:
    """Return the time of day at the site, with the date where it is not that of the newest entry."""
    return words.since(utc_ms, heard.newest_ms + heard.standing.offset_ms, heard.standing.time_zone)


def _newest(heard: Heard) -> str:
    utc_ms, zone = heard.newest_ms + heard.standing.offset_ms, heard.standing.time_zone
    return f"{words.date(utc_ms, zone)} {words.clock(utc_ms, zone)} {words.offset(utc_ms, zone)}"


# -- a machine -----------------------------------------------------------------------------------------------


def as_json(heard: Heard, rules: Rules, hours: float, writing: bool) -> str:
    """Return everything as JSON; times in UTC ms."""
    site = heard.standing.site
    return json.dumps({
        "jobsite": site.id if site else None, "hours": hours, "entries": heard.entries, "writing": writing,
        "newest_utc_ms": heard.newest_ms + heard.standing.offset_ms,
        "sensors": [_sensor_json(heard, sensor) for sensor in heard.standing.sensors.values()],
        "unknown": [_unknown_json(heard, each, rules) for each in still_unknown(heard)],
        "refused": [
            {"topic": each.topic, "code": each.code, "first_sentence": each.detail,
             "first_bytes": printable_bytes(each.first_bytes), **_voice_json(each.voice)}
            for each in heard.refused.values()
        ],
        "duplicates": heard.duplicates, "unread": heard.unread, "not_told_apart": heard.beyond,
    }, indent=1)  # fmt: skip


def _voice_json(voice: Voice) -> dict[str, float | int | None]:
    return {"times": voice.count, "every_ms": voice.every_ms, "longest_gap_ms": voice.longest_ms,
            "last_utc_ms": voice.last_utc_ms or None}  # fmt: skip


def _sensor_json(heard: Heard, sensor: Sensor) -> dict[str, object]:
    speaker = heard.speakers.get(sensor.id, Speaker())
    last = speaker.last
    return {
        "id": sensor.id, "topic": sensor.topic, "stated_interval_s": sensor.interval_s,
        "silent": silence(heard, sensor) or None, **_voice_json(speaker.voice),
        "value": last.value if last else None, "unit": sensor.unit, "lag_ms": last.lag_ms if last else None,
        "marked": speaker.marked,
    }  # fmt: skip


def _unknown_json(heard: Heard, unknown: Unknown, rules: Rules) -> dict[str, object]:
    example = unknown.example
    return {
        "topic": unknown.topic, "name": unknown.name, **_voice_json(unknown.voice),
        "value": example.value if example else None, "unit": example.unit if example else None,
        "first_bytes": printable_bytes(unknown.first_bytes), "toml": "\n".join(sketch(unknown, heard, rules)),
    }  # fmt: skip
