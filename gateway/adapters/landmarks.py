"""The few entries that say how the many are to be read: jobsites, what persons did, starts and stops, clock steps,
the gateway's own health (in journals of before this was kept: from then on).

A copy of each stands in a table of its own, written with the entries, so that nobody has to unpack a year of
readings to learn which jobsite was in force one Tuesday, or what UTC was then. The entries remain the truth.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gateway import entry
from gateway.adapters.block import unpack_block
from gateway.entry import Kind
from gateway.payload import canonical

SCHEMA = """
CREATE TABLE landmarks (seq INTEGER PRIMARY KEY, kind INTEGER NOT NULL, core_ms INTEGER NOT NULL,
  entry BLOB NOT NULL) STRICT;
"""
KINDS = frozenset(
    (Kind.ACTION, Kind.CONFIG_SET, Kind.STARTED, Kind.STOPPING, Kind.CLOCK_STEP, Kind.CORRECTION, Kind.HEALTH)
)  # fmt: skip
_CLOCKS = "SELECT core_ms, entry FROM landmarks WHERE kind IN (?, ?) ORDER BY seq"


def keep(db: sqlite3.Connection, first_seq: int, entries: Iterable[bytes]) -> None:
    """Take down those of these entries that are landmarks; belongs to the caller's transaction."""
    found = [
        (seq, made[0], entry.kind_and_time(made)[1], made)
        for seq, made in enumerate(entries, first_seq)
        if made[0] in KINDS
    ]
    if found:
        db.executemany("INSERT OR IGNORE INTO landmarks VALUES (?, ?, ?, ?)", found)


def catch_up(db: sqlite3.Connection) -> None:
    """Fill the table of a journal that was written before there was one: once, when it is first opened."""
    if db.execute("SELECT 1 FROM cursors WHERE name = 'landmarks'").fetchone():
        return
    db.execute("BEGIN IMMEDIATE")
    for first, body in db.execute("SELECT first_seq, body FROM sealed WHERE body IS NOT NULL ORDER BY 1"):
        keep(db, first, unpack_block(body))
    for seq, made in db.execute("SELECT seq, entry FROM entries ORDER BY seq").fetchall():
        keep(db, seq, [made])
    db.execute("INSERT INTO cursors VALUES ('landmarks', 1)")
    db.execute("COMMIT")


@dataclass(frozen=True, slots=True)
class Clocks:
    """What was added to core time to have UTC, and from which core time on [ms]."""

    since_ms: Sequence[int]
    offset_ms: Sequence[int]

    def utc_ms(self, core_ms: int) -> int:
        """Return UTC at a core time."""
        return core_ms + self.offset_at(core_ms)

    def offset_at(self, core_ms: int) -> int:
        """Return what was added at a core time; before the first start, what was added then."""
        return self.offset_ms[max(0, bisect_right(self.since_ms, core_ms) - 1)] if self.offset_ms else 0

    def core_span(self, from_utc_ms: int, until_utc_ms: int) -> tuple[int, int]:
        """Return the core times between which UTC was in a range, from before until after; where steps turned
        UTC back, all of them."""
        ends = [*self.since_ms[1:], 1 << 62]
        found = [
            (max(since, from_utc_ms - offset), min(end, until_utc_ms - offset))
            for since, end, offset in zip(self.since_ms, ends, self.offset_ms, strict=True)
        ]
        whole = [(low, high) for low, high in found if low < high]
        return (min(low for low, _ in whole), max(high for _, high in whole)) if whole else (0, 0)


def clocks(db: sqlite3.Connection) -> Clocks:
    """Return how core time and UTC went together, from the newest offset at each start and step of the clock."""
    since, offset = [], []
    for core_ms, made in db.execute(_CLOCKS, (Kind.STARTED, Kind.CLOCK_STEP)):
        body = canonical.to_dict(entry.body_of(made))
        since.append(core_ms)
        offset.append(body["offset_ms"] if "offset_ms" in body else body["new_offset_ms"])
    return Clocks(since, offset)


def config_at(db: sqlite3.Connection, core_ms: int) -> bytes | None:
    """Return the body of the ConfigSet in force at a core time; before the first one, that one; None without."""
    asked = "SELECT entry FROM landmarks WHERE kind = ? AND core_ms {} ? ORDER BY seq {} LIMIT 1"
    for order in (("<=", "DESC"), (">", "ASC")):
        row = db.execute(asked.format(*order), (Kind.CONFIG_SET, core_ms)).fetchone()
        if row:
            return entry.body_of(row[0])
    return None
