"""The entries of a stretch of core time, sealed and hot, found without reading what lies outside it.

Core time never falls from one entry to the next, so both the blocks and the hot rows are searched by halves.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_left
from collections.abc import Callable, Iterator

from gateway import entry
from gateway.adapters.block import unpack_block
from gateway.adapters.journal import Damaged
from gateway.tree import SEAL

Numbered = tuple[int, bytes]


def entries_between(db: sqlite3.Connection, from_core_ms: int, until_core_ms: int) -> Iterator[Numbered]:
    """Yield sequence number and bytes of each entry with a core time in [from, until), in order.

    Blocks whose bodies retention has dropped are passed over. Raises Damaged for a block that cannot be read.
    """
    mine = not db.in_transaction
    if mine:
        db.execute("BEGIN")  # sealing moves rows: one moment for both
    for seq, made in _found(db, from_core_ms, until_core_ms):
        core_ms = entry.kind_and_time(made)[1]
        if from_core_ms <= core_ms < until_core_ms:
            yield seq, made
    if mine:
        db.execute("COMMIT")


def entry_at(db: sqlite3.Connection, seq: int) -> bytes | None:
    """Return one entry's bytes, or None where there is none any more."""
    row = db.execute("SELECT entry FROM entries WHERE seq = ?", (seq,)).fetchone()
    if row:
        made: bytes = row[0]
        return made
    first = (seq - 1) // SEAL * SEAL + 1
    row = db.execute("SELECT body FROM sealed WHERE first_seq = ? AND body IS NOT NULL", (first,)).fetchone()
    return _unpacked(first, row[0])[seq - first] if row else None


def _found(db: sqlite3.Connection, from_ms: int, until_ms: int) -> Iterator[Numbered]:
    (last,) = db.execute("SELECT max(first_seq) FROM sealed").fetchone()
    blocks = 0 if last is None else (last - 1) // SEAL + 1
    at = bisect_left(range(blocks), from_ms, key=_ends(db))
    query = "SELECT first_seq, from_ms, body FROM sealed WHERE first_seq >= ? ORDER BY first_seq"
    for first, begins_ms, body in db.execute(query, (at * SEAL + 1,)):
        if begins_ms >= until_ms:
            return
        if body is not None:
            yield from enumerate(_unpacked(first, body), first)
    low, high = db.execute("SELECT min(seq), max(seq) FROM entries").fetchone()
    if low is None:
        return
    begin = low + bisect_left(range(low, high + 1), from_ms, key=_time(db))
    for seq, made in db.execute("SELECT seq, entry FROM entries WHERE seq >= ? ORDER BY seq", (begin,)):
        if entry.kind_and_time(made)[1] >= until_ms:
            return
        yield seq, made


def _ends(db: sqlite3.Connection) -> Callable[[int], int]:
    def ends(block: int) -> int:
        row = db.execute("SELECT to_ms FROM sealed WHERE first_seq = ?", (block * SEAL + 1,)).fetchone()
        if row is None:
            raise Damaged(f"the sealed block at entry {block * SEAL + 1} is missing")
        return int(row[0])

    return ends


def _time(db: sqlite3.Connection) -> Callable[[int], int]:
    def time(seq: int) -> int:
        row = db.execute("SELECT substr(entry, 1, 10) FROM entries WHERE seq = ?", (seq,)).fetchone()
        if row is None:
            raise Damaged(f"entry {seq} is missing")
        return entry.kind_and_time(row[0])[1]

    return time


def _unpacked(first: int, body: bytes) -> list[bytes]:
    try:
        return unpack_block(body)
    except ValueError as error:
        raise Damaged(f"the sealed block of entries {first} to {first + SEAL - 1}: {error}") from error
