"""The documentation cannot drift: every command, room, quantity and dependency is in it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from alerts import texts_en
from alerts.limits import Verdict
from alerts.measured import Quantity
from gateway import plan_file
from gateway.__main__ import _parser
from gateway.finding_words import KINDS
from tests import make_files, make_settings

ROOT = Path(__file__).parent.parent
README, DEVELOPERS = (ROOT / "README.md").read_text(), (ROOT / "DEVELOPERS.md").read_text()
GUIDE = ROOT / "deploy" / "guide"


def _guide(name: str) -> str:
    return (GUIDE / f"{name}.md").read_text()


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
    long["verify_record.py"] = 435  # one file on purpose: it goes into every export
    files = [p for room in ("gateway", "alerts", "simulators") for p in (ROOT / room).rglob("*.py")]
    assert [p.name for p in files if len(p.read_text().splitlines()) > long.get(p.name, 300)] == []


def test_every_alert_is_explained() -> None:
    """What a phone's title begins with, and every kind of finding, has its row in the guide."""
    begins = ("exposed", "unknown", "unknown of", "close", "ahead", "back", "escalated", "still", "flood", "often")
    said = [texts_en.WORDS[key].split("{")[0] for key in begins] + [f"| {kind.title} |" for kind in KINDS.values()]
    judged = [each.partition(" ") for each in texts_en.LOOK if each != "unknown"]
    said += [f"| {texts_en.QUANTITIES[name]}{blank}{relation} |" for name, blank, relation in judged]
    said += [title.split("{")[0] for title, _ in texts_en.FAULTS.values()] + ["| Over: ..."]
    alerts = _guide("alerts")
    assert [each for each in said if each not in alerts] == [], "say it in deploy/guide/alerts.md"


def test_the_settings_are_what_the_program_says_today() -> None:
    """Made again the page is the same."""
    page = make_settings.TARGET.read_text()
    assert page == make_settings.page(), "run: python -m tests.make_settings"


def test_the_other_files_are_described_as_the_program_reads_them_today() -> None:
    """Made again the page is the same; every table of each file is on it."""
    page = make_files.TARGET.read_text()
    assert page == make_files.page(), "run: python -m tests.make_files"
    tables = (*plan_file._TABLES, "unit", "rating", "rentals", "refills", "criterion", "test", "brine", "leak")
    there = set(re.findall(r"^### `\[+(\w+)\]", page, re.MULTILINE)) | {"plan"}
    assert [name for name in tables if name not in there] == []


def test_the_words_of_the_trade_are_explained_in_order() -> None:
    """Every word the board and the documents use as a name; alphabetical, none twice."""
    words = re.findall(r"^\| ([^|]+?) \|", _guide("glossary"), re.MULTILINE)[1:]
    assert words == sorted(words, key=str.lower) and len(words) == len(set(words))
    named = {
        "jobsite", "area", "station", "air train", "piece", "reading", "margin", "condensation margin",
        "water path", "verdict", "time to limit", "exposure", "disposition", "finding", "record",
        "head, record code", "reference check", "dryer check", "rental", "keeper", "journal", "home", "unknown",
        "not running", "shelve",
    }  # fmt: skip
    assert named <= set(words)


def test_links_of_the_documents_lead_somewhere() -> None:
    """Every relative link of a page names a file that is there, and the README names every page of the guide."""
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *GUIDE.glob("*.md")]
    links = [(page, link) for page in pages for link in re.findall(r"\]\((?!http)([^)#]+)", page.read_text())]
    assert [(page.name, link) for page, link in links if not (page.parent / link).exists()] == []
    assert {page.name for page in GUIDE.glob("*.md")} == set(re.findall(r"deploy/guide/([\w-]+\.md)\)", README))


def test_documents_use_no_dashes_of_another_kind_and_stay_short() -> None:
    """Plain words: no em or en dash; the README is read in one go."""
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *GUIDE.glob("*.md")]
    assert [page.name for page in pages if re.search("[\u2013\u2014]", page.read_text())] == []
    assert len(README.splitlines()) <= 300
