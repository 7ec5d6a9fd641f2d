"""The tables history is drawn from: what the fold's sheets add up to, by quarter of an hour and by six hours.

Written by the one writer in the transaction of the entries; made again from the entries by `dewgate rebuild`, to
the same rows. Readers draw a month of twelve channels from some 35,000 rows instead of millions of readings.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from gateway.tiers import QUARTER_MS, SIX_HOURS_MS, Sheet, Sums

_TABLE = """
CREATE TABLE {} (channel INTEGER NOT NULL, at INTEGER NOT NULL, count INTEGER NOT NULL, low INTEGER, high INTEGER,
  total INTEGER NOT NULL, known_ms INTEGER NOT NULL, PRIMARY KEY (channel, at)) STRICT, WITHOUT ROWID;
"""
SCHEMA = f"""
CREATE TABLE channels (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
{_TABLE.format("quarters")}{_TABLE.format("six_hours")}
"""
WIDTHS_MS = {"quarters": QUARTER_MS, "six_hours": SIX_HOURS_MS}  # at: UTC ms of the beginning over this
_ADD = """
INSERT INTO {} VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET count = count + excluded.count,
  low = coalesce(min(low, excluded.low), low, excluded.low),
  high = coalesce(max(high, excluded.high), high, excluded.high),
  total = total + excluded.total, known_ms = known_ms + excluded.known_ms
"""
_DRAW = """
SELECT :from_ms + (at - :first) / :rows * :each_ms, min(low) / 1e6, total(total) / sum(count) / 1e6,
  max(high) / 1e6, sum(count), sum(known_ms) / 1000.0
FROM {} WHERE channel = :channel AND at >= :first AND at < :last GROUP BY (at - :first) / :rows
"""  # without a reading the mean is NULL, as SQLite divides


class Bucket(NamedTuple):
    """One column of a drawing, in the unit used inside; low, mean and high are None where no reading fell in it.

    at_ms: when it begins, UTC. weight: readings in it, or for a derived value the ms it stood. known_s: how long
    the value was known, so the rest of it is to be hatched.
    """

    at_ms: int
    low: float | None
    mean: float | None
    high: float | None
    weight: int
    known_s: float


class History:
    """The writer's hands on the tables; every call belongs to the caller's transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._ids: dict[str, int] = dict(db.execute("SELECT name, id FROM channels"))

    def add(self, sheet: Sheet) -> None:
        """Add a sheet to both tables."""
        quarters = [(self._id(name), at // QUARTER_MS, sums) for (name, at), sums in sheet.buckets.items()]
        self._db.executemany(_ADD.format("quarters"), (_row(*each) for each in quarters))
        self._db.executemany(_ADD.format("six_hours"), (_row(*each) for each in _by_six_hours(quarters)))

    def clear(self) -> None:
        """Drop all of it, to be made again."""
        for table in ("quarters", "six_hours", "channels"):
            self._db.execute(f"DELETE FROM {table}")  # noqa: S608 - names of this module
        self._ids.clear()

    def _id(self, name: str) -> int:
        known = self._ids.get(name)
        if known is None:
            row = self._db.execute("INSERT INTO channels VALUES (NULL, ?) RETURNING id", (name,)).fetchone()
            known = self._ids[name] = int(row[0])
        return known


def _row(channel: int, at: int, sums: Sums) -> tuple[int | None, ...]:
    return channel, at, sums.count, sums.low, sums.high, sums.total, sums.known_ms


def _by_six_hours(quarters: Iterable[tuple[int, int, Sums]]) -> Iterable[tuple[int, int, Sums]]:
    each = SIX_HOURS_MS // QUARTER_MS
    joined: dict[tuple[int, int], Sums] = {}
    for channel, at, sums in quarters:
        joined.setdefault((channel, at // each), Sums()).join(sums)
    return [(channel, at, sums) for (channel, at), sums in joined.items()]


def channels(db: sqlite3.Connection) -> dict[str, int]:
    """Return the channels there is history of, with the number by which the tables know them."""
    return dict(db.execute("SELECT name, id FROM channels"))


def draw(
    db: sqlite3.Connection, names: Sequence[str], from_ms: int, until_ms: int, count: int
) -> Mapping[str, list[Bucket]]:
    """Return about `count` columns of each channel over a range of UTC ms; a column without a row is left out.

    A column is a whole number of quarters, or of six hours where it is that wide, and the range is widened to
    whole ones: no row is split, there are never more than one column above `count`. Raises: ValueError for an
    empty range or no columns.
    """
    if until_ms <= from_ms or count < 1:
        raise ValueError(f"nothing to draw: {from_ms} to {until_ms} ms in {count} columns")
    table = "six_hours" if (until_ms - from_ms) // count >= SIX_HOURS_MS else "quarters"
    width = WIDTHS_MS[table]
    first, last = from_ms // width, -(-until_ms // width)
    each = -(-(until_ms - from_ms) // (count * width)) * width
    known = channels(db)
    facts = {"from_ms": first * width, "each_ms": each, "rows": each // width, "first": first, "last": last}
    query = _DRAW.format(table)
    return {
        name: list(map(Bucket._make, db.execute(query, facts | {"channel": known[name]})))
        for name in names
        if name in known
    }
