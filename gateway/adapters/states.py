"""States of the flow that stay in the journal, one now and then, so that several processes can fold it again.

The newest checkpoint is a cache to start from; these are guesses to divide the work by. None of them is ever
believed for itself: only once the entries before it were folded and ended in it, byte for byte.
"""

from __future__ import annotations

import lzma
import sqlite3
from contextlib import suppress
from dataclasses import dataclass

from gateway import tree
from gateway.payload import canonical

SCHEMA = """
CREATE TABLE states (seq INTEGER PRIMARY KEY, core_version TEXT NOT NULL, body BLOB NOT NULL) STRICT;
"""
EVERY = 24 * tree.SEAL
"""After so many entries the next checkpoint stays, at about half a byte an entry; 24 sensors each 10 s: 11 h."""
LONGEST = 4 << 20  # a state is 1 to 2 MB; packing takes many times its size, so a larger one is not kept
LARGEST = 64 << 20  # a blob that unpacks to more is none
PLAIN, PACKED, STEPS = b"\x00", b"\x01", b"\x02"  # the layout of what follows: as it is, LZMA, LZMA of steps
_SMALL = [{"id": lzma.FILTER_LZMA2, "preset": 6, "dict_size": 1 << 20, "lc": 1, "pb": 0}]  # 12 MB while it packs


@dataclass(frozen=True, slots=True)
class Kept:
    """The state after an entry, as bytes of this module's, and which program wrote it."""

    seq: int
    core_version: str
    body: bytes


def packed(seq: int, core_version: str, checkpoint: bytes) -> Kept:
    """Return what is kept of a checkpoint."""
    with suppress(ValueError, OverflowError):  # steps that are too wide
        body = STEPS + lzma.compress(canonical.steps(checkpoint), filters=_SMALL)
        if unpack(body) == checkpoint:
            return Kept(seq, core_version, body)
    return Kept(seq, core_version, PACKED + lzma.compress(checkpoint, filters=_SMALL))


def unpack(body: bytes) -> bytes:
    """Return the checkpoint in it. Raises ValueError when it is damaged, of another layout, or larger than any."""
    layout, rest = body[:1], body[1:]
    if layout == PLAIN:
        return rest
    try:
        if layout == PACKED:
            return _unpacked(rest)
        if layout == STEPS:
            return canonical.from_steps(_unpacked(rest))
    except (lzma.LZMAError, ValueError, TypeError, OverflowError, RecursionError) as error:
        raise ValueError(f"a kept state cannot be read: {error}") from error
    raise ValueError("a kept state is of a layout that this program does not know")


def _unpacked(body: bytes) -> bytes:
    reader = lzma.LZMADecompressor(lzma.FORMAT_XZ)
    found = reader.decompress(body, LARGEST)
    if not reader.eof:
        raise ValueError("it is cut off or too large")
    return found


def newest(db: sqlite3.Connection) -> int:
    """Return after which entry the newest was kept, 0 without any."""
    return int(db.execute("SELECT coalesce(max(seq), 0) FROM states").fetchone()[0])


def keep(db: sqlite3.Connection, kept: Kept) -> None:
    """Keep one more, in one statement: it is there whole or not at all."""
    db.execute("INSERT OR REPLACE INTO states VALUES (?, ?, ?)", (kept.seq, kept.core_version, kept.body))


def between(db: sqlite3.Connection, after: int, until: int) -> list[Kept]:
    """Return those after one entry and before another, in order; none of a journal of before there were any."""
    if not db.execute("SELECT 1 FROM sqlite_master WHERE name = 'states'").fetchone():
        return []
    query = "SELECT seq, core_version, body FROM states WHERE seq > ? AND seq < ? ORDER BY seq"
    return [Kept(*row) for row in db.execute(query, (after, until))]
