"""The messenger as a watchman: it says when the journal stands still and when it grows again, and sends a sign of
life away from the site, so that the death of both is noticed elsewhere.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from alerts.contacts import Contacts
from alerts.delivery_book import Book, Row
from alerts.notification import CAUTION

STOPPING = 7
"""What an entry begins with that says `run` was asked to stop."""
LOOK_S = 1.0
NO_ROOM_BYTES = 1_000_000
Told = Sequence[tuple[str, str]]


@contextmanager
def journal_reader(journal: Path) -> Iterator[sqlite3.Connection]:
    """Read a journal beside its writer. Without one, on a full or read-only disk, a lone file is read as it is."""
    address = f"file:{journal}?mode=ro"
    with closing(sqlite3.connect(address, uri=True)) as db:
        try:
            db.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError:
            log = journal.with_name(f"{journal.name}-wal")
            if not journal.exists() or (log.exists() and log.stat().st_size):
                raise
        else:
            yield db
            return
    with closing(sqlite3.connect(f"{address}&immutable=1", uri=True)) as db:
        yield db


@dataclass(frozen=True, slots=True)
class Newest:
    """The newest entry of a journal: its number, and whether it says that `run` was asked to stop."""

    seq: int
    stopping: bool


def newest_entry(journal: Path) -> Newest | None:
    """Return the newest entry, or None without a journal or while it is being made."""
    try:
        with journal_reader(journal) as db:
            row = db.execute("SELECT seq, substr(entry, 1, 1) FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
    except sqlite3.OperationalError:
        return None
    return Newest(row[0], row[1] == bytes([STOPPING])) if row else None


@dataclass(slots=True)
class Pulse:
    """Whether the journal grows: seconds that never step in, what changed out.

    told: somebody was told that it stands still, and nobody yet that it grows again.
    """

    silent_s: float
    told: bool = False
    seq: int | None = None
    grew_s: float | None = None
    begun_s: float | None = None

    def look(self, newest: Newest | None, now_s: float) -> str:
        """Return "silent" when it has stood still for too long, "back" when it grows again, or nothing."""
        if self.begun_s is None:
            self.begun_s, self.seq = now_s, newest.seq if newest else None
        elif newest and newest.seq != self.seq:
            self.grew_s, self.seq = now_s, newest.seq
            if self.told:
                self.told = False
                return "back"
        last_s = self.begun_s if self.grew_s is None else self.grew_s
        if self.seq is not None and not self.told and now_s - last_s >= self.silent_s:
            self.told = True
            return "silent"
        return ""

    def grows(self, now_s: float) -> bool:
        """Whether it has grown within the time that silence is borne."""
        return self.grew_s is not None and now_s - self.grew_s < self.silent_s


def silence_words(number: str, since_ms: int, newest: Newest | None, free_bytes: int) -> tuple[str, str]:
    """Return title and text for people who must know that nothing is judged."""
    how = "The gateway was asked to stop" if newest and newest.stopping else "The gateway has fallen silent"
    room = (
        " The disk is full: make room." if free_bytes < NO_ROOM_BYTES else " Look at its power, disk and network."
    )
    text = f"{how}; its record has not grown since about {_clock(since_ms)}.{room} {CAUTION}"
    return f"{number} Nothing is judged. Treat every limit as unknown.", text


def back_words(number: str, since_ms: int, now_ms: int) -> tuple[str, str]:
    """Return title and text for the end of a silence."""
    text = f"Between about {_clock(since_ms)} and {_clock(now_ms)} nothing was judged. {CAUTION}"
    return f"{number} The gateway judges again", text


def _clock(utc_ms: int) -> str:
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC):%d %b %H:%M} UTC"


class Watchman:
    """Looks at the journal once a second and puts what it has to say among the messenger's own messages."""

    def __init__(self, home: Path, book: Book, contacts: Contacts, people: Callable[[], Told]) -> None:
        self.home, self.book, self.contacts, self._people = home, book, contacts, people
        self.pulse = Pulse(contacts.silent_s, book.fact("silent since") is not None)
        self._looked_s = self._beat_s = float("-inf")

    def use(self, contacts: Contacts) -> None:
        """Go by other contacts from now on."""
        self.contacts, self.pulse.silent_s = contacts, contacts.silent_s

    def turn(self, now_ms: int, now_s: float) -> None:
        """Look, if it is time, and say what changed."""
        if now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        newest = newest_entry(self.home / "journal.db")
        match self.pulse.look(newest, now_s):
            case "silent":
                since_ms = now_ms - round(self.contacts.silent_s * 1000)
                free = shutil.disk_usage(self.home).free
                number = self.book.next_number()
                self.book.remember("silent since", since_ms)
                self.book.remember("silent number", int(number[2:]))
                self._say(number, silence_words(number, since_ms, newest, free), now_ms)
            case "back":
                number = f"D-{self.book.fact('silent number') or 0}"
                since_ms = self.book.fact("silent since") or now_ms
                self._say(number, back_words(number, since_ms, now_ms), now_ms)
                self.book.remember("silent since", None)

    def beat_is_due(self, now_s: float) -> bool:
        """Whether a sign of life goes out now: at its interval, and only while the journal grows."""
        if not self.contacts.heartbeat or not self.pulse.grows(now_s):
            return False
        if now_s - self._beat_s < self.contacts.every_s:
            return False
        self._beat_s = now_s
        return True

    def people(self) -> Told:
        """Return (person, channel) of all who take messages of high priority; every channel when none is known."""
        return self._people() or [("everybody", name) for name in self.contacts.channels]

    def _say(self, number: str, words: tuple[str, str], now_ms: int) -> None:
        for person, channel in self.people():
            self.book.say(Row(0, now_ms, number, person, channel, "high", *words))
