"""The table of signed heads in the journal's file, and the writer's part: when the next is due, by which key.

A head is written in the transaction of the entries it covers last, so that a crash leaves both or neither.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from alerts.notification import Notice
from gateway import heads
from gateway.adapters.signing import Keys
from gateway.flow_state import State
from gateway.heads import Signed
from gateway.jobsite import Jobsite

SCHEMA = """
CREATE TABLE heads (number INTEGER PRIMARY KEY, size INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
  statement BLOB NOT NULL, signature BLOB NOT NULL) STRICT;
"""
_ALL = "SELECT statement, signature FROM heads"
OLD_KEY_LOST = "old-key-lost"
NO_KEY = (
    "no head is signed: {} does not hold the key that signed the heads before; put the backup of the folder keys "
    "back and start again, or, when it is lost for good: dewgate key rotate --old-key-lost"
)


def keep(db: sqlite3.Connection, signed: Signed) -> None:
    """Write a head; belongs to the caller's transaction."""
    head = signed.head
    row = (head.number, head.size, head.time_ms, head.statement(), signed.signature)
    db.execute("INSERT INTO heads VALUES (?, ?, ?, ?, ?)", row)


def newest(db: sqlite3.Connection) -> Signed | None:
    """Return the newest head."""
    return next(_found(db, "ORDER BY number DESC LIMIT 1"), None)


def numbered(db: sqlite3.Connection, number: int) -> Signed | None:
    """Return a head by its number."""
    return next(_found(db, "WHERE number = ?", number), None)


def covering(db: sqlite3.Connection, seq: int) -> Signed | None:
    """Return the first head that covers an entry."""
    return next(_found(db, "WHERE size >= ? ORDER BY number LIMIT 1", seq), None)


def every(db: sqlite3.Connection) -> Iterator[Signed]:
    """Yield all heads in order."""
    return _found(db, "ORDER BY number")


def _found(db: sqlite3.Connection, which: str, *values: int) -> Iterator[Signed]:
    for statement, signature in db.execute(f"{_ALL} {which}", values):
        yield Signed(heads.head_of(statement), signature)


def completed(path: Path, body: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a `hold_head` act with size and root of the head it names, for `acts` to compare."""
    if body.get("act") != "hold_head" or type(body.get("number")) is not int:
        return body
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as reader:
        found = numbered(reader, body["number"])
    kept = {name: said for name, said in body.items() if name not in ("size", "root")}
    return kept | {"size": found.head.size, "root": found.head.root} if found else kept


class HeadWriter:
    """Signs for the one writer. `trouble` says why it cannot, where it cannot."""

    def __init__(self, home: Path, last: Signed | None) -> None:
        self.keys = Keys(home)
        self.last = last
        self._looked = 0.0
        self._lost = self.keys.folder / OLD_KEY_LOST  # the keeper's own word; whoever verifies is told
        if last is None and not self.keys.public:
            self.keys.make()
        if last and self.keys.next_public.hex() == last.head.next_key != "":
            self.keys.adopt_next()  # the head that names it was written, and then the power went
        fits = last is None or heads.must_be(last.head) == self.keys.public
        may = self.keys.public and (fits or self._lost.exists())
        self.trouble = () if may else (NO_KEY.format(self.keys.folder),)

    @property
    def code(self) -> str:
        """The record code of the newest head on disk."""
        return self.last.code if self.last else "no head yet"

    def due(self, state: State, utc_ms: int, site: Jobsite | None, *, ending: bool) -> Signed | None:
        """Return the head for a commit that ends with this state, if one is due."""
        self._look()
        last = self.last.head if self.last else None
        day_ended = last is not None and _day(last.time_ms, site) != _day(utc_ms, site)
        due = heads.is_due(last, utc_ms, day_ended=day_ended, ending=ending) or self.keys.next_public
        if not due or self.trouble:
            return None
        head = heads.following(last, state.peaks, self.keys.public, self.keys.next_public, utc_ms)
        return Signed(head, self.keys.sign(heads.SIGNED_AS + head.statement()))

    def written(self, signed: Signed | None) -> None:
        """Take note that a head is on disk."""
        if signed is None:
            return
        self.last = signed
        self._lost.unlink(missing_ok=True)
        if signed.head.next_key:
            self.keys.adopt_next()

    def for_holders(self, signed: Signed | None, site: Jobsite | None) -> list[Notice]:
        """Return the messages that carry the first head of a day to those who hold heads."""
        if signed is None or site is None or self.last is None:
            return []
        if _day(self.last.head.time_ms, site) == _day(signed.head.time_ms, site):
            return []
        title, body = heads.holders_words(signed)
        number = f"H{signed.head.number}"
        return [
            Notice(number, person.id, channel, "low", title, body)
            for person in site.people if person.holds_heads for channel in person.channels
        ]  # fmt: skip

    def _look(self) -> None:
        if time.monotonic() - self._looked >= 1:
            self._looked = time.monotonic()
            self.keys.look()


def _day(utc_ms: int, site: Jobsite | None) -> date:
    """The day at the site."""
    zone = ZoneInfo(site.time_zone) if site else UTC
    return datetime.fromtimestamp(utc_ms / 1000, zone).date()
