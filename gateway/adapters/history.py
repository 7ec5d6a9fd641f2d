"""The tables history is drawn from: what the fold's sheets add up to, by quarter of an hour and by six hours.

Written by the one writer in the transaction of the entries; made again from the entries by `dewgate rebuild`, to
the same figures. A quarter of an hour is a row while it is written. Once its day is over, the rows of a channel
are packed into one blob (`history_day`); what comes late for that day is a row beside it until the next packing.
What is read is always the sum of both.
"""

from __future__ import annotations

import sqlite3
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial, reduce
from operator import add

from gateway.adapters import history_day
from gateway.adapters.history_day import PER_DAY, Columns
from gateway.tiers import QUARTER_MS, SIX_HOURS_MS, Sheet, unit_of

_TABLE = """
CREATE TABLE {} (channel INTEGER NOT NULL, at INTEGER NOT NULL, count INTEGER NOT NULL, low INTEGER, high INTEGER,
  total INTEGER NOT NULL, known_ms INTEGER NOT NULL, PRIMARY KEY (channel, at)) STRICT, WITHOUT ROWID;
"""
SCHEMA = f"""
CREATE TABLE channels (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
{_TABLE.format("quarters")}{_TABLE.format("six_hours")}
"""
DAYS = """
CREATE TABLE days (channel INTEGER NOT NULL, day INTEGER NOT NULL, body BLOB NOT NULL, PRIMARY KEY (channel, day))
  STRICT, WITHOUT ROWID;
"""
DEEDS = """
CREATE TABLE deeds (seq INTEGER PRIMARY KEY, utc_ms INTEGER NOT NULL, kind INTEGER NOT NULL, body BLOB NOT NULL)
  STRICT;
"""
WHOLE = f"{SCHEMA}{DAYS}{DEEDS}"
DAY_MS = PER_DAY * QUARTER_MS
PER_SIX_HOURS = SIX_HOURS_MS // QUARTER_MS
LATE_MS = 6 * 3_600_000  # a day is packed when this much of the next is over: few readings come later
PACKED_AT_ONCE = 256  # days of one channel each, so that the writer is never held up
# at: UTC ms of the beginning over the width of the table, a quarter of an hour or six
_ADD = """
INSERT INTO {} VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET count = count + excluded.count,
  low = coalesce(min(low, excluded.low), low, excluded.low),
  high = coalesce(max(high, excluded.high), high, excluded.high),
  total = total + excluded.total, known_ms = known_ms + excluded.known_ms
"""
_ADD_QUARTERS, _ADD_SIX_HOURS = _ADD.format("quarters"), _ADD.format("six_hours")
_FIGURES = "count, low, high, total, known_ms"
_OVER = f"SELECT at, {_FIGURES} FROM quarters WHERE channel = ? AND at >= ? AND at < ?"  # noqa: S608 - no input
_SIX_HOURS = f"SELECT at, {_FIGURES} FROM six_hours WHERE channel = ? AND at >= ? AND at < ?"  # noqa: S608 - no input
_PACKED = "SELECT day, body FROM days WHERE channel = ? AND day >= ? AND day <= ?"


@dataclass(frozen=True, slots=True)
class Drawn:
    """One channel as columns of equal width side by side, in the unit used inside.

    from_ms: where the first begins, UTC; each_ms: width of one. low, mean, high: None where no reading fell in it.
    weight: readings in it, or for a derived value the ms it stood. known_ms: how long the value was known, so the
    rest of it is to be hatched.
    """

    from_ms: int
    each_ms: int
    low: list[float | None]
    mean: list[float | None]
    high: list[float | None]
    weight: list[int]
    known_ms: list[int]


class History:
    """The writer's hands on the tables; every call belongs to the caller's transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._ids: dict[str, int] = dict(db.execute("SELECT name, id FROM channels"))

    def add(self, sheet: Sheet) -> None:
        """Add a sheet of quarters to the tables."""
        if sheet.each_ms != QUARTER_MS:
            raise ValueError(f"history is kept by quarters of an hour, not by {sheet.each_ms} ms")
        self._db.executemany("INSERT INTO deeds VALUES (?, ?, ?, ?)", sheet.deeds)
        ids = self._ids
        rows = [
            (ids.get(name) or self._begin(name), at // QUARTER_MS, s.count, s.low, s.high, s.total, s.known_ms)
            for (name, at), s in sheet.buckets.items()
        ]
        self._db.executemany(_ADD_QUARTERS, rows)
        self._db.executemany(_ADD_SIX_HOURS, [(row[0], row[1] // PER_SIX_HOURS, *row[2:]) for row in rows])

    def pack(self, utc_ms: int) -> None:
        """Pack what lies in days that are over at this time, some of it if there is much."""
        day = (utc_ms - LATE_MS) // DAY_MS
        left = PACKED_AT_ONCE
        for channel in self._ids.values():
            query = "SELECT DISTINCT at / ? FROM quarters WHERE channel = ? AND at < ? LIMIT ?"
            over = [row[0] for row in self._db.execute(query, (PER_DAY, channel, day * PER_DAY, left))]
            for each in over:
                self._pack(channel, each)
            left -= len(over)

    def _pack(self, channel: int, day: int) -> None:
        span = (channel, day * PER_DAY, (day + 1) * PER_DAY)
        packed = history_day.pack(_quarters(self._db, *span))
        self._db.execute("INSERT OR REPLACE INTO days VALUES (?, ?, ?)", (channel, day, packed))
        self._db.execute("DELETE FROM quarters WHERE channel = ? AND at >= ? AND at < ?", span)

    def take_over(self, made: sqlite3.Connection) -> None:
        """Put tables that were made again in the place of these."""
        for table in ("quarters", "days", "six_hours", "channels", "deeds"):
            self._db.execute(f"DELETE FROM {table}")  # noqa: S608 - names of this module
            rows = made.execute(f"SELECT * FROM {table}")  # noqa: S608 - names of this module
            places = ", ".join("?" for _ in rows.description)
            self._db.executemany(f"INSERT INTO {table} VALUES ({places})", rows)  # noqa: S608 - as above
        self._ids = channels(self._db)

    def _begin(self, name: str) -> int:
        row = self._db.execute("INSERT INTO channels VALUES (NULL, ?) RETURNING id", (name,)).fetchone()
        self._ids[name] = int(row[0])
        return self._ids[name]


def channels(db: sqlite3.Connection) -> dict[str, int]:
    """Return the channels there is history of, with the number by which the tables know them."""
    return dict(db.execute("SELECT name, id FROM channels"))


def began_ms(db: sqlite3.Connection) -> int | None:
    """Return UTC ms of the six hours in which the first figures lie; None where there are none yet."""
    first: int | None = db.execute("SELECT MIN(at) FROM six_hours").fetchone()[0]
    return None if first is None else first * SIX_HOURS_MS


def quarters(db: sqlite3.Connection) -> Iterator[tuple[int, history_day.Row]]:
    """Yield the channel's number and the figures of every quarter of an hour there is, packed or not."""
    asked = "SELECT channel, at / ? FROM quarters UNION SELECT channel, day FROM days ORDER BY 1, 2"
    for channel, day in db.execute(asked, (PER_DAY,)).fetchall():
        begin = day * PER_DAY
        for row in history_day.rows(_quarters(db, channel, begin, begin + PER_DAY), begin):
            yield channel, row


def _quarters(db: sqlite3.Connection, channel: int, first: int, last: int) -> Columns:
    """The quarters from one number until before another, each the sum of what is packed and what is not."""
    days = first // PER_DAY, (last - 1) // PER_DAY
    found = history_day.unpack(*days, dict(db.execute(_PACKED, (channel, *days))))
    begin = days[0] * PER_DAY
    history_day.add(found, begin, db.execute(_OVER, (channel, first, last)))
    return Columns(*(column[first - begin : last - begin] for column in found))


def _six_hours(db: sqlite3.Connection, channel: int, first: int, last: int) -> Columns:
    found = history_day.empty(last - first)
    history_day.add(found, first, db.execute(_SIX_HOURS, (channel, first, last)))
    return found


def draw(
    db: sqlite3.Connection, names: Sequence[str], from_ms: int, until_ms: int, count: int
) -> Mapping[str, Drawn]:
    """Return about `count` columns of each channel there is history of, over a range of UTC ms.

    A column is a whole number of quarters, or of six hours where it is that wide, and the range is widened to
    whole ones: no row is split, there are never more than one column above `count`. Raises: ValueError for an
    empty range or no columns.
    """
    if until_ms <= from_ms or count < 1:
        raise ValueError(f"nothing to draw: {from_ms} to {until_ms} ms in {count} columns")
    wide = (until_ms - from_ms) // count >= SIX_HOURS_MS
    width, read = (SIX_HOURS_MS, _six_hours) if wide else (QUARTER_MS, _quarters)
    first, last = from_ms // width, -(-until_ms // width)
    rows = -(-(until_ms - from_ms) // (count * width))
    last += (first - last) % rows
    known = channels(db)
    return {
        name: drawn(read(db, known[name], first, last), first * width, width, rows, unit_of(name))
        for name in names
        if name in known
    }


def drawn(found: Columns, from_ms: int, width_ms: int, rows: int, unit: float = 1e-6) -> Drawn:
    """Return quarters, or whatever is so wide, with so many of them joined to one column; unit: `tiers.unit_of`.

    Column by column, since a month of twelve channels is 35,000 rows.
    """
    count = _joined(_sums, found.weight, rows)
    total = _joined(_sums, found.total, rows)
    return Drawn(
        from_ms,
        rows * width_ms,
        _values(_joined(partial(map, min), found.low, rows), count, unit),
        _means(total, count, unit),
        _values(_joined(partial(map, max), found.high, rows), count, unit),
        count,
        _joined(_sums, found.known_ms, rows),
    )


def _means(total: list[int], count: list[int], unit: float) -> list[float | None]:
    """As `_values`, of sums over how many there are."""
    per = round(1 / unit)
    if all(count):
        return [each / (counted * per) for each, counted in zip(total, count, strict=True)]
    return [each / (counted * per) if counted else None for each, counted in zip(total, count, strict=True)]


def _joined(join: Callable[..., Iterable[int]], column: array[int], rows: int) -> list[int]:
    return column.tolist() if rows == 1 else list(join(*(column[each::rows] for each in range(rows))))


def _sums(*parts: array[int]) -> Iterable[int]:
    return reduce(partial(map, add), parts)


def _values(wholes: Iterable[int], count: list[int], unit: float) -> list[float | None]:
    """In the unit used inside; None where nothing was counted."""
    per = round(1 / unit)
    if all(count):
        return [each / per for each in wholes]
    return [each / per if counted else None for each, counted in zip(wholes, count, strict=True)]
