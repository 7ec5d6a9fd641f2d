"""The yard's disk: how long records are kept, what was dropped, and for how many days there is room.

How long is the owner's own word; without one nothing is dropped. The room is noted each hour, since only the pace
tells for how long it is enough. Classes of room are those of a site (`adapters.health`).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from gateway.adapters.yard_db import NotTaken, YardDb

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
PACE_HOURS, LEAST_HOURS = 7 * 24, 24
FOR_EVER, EVERY_SITE = -1, ""
LEAST_DAYS, MOST_DAYS, MANY_DAYS = 1, 36_500, 3650
_BLOCK = 512  # what st_blocks counts in


@dataclass(frozen=True, slots=True)
class Dropped:
    """What the yard dropped of a site's record: when, up to which entry, and for which sealed reports."""

    site: str
    at_ms: int
    last: int
    reports: str


@dataclass(frozen=True, slots=True)
class YardRoom:
    """Bytes that are free, bytes the yard holds, for how many days that is enough: None = too young to tell, or it
    does not grow."""

    free: int
    held: int
    days: float | None

    @property
    def words(self) -> str:
        """The same in a sentence."""
        said = f"{self.free / 1e9:.1f} GB free, the records here hold {self.held / 1e9:.2f} GB"
        if self.days is None:
            return f"{said}; not known for how long that is enough"
        if self.days > MANY_DAYS:
            return f"{said}: enough for more than ten years at the pace of the last days"
        return f"{said}: enough for {self.days:.0f} days at the pace of the last days"


def keep(db: YardDb, site: str, days: int) -> None:
    """Keep the owner's word: entries of a site (or of every one without its own) stay for so many days."""
    if days != FOR_EVER and not LEAST_DAYS <= days <= MOST_DAYS:
        raise NotTaken(f"{days} days: {LEAST_DAYS} to {MOST_DAYS}, or --for-ever")
    if site != EVERY_SITE and db.site(site) is None:
        raise NotTaken(f"there is no site {site!r} here")
    db.ask("INSERT OR REPLACE INTO keeping VALUES (?, ?)", site, days)


def kept_days(db: YardDb, site: str) -> int | None:
    """Return for how many days entries of a site stay, FOR_EVER, or None where the owner has not said."""
    said = dict(db.ask("SELECT site, days FROM keeping WHERE site IN (?, ?)", site, EVERY_SITE))
    return said.get(site, said.get(EVERY_SITE))


def keep_words(days: int | None) -> str:
    """Say the owner's word."""
    if days is None:
        return "how long entries are kept is not set: nothing is dropped"
    return "entries are kept for ever" if days == FOR_EVER else f"entries are kept for {days} days"


def note_drop(db: YardDb, dropped: Dropped) -> None:
    """Keep that entries were dropped."""
    db.ask("INSERT INTO drops VALUES (?, ?, ?, ?)", dropped.site, dropped.at_ms, dropped.last, dropped.reports)


def drops(db: YardDb, site: str = "") -> list[Dropped]:
    """Return what was dropped, of one site or of all, the newest first."""
    query = "SELECT site, at_ms, last, reports FROM drops WHERE ?1 IN ('', site) ORDER BY at_ms DESC, last DESC"
    return [Dropped(*row) for row in db.ask(query, site)]


def note_room(db: YardDb, folder: Path, now_ms: int) -> YardRoom:
    """Look at the disk, keep it once an hour, and return it with the pace of the hours before."""
    held, free = sum(_sizes(folder)), shutil.disk_usage(folder).free
    hour = now_ms // HOUR_MS
    with suppress(sqlite3.Error):  # a full disk; what was noted before is enough
        db.ask("INSERT OR IGNORE INTO room VALUES (?, ?, ?)", hour, held, free)
        db.ask("DELETE FROM room WHERE hour < ?", hour - PACE_HOURS)
    (first, then), *_ = [*db.ask("SELECT hour, held FROM room ORDER BY hour LIMIT 1"), (hour, held)]
    return YardRoom(free, held, _days_left(free, held - then, hour - first))


@dataclass(slots=True)
class RoomWatch:
    """The room, looked at once a minute at most, from any thread."""

    db: YardDb
    folder: Path
    _seen: tuple[int, YardRoom] | None = None

    def newest(self, now_ms: int) -> YardRoom:
        """Return the room as of a minute ago at most."""
        seen = self._seen
        if seen is None or not 0 <= now_ms - seen[0] < MINUTE_MS:
            seen = self._seen = now_ms, note_room(self.db, self.folder, now_ms)
        return seen[1]


def _days_left(free: int, grown: int, hours: int) -> float | None:
    if hours < LEAST_HOURS or grown <= 0:
        return None
    return free / (grown * 24 / hours)


def _sizes(folder: Path) -> Iterator[int]:
    """What each file really takes; one that goes meanwhile takes nothing."""
    for at, _, names in os.walk(folder):
        for name in names:
            try:
                yield (Path(at) / name).lstat().st_blocks * _BLOCK
            except FileNotFoundError:
                continue
