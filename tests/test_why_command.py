"""`dewgate why`: the answer is what was written down, and the figures count what it says."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.delivery_book import Book
from gateway import why_command
from gateway.adapters.journal import Journal
from gateway.jobsite import Person
from tests.sites import margin_limit, site
from tests.test_flow import Day, values

LEAD = Person("lead", "site lead", ("lead-phone",))
CHIEF = Person("chief", "project manager", ("chief-mail",), after_s=600.0)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A breach of two limits at once, told to the lead, acknowledged after four minutes."""
    limits = margin_limit(), margin_limit(id="second", threshold=4.0)
    day = Day(at=replace(site(*limits), people=(LEAD, CHIEF)))
    day.pass_time(120, **values(steel=11.0))
    day.pass_time(200, **values(steel=11.0))
    day.act("acknowledge", number="A-1")
    day.pass_time(20, **values(steel=11.0))
    day.put_heartbeat()
    book = Journal(tmp_path / "journal.db")
    book.commit(1, day.entries, 1, day.out, day.now)
    book.close()
    return tmp_path


def ask(home: Path, *words: str) -> int:
    return why_command.run("why", [*words, "--home", str(home)], "Advisory only.")


def test_an_event_says_who_was_told_on_which_channel_and_who_was_not_and_why(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the order it happened, in site time."""
    assert ask(home, "a-1") == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split("  ", 1)[1] for line in lines[:5]] == [
        "A-1  margin  outside limits",
        "A-1  margin  told: lead (lead-phone): first told",
        "A-1  margin  kept back: chief: told only if nobody acknowledges within 10 min",
        "A-1  margin  acknowledged: acknowledged by lead",
        "A-1  margin  kept back: chief: acknowledged before it was their turn",
    ]
    assert lines[0].startswith("2026-05-28 20:27:51+00:00")  # T0 is 20:26:40 UTC: ten seconds, then a minute
    assert lines[5].endswith("lead on lead-phone: A-1 Stop blasting area A")
    assert "not sent yet" in lines[6]
    assert lines[-1] == "Advisory only."


def test_an_alarm_told_with_another_leads_to_the_message_that_told_it(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two alarms of one cause were one message; the second says which."""
    assert ask(home, "A-2") == 0
    said = capsys.readouterr().out
    assert "kept back: told as A-1, the same cause" in said
    assert "A-1, which told it:" in said and "told: lead (lead-phone): first told" in said


def test_what_became_of_each_attempt_stands_beside_the_message(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the messenger's own book."""
    Book(home / "delivery.db").close()
    with closing(sqlite3.connect(home / "delivery.db")) as db:
        for attempt, outcome in ((1, "try again"), (2, "delivered")):
            db.execute(
                "INSERT INTO outcomes (outbox_id, attempt, outcome, reason, at_utc_ms) VALUES (1, ?, ?, ?, 0)",
                (attempt, outcome, "the server took it" if attempt == 2 else "no answer in time"),
            )
        db.commit()
    ask(home, "A-1")
    said = capsys.readouterr().out
    assert "attempt 1: try again (no answer in time)" in said
    assert "attempt 2: delivered (the server took it)" in said
    assert "not sent yet" not in said


def test_a_number_that_is_not_there_is_said_with_the_newest(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And a folder without a journal, too."""
    assert ask(home, "A-77") == 1
    assert "the newest is A-2" in capsys.readouterr().err
    (tmp_path / "empty").mkdir()
    assert ask(tmp_path / "empty", "A-1") == 3
    assert "no journal here" in capsys.readouterr().err


def test_figures_of_a_shift(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One message to one person in twelve hours, answered within four minutes."""
    assert ask(home, "--figures") == 0
    said = capsys.readouterr().out
    assert "the last 12 h, until 2026-05-28 20:32:20+00:00" in said
    assert "lead: 1 messages, 0.1 an hour, at most 1 in ten minutes: manageable (EEMUA 191)" in said
    assert "1 times raised: margin" in said and "1 times raised: second" in said
    assert "acknowledged after 4 min (median)" in said
