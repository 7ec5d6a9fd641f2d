"""What was heard, in words for a keeper: rows for the terminal, JSON for a machine.

Input: a `Heard`. Names and bytes come from the network, so whatever is not printable is written as its escape and
never reaches a terminal raw.
"""

from __future__ import annotations

import json

from gateway.heard import Heard, Refused, Speaker, Unknown, Voice, still_unknown
from gateway.heard_message import Shown, printable, printable_bytes, span, value_words
from gateway.heard_table import Rules, sketch
from gateway.jobsite import Sensor
from gateway.payload.forms import topics
from gateway.web import words

MOST_ROWS = 30  # in one section on a terminal; --json has all
PLACES = (
    "A sensor makes a gap only where it is named: steel under [[areas.steel]] of its area, air and station",
    "pressure in [[stations]], gas, walls and gauge pressure in [[trains.pieces]]. Then: dewgate check FILE,",
    "dewgate apply FILE.",
)


def text(heard: Heard, rules: Rules, hours: float, writing: bool) -> str:
    """Return everything that was heard, the jobsite's sensors first."""
    site = heard.standing.site
    lines = [
        f"{printable(site.label)}: {heard.entries} entries of {hours:g} h to {_newest(heard)}"
        if site
        else "no jobsite is in force; use: dewgate apply FILE",
        _writer(heard, writing),
    ]
    lines += [*_listens(heard), "", *_own(heard, hours), *_unknown(heard, rules), *_refused(heard), *_rest(heard)]
    return "\n".join(lines)


def _writer(heard: Heard, writing: bool) -> str:
    if writing:
        return "a dewgate is writing this journal"
    how = "it was asked to stop" if heard.stopped else "no stop was written: killed, or without power"
    return f"NOT WRITTEN since {_newest(heard)}: {how}"


def _listens(heard: Heard) -> list[str]:
    """Say what can be heard at all: a wrong jobsite in a topic is the mistake nothing else shows."""
    site = heard.standing.site
    if site is None:
        return []
    nodes = [f"{edge.group}/{edge.node}" for edge in site.edges]
    every = ", ".join([*topics(site), *(["the edge nodes " + ", ".join(nodes)] if nodes else [])])
    return [f"heard are {printable(every)}; what is sent on another topic never arrives here"]


def _own(heard: Heard, hours: float) -> list[str]:
    rows = [_own_row(heard, sensor, hours) for sensor in heard.standing.sensors.values()]
    silent = [sensor.id for sensor in heard.standing.sensors.values() if silence(heard, sensor)]
    said = f"; SILENT: {', '.join(silent)}" if silent else ""
    heads = ("sensor", "readings", "every", "longest gap", "last said", "received", "lag", "remarks")
    return [f"Sensors of the jobsite: {len(rows)}{said}", *columns([heads, *rows])] if rows else []


def silence(heard: Heard, sensor: Sensor) -> str:
    """Return how a sensor is silent at the newest entry, or nothing."""
    speaker = heard.speakers.get(sensor.id)
    if speaker is None or speaker.last is None:
        return "not heard"
    quiet = heard.newest_ms - speaker.voice.last_ms
    return f"for {span(quiet)}" if quiet > speaker.last.patience_ms else ""


def _own_row(heard: Heard, sensor: Sensor, hours: float) -> tuple[str, ...]:
    speaker = heard.speakers.get(sensor.id, Speaker())
    voice, last, quiet = speaker.voice, speaker.last, silence(heard, sensor)
    remarks = [f"SILENT {quiet}" + (f" in {hours:g} h" if last is None else "")] if quiet else []
    remarks += [f"{sensor.interval_s:g} s is stated"] if quiet or _slow(voice, sensor) else []
    refused = [each.voice for each in heard.refused.values() if heard.standing.level(each.topic) == sensor.topic]
    if refused:
        newest, times = _at(heard, max(each.last_utc_ms for each in refused)), sum(each.count for each in refused)
        remarks.append(
            f"{times} {'message' if times == 1 else 'messages'} of its topic REFUSED, the last {newest}"
        )
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
