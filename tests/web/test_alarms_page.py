"""The page of alarms, over a journal and a delivery file as the programs write them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from alerts.alarm import Change
from alerts.channels import Sent as Took
from alerts.delivery_book import Book, Row
from gateway.web.alarm_events import Happened, Story, events_of, sent, shifts, stories
from tests.sites import margin_limit, site
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS
from tests.web.made_journal import MINUTE, write_journal


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with the made journal."""
    write_journal(tmp_path)
    return tmp_path


def test_events_are_read_with_utc(home: Path) -> None:
    """Core time plus what was added then; the newest `most`, oldest first."""
    first, *_ = events_of(home / "journal.db")
    assert first == Happened(
        NOW_MS - 3_600_000, "A-7", "outside limits", "margin", "outside limits", "steel-keel: 1.2 K"
    )
    assert [each.number for each in events_of(home / "journal.db", 2)] == ["A-8", "A-8"]
    assert events_of(home / "nothing.db") == []


def test_a_story_tells_life_and_telling_apart(home: Path) -> None:
    """The alarm that moved last comes first."""
    newest, older = stories(events_of(home / "journal.db"))
    assert (newest.number, older.number, older.limit) == ("A-8", "A-7", "margin")
    assert [each.change for each in older.life] == ["outside limits", "acknowledged"]
    assert [each.change for each in older.telling] == ["told", "kept back"]


def test_figures_of_a_shift(home: Path) -> None:
    """Two began, one acknowledged after twelve minutes, one put aside, one told, one kept back."""
    (shift,) = shifts(events_of(home / "journal.db"), 8 * 60 * MINUTE, NOW_MS - 4 * 60 * MINUTE)
    found = (shift.began, shift.middle_ms, shift.put_aside, shift.told, shift.kept_back)
    assert found == (2, 12 * MINUTE, 1, 1, 1)
    assert shift.from_ms <= NOW_MS - 60 * MINUTE < shift.until_ms


def test_an_acknowledgement_in_the_next_shift_counts_there() -> None:
    """Each in its own stretch, the newest first; without an acknowledgement there is no median."""
    made = [
        Happened(at, "A-1", change, "m", "", "") for at, change in ((5, Change.BREACH), (15, Change.ACKNOWLEDGED))
    ]
    newer, older = shifts(made, 10, 0)
    assert (newer.from_ms, newer.began, newer.middle_ms) == (10, 0, 10)
    assert (older.from_ms, older.began, older.middle_ms) == (0, 1, None)
    assert Story("A-1", tuple(made)).limit == "m"


def test_messages_carry_their_newest_outcome(home: Path) -> None:
    """Before the messenger has seen it, it is not tried yet; then the newest attempt counts."""
    (line,) = sent(home, "A-7")
    assert (line.person, line.channel, line.attempt, line.outcome) == ("lead", "lead-phone", 0, "not tried yet")
    book = Book(home / "delivery.db")
    row = Row(1, NOW_MS, "A-7", "lead", "lead-phone", "high", "t", "b")
    first = book.lease(row, NOW_MS)
    book.settle(first, Took.NOT_ACCEPTED, NOW_MS)
    book.settle(book.lease(first, NOW_MS + 5000), Took.ACCEPTED, NOW_MS + 5100)
    (line,) = sent(home, "A-7")
    assert (line.attempt, line.outcome, line.reason) == (2, "delivered", "the server took it")
    assert sent(home, "A-8") == []


def test_the_pages_show_it_and_let_no_markup_in(stage: Stage, home: Path) -> None:
    """The list, one alarm with why somebody was not told, and an alarm there is none of."""
    stage.site = site(margin_limit())
    pages = Pages(stage.app())
    listed = pages.ask("GET", "/alarms").text
    assert "Stop blasting area A (test specification 4.2)" in listed
    assert "<h2>Standing now</h2>" in listed
    assert "<b>silent</b>" not in listed
    assert "&lt;b&gt;silent" in listed
    assert "12 min" in listed
    story = pages.ask("GET", "/alarms/A-7").text
    assert "chief: off duty (hours 08:00-16:00)" in story
    assert "not tried yet" in story
    assert "site time, UTC+01:00" in story
    assert "<h2>Why</h2>" in story  # the words of the message, and a way to what was measured
    assert re.search(r'href="/history\?place=A&amp;at=\d{4}-\d\d-\d\dT\d\d:\d\d"', story)
    assert pages.ask("GET", "/alarms/A-99").status_code == 404


def test_an_empty_journal_says_so(pages: Pages) -> None:
    """Before anything has happened."""
    assert "Nothing has happened yet." in pages.ask("GET", "/alarms").text
