"""The messenger: a process of its own that sends what the journal's outbox holds until each row is settled.

It reads `journal.db` and never writes it; what it tried stands in its own `delivery.db`, from which the
writer takes the outcomes. A row is leased before it is sent and settled after, so a kill in between repeats
the message and never loses it; every message carries its event number and attempt ("A-1042 #2"), by which a
reader knows a repeat. "delivered" means that the server took it, not that a person read it.
"""

from __future__ import annotations

import fcntl
import sqlite3
import threading
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from alerts.channels import Refused, Sent, read_channels, send

POLL_S = 0.25
BACK_OFF_S = (5, 15, 60, 300, 900)
LEASE_MS = 60_000
"""Longer than any send, so that no row is sent twice at once."""

_SCHEMA = """
CREATE TABLE IF NOT EXISTS attempts (outbox_id INTEGER NOT NULL, created_utc_ms INTEGER NOT NULL,
  attempt INTEGER NOT NULL, due_utc_ms INTEGER, leased INTEGER NOT NULL,
  PRIMARY KEY (outbox_id, created_utc_ms)) STRICT;
CREATE TABLE IF NOT EXISTS outcomes (id INTEGER PRIMARY KEY AUTOINCREMENT, outbox_id INTEGER NOT NULL,
  attempt INTEGER NOT NULL, outcome TEXT NOT NULL, reason TEXT NOT NULL, at_utc_ms INTEGER NOT NULL) STRICT;
"""


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
    """One outbox row on its way: attempts made so far, and when the next is due (UTC ms)."""

    id: int
    created_ms: int
    event_number: str
    channel: str
    priority: str
    title: str
    body: str
    attempt: int = 0
    due_ms: int = 0

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


def is_due(row: Row, now_ms: int) -> bool:
    """Whether a row may be sent; one due later than any pause reaches was left behind by a clock set back."""
    return row.due_ms <= now_ms or row.due_ms > now_ms + BACK_OFF_S[-1] * 1000 + LEASE_MS


def choose(rows: Mapping[int, Row], busy: set[str], now_ms: int) -> list[Row]:
    """Return at most one due row per channel that is not busy, the least tried first.

    So a channel that hangs holds up nobody else, and a row that always fails does not hold up its own.
    """
    chosen: dict[str, Row] = {}
    for row in sorted(rows.values(), key=lambda each: (each.attempt, each.id)):
        if row.channel not in busy and is_due(row, now_ms):
            chosen.setdefault(row.channel, row)
    return list(chosen.values())


# -- what was tried ------------------------------------------------------------------------------------


class Book:
    """`delivery.db`: attempts with their leases, and outcomes for the journal's writer."""

    def __init__(self, path: Path) -> None:
        self.db = sqlite3.connect(path, isolation_level=None)
        self.db.execute("PRAGMA journal_mode=WAL")
        self.db.execute("PRAGMA synchronous=FULL")
        self.db.executescript(_SCHEMA)
        # Only one process delivers, so a lease found here was left by one that was killed.
        self.db.execute("UPDATE attempts SET leased = 0, due_utc_ms = 0 WHERE leased = 1")

    def resumed(self, row: Row) -> Row | None:
        """Return a row with what is already known of it, or None when it is settled.

        A row of another journal may carry the same id; the time it was written tells them apart.
        """
        query = "SELECT attempt, due_utc_ms FROM attempts WHERE outbox_id = ? AND created_utc_ms = ?"
        known = self.db.execute(query, (row.id, row.created_ms)).fetchone()
        if known is None:
            return row
        attempt, due_ms = known
        return None if due_ms is None else replace(row, attempt=attempt, due_ms=due_ms)

    def lease(self, row: Row, now_ms: int) -> Row:
        """Write down that the next attempt begins, before it does; return the row as it is sent."""
        leased = replace(row, attempt=row.attempt + 1, due_ms=now_ms + LEASE_MS)
        self._keep(leased, leased.due_ms, leased=1)
        return leased

    def settle(self, row: Row, sent: Sent, now_ms: int) -> int | None:
        """Write down how an attempt ended; return when the next one is due, or None when there is none."""
        decision = decide(sent, row.attempt, now_ms)
        self.db.execute("BEGIN IMMEDIATE")
        self._keep(row, decision.due_ms, leased=0)
        outcome = (row.id, row.attempt, decision.outcome.value, sent.value, now_ms)
        self.db.execute("INSERT INTO outcomes VALUES (NULL, ?, ?, ?, ?, ?)", outcome)
        self.db.execute("COMMIT")
        return decision.due_ms

    def _keep(self, row: Row, due_ms: int | None, *, leased: int) -> None:
        values = (row.id, row.created_ms, row.attempt, due_ms, leased)
        self.db.execute("INSERT OR REPLACE INTO attempts VALUES (?, ?, ?, ?, ?)", values)

    def close(self) -> None:
        """Close the file."""
        self.db.close()


# -- the loop ------------------------------------------------------------------------------------------


class Desk:
    """Rows that wait, and sends under way; one thread per channel sends, this one alone writes."""

    def __init__(self, journal: Path, book: Book, channels: Mapping[str, str]) -> None:
        self.journal = journal
        self.book = book
        self.channels = channels
        self.waiting: dict[int, Row] = {}
        self.under_way: dict[Future[Sent], Row] = {}
        self.last_id = 0
        self.pool = ThreadPoolExecutor(len(channels) + 1, "send")  # one each, so that none waits for another

    def turn(self, now_ms: int) -> None:
        """Take new rows in, settle what ended, and begin what is due."""
        self._take_in()
        self._settle(now_ms)
        busy = {row.channel for row in self.under_way.values()}
        for row in choose(self.waiting, busy, now_ms):
            leased = self.book.lease(self.waiting.pop(row.id), now_ms)
            url = self.channels.get(row.channel)
            self.under_way[self.pool.submit(send, url, leased.headline, row.body, row.priority)] = leased

    def rest(self, stop: threading.Event) -> None:
        """Wait until a send ends, but no longer than one poll."""
        if self.under_way:
            wait(self.under_way, POLL_S, FIRST_COMPLETED)
        else:
            stop.wait(POLL_S)

    def finish(self) -> None:
        """Let what is under way end and settle it, so that an orderly stop repeats nothing."""
        self.pool.shutdown()
        self._settle(_now_ms())

    def _settle(self, now_ms: int) -> None:
        for future in [each for each in self.under_way if each.done()]:
            row = self.under_way.pop(future)
            due_ms = self.book.settle(row, future.result(), now_ms)
            if due_ms is not None:
                self.waiting[row.id] = replace(row, due_ms=due_ms)

    def _take_in(self) -> None:
        for row in _outbox_after(self.journal, self.last_id):
            self.last_id = row.id
            known = self.book.resumed(row)
            if known is not None:
                self.waiting[row.id] = known


def _outbox_after(journal: Path, last_id: int) -> list[Row]:
    """Return new outbox rows; none while there is no journal yet or while it is being made."""
    query = (
        "SELECT id, created_utc_ms, event_number, channel, priority, title, body FROM outbox "
        "WHERE id > ? ORDER BY id"
    )
    try:
        with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as reader:
            return [Row(*values) for values in reader.execute(query, (last_id,))]
    except sqlite3.OperationalError:
        return []


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


@contextmanager
def _the_only_one(home: Path) -> Iterator[None]:
    """Hold a lock for the life of the process: leases of a dead one can then be taken over at once."""
    with (home / "delivery.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Refused(f"{home}: another dewgate deliver is already at work here") from None
        yield


def deliver(home: Path, contacts: Path, stop: threading.Event) -> None:
    """Send the outbox of the journal in `home` until `stop` is set. Raises Refused when it cannot begin."""
    channels = read_channels(contacts)
    home.mkdir(parents=True, exist_ok=True)
    with _the_only_one(home), closing(Book(home / "delivery.db")) as book:
        desk = Desk(home / "journal.db", book, channels)
        while not stop.is_set():
            desk.turn(_now_ms())
            desk.rest(stop)
        desk.finish()
