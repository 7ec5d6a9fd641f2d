"""The table to paste: what a message states is filled in, what it does not is asked, nothing is guessed."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.measured import DIMENSION, UNITS
from gateway.config import load, to_toml
from gateway.heard import still_unknown
from gateway.heard_command import _rules
from gateway.heard_table import sketch
from gateway.payload.forms import Forms
from tests.heard_story import Story
from tests.sites import T0, site

RULES = _rules()
ANSWERS = {
    "label": "Steel by the door", "quantity": "steel_temperature", "basis": "contact", "element": "ambient",
    "interval": "10 s", "accuracy": "0.5 K", "accuracy_means": "limit", "classified_area": "no",
}  # fmt: skip


def table(level: str, payload: bytes, times: int = 1) -> list[str]:
    story = Story()
    for n in range(times):
        story.message(10 * n, level, payload)
    heard = story.heard()
    return sketch(still_unknown(heard)[0], heard, RULES)


def test_only_what_was_stated_is_filled_in() -> None:
    """Id and unit; every other key of the table is a comment."""
    lines = table("door", b'[{"n":"door","u":"Cel","v":18.5}]', 3)
    assert lines[0] == "# dewgate/test/door: heard 3 times, about every 10 s; example 18.5 Cel"
    assert tomllib.loads("\n".join(lines)) == {"sensors": [{"id": "door", "unit": "Cel"}]}
    asked = {line.split()[1] for line in lines if ' = ""' in line}
    assert asked == {
        "label", "quantity", "basis", "element", "interval", "accuracy", "accuracy_means", "classified_area",
    }  # fmt: skip


def test_the_choices_are_those_that_fit_the_unit() -> None:
    """A message in %RH cannot be a temperature; each choice brings its bases."""
    lines = table("door", b'[{"n":"door","u":"%RH","v":40}]')
    assert "#     relative_humidity    water" in lines
    assert not any("temperature" in line for line in lines)
    choices = [line.split()[1] for line in table("d", b'[{"n":"d","u":"Cel","v":1}]') if line.startswith("#     ")]
    assert choices == [q for q in RULES.bases if DIMENSION[q] is UNITS["Cel"].dimension]
    assert "#     steel_temperature    contact or infrared" in table("d", b'[{"n":"d","u":"Cel","v":1}]')


@pytest.mark.parametrize(
    ("unit", "words"),
    [('"u":"lm",', 'the message says "lm", not a unit of a sensor here'), ("", "the message does not say"),
     ('"u":"\\u001b[2J",', 'the message says "\\x1b[2J"')],
)  # fmt: skip
def test_a_unit_that_is_not_stated_or_not_known_is_asked(unit: str, words: str) -> None:
    """It is never guessed; then every quantity is a choice."""
    lines = table("door", b'[{"n":"door",%s"v":1}]' % unit.encode())
    assert any(line.startswith('# unit = ""') and words in line for line in lines)
    assert sum(line.startswith("#     ") for line in lines) == len(RULES.bases)


@pytest.mark.parametrize(
    ("unit", "stated", "among"), [("K", "Cel", "steel_temperature"), ("/100", "%RH", "relative_humidity")]
)
def test_a_unit_of_messages_only_is_stated_as_the_file_has_it(unit: str, stated: str, among: str) -> None:
    """Kelvin is a difference in the file; the value is converted when it is read."""
    lines = table("door", b'[{"n":"door","u":"%s","v":50}]' % unit.encode())
    assert tomllib.loads("\n".join(lines)) == {"sensors": [{"id": "door", "unit": stated}]}
    choices = [line.split()[1] for line in lines if line.startswith("#     ")]
    assert among in choices and "station_pressure" not in choices


def test_a_name_on_another_topic_brings_the_topic() -> None:
    """Two sensors in one device speak on the topic of one of them."""
    lines = table("box", b'[{"n":"inside","u":"Cel","v":18.5}]')
    assert lines[0] == "# dewgate/test/box: heard once; example 18.5 Cel"
    assert tomllib.loads("\n".join(lines)) == {"sensors": [{"id": "inside", "topic": "box", "unit": "Cel"}]}


def test_no_table_where_it_would_not_help() -> None:
    """A name already in use, a name no id may be, a form that is not known: the keeper is told what to change."""
    for level, payload, words in (
        ("box", b'[{"n":"steel","v":1}]', '"steel" is already a sensor on topic level steel'),
        ("box", b'[{"n":"a/b","v":1}]', 'name "a/b": an id has letters'),
        (
            "box",
            b'[{"n":"ok","vs":"fine"}]',
            "no number, so no sensor here; whatever message it stands in is refused",
        ),
        ("t", b"\x1b[31m21.3", "first bytes: \\x1b[31m21.3"),
        ("t", b"", "first bytes: none kept"),
    ):
        lines = table(level, payload)
        assert all(line.startswith("# ") for line in lines), lines
        assert words in lines[1]


def test_whatever_the_name_is_no_line_leaves_the_table() -> None:
    """A name made to break out of its quotes is not taken, and its line end is escaped."""
    lines = table("box", b'[{"n":"a\\"\\n[jobsite]","v":1}]')
    assert tomllib.loads("\n".join(lines)) == {}
    assert all(sign.isprintable() for line in lines for sign in line)


def test_a_signal_is_asked_for_its_scale() -> None:
    """A current loop says nothing of what it stands for."""
    lines = table("loop", b'[{"n":"loop","u":"mA","v":12}]')
    assert tomllib.loads("\n".join(lines)) == {"sensors": [{"id": "loop", "unit": "mA"}]}
    assert any(line.startswith('# scale = ""') for line in lines)
    assert sum(line.startswith("#     ") for line in lines) == len(RULES.bases)
    assert not any("scale" in line for line in table("d", b'[{"n":"d","u":"Cel","v":1}]'))


def test_a_device_that_does_not_speak_senml_is_told_its_way_in(tmp_path: Path) -> None:
    """A plain number, JSON: another topic and the tables for it, whose answers make a file that `check` takes."""
    number = table("door", b" 21.5\n")
    assert [line for line in number if line.startswith("# ")][:3] == [
        "# dewgate/test/door: heard once",
        "# no SenML, but one plain number: 21.5",
        '# Such a device is read on a topic that does not begin with dewgate/. Let it send on "devices/door":',
    ]
    own = table("box", b'{"temp":18.5}')
    source = {"id": "box", "topic": "devices/box", "form": "json"}
    assert tomllib.loads("\n".join(own)) == {"sources": [source]}
    answers = {**ANSWERS, "unit": "Cel"}
    file = tmp_path / "site.toml"
    text = "\n".join([to_toml(replace(site(), trains=())), answered(number, answers)])
    given = {"sensor": "inside", "value": "temp"}
    text += "\n" + answered([line.replace("# [[", "[[") for line in own], given)
    text += "\n" + answered(table("inside", b'[{"n":"inside","u":"Cel","v":1}]'), answers)
    file.write_text(text)
    made = load(file)
    taken = (
        Forms.of(made).decode("devices/door", b"21.5", T0),
        Forms.of(made).decode("devices/box", b'{"temp":3}', T0),
    )
    assert [(each.sensor, each.value) for one in taken for each in one] == [("door", 21.5), ("inside", 3.0)]  # type: ignore[union-attr]
    assert not tomllib.loads("\n".join(table("\u00fc", b"21.5")))  # no id: as any form that is not known


def answered(lines: list[str], answers: dict[str, str]) -> str:
    for key, answer in answers.items():
        lines = [
            line.removeprefix("# ").replace('""', f'"{answer}"', 1) if line.startswith(f'# {key} = ""') else line
            for line in lines
        ]
    return "\n".join(lines)
