"""The documentation cannot drift: every command, room, quantity and dependency is in it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from alerts.limits import Verdict
from alerts.measured import Quantity
from gateway.__main__ import _parser

ROOT = Path(__file__).parent.parent
README, DEVELOPERS = (ROOT / "README.md").read_text(), (ROOT / "DEVELOPERS.md").read_text()


def test_every_command_is_in_the_readme() -> None:
    """No command without its line, no line without its command."""
    (commands,) = [a.choices for a in _parser()._actions if a.dest != "help" and a.choices]
    assert set(re.findall(r"^\| `dewgate (\w+)", README, re.MULTILINE)) == set(commands)


def test_every_verdict_word_is_explained() -> None:
    """The words of the board stand in the README's table."""
    assert {v.value for v in Verdict} <= set(re.findall(r"^\| ([a-z ]+) \|", README, re.MULTILINE))


def test_every_quantity_is_in_the_nomenclature() -> None:
    """One name per quantity, with symbol, unit and source."""
    missing = [q for q in Quantity if q.value not in DEVELOPERS and q.value.replace("_", " ") not in DEVELOPERS]
    assert missing == []


def test_every_dependency_has_its_sentence() -> None:
    """Each package of pyproject.toml is argued in DEVELOPERS.md."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    named = project["dependencies"] + [d for extra in project["optional-dependencies"].values() for d in extra]
    names = {re.split(r"[<>=]", each)[0] for each in named}
    assert [name for name in sorted(names) if name.lower() not in DEVELOPERS.lower()] == []


def test_files_and_functions_stay_small() -> None:
    """Files under 300 lines, physics and the one flow under 500."""
    long = {"psychrometrics.py": 500, "compressed_air.py": 500, "pieces.py": 500, "flow.py": 500}
    long["verify_record.py"] = 400  # one file on purpose: it goes into every export
    files = [p for room in ("gateway", "alerts", "simulators") for p in (ROOT / room).rglob("*.py")]
    assert [p.name for p in files if len(p.read_text().splitlines()) > long.get(p.name, 300)] == []
