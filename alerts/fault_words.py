"""What those who mind instruments and gateway are told: what is wrong, since when, whose verdict it takes away.

The sentences stand in the tables of languages; reasons are said by `reasons`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from alerts import texts_en, texts_es
from alerts.alarm import Change
from alerts.fault import INSTRUMENTS, Fault, Watched
from alerts.notification import LANGUAGES, Reader, clock_words
from alerts.reasons import in_language

TABLES: dict[str, tuple[Mapping[str, str], Mapping[str, tuple[str, str]]]] = {
    "en": (texts_en.FAULT_WORDS, texts_en.FAULTS),
    "es": (texts_es.FAULT_WORDS, texts_es.FAULTS),
}
NAMED = 3  # areas or sensors by name in one line


@dataclass(frozen=True, slots=True)
class Wrong:
    """One alarm as a message tells it. flaps: it has come three times within a day."""

    number: str
    change: Change
    watched: Watched
    reason: str
    since_utc_ms: int
    flaps: bool = False

    going_on: frozenset[str] = frozenset()


def _say(reader: Reader, key: str, **places: object) -> str:
    return TABLES[reader.language][0][key].format(**places)


def one_title(kind: Fault, what: str, reader: Reader) -> str:
    """Return the line of one thing that is wrong."""
    return TABLES[reader.language][1][kind][0].format(what=what)


def title(number: str, alarms: Sequence[Wrong], reader: Reader) -> str:
    """Return the line a lock screen shows, for one alarm or several of one cause."""
    said = _of_all(alarms, reader)
    if alarms[0].change is Change.OVER:
        said = _say(reader, "over", title=said)
    return f"{number} {said}"


def _of_all(alarms: Sequence[Wrong], reader: Reader) -> str:
    first, count = alarms[0].watched, len(alarms)
    if count == 1:
        return one_title(first.kind, first.label, reader)
    causes = {each.watched.cause for each in alarms}
    if first.kind is Fault.SILENT:
        key = "silent of" if len(causes) == 1 else "silent many"
        return _say(reader, key, cause=first.cause, count=count)
    what = first.cause if len(causes) == 1 else first.label
    said = one_title(first.kind, what, reader)
    return _say(reader, "fault more", title=said, count=count - 1)


def body(alarms: Sequence[Wrong], reader: Reader) -> str:
    """Return the lines under the title: each reason, since when, whose verdict it takes away, where to look."""
    first, *others = alarms
    lines = [_say(reader, "reason", what=first.watched.label, reason=_why(first, reader))]
    lines += [
        _say(
            reader,
            "fault also",
            number=each.number,
            what=each.watched.label,
            reason=_why(each, reader),
        )
        for each in others
    ]
    lines.append(_say(reader, "fault since", clock=clock_words(first.since_utc_ms, reader.zone)))
    lines += _follows(alarms, reader)
    where, shared = TABLES[reader.language][1][first.watched.kind][1], LANGUAGES[reader.language].words
    cause = first.watched.cause if len(alarms) > 1 else first.watched.label
    if first.change is not Change.OVER:
        lines.append(shared["look"].format(what=where.format(what=cause)))
        if any(each.watched.in_line for each in alarms):
            lines.append(_say(reader, "in line"))
    if any(each.flaps for each in alarms):
        lines.append(_say(reader, "flaps"))
    return "\n".join([*lines, shared["caution"]])


def _why(of: Wrong, reader: Reader) -> str:
    return in_language(of.reason or of.watched.kind, reader.language)


def _follows(alarms: Sequence[Wrong], reader: Reader) -> list[str]:
    """Whose verdict needs what is wrong, and what to do meanwhile."""
    first = alarms[0]
    if first.watched.manner.audience != INSTRUMENTS or first.change is Change.OVER:
        return []
    areas = tuple(dict.fromkeys(area for each in alarms for area in each.watched.areas))
    if not areas:
        return [_say(reader, "not needed")]
    lines = [_needed(areas, reader)]
    if first.watched.kind in (Fault.SILENT, Fault.STUCK, Fault.IMPOSSIBLE):
        lines.append(_say(reader, "by hand"))
    return lines


def _needed(areas: tuple[str, ...], reader: Reader) -> str:
    more = [f"+{len(areas) - NAMED}"] if len(areas) > NAMED else []
    return _say(reader, "needed", areas="; ".join([*areas[:NAMED], *more]))


def needed(watched: Watched, reader: Reader) -> str:
    """Return whose verdict needs what is wrong, or nothing where it is no instrument's."""
    if watched.manner.audience != INSTRUMENTS:
        return ""
    return _needed(watched.areas, reader) if watched.areas else _say(reader, "not needed")
