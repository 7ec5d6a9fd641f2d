"""History's tables: added up as the fold says, drawn without a row lost, made again to the same rows."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import history_command
from gateway.adapters import journal as files
from gateway.adapters.history import SCHEMA, History, draw
from gateway.adapters.journal import Journal, open_reader
from gateway.flow_state import Outcomes
from gateway.tiers import QUARTER_MS, SIX_HOURS_MS, Sheet
from tests.sites import T0, margin_limit
from tests.test_flow import Day, values

DAY_MS = 86_400_000
BEGIN = T0 - T0 % DAY_MS


@pytest.fixture
def db() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:")) as made:
        made.executescript(SCHEMA)
        yield made


def sheet_of(channel: str, *said: tuple[int, float], known: tuple[int, int] = (0, 0)) -> Sheet:
    sheet = Sheet()
    for at, value in said:
        sheet.add(channel, at, value)
    sheet.know(channel, *known)
    return sheet


def test_what_is_added_bit_by_bit_is_drawn_whole(db: sqlite3.Connection) -> None:
    """Three sheets into one quarter; one of them only with time known, as a silent sensor's next quarter has."""
    history = History(db)
    for sheet in (
        sheet_of("a", (BEGIN, 20.0), known=(BEGIN, BEGIN + 10_000)),
        sheet_of("a", (BEGIN + 60_000, -4.0), (BEGIN + 70_000, 2.0)),
        sheet_of("a", known=(BEGIN + 20_000, BEGIN + QUARTER_MS + 5_000)),
    ):
        history.add(sheet)
    first, second = draw(db, ["a"], BEGIN, BEGIN + 2 * QUARTER_MS, 2)["a"]
    assert (first.at_ms, first.low, first.mean, first.high, first.weight) == (BEGIN, -4.0, 6.0, 20.0, 3)
    assert first.known_s == 10.0 + 880.0
    assert (second.at_ms, second.low, second.mean, second.high, second.weight) == (
        BEGIN + QUARTER_MS, None, None, None, 0,
    )  # fmt: skip
    assert second.known_s == 5.0


@given(st.integers(1, 60 * DAY_MS), st.integers(0, 40 * DAY_MS), st.integers(1, 3000))
def test_no_reading_is_lost_between_columns(length_ms: int, begin_ms: int, count: int) -> None:
    """Any range, any number of columns: one column more than asked for at most; each reading is in one."""
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(SCHEMA)
        sheet = Sheet()
        for quarter in range(0, 100 * 96, 7):
            sheet.add("a", BEGIN + quarter * QUARTER_MS, 1.0)
        History(db).add(sheet)
        from_ms = BEGIN + begin_ms
        found = draw(db, ["a"], from_ms, from_ms + length_ms, count)["a"]
        times = [at for _, at in sheet.buckets]
        assert len(found) <= count + 1
        assert sum(each.weight for each in found) >= sum(from_ms <= at < from_ms + length_ms for at in times)
        assert [each.at_ms for each in found] == sorted(each.at_ms for each in found)
        assert all(each.low == each.mean == each.high == 1.0 for each in found)


def test_wide_columns_are_drawn_from_six_hours_and_say_the_same(db: sqlite3.Connection) -> None:
    """Forty days in forty columns, from either table."""
    sheet = Sheet()
    for quarter in range(40 * 96):
        sheet.add("a", BEGIN + quarter * QUARTER_MS, float(quarter % 50))
        sheet.know("a", BEGIN + quarter * QUARTER_MS, BEGIN + quarter * QUARTER_MS + 600_000)
    History(db).add(sheet)
    wide = draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 40)["a"]
    db.execute("DELETE FROM six_hours")
    assert draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 40)["a"] == []  # so it came from there
    fine = draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 320)["a"]
    assert len(wide) == 40 and wide[3].weight == sum(each.weight for each in fine[24:32]) == 96
    assert wide[3].known_s == 96 * 600.0


def test_what_there_is_no_history_of_is_left_out(db: sqlite3.Connection) -> None:
    """An unknown channel is not drawn as an empty one; a range of nothing is an error."""
    History(db).add(sheet_of("a", (BEGIN, 1.0)))
    assert draw(db, ["a", "b"], BEGIN, BEGIN + SIX_HOURS_MS, 10).keys() == {"a"}
    with pytest.raises(ValueError, match="nothing to draw"):
        draw(db, ["a"], BEGIN, BEGIN, 10)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A journal of an hour, committed in batches as the writer does."""
    day = Day(margin_limit())
    book, at, first = Journal(tmp_path / "journal.db"), 0, 1
    for _ in range(60):
        day.pass_time(60, **values())
        entries = day.entries[at:]
        book.commit(first, entries, 1, Outcomes(sheet=day.out.sheet), 0)
        day.out.sheet, at, first = Sheet(), len(day.entries), first + len(entries)
    book.close()
    return tmp_path


def rebuild(home: Path, *words: str) -> int:
    return history_command.run("rebuild", ["--home", str(home), *words], "")


def test_history_made_again_is_the_history_written_live(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both tables, derived channels too; a changed row is found and told, and made good."""
    assert rebuild(home, "--check") == 0
    assert "0 differ" in capsys.readouterr().out
    with closing(sqlite3.connect(home / "journal.db")) as db, db:
        (names,) = db.execute("SELECT count(*) FROM channels WHERE name LIKE '%|%'").fetchone()
        assert names >= 5
        db.execute("UPDATE quarters SET high = high + 1 WHERE channel = 1")
    assert rebuild(home, "--check") == 1
    assert "differ" in capsys.readouterr().out
    assert rebuild(home) == 0
    assert rebuild(home, "--check") == 0


def test_a_journal_of_before_has_its_history_made(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A journal of version 1 is taken over: its tables come, empty, and say that they are not whole."""
    with closing(sqlite3.connect(home / "journal.db")) as db, db:
        for table in ("quarters", "six_hours", "channels"):
            db.execute(f"DROP TABLE {table}")
        db.execute("DELETE FROM cursors WHERE name = 'history'")
        db.execute("PRAGMA user_version = 1")
        (last,) = db.execute("SELECT max(seq) FROM entries").fetchone()
    with closing(Journal(home / "journal.db")) as book:
        assert book.history_cursor() == 0
        book.commit(last + 1, [b"\x0b\x01" + bytes(8)], 1, Outcomes(), 0)
        assert book.history_cursor() == 0
        book.db.execute("DELETE FROM entries WHERE seq > ?", (last,))
    assert rebuild(home, "--check") == 1
    assert "whole up to entry 0 only" in capsys.readouterr().out
    assert rebuild(home) == 0
    with closing(open_reader(home / "journal.db")) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (files.VERSION,)
        assert db.execute("SELECT at FROM cursors WHERE name = 'history'").fetchone() == (last,)
    assert rebuild(home, "--check") == 0


def test_rebuild_does_not_write_beside_a_running_writer(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says what to do instead."""
    from gateway.service import lock

    with lock(home):
        assert rebuild(home) == 2
        assert "stop dewgate run first" in capsys.readouterr().err
        assert rebuild(home, "--check") == 0
    assert rebuild(home / "nowhere") == 2
