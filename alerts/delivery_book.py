"""`delivery.db`: what was tried, what became of it, messages of the messenger's own, links that acknowledge.

It is its own reserve for a full disk: the file and its rollback journal are made larger than they need to be, and
SQLite writes into that room in place, also after a kill. What even the reserve does not take is sent all the
same and written when it can be.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from alerts.channels import Sent

BACK_OFF_S = (5, 15, 60, 300, 900)
LEASE_MS = 60_000
"""Longer than any send, so that no row is sent twice at once."""
KEEP_LINKS_MS = 7 * 86_400_000  # long after they end, so that a late click learns why
RESERVE_PAGES = 256  # of 4 KiB: room for some thousand attempts

_SCHEMA = """
CREATE TABLE IF NOT EXISTS attempts (outbox_id INTEGER NOT NULL, created_utc_ms INTEGER NOT NULL,
  attempt INTEGER NOT NULL, due_utc_ms INTEGER, leased INTEGER NOT NULL,
  PRIMARY KEY (outbox_id, created_utc_ms)) STRICT;
CREATE TABLE IF NOT EXISTS outcomes (id INTEGER PRIMARY KEY AUTOINCREMENT, outbox_id INTEGER NOT NULL,
  attempt INTEGER NOT NULL, outcome TEXT NOT NULL, reason TEXT NOT NULL, at_utc_ms INTEGER NOT NULL) STRICT;
"""
_MORE = """
ALTER TABLE outcomes ADD COLUMN number TEXT NOT NULL DEFAULT '';
ALTER TABLE outcomes ADD COLUMN person TEXT NOT NULL DEFAULT '';
ALTER TABLE outcomes ADD COLUMN channel TEXT NOT NULL DEFAULT '';
ALTER TABLE outcomes ADD COLUMN waited_ms INTEGER NOT NULL DEFAULT 0;
CREATE TABLE own (id INTEGER PRIMARY KEY AUTOINCREMENT, number TEXT NOT NULL, person TEXT NOT NULL,
  channel TEXT NOT NULL, priority TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
  created_utc_ms INTEGER NOT NULL) STRICT;
CREATE TABLE links (hash BLOB PRIMARY KEY, number TEXT NOT NULL, person TEXT NOT NULL, title TEXT NOT NULL,
  made_utc_ms INTEGER NOT NULL, used_utc_ms INTEGER) STRICT;
CREATE TABLE facts (name TEXT PRIMARY KEY, value INTEGER NOT NULL) STRICT;
CREATE TABLE reserve (page BLOB NOT NULL) STRICT;
"""
_FILL = """WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?)
INSERT INTO reserve SELECT zeroblob(3900) FROM n"""
_FIRST = "ALTER TABLE attempts ADD COLUMN first_utc_ms INTEGER NOT NULL DEFAULT 0;"
MIGRATIONS = (_SCHEMA, _MORE, _FIRST)


class Outcome(StrEnum):
    """The three things that can be said of an attempt."""

    DELIVERED = "delivered"
    TRY_AGAIN = "try again"
    NEVER = "will never work"


@dataclass(frozen=True, slots=True)
class Decision:
    """What follows from an attempt: its outcome, and when to try again, if ever (UTC ms)."""

    outcome: Outcome
    due_ms: int | None


@dataclass(frozen=True, slots=True)
class Row:
    """One outbox row on its way: attempts made so far, when the next is due and the first began (UTC ms).

    The messenger's own rows have ids below zero.
    """

    id: int
    created_ms: int
    event_number: str
    person: str
    channel: str
    priority: str
    title: str
    body: str
    attempt: int = 0
    due_ms: int = 0
    first_ms: int = 0

    @property
    def key(self) -> tuple[int, int]:
        """What tells rows apart: another journal may give the same id again."""
        return self.id, self.created_ms

    @property
    def headline(self) -> str:
        """The title with event number and attempt in front."""
        return f"{self.event_number} #{self.attempt} {self.title.removeprefix(self.event_number).strip()}"


def decide(sent: Sent, attempt: int, now_ms: int) -> Decision:
    """Return what follows from attempt number `attempt` (from 1) that ended at now_ms.

    Pauses of 5 s, 15 s, 1 min, 5 min, then 15 min without end: an alert that nobody got does not grow old.
    """
    match sent:
        case Sent.ACCEPTED:
            return Decision(Outcome.DELIVERED, None)
        case Sent.NO_CHANNEL | Sent.NO_SERVICE:
            return Decision(Outcome.NEVER, None)
        case _:
            pause_s = BACK_OFF_S[min(attempt, len(BACK_OFF_S)) - 1]
            return Decision(Outcome.TRY_AGAIN, now_ms + pause_s * 1000)


class Book:
    """The one writer of `delivery.db` but for the use of a link."""

    def __init__(self, path: Path) -> None:
        self.db = sqlite3.connect(path, isolation_level=None, timeout=30)
        # Not a write-ahead log: that grows, and is made anew at each start. This journal is kept and written over.
        for pragma in ("journal_mode=PERSIST", "synchronous=FULL", "temp_store=MEMORY", "page_size=4096"):
            self.db.execute(f"PRAGMA {pragma}")
        (version,) = self.db.execute("PRAGMA user_version").fetchone()
        for number, script in enumerate(MIGRATIONS[version:], version + 1):
            self.db.executescript(f"BEGIN; {script} PRAGMA user_version={number}; COMMIT")
        self._late: list[Callable[[], object]] = []
        self.refused = ""
        """Why the newest write was not taken, or nothing."""
        self.keep_reserve()
        # Only one process delivers, so a lease found here was left by one that was killed.
        self._write(lambda: self.db.execute("UPDATE attempts SET leased = 0, due_utc_ms = 0 WHERE leased = 1"))

    def keep_reserve(self) -> None:
        """Make the file larger than it needs to be, as far as there is room; the journal grows with it."""
        (free,) = self.db.execute("PRAGMA freelist_count").fetchone()
        if free >= RESERVE_PAGES // 2:
            return
        with suppress(sqlite3.Error):
            self.db.execute(_FILL, (RESERVE_PAGES,))
            self.db.execute("UPDATE reserve SET page = randomblob(3900) WHERE rowid % 4 = 0")
        with suppress(sqlite3.Error):
            self.db.execute("DELETE FROM reserve")

    def resumed(self, row: Row) -> Row | None:
        """Return a row with what is already known of it, or None when it is settled.

        A row of another journal may carry the same id; the time it was written tells them apart.
        """
        query = "SELECT attempt, due_utc_ms, first_utc_ms FROM attempts WHERE outbox_id = ? AND created_utc_ms = ?"
        known = self.db.execute(query, (row.id, row.created_ms)).fetchone()
        if known is None:
            return row
        attempt, due_ms, first_ms = known
        return None if due_ms is None else replace(row, attempt=attempt, due_ms=due_ms, first_ms=first_ms)

    def lease(self, row: Row, now_ms: int, link: tuple[bytes, str] | None = None) -> Row:
        """Write down that the next attempt begins, before it does; return the row as it is sent.

        link: the hash of a token that goes out with it, and the title its page shows.
        """
        leased = replace(row, attempt=row.attempt + 1, due_ms=now_ms + LEASE_MS, first_ms=row.first_ms or now_ms)

        def write() -> None:
            self._keep(leased, leased.due_ms, leased=1)
            if link:
                self.db.execute("DELETE FROM links WHERE made_utc_ms < ?", (now_ms - KEEP_LINKS_MS,))
                values = (link[0], row.event_number, row.person, link[1], now_ms)
                self.db.execute("INSERT OR REPLACE INTO links VALUES (?, ?, ?, ?, ?, NULL)", values)

        self._write(write)
        return leased

    def settle(self, row: Row, sent: Sent, now_ms: int) -> int | None:
        """Write down how an attempt ended; return when the next one is due, or None when there is none."""
        decision = decide(sent, row.attempt, now_ms)
        names = "outbox_id, attempt, outcome, reason, at_utc_ms, number, person, channel, waited_ms"
        outcome = (row.id, row.attempt, decision.outcome.value, sent.value, now_ms,
                   row.event_number, row.person, row.channel, max(0, now_ms - row.first_ms))  # fmt: skip

        def write() -> None:
            self._keep(row, decision.due_ms, leased=0)
            self.db.execute(f"INSERT INTO outcomes ({names}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", outcome)  # noqa: S608

        self._write(write)
        return decision.due_ms

    def _keep(self, row: Row, due_ms: int | None, *, leased: int) -> None:
        values = (row.id, row.created_ms, row.attempt, due_ms, leased, row.first_ms)
        self.db.execute("INSERT OR REPLACE INTO attempts VALUES (?, ?, ?, ?, ?, ?)", values)

    def _write(self, *what: Callable[[], object]) -> None:
        """Write in one transaction what came late and what is new; what is refused is kept for the next time."""
        self._late += what
        try:
            self.db.execute("BEGIN IMMEDIATE")
            for each in self._late:
                each()
            self.db.execute("COMMIT")
            self._late, self.refused = [], ""
        except sqlite3.OperationalError as error:
            self.refused = str(error)
            if self.db.in_transaction:
                self.db.execute("ROLLBACK")

    # -- messages of its own ----------------------------------------------------------------------------

    def next_number(self) -> str:
        """Return the number of the next message of its own: D-1 and so on."""
        (last,) = self.db.execute("SELECT ifnull(max(CAST(substr(number, 3) AS INTEGER)), 0) FROM own").fetchone()
        return f"D-{last + 1}"

    def say(self, row: Row) -> None:
        """Keep a message of its own until it is settled, as any other; the id of `row` does not matter."""
        values = (row.event_number, row.person, row.channel, row.priority, row.title, row.body, row.created_ms)
        self._write(lambda: self.db.execute("INSERT INTO own VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", values))

    def own_after(self, last_id: int) -> list[Row]:
        """Return its own messages after one; ids here count from 1, in the rows down from -1."""
        query = (
            "SELECT -id, created_utc_ms, number, person, channel, priority, title, body FROM own "
            "WHERE id > ? ORDER BY id"
        )
        return [Row(*values) for values in self.db.execute(query, (last_id,))]

    def fact(self, name: str) -> int | None:
        """Return what was remembered under a name."""
        found = self.db.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
        return int(found[0]) if found else None

    def remember(self, name: str, value: int | None) -> None:
        """Remember a whole number over a restart, or forget it."""
        if value is None:
            self._write(lambda: self.db.execute("DELETE FROM facts WHERE name = ?", (name,)))
        else:
            self._write(lambda: self.db.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", (name, value)))

    def close(self) -> None:
        """Close the file."""
        self.db.close()
