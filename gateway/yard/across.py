"""One record across all sites, in the order of time: what persons did, how verdicts and alarms changed.

With what became of messages, and what the yard itself saw. Each row names its entry and the head that vouches for
it, so that it can be proven from the export of that site.
"""

from __future__ import annotations

import heapq
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gateway import entry, tree
from gateway.adapters import heads as table
from gateway.adapters import landmarks
from gateway.adapters.journal import WrongJournal, entries_after, open_reader
from gateway.adapters.site_book import NAME
from gateway.adapters.yard_db import YardDb
from gateway.adapters.yard_room import drops
from gateway.entry import Kind
from gateway.payload import canonical
from gateway.standing import Word, word_of

COLUMNS = ("utc", "site", "entry", "head", "what", "person", "words")
_TOLD = frozenset((Kind.ACTION, Kind.CONFIG_SET, Kind.STARTED, Kind.STOPPING, Kind.CLOCK_STEP, Kind.DELIVERY))


@dataclass(frozen=True, slots=True, order=True)
class Row:
    """One thing that happened; utc_ms by the site's clock, or by the yard's where `entry` is 0."""

    utc_ms: int
    site: str
    entry: int
    head: str
    what: str
    person: str
    words: str


def rows(folder: Path, db: YardDb, sites: Sequence[str], from_ms: int, until_ms: int) -> Iterator[Row]:
    """Yield what happened at these sites in a range of UTC, in order. folder: with a folder for each site."""
    parts = [_of_site(folder / each / NAME, each, from_ms, until_ms) for each in sites if (folder / each).is_dir()]
    yield from heapq.merge(*parts, _of_yard(db, set(sites), from_ms, until_ms))


def _of_yard(db: YardDb, sites: set[str], from_ms: int, until_ms: int) -> list[Row]:
    found = []
    for each in db.alarms():
        found.append(Row(each.begun_ms, each.site, 0, "", f"{each.kind}", "", f"Y-{each.id} began: {each.why}"))
        if each.ended_ms is not None:
            found.append(Row(each.ended_ms, each.site, 0, "", f"{each.kind}", "", f"Y-{each.id} ended"))
    for was in db.refusals():
        words = f"refused {was.times} times: {was.why}"
        found.append(Row(was.last_ms, was.site, 0, "", was.kind, was.seen_by, words))
    for drop in drops(db):
        words = f"entries up to {drop.last} were dropped here, by the sealed reports {drop.reports}"
        found.append(Row(drop.at_ms, drop.site, 0, "", "dropped", "", words))
    return sorted(each for each in found if each.site in sites and from_ms <= each.utc_ms < until_ms)


def _of_site(path: Path, site: str, from_ms: int, until_ms: int) -> Iterator[Row]:
    """What happened at a site; of a record that cannot be read it says so, and the other sites' rows stand."""
    try:
        yield from sorted(_told(path, site, from_ms, until_ms))
    except (WrongJournal, ValueError, LookupError, TypeError, sqlite3.Error) as error:
        yield Row(from_ms, site, 0, "", "unreadable", "", f"its record cannot be read: {error}"[:300])


def _told(path: Path, site: str, from_ms: int, until_ms: int) -> Iterator[Row]:
    with closing(open_reader(path)) as reader:
        clocks = landmarks.clocks(reader)
        first_ms, last_ms = clocks.core_span(from_ms, until_ms)
        said, codes = _Said(), _Codes(reader)
        for number, made in _entries(reader, first_ms):
            kind, core_ms = entry.kind_and_time(made)
            if core_ms >= last_ms:
                break
            if kind not in _TOLD and kind is not Kind.STANDING:
                continue
            body = entry.body_of(made)
            if kind is Kind.STANDING:
                lines = said.changes(word_of(body))
            else:
                lines = [_line(kind, canonical.to_dict(body or b"{}"))]
            utc_ms = clocks.utc_ms(core_ms)
            if from_ms <= utc_ms < until_ms:
                yield from (Row(utc_ms, site, number, codes.of(number), *line) for line in lines)


def _entries(reader: sqlite3.Connection, first_ms: int) -> Iterator[tuple[int, bytes]]:
    """The entries from a core time on, each with its number; of what was dropped, acts, starts and jobsites."""
    (last,) = reader.execute("SELECT max(first_seq) FROM sealed WHERE body IS NULL").fetchone()
    dropped = last + tree.SEAL - 1 if last else 0
    yield from reader.execute(
        "SELECT seq, entry FROM landmarks WHERE seq <= ? AND core_ms >= ? ORDER BY seq", (dropped, first_ms)
    ).fetchall()
    after = max(dropped, _begin(reader, first_ms))
    yield from enumerate(entries_after(reader, after), after + 1)


def _begin(reader: sqlite3.Connection, first_ms: int) -> int:
    """The entry before the newest sealed block that begins before a core time; what lies before is not read."""
    (first,) = reader.execute("SELECT max(first_seq) FROM sealed WHERE from_ms < ?", (first_ms,)).fetchone()
    return (first or 1) - 1


@dataclass(slots=True)
class _Codes:
    """The head that vouches for an entry, asked once for each head."""

    reader: sqlite3.Connection
    upto: int = 0
    code: str = ""

    def of(self, number: int) -> str:
        if number > self.upto:
            found = table.covering(self.reader, number)
            self.upto, self.code = (found.head.size, found.code) if found else (1 << 62, "none yet")
        return self.code


@dataclass(slots=True)
class _Said:
    """What a site said last, to tell what changed."""

    verdicts: dict[str, str] = field(default_factory=dict)
    alarms: dict[str, str] = field(default_factory=dict)

    def changes(self, word: Word | None) -> list[tuple[str, str, str]]:
        """Return what is other than in the word before; of the first word, all that is not inside limits."""
        if word is None:
            return [("unreadable", "", "what it says of itself cannot be read")]
        verdicts = {each.area: each.verdict.value for each in word.areas}
        alarms = {each.number: f"{each.state}: {each.title}" for each in word.alarms}
        told = [
            ("verdict", "", f"{area}: {verdict}")
            for area, verdict in verdicts.items() if self.verdicts.get(area, "inside limits") != verdict
        ]  # fmt: skip
        told += [("alarm", "", f"{n} {words}") for n, words in alarms.items() if self.alarms.get(n) != words]
        told += [("alarm", "", f"{number} over") for number in self.alarms if number not in alarms]
        self.verdicts, self.alarms = verdicts, alarms
        return told


def _line(kind: Kind, body: dict[str, Any]) -> tuple[str, str, str]:
    match kind:
        case Kind.ACTION:
            rest = {name: value for name, value in body.items() if name not in ("act", "person")}
            return "act", str(body.get("person", "")), f"{body.get('act', '')} {_short(rest)}".strip()
        case Kind.CONFIG_SET:
            return "jobsite", str(body.get("who", "")), f"set: {body.get('why', '')}"
        case Kind.DELIVERY:
            words = f"{body.get('number', '')} #{body.get('attempt', '')} {body.get('outcome', '')}"
            return "message", str(body.get("person", "")), words
        case _:
            return kind.name.lower().replace("_", " "), "", _short(body)


def _short(body: dict[str, Any]) -> str:
    """What stands in an entry as a person reads it: names and values, what lies deeper as it is written."""
    told = ((name, value if isinstance(value, (str, int, float)) else canonical.to_bytes(value).decode())
            for name, value in body.items())  # fmt: skip
    return ", ".join(f"{name} {value}" for name, value in told)[:300]
