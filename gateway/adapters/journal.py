"""The journal file: entries, events and outbox in one SQLite database with one writer.

A batch of entries, the events they brought and the notices to send are one transaction; only after its commit
may the broker be told. Every 4,096 aligned entries are sealed into one LZMA blob that is exactly one perfect
subtree of the hash tree. Readers open the file read-only.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from gateway import tree
from gateway.adapters import base, heads, history, landmarks, states
from gateway.adapters.block import pack_block, unpack_block
from gateway.entry import unpack
from gateway.flow_state import Outcomes
from gateway.heads import Signed

_ENTRIES = """
CREATE TABLE entries (seq INTEGER PRIMARY KEY, entry BLOB NOT NULL) STRICT;
CREATE TABLE sealed (first_seq INTEGER PRIMARY KEY, root BLOB NOT NULL, from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL, body BLOB) STRICT;
CREATE TABLE events (id INTEGER PRIMARY KEY, event BLOB NOT NULL) STRICT;
CREATE TABLE outbox (id INTEGER PRIMARY KEY, event_number TEXT NOT NULL, person TEXT NOT NULL,
  channel TEXT NOT NULL, priority TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
  created_utc_ms INTEGER NOT NULL) STRICT;
CREATE TABLE checkpoint (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL,
  core_version TEXT NOT NULL, body BLOB NOT NULL) STRICT;
CREATE TABLE cursors (name TEXT PRIMARY KEY, at INTEGER NOT NULL) STRICT;
"""
_HISTORY = "\n".join((history.SCHEMA, "INSERT INTO cursors VALUES ('history', 0);"))
# A journal of before has to be rebuilt: its deeds are in its entries only.
_DEEDS = "\n".join((history.DEEDS, "UPDATE cursors SET at = 0 WHERE name = 'history';"))
MIGRATIONS = (_ENTRIES, _HISTORY, history.DAYS, landmarks.SCHEMA, _DEEDS, heads.SCHEMA, base.SCHEMA, states.SCHEMA)
"""What makes a journal of version n one of version n + 1, for ever: never changed, only added to."""
VERSION = len(MIGRATIONS)
_OUT_OF_ORDER = "entries are out of order"
KEEP = "nothing was overwritten: keep a copy of the whole folder, then put the newest backup in its place"


class WrongJournal(Exception):
    """The journal was written by a newer program, or what it holds does not add up."""


class Damaged(WrongJournal):
    """Entries are missing or cannot be read: the message says which, and what to do."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what}; {KEEP}")


class Dropped(WrongJournal):
    """The entries were dropped after their time was over; only the root of their block is left."""

    def __init__(self, last: int, first: int = 1) -> None:
        super().__init__(
            f"entries {first} to {last} were dropped, only the roots of their blocks were kept; what they said is "
            "in the sealed reports they were dropped for, and in backups of before"
        )


def check_version(db: sqlite3.Connection, path: Path) -> int:
    """Return the version of a journal. Raises WrongJournal when it is newer than this program."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if version > VERSION:
        raise WrongJournal(f"{path}: version {version} is newer than this program's {VERSION}; update it")
    return int(version)


class Journal:
    """The one writer."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self.db.execute("PRAGMA journal_mode=WAL")
        self.db.execute("PRAGMA synchronous=FULL")  # an acknowledged message survives a power cut
        version = check_version(self.db, path)
        if version < VERSION:  # as one: a commit waits for the disk
            steps = "\n".join(MIGRATIONS[version:])
            self.db.executescript(f"BEGIN; {steps} PRAGMA user_version={VERSION}; COMMIT")
        landmarks.catch_up(self.db)
        self.history = history.History(self.db)

    def commit(
        self,
        first_seq: int,
        entries: Sequence[bytes],
        first_event: int,
        outcomes: Outcomes,
        utc_ms: int,
        cursor: int | None = None,
        head: Signed | None = None,
        record_code: str = "",
    ) -> None:
        """Write a batch and all it brought about, or nothing. Raises sqlite3.Error when the disk refuses.

        head: a signed head over everything up to the last of these entries. Messages end with the record code.
        """
        last = first_seq + len(entries) - 1
        with self._whole() as db:
            db.executemany("INSERT INTO entries VALUES (?, ?)", enumerate(entries, first_seq))
            landmarks.keep(db, first_seq, entries)
            if outcomes.events:
                db.executemany("INSERT INTO events VALUES (?, ?)", enumerate(outcomes.events, first_event))
            if head:
                heads.keep(db, head)
            if outcomes.notices:
                code = f"\nRecord {record_code}" if record_code else ""
                told = [
                    (n.event_number, n.person, n.channel, n.priority, n.title, n.body + code, utc_ms)
                    for n in outcomes.notices
                ]
                db.executemany("INSERT INTO outbox VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", told)
            if cursor is not None:
                db.execute("INSERT OR REPLACE INTO cursors VALUES ('outcomes', ?)", (cursor,))
            self.history.add(outcomes.sheet)
            # Stands still where entries of before are missing from history, until it is made again.
            db.execute("UPDATE cursors SET at = ? WHERE name = 'history' AND at = ?", (last, first_seq - 1))

    @contextmanager
    def _whole(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is written, or nothing, and the same may be tried again."""
        self.db.execute("BEGIN IMMEDIATE")
        try:
            yield self.db
            self.db.execute("COMMIT")
        except BaseException:
            if self.db.in_transaction:  # SQLite has ended it itself where it could not go on
                self.db.execute("ROLLBACK")
            with suppress(sqlite3.Error):  # the numbers it gave to new channels are gone, too
                self.history = history.History(self.db)
            raise

    def save_checkpoint(self, seq: int, core_version: str, body: bytes) -> None:
        """Keep the newest checkpoint; it is a cache, the entries remain the truth."""
        self.db.execute("INSERT OR REPLACE INTO checkpoint VALUES (1, ?, ?, ?)", (seq, core_version, body))

    def history_cursor(self) -> int:
        """Return up to which entry history is whole; behind the newest it is to be made again."""
        return int(self.db.execute("SELECT at FROM cursors WHERE name = 'history'").fetchone()[0])

    def outcomes_cursor(self) -> int:
        """Return up to which delivery outcome the journal has taken note."""
        row = self.db.execute("SELECT at FROM cursors WHERE name = 'outcomes'").fetchone()
        return int(row[0]) if row else 0

    def seal(self, packed: Packed) -> None:
        """Put a packed block in: write, read back, compare the root, drop the rows, in one transaction."""
        row = (packed.first, packed.root, *packed.span_ms, packed.block)
        with self._whole() as db:
            db.execute("INSERT INTO sealed VALUES (?, ?, ?, ?, ?)", row)
            (stored,) = db.execute("SELECT body FROM sealed WHERE first_seq = ?", (packed.first,)).fetchone()
            if tree.root_of(unpack_block(stored)) != packed.root:
                raise Damaged(f"sealed block at entry {packed.first} does not read back; the disk may be failing")
            db.execute("DELETE FROM entries WHERE seq < ?", (packed.first + tree.SEAL,))
            self.history.pack(packed.span_ms[1])

    def drop(self, made: bytes) -> None:
        """Drop the bodies of the sealed blocks up to a base, which is kept in their place; the roots stay.

        Raises ValueError when it is not the state after these entries.
        """
        given = base.read(made)
        if not base.is_of(given, self.db):
            raise ValueError(f"what is to stand for entries 1 to {given.seq} was not made from them")
        with self._whole() as db:
            db.execute("INSERT OR REPLACE INTO base VALUES (1, ?, ?, ?)", (given.seq, given.state, given.history))
            db.execute("UPDATE sealed SET body = NULL WHERE first_seq <= ?", (given.seq,))
            db.execute("DELETE FROM states WHERE seq <= ?", (given.seq,))

    def close(self) -> None:
        """Close the file."""
        self.db.close()


@dataclass(frozen=True, slots=True)
class Packed:
    """A whole block ready to seal: where it begins, its LZMA body, its root and its time span."""

    first: int
    block: bytes
    root: bytes
    span_ms: tuple[int, int]


def pack_oldest(path: Path) -> Packed | None:
    """Pack the oldest whole unsealed block, on a connection of its own so that the writer need not wait."""
    with closing(open_reader(path)) as db:
        (last,) = db.execute("SELECT max(first_seq) FROM sealed").fetchone()
        first = 1 if last is None else last + tree.SEAL
        query = "SELECT entry FROM entries WHERE seq >= ? AND seq < ? ORDER BY seq"
        entries = [row[0] for row in db.execute(query, (first, first + tree.SEAL))]
    if len(entries) < tree.SEAL:
        return None
    span = (unpack(entries[0])[1], unpack(entries[-1])[1])
    return Packed(first, pack_block(entries), tree.root_of(entries), span)


def open_reader(path: Path) -> sqlite3.Connection:
    """Open a journal read-only."""
    return sqlite3.connect(f"file:{path}?mode=ro", uri=True)


def last_of(db: sqlite3.Connection) -> int:
    """Return the number of the newest entry, 0 without any."""
    (hot,) = db.execute("SELECT max(seq) FROM entries").fetchone()
    (first,) = db.execute("SELECT max(first_seq) FROM sealed").fetchone()
    return max(hot or 0, first + tree.SEAL - 1 if first else 0)


def dropped_to(db: sqlite3.Connection) -> int:
    """Return up to which entry the bodies were dropped, 0 for none."""
    (first,) = db.execute("SELECT max(first_seq) FROM sealed WHERE body IS NULL").fetchone()
    return first + tree.SEAL - 1 if first else 0


def entries_after(db: sqlite3.Connection, seq: int) -> Iterator[bytes]:
    """Yield the entries after a sequence number, sealed and hot, in order.

    Raises Damaged when one is missing or cannot be read, Dropped when it was dropped: a hole is never passed over.
    """
    db.execute("BEGIN") if not db.in_transaction else None
    at = seq
    blocks = db.execute(
        "SELECT first_seq, body FROM sealed WHERE first_seq > ? ORDER BY 1", (seq + 1 - tree.SEAL,)
    )
    for first, block in blocks:
        if block is None:
            raise Dropped(dropped_to(db))
        if first > at + 1:
            raise Damaged(f"entries {at + 1} to {first - 1} are missing")
        for each in _unpacked(first, block)[max(0, at + 1 - first) :]:
            at += 1
            yield each
    for number, each in db.execute("SELECT seq, entry FROM entries WHERE seq > ? ORDER BY seq", (at,)):
        if number != at + 1:
            raise Damaged(f"entries {at + 1} to {number - 1} are missing" if number > at else _OUT_OF_ORDER)
        at = number
        yield each
    db.execute("COMMIT")


def _unpacked(first: int, block: bytes) -> list[bytes]:
    try:
        return unpack_block(block)
    except ValueError as error:
        raise Damaged(f"the sealed block of entries {first} to {first + tree.SEAL - 1}: {error}") from error
