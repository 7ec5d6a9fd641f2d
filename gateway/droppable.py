"""What a journal has that may be dropped, what a sealed report covers of it, and what then stands in its place."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from itertools import islice
from pathlib import Path

from gateway import progress, proofs, record_rebuild
from gateway.adapters import base, seal
from gateway.adapters.base import Base
from gateway.adapters.journal import entries_after, open_reader
from gateway.adapters.landmarks import Clocks, clocks
from gateway.adapters.subtrees import Subtrees
from gateway.retention import Block, Report


class NotCovered(Exception):
    """A report given cannot stand for what would be dropped; the message says why."""


def blocks(reader: sqlite3.Connection) -> Iterator[Block]:
    """Yield the sealed blocks of a journal that have their bodies, the oldest first."""
    known = clocks(reader)
    query = "SELECT first_seq, from_ms, to_ms, length(body) FROM sealed WHERE body IS NOT NULL ORDER BY first_seq"
    for first, from_ms, to_ms, size in reader.execute(query):
        yield Block(first, *_span(known, from_ms, to_ms), size)


def _span(known: Clocks, from_ms: int, to_ms: int) -> tuple[int, int]:
    """The earliest and the latest UTC within a stretch of core time; a step of the clock may turn it back."""
    turns = [at + side for at in known.since_ms if from_ms < at <= to_ms for side in (-1, 0)]
    found = [known.utc_ms(at) for at in (from_ms, to_ms, *turns)]
    return min(found), max(found)


def report(path: Path, authority: Path, reader: sqlite3.Connection) -> Report:
    """Return what a sealed report covers, once it is unchanged and made from this journal.

    authority: certificate of who sealed it, PEM. Raises NotCovered, OSError.
    """
    pdf = path.read_bytes()
    sealing = seal.look(pdf, authority)
    if not sealing.holds:
        raise NotCovered(f"{path}: {sealing.words}")
    said = record_rebuild.made_from(pdf)
    if said is None:
        raise NotCovered(f"{path} does not say which record it is")
    root = proofs.root_of_range(Subtrees(reader).perfect, 0, said.as_of)
    if root != said.root:
        raise NotCovered(f"{path} was not made from this journal's first {said.as_of} entries")
    return Report(path.name, said.asked.from_ms, said.asked.until_ms, said.as_of)


def base_until(path: Path, last: int) -> Base:
    """Return what stands for all that is to be dropped: folded once more, and for the last time."""
    with closing(open_reader(path)) as reader, closing(base.fold_of(reader)) as fold:
        begin = fold.flow.state.sequence
        entries = islice(entries_after(reader, begin), last - begin)
        base.advance(fold, entries, partial(progress.bar, "entries folded", total=last), pack=True)
        return fold.base()
