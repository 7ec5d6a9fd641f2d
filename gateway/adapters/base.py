"""Where a journal's fold begins once the bodies of its oldest entries were dropped.

A base is the flow's state after the last dropped entry, and the tables of history as they were then: what cannot
be folded from entries any more. It is written in the transaction that drops the bodies. The roots of all blocks
stay, and the state holds the tree's peaks, so a base that is not of these entries is known by the root.
"""

from __future__ import annotations

import lzma
import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import islice

from gateway import tree
from gateway.adapters import history
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical

SCHEMA = """
CREATE TABLE base (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL, state BLOB NOT NULL,
  history BLOB NOT NULL) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Base:
    """State and history after an entry that ends a block; both as bytes."""

    seq: int
    state: bytes
    history: bytes


@dataclass(slots=True)
class Fold:
    """A flow and the tables of history beside it, in memory."""

    flow: Flow
    tables: sqlite3.Connection

    def base(self) -> Base:
        """Return what a later fold can begin with."""
        return Base(self.flow.state.sequence, self.flow.checkpoint(), lzma.compress(self.tables.serialize()))

    def close(self) -> None:
        """Let go of the tables."""
        self.tables.close()


def read(made: bytes) -> Base:
    """Return the base these bytes hold. Raises ValueError when they hold none."""
    return canonical.from_checkpoint(made, Base)


def kept(reader: sqlite3.Connection) -> Base | None:
    """Return the base of a journal, None where nothing was dropped (or could be: an older journal)."""
    if not reader.execute("SELECT 1 FROM sqlite_master WHERE name = 'base'").fetchone():
        return None
    row = reader.execute("SELECT seq, state, history FROM base").fetchone()
    return Base(*row) if row else None


def flow_of(reader: sqlite3.Connection) -> Flow:
    """Return the flow before the first entry that can be read. Raises ValueError for a base of a newer program."""
    found = kept(reader)
    return Flow.from_checkpoint(found.state) if found else Flow()


def fold_of(reader: sqlite3.Connection) -> Fold:
    """Return flow and history before the first entry that can be read; the caller closes it."""
    found = kept(reader)
    tables = sqlite3.connect(":memory:", isolation_level=None)
    if found:
        tables.deserialize(lzma.decompress(found.history))
    else:
        tables.executescript(history.WHOLE)
    return Fold(flow_of(reader), tables)


def advance(
    fold: Fold, entries: Iterable[bytes], tell: Callable[[int], None], *, pack: bool = False
) -> list[bytes]:
    """Fold entries in, a block at a time, and return the events they brought.

    tell: called with the newest entry's number.
    pack: put days that are over into one row each, as the writer does; it changes the room taken, not the figures.
    """
    book, events, source = history.History(fold.tables), list[bytes](), iter(entries)
    while chunk := list(islice(source, tree.SEAL)):
        outcomes = Outcomes()
        fold.flow.advance(chunk, outcomes)
        book.add(outcomes.sheet)
        events += outcomes.events
        if pack:
            book.pack(fold.flow.state.core_ms + fold.flow.state.offset_ms)
        tell(fold.flow.state.sequence)
    return events


def is_of(base: Base, reader: sqlite3.Connection) -> bool:
    """Whether a base is the state after these sealed entries and no others."""
    roots = reader.execute("SELECT root FROM sealed WHERE first_seq <= ? ORDER BY first_seq", (base.seq,))
    peaks: tree.Peaks = []
    for (root,) in roots:
        tree.append_subtree(peaks, tree.SEAL, root)
    state = Flow.from_checkpoint(base.state).state
    ends = base.seq == state.sequence == sum(size for size, _ in peaks)
    return ends and base.seq > 0 and tree.root(peaks) == tree.root(state.peaks)
