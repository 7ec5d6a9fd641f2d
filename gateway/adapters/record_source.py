"""Where a climate record comes from: one moment of the journal, or the journal folded again up to an entry.

The tables of history are as of the newest entry. A record of an earlier one is made from the entries up to it,
folded again into tables in memory, which gives the same figures and takes as long as a rebuild.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

from gateway import heads, tree
from gateway.adapters import base, history
from gateway.adapters.home import newest as newest_flow
from gateway.adapters.journal import Dropped, WrongJournal, check_version, entries_after, last_of, open_reader
from gateway.climate_record import Asked, Material
from gateway.entry import Kind, kind_and_time
from gateway.flow import Flow
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from gateway.record_channels import Quarters
from gateway.tiers import QUARTER_MS, Deed

CONFIG_SET, STARTED, CLOCK_STEP = Kind.CONFIG_SET, Kind.STARTED, Kind.CLOCK_STEP
Progress = Callable[[int, int], None]


class NothingToTell(Exception):
    """The journal holds nothing of the time that was asked for."""


def material(home: Path, asked: Asked, sequence: int, progress: Progress = lambda *_: None) -> Material:
    """Return what a record of a home is made of, as of an entry; the newest is quick, an older one is not.

    Raises NothingToTell, WrongJournal (damaged, or history is to be rebuilt first), sqlite3.Error.
    """
    with closing(open_reader(home / "journal.db")) as reader:
        check_version(reader, home / "journal.db")
        reader.execute("BEGIN")  # one moment for tables and entries, beside a running writer
        codes = _heads(reader, sequence)
        if sequence == last_of(reader) and not _is_copy(reader):
            return _of_now(reader, asked, sequence, codes, progress)
        return _of_then(reader, asked, sequence, codes, progress)


def as_of(home: Path, sequence: int | None = None) -> tuple[int, int, Jobsite]:
    """Return of an entry, or of the newest, its number, its UTC [ms] and the jobsite in force."""
    with closing(open_reader(home / "journal.db")) as reader:
        check_version(reader, home / "journal.db")
        reader.execute("BEGIN")
        newest = last_of(reader)
        number = newest if sequence is None else sequence
        if not 0 < number <= newest:
            raise NothingToTell(f"there is no entry {number}; the journal has {newest}")
        known = [deed for deed in _deeds(reader) if deed.sequence <= number]
        site = next((canonical.jobsite_of(deed.body) for deed in reversed(known) if deed.kind == CONFIG_SET), None)
        if site is None:
            raise NothingToTell("no jobsite was in force yet")
        _, core_ms = kind_and_time(next(entries_after(reader, number - 1)))
    return number, core_ms + _offset_ms(known), site


def _offset_ms(deeds: list[Deed]) -> int:
    for deed in reversed(deeds):
        body = bodies(deed) if deed.kind in (STARTED, CLOCK_STEP) else {}
        if body:
            return int(body.get("offset_ms", body.get("new_offset_ms", 0)))
    return 0


def _heads(reader: sqlite3.Connection, sequence: int) -> list[str]:
    """The record codes of the heads over at most so many entries; they never change."""
    rows = reader.execute("SELECT statement FROM heads WHERE size <= ? ORDER BY number", (sequence,))
    found = [heads.head_of(row[0]) for row in rows]
    return [heads.record_code(each.number, each.size, each.root) for each in found]


def _is_copy(reader: sqlite3.Connection) -> bool:
    """Whether this is what a yard holds of a site: entries and heads, but no events; those are folded again."""
    return reader.execute("SELECT 1 FROM sqlite_master WHERE name = 'arrived'").fetchone() is not None


def _of_now(
    reader: sqlite3.Connection, asked: Asked, newest: int, codes: list[str], progress: Progress
) -> Material:
    (whole,) = reader.execute("SELECT at FROM cursors WHERE name = 'history'").fetchone()
    if whole < newest:
        raise WrongJournal(f"history is whole up to entry {whole} only; stop dewgate run and use: dewgate rebuild")
    events = [canonical.to_dict(row[0]) for row in reader.execute("SELECT event FROM events ORDER BY id")]
    found = _quarters(reader, asked), _deeds(reader), events
    return _made(asked, newest_flow(reader, progress), codes, *found)


def _of_then(
    reader: sqlite3.Connection, asked: Asked, sequence: int, codes: list[str], progress: Progress
) -> Material:
    with closing(base.fold_of(reader)) as fold:
        flow, begin = fold.flow, fold.flow.state.sequence
        if sequence < begin:
            raise Dropped(begin)
        kept = reader.execute("SELECT event FROM events WHERE id <= ? ORDER BY id", (flow.state.events,))
        events = [row[0] for row in kept]
        entries = islice(entries_after(reader, begin), sequence - begin)
        events += base.advance(fold, entries, lambda done: progress(done, sequence))
        told = list(map(canonical.to_dict, events))
        return _made(asked, flow, codes, _quarters(fold.tables, asked), _deeds(fold.tables), told)


def _quarters(db: sqlite3.Connection, asked: Asked) -> dict[str, Quarters]:
    count = (asked.until_ms - asked.from_ms) // QUARTER_MS
    names = sorted(history.channels(db))
    drawn = history.draw(db, names, asked.from_ms, asked.until_ms, count)
    return {
        name: Quarters(each.low, each.mean, each.high, each.weight, each.known_ms)
        for name, each in drawn.items() if any(each.known_ms) or any(each.weight)
    }  # fmt: skip


def _deeds(db: sqlite3.Connection) -> list[Deed]:
    return list(map(Deed._make, db.execute("SELECT seq, utc_ms, kind, body FROM deeds ORDER BY seq")))


def _made(
    asked: Asked,
    flow: Flow,
    codes: list[str],
    quarters: dict[str, Quarters],
    deeds: list[Deed],
    events: list[dict[str, Any]],
) -> Material:
    state, site = flow.state, flow.site
    if site is None:
        raise NothingToTell("no jobsite was in force yet")
    as_of_ms = state.core_ms + state.offset_ms
    if asked.from_ms >= as_of_ms:
        raise NothingToTell("the record begins after the newest entry")
    return Material(
        asked, site, state.sequence, as_of_ms, tree.root(state.peaks), state.core_version, deeds, events, quarters,
        codes, dict(state.work), list(state.exposures.values()), bodies, canonical.jobsite_of,
    )  # fmt: skip


def bodies(deed: Deed) -> Mapping[str, Any]:
    """Return what the body of a deed says; an empty one says nothing."""
    return canonical.to_dict(deed.body) if deed.body else {}
