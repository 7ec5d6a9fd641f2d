"""The table of an unknown sensor, to paste into the jobsite file.

What its messages state is filled in; what they do not is a commented question, never a guess. Input: an `Unknown`
of `heard`. Names come from the network: in the table stand only those that a jobsite file takes for an id.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from alerts.measured import DIMENSION, UNITS, Quantity
from gateway.heard import Heard, Unknown, Voice
from gateway.heard_message import Said, printable, printable_bytes, span, value_words
from gateway.jobsite import RAW_UNITS

NO_FORM = 'not known here; a device sends SenML JSON (RFC 8428), such as [{"n":"NAME","u":"Cel","v":21.3}]'
_CONVERTED = {"K": "Cel", "/100": "%RH"}  # units of messages that a jobsite file does not use
_NUMBER = re.compile(rb"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Rules:
    """What a jobsite file takes: the bases of each quantity, and the check of an id (raises ValueError)."""

    bases: Mapping[Quantity, tuple[str, ...]]
    plain_id: Callable[[str], None]


def sketch(unknown: Unknown, heard: Heard, rules: Rules) -> list[str]:
    """Return a [[sensors]] table with what the messages state; what they do not is a commented question.

    Where no table would help, only comments say what must change in the device.
    """
    every = _every(unknown.voice)
    last = f"; example {value_words(unknown.example.value, unknown.example.unit)}" if unknown.example else ""
    lines = [f"# {printable(unknown.topic)}: {_often(unknown.voice)}{last}"]
    if why := _no_table(unknown, heard, rules):
        return [*lines, *(_source(unknown, heard, rules) or [f"# {why}"])]
    assert unknown.name is not None
    level, said = heard.standing.level(unknown.topic), unknown.example or Said("", None, "")
    lines += ["[[sensors]]", f'id = "{unknown.name}"']
    lines += [f'topic = "{level}"'] if level != unknown.name else []
    return lines + _unit_lines(said.unit, rules) + _questions(_CONVERTED.get(said.unit, said.unit), every, rules)


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
    if unknown.example and isinstance(unknown.example.value, str):
        return (
            "no number, so no sensor here; whatever message it stands in is refused whole: let the device leave "
            "it out, or send on a topic that does not begin with dewgate/, and pick the numbers by [[sources]]"
        )
    if name in heard.standing.sensors:
        there = heard.standing.sensors[name].topic
        return f'"{name}" is already a sensor on topic level {there}: give this device another name, or that topic'
    return ""


def _source(unknown: Unknown, heard: Heard, rules: Rules) -> list[str]:
    """Return the tables of a device that sends one plain number or JSON of its own; nothing for anything else."""
    level, first = heard.standing.level(unknown.topic), unknown.first_bytes.strip()
    form = "number" if _NUMBER.fullmatch(first) else "json" if first.startswith(b"{") else ""
    if unknown.name is not None or not form or _not_plain(level, rules):
        return []
    what = "one plain number" if form == "number" else "JSON of its own"
    lines = [
        f"# no SenML, but {what}: {printable_bytes(first)}",
        f'# Such a device is read on a topic that does not begin with dewgate/. Let it send on "devices/{level}":',
        "[[sources]]", f'id = "{level}"', f'topic = "devices/{level}"', f'form = "{form}"',
    ]  # fmt: skip
    if form == "json":
        return lines + _json_questions()
    table = [
        "[[sensors]]",
        f'id = "{level}"',
        *_unit_lines("", rules),
        *_questions("", _every(unknown.voice), rules),
    ]
    return [*lines, f'sensor = "{level}"', *table]


def _json_questions() -> list[str]:
    return [
        _line(
            '# time = ""', "where is its time of measurement (JMESPath)? without one it is not judged after a wait"
        ),
        _line('# time_form = ""', '"ISO 8601", "s" or "ms", if there is a time'),
        _line("# [[sources.values]]", "one for each value, and a [[sensors]] table for its sensor"),
        _line('# sensor = ""', "id of that sensor"),
        _line('# value = ""', 'where is the number (JMESPath), such as "temp" or "air.temp"?'),
    ]


def _not_plain(name: str, rules: Rules) -> bool:
    try:
        rules.plain_id(name)
    except ValueError:
        return True
    return False


def _unit_lines(unit: str, rules: Rules) -> list[str]:
    if unit in RAW_UNITS:
        scale = "what does the signal mean, such as '4 mA = -60 °C, 20 mA = 60 °C'?"
        return [_line(f'unit = "{unit}"', "as the message says: a signal"), _line('# scale = ""', scale)]
    if unit in _CONVERTED:
        return [_line(f'unit = "{_CONVERTED[unit]}"', f'the message says "{unit}", which is converted')]
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


def _often(voice: Voice) -> str:
    return "heard once" if voice.count == 1 else f"heard {voice.count} times, {_every(voice)}"


def _every(voice: Voice) -> str:
    return "once" if voice.every_ms is None else f"about every {span(voice.every_ms)}"
