"""The record's page on a real journal: made by real commands, taken away, judged by other limits."""

from __future__ import annotations

import io
import re
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.adapters import seal
from gateway.adapters.seal_key import seal_key
from gateway.web.record_desk import BUSY, KEPT, Desk
from tests.record_story import jobsite, journal
from tests.web.conftest import Pages, Stage

ROW = {"every": "4h", "language": "en", "units": "si", "what": "record"}
PLAIN = jobsite()
SITE = replace(PLAIN, trains=(), limits=tuple(each for each in PLAIN.limits if each.area))
STORY = {"from": "2026-06-01T06:00", "until": "2026-06-01T18:00"}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a day of the story."""
    return journal(tmp_path_factory.mktemp("told") / "home", 23, SITE)


@pytest.fixture
def stage(told: Path) -> Stage:
    """The pages over that journal."""
    return Stage(told, site=SITE)


def waited(pages: Pages, path: str) -> str:
    """Look at a page until nothing is being made there."""
    for _ in range(600):
        text = pages.ask("GET", path).text
        if 'http-equiv="refresh"' not in text:
            return text
        time.sleep(0.1)
    raise AssertionError(text)


def test_pages_and_zip_are_made_and_taken_away(stage: Stage, pages: Pages) -> None:
    """For a stretch of time: sealed pages, tables, and the zip; one at a time; nobody reaches other files."""
    assert pages.send("/record", **STORY, **ROW).headers["location"] == "/record"
    text = pages.ask("GET", "/record").text
    assert "<progress" in text and 'action="/record"' not in text
    refused = pages.send("/record", **STORY, **ROW)
    assert refused.status_code == 409 and BUSY in refused.text
    text = waited(pages, "/record")
    links = re.findall(r'href="(/record/file/[^"]+)"', text)
    assert sorted(link.rsplit(".", 1)[1] for link in links) == ["csv", "parquet", "pdf", "senml"]
    pdf = pages.ask("GET", next(link for link in links if link.endswith(".pdf")))
    assert seal.look(pdf.content, seal_key(stage.home).authority).holds
    assert pages.ask("GET", links[0].rsplit("/", 1)[0] + "/said.txt").status_code == 404
    assert pages.ask("GET", "/record/file/..%2F/journal.db").status_code == 404
    assert pages.send("/record", **STORY, **(ROW | {"what": "zip"})).status_code == 303
    link = re.search(r'href="(/record/file/[^"]+zip)"', waited(pages, "/record"))
    assert link
    with zipfile.ZipFile(io.BytesIO(pages.ask("GET", link[1]).content)) as found:
        assert "verify_record.py" in found.namelist()


def test_what_cannot_be_made_says_why(stage: Stage, pages: Pages) -> None:
    """Nothing asked for, a choice that is none, and a time of which the journal has nothing."""
    assert "Choose a shift" in pages.send("/record", **ROW).text
    assert "from the lists" in pages.send("/record", **STORY, **(ROW | {"every": "7h"})).text
    far = {"from": "2031-01-01T00:00", "until": "2031-01-02T00:00"}
    assert pages.send("/record", **far, **ROW).status_code == 303
    text = waited(pages, "/record")
    assert "the journal has nothing between 2031-01-01T00:00 and 2031-01-02T00:00" in text


def test_the_shifts_of_the_last_week_are_offered(stage: Stage, pages: Pages) -> None:
    """By the jobsite's shift ends, the newest first and chosen; a choice is a begin and an end."""
    offered = re.findall(r'<option value="([^"]+)/([^"]+)"', pages.ask("GET", "/record").text)
    assert len(offered) >= 7 and all("T17:30-0" in each for pair in offered for each in pair)
    assert [begin for begin, _ in offered] == sorted((begin for begin, _ in offered), reverse=True)


def test_other_limits_are_tried_and_nothing_changes(stage: Stage, pages: Pages, told: Path) -> None:
    """A higher limit tells more; what is no number is said; the journal stays as it is."""
    before = (told / "journal.db").read_bytes()
    text = pages.ask("GET", "/record/what-if").text
    form = dict(re.findall(r'name="([^"]+\|[^"]+)" inputmode="decimal" value="([^"]*)"', text))
    assert form["margin|threshold"] == "3" and len(form) == 8
    assert "Change at least one limit" in pages.send("/record/what-if", **form).text
    wrong = pages.send("/record/what-if", **(form | {"margin|threshold": "three"}))
    assert "margin: &#39;three&#39; is no threshold" in wrong.text and 'value="three"' in wrong.text
    assert pages.send("/record/what-if", **(form | {"margin|threshold": "12,5"})).status_code == 303
    text = waited(pages, "/record/what-if")
    assert "+ 2026-06-01" in text and "nothing was changed" in text
    row = r"<td>margin</td><td>outside limits</td><td>(\d+)</td><td>(?:<b>)?(\d+)"
    then, other = map(int, re.findall(row, text)[0])
    assert other != then or "\n- " in text
    assert (told / "journal.db").read_bytes() == before


def test_only_the_newest_are_kept(tmp_path: Path) -> None:
    """The oldest folders go when another is made; what was never finished says so."""
    for number in range(KEPT + 2):
        (tmp_path / "records" / f"20260601-0000{number:02}-record").mkdir(parents=True)
    desk = Desk(tmp_path)
    desk.start("20260602-000000-record", "record", ["--from", "2026-06-01"])
    names = [each.name for each in desk.every()]
    assert len(names) == KEPT and names[0] == "20260602-000000-record"
    assert "was not finished" in desk.made(names[-1]).trouble
    for _ in range(300):
        if not desk.made(names[0]).running:
            break
        time.sleep(0.1)
    assert "no journal here" in desk.made(names[0]).trouble
