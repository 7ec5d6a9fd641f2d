"""History's tables: added up as the fold says, drawn without a row lost, made again to the same rows."""

from __future__ import annotations

import re
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.measured import Measured, Quantity, Validity
from gateway import flow_history, history_command
from gateway.adapters import journal as files
from gateway.adapters.history import (
    DAYS,
    DEEDS,
    LATE_MS,
    PACKED_AT_ONCE,
    SCHEMA,
    WHOLE,
    Drawn,
    History,
    draw,
    quarters,
)
from gateway.adapters.journal import Journal, open_reader, pack_oldest
from gateway.conditions import Condition
from gateway.entry import Kind, plain
from gateway.flow_state import Outcomes, State
from gateway.tiers import QUARTER_MS, SIX_HOURS_MS, Sheet, unit_of
from gateway.tree import SEAL
from tests.sites import T0, margin_limit
from tests.test_flow import Day, values

DAY_MS = 86_400_000
BEGIN = T0 - T0 % DAY_MS


@pytest.fixture
def db() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:")) as made:
        made.executescript(WHOLE)
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
    drawn = draw(db, ["a"], BEGIN, BEGIN + 3 * QUARTER_MS, 3)["a"]
    assert drawn == Drawn(
        BEGIN, QUARTER_MS, [-4.0, None, None], [6.0, None, None], [20.0, None, None], [3, 0, 0],
        [890_000, 5_000, 0],
    )  # fmt: skip


@given(st.integers(1, 60 * DAY_MS), st.integers(0, 40 * DAY_MS), st.integers(1, 3000))
def test_no_reading_is_lost_between_columns(length_ms: int, begin_ms: int, count: int) -> None:
    """Any range, any number of columns: one column more than asked for at most; each reading is in one."""
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(WHOLE)
        sheet = Sheet()
        for quarter in range(0, 100 * 96, 7):
            sheet.add("a", BEGIN + quarter * QUARTER_MS, 1.0)
        History(db).add(sheet)
        from_ms = BEGIN + begin_ms
        found = draw(db, ["a"], from_ms, from_ms + length_ms, count)["a"]
        times = [at for _, at in sheet.buckets]
        until_ms = found.from_ms + len(found.mean) * found.each_ms
        assert len(found.mean) <= count + 1
        assert found.from_ms <= from_ms < from_ms + length_ms <= until_ms
        assert sum(found.weight) == sum(found.from_ms <= at < until_ms for at in times)
        assert found.low == found.mean == found.high == [1.0 if each else None for each in found.weight]


def test_wide_columns_are_drawn_from_six_hours_and_say_the_same(db: sqlite3.Connection) -> None:
    """Forty days in forty columns, from either table."""
    sheet = Sheet()
    for quarter in range(40 * 96):
        sheet.add("a", BEGIN + quarter * QUARTER_MS, float(quarter % 50))
        sheet.know("a", BEGIN + quarter * QUARTER_MS, BEGIN + quarter * QUARTER_MS + 600_000)
    History(db).add(sheet)
    wide = draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 40)["a"]
    db.execute("DELETE FROM six_hours")
    gone = draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 40)["a"]
    assert sum(gone.weight) == 0  # so it came from there
    fine = draw(db, ["a"], BEGIN, BEGIN + 40 * DAY_MS, 320)["a"]
    assert len(wide.mean) == 40 and wide.weight[3] == sum(fine.weight[24:32]) == 96
    assert wide.known_ms[3] == 96 * 600_000
    assert (wide.low[3], wide.high[3]) == (min(map(float, fine.low[24:32])), max(map(float, fine.high[24:32])))


def test_what_there_is_no_history_of_is_left_out(db: sqlite3.Connection) -> None:
    """An unknown channel is not drawn as an empty one; a range of nothing is an error."""
    History(db).add(sheet_of("a", (BEGIN, 1.0)))
    assert draw(db, ["a", "b"], BEGIN, BEGIN + SIX_HOURS_MS, 10).keys() == {"a"}
    with pytest.raises(ValueError, match="nothing to draw"):
        draw(db, ["a"], BEGIN, BEGIN, 10)


said = st.tuples(st.sampled_from("ab"), st.integers(0, 3 * DAY_MS - 1), st.floats(-1e5, 1e5), st.integers(0, 9))


@given(st.lists(said, max_size=30), st.lists(st.integers(0, 30), max_size=3))
def test_packing_days_changes_no_figure(told: list[tuple[str, int, float, int]], pauses: list[int]) -> None:
    """Whatever comes, in any order, packed after any of it, for a day already packed too: the same quarters."""
    with closing(sqlite3.connect(":memory:")) as plain, closing(sqlite3.connect(":memory:")) as packed:
        for each in (plain, packed):
            each.executescript(WHOLE)
        one, other = History(plain), History(packed)
        for number, (channel, at, value, minutes) in enumerate(told):
            for hand in (one, other):
                hand.add(sheet_of(channel, (BEGIN + at, value), known=(BEGIN + at, BEGIN + at + minutes * 60_000)))
            if number in pauses:
                other.pack(BEGIN + 2 * DAY_MS + LATE_MS)
        other.pack(BEGIN + 2 * DAY_MS + LATE_MS)
        assert list(quarters(packed)) == list(quarters(plain))
        assert packed.execute("SELECT count(*) FROM quarters WHERE at < ?", (limit(2),)).fetchone() == (0,)
        if told:
            span = (["a", "b"], BEGIN + 1, BEGIN + 3 * DAY_MS - 1, 17)
            assert draw(packed, *span) == draw(plain, *span)


def limit(days: int) -> int:
    return (BEGIN + days * DAY_MS) // QUARTER_MS


def test_a_day_is_packed_when_six_hours_of_the_next_are_over(db: sqlite3.Connection) -> None:
    """Not before, and no more than some at once, so that a year of them does not stop the writer."""
    history = History(db)
    for day in range(PACKED_AT_ONCE + 2):
        history.add(sheet_of("a", (BEGIN + day * DAY_MS, 1.0)))
    history.pack(BEGIN + DAY_MS + LATE_MS - 1)
    assert db.execute("SELECT count(*) FROM days").fetchone() == (0,)
    history.pack(BEGIN + DAY_MS + LATE_MS)
    assert db.execute("SELECT day FROM days").fetchall() == [(BEGIN // DAY_MS,)]
    history.pack(BEGIN + 1000 * DAY_MS)
    assert db.execute("SELECT count(*) FROM days").fetchone() == (PACKED_AT_ONCE + 1,)
    history.pack(BEGIN + 1000 * DAY_MS)
    assert db.execute("SELECT count(*) FROM days").fetchone() == (PACKED_AT_ONCE + 2,)


def test_a_packed_day_that_cannot_be_read_says_what_to_do(db: sqlite3.Connection) -> None:
    """Never a short or an empty day in its place."""
    history = History(db)
    history.add(sheet_of("a", (BEGIN, 1.0)))
    history.pack(BEGIN + 2 * DAY_MS)
    for damage in (b"no blob", zlib.compress(bytes(8))):
        db.execute("UPDATE days SET body = ?", (damage,))
        with pytest.raises(ValueError, match="dewgate rebuild"):
            draw(db, ["a"], BEGIN, BEGIN + DAY_MS, 10)


def as_of_version(db: sqlite3.Connection, version: int) -> None:
    """Take away what later migrations made."""
    for script in files.MIGRATIONS[version:]:
        for table in re.findall(r"CREATE TABLE (\w+)", script):
            db.execute(f"DROP TABLE {table}")
    db.execute(f"PRAGMA user_version = {version}")


def test_a_journal_of_version_two_is_taken_over_and_its_days_packed(home: Path) -> None:
    """The rows stay what they are until a block is sealed; then days that are over are blobs, no more."""
    with closing(sqlite3.connect(home / "journal.db")) as db, db:
        as_of_version(db, 2)
        db.execute("DELETE FROM cursors WHERE name = 'landmarks'")
    with closing(Journal(home / "journal.db")) as book:
        before = list(quarters(book.db))
        (last,) = book.db.execute("SELECT max(seq) FROM entries").fetchone()
        beats = [plain(Kind.HEARTBEAT, T0 + 9 * DAY_MS) for _ in range(2 * SEAL - last % SEAL)]
        book.commit(last + 1, beats, 1, Outcomes(), 0)
        while packed := pack_oldest(book.path):
            book.seal(packed)
        assert book.db.execute("SELECT count(*) FROM quarters").fetchone() == (0,)
        assert list(quarters(book.db)) == before != []
        assert book.db.execute("PRAGMA user_version").fetchone() == (files.VERSION,)


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
        as_of_version(db, 1)
        db.execute("DELETE FROM cursors WHERE name IN ('history', 'landmarks')")
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


def test_a_pressure_that_stands_for_six_hours_fits() -> None:
    """16 bar in pascals for six hours, in its own whole numbers: SQLite's integers end at 2^63."""
    assert unit_of("T1/pot|gauge_pressure|pot") == 1e-3 and unit_of("pot-p") == 1e-6
    state = State(offset_ms=BEGIN)
    place = Condition("pot", Measured(16e5, 100.0, 0, Validity.GOOD))
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(SCHEMA + DAYS + DEEDS)
        history = History(db)
        for minute in range(6 * 60 + 1):
            state.judged_ms = 60_000 * minute
            sheet = Sheet()
            flow_history.Derived(state).take(sheet, [(("T1/pot", Quantity.GAUGE_PRESSURE), place)], True)
            history.add(sheet)
        name = "T1/pot|gauge_pressure|pot"
        (mean,) = draw(db, [name], BEGIN, BEGIN + SIX_HOURS_MS, 1)[name].mean
    assert mean == pytest.approx(16e5)
