"""A site's journal as the yard keeps it: the same file as at the site, but nothing is judged or worked out here.

Entries, heads, how far they are held and the newest standing are one transaction with synchronous=FULL; only
after it does the yard answer. `export`, `prove` and `record` read the folder as they read a site's own home.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from gateway import entry
from gateway.adapters import heads as table
from gateway.adapters import landmarks
from gateway.adapters.journal import Journal, entries_after
from gateway.entry import Kind
from gateway.heads import Signed
from gateway.payload import canonical
from gateway.vouching import Held

_SCHEMA = """
CREATE TABLE IF NOT EXISTS arrived (one INTEGER PRIMARY KEY CHECK (one = 1), size INTEGER NOT NULL,
  peaks BLOB NOT NULL, received_ms INTEGER NOT NULL, core_ms INTEGER NOT NULL, offset_ms INTEGER NOT NULL,
  standing_ms INTEGER NOT NULL, standing BLOB NOT NULL) STRICT;
"""
_PEAK = struct.Struct(">Q32s")
CACHE_KIB = 256  # of each open site; SQLite's own choice is 2,000, too much for a thousand
SITES, NAME = "sites", "journal.db"


@dataclass(frozen=True, slots=True)
class Arrived:
    """The newest of a site. received_ms: when its newest entry came, by the yard's clock. standing,
    standing_ms: what the site last said of itself, and when, UTC by its own clock."""

    size: int = 0
    received_ms: int = 0
    core_ms: int = 0
    offset_ms: int = 0
    standing_ms: int = 0
    standing: bytes = b""

    @property
    def utc_ms(self) -> int:
        """When the newest entry was made, by the site's clock."""
        return self.core_ms + self.offset_ms


class SiteBook(Journal):
    """The one writer of a site's journal at the yard."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        super().__init__(folder / NAME)
        self.db.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
        self.db.executescript(_SCHEMA)
        row = self.db.execute("SELECT peaks FROM arrived").fetchone()
        newest = table.newest(self.db)
        peaks = tuple(_PEAK.iter_unpack(row[0])) if row else ()
        self.held = Held(peaks, newest.head if newest else None)
        self.newest = self._newest()

    def _newest(self) -> Arrived:
        names = "size, received_ms, core_ms, offset_ms, standing_ms, standing"
        row = self.db.execute(f"SELECT {names} FROM arrived").fetchone()  # noqa: S608  names of this module
        return Arrived(*row) if row else Arrived()

    def stored(self, first: int, count: int) -> list[bytes]:
        """Return entries that are held, from a number on."""
        try:
            return list(islice(entries_after(self.db, first - 1), count))
        finally:
            if self.db.in_transaction:  # the reading stopped before the end
                self.db.execute("ROLLBACK")

    def head(self, number: int) -> Signed | None:
        """Return a head that is held."""
        return table.numbered(self.db, number)

    def arrive(self, entries: Sequence[bytes], signed: Sequence[Signed], held: Held, received_ms: int) -> None:
        """Take in what follows what is held. Raises sqlite3.Error when the disk refuses; nothing is taken then."""
        first = self.held.size + 1
        newest = followed(self.newest, entries, received_ms)
        peaks = b"".join(_PEAK.pack(size, root) for size, root in held.peaks)
        with self._whole() as db:
            db.executemany("INSERT INTO entries VALUES (?, ?)", enumerate(entries, first))
            landmarks.keep(db, first, entries)
            for each in signed:
                table.keep(db, each)
            row = (newest.size, peaks, newest.received_ms, newest.core_ms, newest.offset_ms,
                   newest.standing_ms, newest.standing)  # fmt: skip
            db.execute("INSERT OR REPLACE INTO arrived VALUES (1, ?, ?, ?, ?, ?, ?, ?)", row)
        self.held, self.newest = held, newest


def followed(newest: Arrived, entries: Sequence[bytes], received_ms: int) -> Arrived:
    """Return the newest of a site after these entries."""
    if not entries:
        return newest
    offset_ms, standing_ms, standing = newest.offset_ms, newest.standing_ms, newest.standing
    for made in [each for each in entries if each[0] in _TELLING]:
        kind, core_ms, body = entry.unpack(made)
        if kind is Kind.STANDING:
            standing_ms, standing = core_ms + offset_ms, body
        else:
            said = canonical.to_dict(body)
            offset_ms = int(said.get("offset_ms", said.get("new_offset_ms", offset_ms)))
    _, core_ms = entry.kind_and_time(entries[-1])
    return Arrived(newest.size + len(entries), received_ms, core_ms, offset_ms, standing_ms, standing)


_TELLING = frozenset((Kind.STARTED, Kind.CLOCK_STEP, Kind.STANDING))
