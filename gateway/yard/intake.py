"""What sites push, taken in: one stretch at a time for each site, verified, on disk before it is answered.

The same entries again are taken and kept once. Other content under an old number, heads that do not fit, another
key: refused, written down, and shown. Nothing that was held is ever changed by what comes.
"""

from __future__ import annotations

import sqlite3
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gateway import heads, tree
from gateway.adapters.journal import Dropped, pack_oldest
from gateway.adapters.signing import is_signed
from gateway.adapters.site_book import NAME, SITES, Arrived, SiteBook
from gateway.adapters.trouble import is_full
from gateway.adapters.yard_db import Site, YardDb
from gateway.vouching import REWOUND, REWRITTEN, Held, Refused, carried_on, check_same
from gateway.yard_batch import Stretch

ASIDE = "aside"


class Gap(Exception):
    """The stretch begins after the entry that is wanted next. next: that one."""

    def __init__(self, wanted: int) -> None:
        super().__init__(f"entry {wanted} is wanted next")
        self.next = wanted


@dataclass(frozen=True, slots=True)
class Taken:
    """What the yard holds of a site now. next: the entry it wants; head: number of the newest head; covered: up to
    which entry heads vouch; taken: entries that were new."""

    next: int
    head: int
    covered: int
    taken: int = 0


class Intake:
    """The journals of all sites. Any thread; one stretch of a site at a time."""

    def __init__(self, folder: Path, db: YardDb, wall_ms: Callable[[], int], most_open: int) -> None:
        self.folder, self.db, self._wall_ms, self._most = folder / SITES, db, wall_ms, most_open
        self._books: OrderedDict[str, SiteBook] = OrderedDict()
        self._guard, self._locks = threading.Lock(), dict[str, threading.Lock]()
        self._packer, self._closing = ThreadPoolExecutor(1, "packer"), False
        self.newest: dict[str, tuple[Arrived, Held]] = {}
        """What is known of each site that ever sent; changed only after the disk has it."""
        self.full_since_ms = self.full_ms = 0
        """Since when the disk takes nothing, 0 while it does; and when it last took nothing."""

    def open_all(self) -> None:
        """Learn from the disk how each site was left."""
        for path in sorted(self.folder.glob(f"*/{NAME}")):
            with self._book(path.parent.name):
                pass
            self._packer.submit(self._seal, path.parent.name)

    def close(self) -> None:
        """Close every journal; what is not sealed yet is sealed after the next start."""
        self._closing = True
        self._packer.shutdown(cancel_futures=True)
        for book in self._books.values():
            book.close()

    def _lock(self, site: str) -> threading.Lock:
        with self._guard:
            return self._locks.setdefault(site, threading.Lock())

    @contextmanager
    def _book(self, site: str) -> Iterator[SiteBook]:
        """The journal of a site, for one thread."""
        with self._lock(site):
            with self._guard:
                book = self._books.pop(site, None)
            book = book or SiteBook(self.folder / site)
            try:
                self.newest[site] = book.newest, book.held
                yield book
                self.newest[site] = book.newest, book.held
            finally:
                self._put_back(site, book)

    def _put_back(self, site: str, book: SiteBook) -> None:
        with self._guard:
            self._books[site] = book
            old = self._books.popitem(last=False)[1] if len(self._books) > self._most else None
        if old:
            old.close()

    def wanted(self, site: Site) -> Taken:
        """Return which entry of a site is wanted next."""
        with self._book(site.id) as book:
            return _taken(book.held)

    def take(self, site: Site, first: int, stretch: Stretch, newest: int | None = None) -> Taken:
        """Take a stretch in that begins with entry `first`; return what is held then.

        newest: where a site says that its journal ends. Raises Gap, Refused, sqlite3.Error, OSError.
        """
        try:
            with self._book(site.id) as book:
                return self._or_say(book, site, first, stretch, newest)
        except (sqlite3.Error, OSError) as error:
            if is_full(error, self.folder.parent):
                self.full_ms = self._wall_ms()
                self.full_since_ms = self.full_since_ms or self.full_ms
            raise

    def _or_say(self, book: SiteBook, site: Site, first: int, stretch: Stretch, newest: int | None) -> Taken:
        try:
            return self._take(book, site, first, stretch, newest)
        except Refused as why:
            self.db.refuse(site.id, why.kind, str(why), self._wall_ms())
            raise
        except Dropped:  # what came once more cannot be compared any longer
            raise Gap(book.held.size + 1) from None

    def _take(self, book: SiteBook, site: Site, first: int, stretch: Stretch, newest: int | None) -> Taken:
        held = book.held
        if newest is not None and newest < held.size:
            raise Refused(REWOUND, f"the journal at the site ends at entry {newest}; {held.size} are held here")
        if first > held.size + 1:
            raise Gap(held.size + 1)
        again = min(held.size + 1 - first, len(stretch.entries))
        if again:
            check_same(first, stretch.entries[:again], book.stored(first, again))
        fresh, known = stretch.entries[again:], held.head.number if held.head else 0
        signed = [each for each in stretch.heads if each.head.number > known]
        for each in stretch.heads[: len(stretch.heads) - len(signed)]:
            if book.head(each.head.number) != each:
                raise Refused(REWRITTEN, f"{each.code} is held with other content: the heads were written anew")
        if not fresh and not signed:
            return _taken(held)
        now = carried_on(held, fresh, signed, site.pinned, is_signed)
        if signed and not site.pinned:
            self.db.pin(site.id, heads.fingerprint(bytes.fromhex(signed[0].head.key)))
        book.arrive(fresh, signed, now, self._wall_ms())
        self.full_since_ms = 0
        if now.size // tree.SEAL > held.size // tree.SEAL:
            self._packer.submit(self._seal, site.id)
        return _taken(now, len(fresh))

    def _seal(self, site: str) -> None:
        """Pack whole blocks, off the way of what comes in."""
        while not self._closing and (packed := pack_oldest(self.folder / site / NAME)):
            with self._book(site) as book:
                book.seal(packed)

    def begin_again(self, site: str) -> Path:
        """Lay a site's record aside, so that it may send another from its first entry; return where it lies."""
        with self._lock(site):
            with self._guard:
                book = self._books.pop(site, None)
            if book:
                book.close()
            aside = self.folder.parent / ASIDE / f"{site}-{datetime.now(UTC):%Y%m%dT%H%M%S}"
            aside.parent.mkdir(mode=0o700, exist_ok=True)
            (self.folder / site).rename(aside)
            self.newest.pop(site, None)
            self.db.unpin(site)
        return aside


def _taken(held: Held, fresh: int = 0) -> Taken:
    return Taken(held.size + 1, held.head.number if held.head else 0, held.head.size if held.head else 0, fresh)
