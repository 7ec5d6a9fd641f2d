"""The journal file: whole or not at all, sealed without a change, holes never passed over."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from alerts.notification import Notice
from gateway import entry, tree
from gateway.adapters import journal as files
from gateway.adapters.journal import Journal, WrongJournal, entries_after, open_reader, pack_oldest
from gateway.entry import Kind
from gateway.flow_state import Outcomes

NOTICE = Notice("A-1", "lead", "lead-phone", "high", "title", "body")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Journal]:
    made = Journal(tmp_path / "journal.db")
    yield made
    made.close()


def some(count: int) -> list[bytes]:
    return [entry.plain(Kind.HEARTBEAT, n, b"%d" % n) for n in range(1, count + 1)]


def test_sealing_changes_nothing_a_reader_sees(book: Journal) -> None:
    """Rows move into perfect subtrees; entries, order and root stay, from any starting point."""
    entries = some(2 * tree.SEAL + 10)
    book.commit(1, entries, 1, Outcomes(), 0)
    while packed := pack_oldest(book.path):
        book.seal(packed)
    reader = open_reader(book.path)
    for seq in (0, 5, tree.SEAL - 1, tree.SEAL, tree.SEAL + 1, 2 * tree.SEAL + 3):
        assert list(entries_after(reader, seq)) == entries[seq:]
    assert reader.execute("SELECT count(*) FROM entries").fetchone() == (10,)
    roots = [row[0] for row in reader.execute("SELECT root FROM sealed ORDER BY first_seq")]
    peaks: tree.Peaks = []
    for each in entries[: 2 * tree.SEAL]:
        tree.append(peaks, each)
    assert tree.root(peaks) == tree.node(*roots)


def test_a_hole_is_an_error_never_passed_over(book: Journal) -> None:
    """A missing row stops the reader and is named."""
    book.commit(1, some(10), 1, Outcomes(), 0)
    book.db.execute("DELETE FROM entries WHERE seq = 5")
    with pytest.raises(WrongJournal, match="entries 5 to 5 are missing"):
        list(entries_after(open_reader(book.path), 0))


def test_a_batch_is_written_whole_or_not_at_all(book: Journal) -> None:
    """When the events cannot be written, neither entries nor notices are."""
    book.commit(1, some(1), 1, Outcomes([b"event"]), 0)
    with pytest.raises(sqlite3.Error):
        book.commit(2, some(1), 1, Outcomes([b"again"], [NOTICE]), 0)  # event 1 exists already
    counts = [book.db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in ("entries", "events", "outbox")]
    assert counts == [1, 1, 0]


def test_a_newer_journal_is_refused(tmp_path: Path) -> None:
    """A journal of a newer program is left alone, with a sentence that says so."""
    sqlite3.connect(tmp_path / "journal.db").execute(f"PRAGMA user_version={files.VERSION + 1}").connection.close()
    with pytest.raises(WrongJournal, match="newer"):
        Journal(tmp_path / "journal.db")


def test_a_sealed_block_that_does_not_read_back_is_not_kept(book: Journal) -> None:
    """If the stored blob has another root, the rows stay."""
    book.commit(1, some(tree.SEAL), 1, Outcomes(), 0)
    packed = pack_oldest(book.path)
    assert packed is not None
    with pytest.raises(WrongJournal, match="does not read back"):
        book.seal(files.Packed(packed.first, packed.block, bytes(32), packed.span_ms))
    assert book.db.execute("SELECT count(*) FROM entries").fetchone() == (tree.SEAL,)
