"""Fold a journal again and compare what it says now with what was said then.

In one go, or in parts that begin at kept states (`adapters.states`). Events of one number are compared, so that a
part compares for itself, and what differs in one moves nothing in the next.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from gateway.adapters import base, states
from gateway.adapters.journal import Damaged, entries_after, last_of, open_reader
from gateway.adapters.states import Kept
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.tiers import Sheet
from gateway.tree import SEAL


@dataclass(frozen=True, slots=True)
class Part:
    """The entries after one number up to another.

    begin: the state to begin with, as kept, b"" what the entries begin with; core_version: who kept it.
    events: the newest there was when the journal was divided; what a running writer adds is not looked at.
    """

    after: int
    until: int
    events: int
    begin: bytes = b""
    core_version: str = CORE_VERSION
    is_last: bool = True


@dataclass(frozen=True, slots=True)
class Folded:
    """What a block of entries came to: a line for each event that differs, and what it adds to history.

    at: its newest entry; utc_ms: when that was. end: the state after it, only where a part ends.
    """

    at: int
    utc_ms: int
    lines: list[str]
    sheet: Sheet
    end: bytes = b""


def differences(reader: sqlite3.Connection) -> tuple[int, list[str]]:
    """Fold in one go; return the newest entry's number and a line for each event that is not byte-identical."""
    (whole,) = divided(reader, 1)
    return whole.until, [line for block in fold(reader, whole) for line in block.lines]


def divided(reader: sqlite3.Connection, cores: int) -> list[Part]:
    """Return the parts of a journal as it is now. One core folds in one go, whatever was kept."""
    begun = reader.in_transaction  # one moment for all that is read
    reader.execute("BEGIN") if not begun else None
    first, last = base.flow_of(reader).state.sequence, last_of(reader)
    (events,) = reader.execute("SELECT coalesce(max(id), 0) FROM events").fetchone()
    found = states.between(reader, first, last) if cores > 1 else []
    reader.execute("COMMIT") if not begun else None
    begins, ends = [Kept(first, CORE_VERSION, b""), *found], [*(each.seq for each in found), last]
    return [
        Part(each.seq, end, events, each.body, each.core_version, end == last)
        for each, end in zip(begins, ends, strict=True)
    ]


def fold(reader: sqlite3.Connection, part: Part, *, history: bool = False) -> Iterator[Folded]:
    """Fold one part, a block of entries at a time.

    history: whether what it adds to history is handed on. Raises Damaged, Dropped, ValueError, sqlite3.Error.
    """
    flow = Flow.from_checkpoint(states.unpack(part.begin)) if part.begin else base.flow_of(reader)
    state, entries = flow.state, islice(entries_after(reader, part.after), part.until - part.after)
    while chunk := list(islice(entries, SEAL)):
        said, outcomes = state.events, Outcomes()
        flow.advance(chunk, outcomes)
        lines = list(_compared(reader, said, state.events, outcomes.events))
        sheet = outcomes.sheet if history else Sheet()
        yield Folded(state.sequence, state.core_ms + state.offset_ms, lines, sheet)
    if state.sequence != part.until:
        raise Damaged(f"entries {state.sequence + 1} to {part.until} are missing")
    lines = list(_compared(reader, state.events, part.events, [])) if part.is_last else []
    yield Folded(state.sequence, state.core_ms + state.offset_ms, lines, Sheet(), flow.checkpoint())


def _compared(reader: sqlite3.Connection, after: int, until: int, now: list[bytes]) -> Iterator[str]:
    """Yield a line for each event after a number up to another that is not what it was."""
    then = dict(reader.execute("SELECT id, event FROM events WHERE id > ? AND id <= ?", (after, until)))
    again = dict(enumerate(now, after + 1))
    for number in sorted(then.keys() | again.keys()):
        old, new = then.get(number), again.get(number)
        if old != new:
            yield f"event {number}: then {old!r}, now {new!r}"


def fold_file(path: Path, part: Part, history: bool) -> Iterator[Folded]:
    """Fold one part of a journal file, on a connection of its own."""
    with closing(open_reader(path)) as reader:
        yield from fold(reader, part, history=history)
