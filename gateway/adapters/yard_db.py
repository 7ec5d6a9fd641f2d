"""`yard.db`: which sites may send, by which token and key; what was refused; the yard's alarms and messages.

Of tokens only SHA-256 is kept (they are 256-bit random). The table `outbox` has the form of a journal's, so that
the same messenger sends it. Times are UTC ms of the yard's clock.
"""

from __future__ import annotations

import hmac
import re
import secrets
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

_SCHEMA = """
CREATE TABLE sites (id TEXT PRIMARY KEY, token BLOB NOT NULL, pinned TEXT NOT NULL, confirmed INTEGER NOT NULL,
  silent_s INTEGER NOT NULL, added_ms INTEGER NOT NULL) STRICT;
CREATE TABLE refusals (site TEXT NOT NULL, kind TEXT NOT NULL, why TEXT NOT NULL, first_ms INTEGER NOT NULL,
  last_ms INTEGER NOT NULL, times INTEGER NOT NULL, seen_by TEXT NOT NULL, PRIMARY KEY (site, kind, why)) STRICT;
CREATE TABLE alarms (id INTEGER PRIMARY KEY, site TEXT NOT NULL, kind TEXT NOT NULL, why TEXT NOT NULL,
  begun_ms INTEGER NOT NULL, ended_ms INTEGER) STRICT;
CREATE TABLE outbox (id INTEGER PRIMARY KEY, event_number TEXT NOT NULL, person TEXT NOT NULL,
  channel TEXT NOT NULL, priority TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
  created_utc_ms INTEGER NOT NULL) STRICT;
"""
_CHECKS = """
CREATE TABLE checks (site TEXT PRIMARY KEY, begun INTEGER NOT NULL, upto INTEGER NOT NULL, at_ms INTEGER NOT NULL,
  upto_ms INTEGER NOT NULL, words INTEGER NOT NULL, untold INTEGER NOT NULL, wrong INTEGER NOT NULL,
  entry INTEGER NOT NULL, why TEXT NOT NULL) STRICT;
"""
_KEEPING = """
CREATE TABLE keeping (site TEXT PRIMARY KEY, days INTEGER NOT NULL) STRICT;
CREATE TABLE drops (site TEXT NOT NULL, at_ms INTEGER NOT NULL, last INTEGER NOT NULL,
  reports TEXT NOT NULL) STRICT;
CREATE TABLE room (hour INTEGER PRIMARY KEY, held INTEGER NOT NULL, free INTEGER NOT NULL) STRICT;
"""
MIGRATIONS = (_SCHEMA, _CHECKS, _KEEPING)
"""What makes a yard.db of version n one of version n + 1, for ever: never changed, only added to."""
_SITES = "SELECT id, pinned, confirmed, silent_s, added_ms FROM sites"
SITE_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
SILENT_S = 300
"""After how long without a new entry a site counts as silent: it writes one each minute. Ours, no source."""
SAYS_OTHERWISE = "says otherwise"
"""Kind of what is shown among refusals where a site's word does not follow from its own journal."""
MOST_REFUSALS = 50  # of one site; older ones make room
_NOBODY = sha256(secrets.token_bytes()).digest()  # compared where there is no such site: it must take as long


class NotTaken(ValueError):
    """What the clerk asked for cannot be done; the message says why."""


@dataclass(frozen=True, slots=True)
class Site:
    """One site that may send. pinned: fingerprint of its key, empty before the first contact. confirmed: the clerk
    has compared it. silent_s: how long its silence is borne."""

    id: str
    pinned: str
    confirmed: int
    silent_s: int
    added_ms: int


@dataclass(frozen=True, slots=True)
class Refusal:
    """What was not taken from a site, why, how often, and who has looked at it (empty: nobody)."""

    site: str
    kind: str
    why: str
    first_ms: int
    last_ms: int
    times: int
    seen_by: str


@dataclass(frozen=True, slots=True)
class YardAlarm:
    """An alarm of the yard about one site; ended_ms None: it stands."""

    id: int
    site: str
    kind: str
    why: str
    begun_ms: int
    ended_ms: int | None


@dataclass(frozen=True, slots=True)
class Checked:
    """How far a site's own words were held against its entries, and what was found.

    begun, upto: first and last entry. at_ms: when, by the yard's clock. upto_ms: UTC of the last, by the site's.
    words: how many; untold: those of another version that may judge otherwise; wrong: those that do not follow
    from the entries before them. entry, why: the newest of these.
    """

    site: str
    begun: int = 1
    upto: int = 0
    at_ms: int = 0
    upto_ms: int = 0
    words: int = 0
    untold: int = 0
    wrong: int = 0
    entry: int = 0
    why: str = ""

    def and_one(self, number: int, why: str, *, untold: bool) -> Checked:
        """Return it with one word more; why: what does not follow, or nothing."""
        if why and not untold:
            return replace(self, words=self.words + 1, wrong=self.wrong + 1, entry=number, why=why)
        return replace(self, words=self.words + 1, untold=self.untold + bool(why))

    def as_of(self, now_ms: int, upto: int, upto_ms: int) -> Checked:
        """Return it as of a moment and an entry."""
        return replace(self, at_ms=now_ms, upto=upto, upto_ms=upto_ms)


class YardDb:
    """The file; one connection, any thread."""

    def __init__(self, path: Path) -> None:
        path.touch(mode=0o600)
        self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=30)
        self._lock = threading.RLock()
        self._sites, self._read = dict[str, tuple[Site, bytes]](), (-1, -1)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        (version,) = self._db.execute("PRAGMA user_version").fetchone()
        for number, script in enumerate(MIGRATIONS[version:], version + 1):
            self._db.executescript(f"BEGIN; {script} PRAGMA user_version={number}; COMMIT")

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def ask(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """Ask or change something of a table that another module minds."""
        return self._all(query, *values)

    def _all(self, query: str, *values: object) -> list[tuple[object, ...]]:
        with self._lock:
            return self._db.execute(query, values).fetchall()

    @contextmanager
    def _whole(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                self._db.execute("ROLLBACK")
                raise

    # -- sites -------------------------------------------------------------------------------------------

    def add(self, site: str, pinned: str, silent_s: int, now_ms: int) -> str:
        """Let a site send; return its token, which is shown once. A site that is known gets a new token."""
        if not SITE_ID.fullmatch(site):
            raise NotTaken(f"{site!r} is no site id: 1 to 40 of a-z, 0-9 and -, as in north-tower")
        if pinned and not is_fingerprint(pinned):
            raise NotTaken(f"{pinned!r} is no fingerprint: 32 hex digits, as `dewgate key show` says at the site")
        token = f"dewgate_site_{secrets.token_urlsafe(32)}"
        row = (site, _of(token), pinned, 1 if pinned else 0, silent_s, now_ms)
        with self._whole() as db:
            again = "ON CONFLICT (id) DO UPDATE SET token = excluded.token, silent_s = excluded.silent_s"
            db.execute(f"INSERT INTO sites VALUES (?, ?, ?, ?, ?, ?) {again}", row)  # noqa: S608
        if pinned:
            self.confirm(site, pinned)
        return token

    def sites(self) -> list[Site]:
        """Return every site that may send."""
        return [Site(*row) for row in self._all(f"{_SITES} ORDER BY id")]  # type: ignore[arg-type]

    def site(self, site: str) -> Site | None:
        """Return one site."""
        return next((Site(*row) for row in self._all(f"{_SITES} WHERE id = ?", site)), None)  # type: ignore[arg-type]

    def let_in(self, site: str, token: str) -> Site | None:
        """Return the site when this is its token."""
        found, known = self._known().get(site, (None, _NOBODY))
        return found if hmac.compare_digest(_of(token), known) else None

    def _known(self) -> dict[str, tuple[Site, bytes]]:
        """Every site and the hash of its token, read again only once something has changed in the file: each push
        asks."""
        with self._lock:
            (version,) = self._db.execute("PRAGMA data_version").fetchone()
            now = (version, self._db.total_changes)
            if now != self._read:
                rows = self._db.execute("SELECT id, pinned, confirmed, silent_s, added_ms, token FROM sites")
                self._sites, self._read = {row[0]: (Site(*row[:5]), row[5]) for row in rows}, now
            return self._sites

    def pin(self, site: str, fingerprint: str) -> None:
        """Keep the key of a first contact; it is believed from now on, but not confirmed."""
        self._all("UPDATE sites SET pinned = ? WHERE id = ? AND pinned = ''", fingerprint, site)

    def confirm(self, site: str, fingerprint: str) -> None:
        """Take the clerk's word that this is the site's key. Raises NotTaken."""
        if not is_fingerprint(fingerprint):
            raise NotTaken(
                f"{fingerprint!r} is no fingerprint: 32 hex digits, as `dewgate key show` says at the site"
            )
        with self._whole() as db:
            query = "UPDATE sites SET pinned = ?, confirmed = 1 WHERE id = ? RETURNING 1"
            if not db.execute(query, (fingerprint, site)).fetchone():
                raise NotTaken(f"there is no site {site!r} here")

    def unpin(self, site: str) -> None:
        """Forget the key of a site whose record begins again."""
        self._all("UPDATE sites SET pinned = '', confirmed = 0 WHERE id = ?", site)
        self._all("DELETE FROM checks WHERE site = ?", site)

    def drop(self, site: str) -> None:
        """Let a site send no more; its journal stays."""
        with self._whole() as db:
            if not db.execute("DELETE FROM sites WHERE id = ? RETURNING 1", (site,)).fetchone():
                raise NotTaken(f"there is no site {site!r} here")

    # -- what was refused --------------------------------------------------------------------------------

    def refuse(self, site: str, kind: str, why: str, now_ms: int) -> None:
        """Keep what was refused; the same again is counted."""
        with self._whole() as db:
            again = "last_ms = excluded.last_ms, times = times + 1, seen_by = ''"
            query = f"INSERT INTO refusals VALUES (?, ?, ?, ?, ?, 1, '') ON CONFLICT DO UPDATE SET {again}"  # noqa: S608
            db.execute(query, (site, kind, why, now_ms, now_ms))
            db.execute(
                "DELETE FROM refusals WHERE site = ?1 AND rowid NOT IN "
                "(SELECT rowid FROM refusals WHERE site = ?1 ORDER BY last_ms DESC LIMIT ?2)",
                (site, MOST_REFUSALS),
            )  # fmt: skip

    def refusals(self, site: str = "") -> list[Refusal]:
        """Return what was refused, of one site or of all, the newest first."""
        query = "SELECT * FROM refusals WHERE ?1 IN ('', site) ORDER BY last_ms DESC"
        return [Refusal(*row) for row in self._all(query, site)]  # type: ignore[arg-type]

    def looked_at(self, site: str, who: str) -> None:
        """Keep who has looked at what was refused of a site."""
        self._all("UPDATE refusals SET seen_by = ? WHERE site = ? AND seen_by = ''", who, site)

    def keep_check(self, found: Checked) -> None:
        """Keep what a check found; a word that does not follow stands among what was refused."""
        names = ", ".join("?" * len(astuple(found)))
        self._all(f"INSERT OR REPLACE INTO checks VALUES ({names})", *astuple(found))  # noqa: S608
        known = self.refusals(found.site)
        why = f"entry {found.entry}: {found.why}"
        if found.wrong and not any(each.kind == SAYS_OTHERWISE and each.why == why for each in known):
            self.refuse(found.site, SAYS_OTHERWISE, why, found.at_ms)

    def checks(self) -> dict[str, Checked]:
        """Return what was found of each site that was ever checked."""
        return {str(row[0]): Checked(*row) for row in self._all("SELECT * FROM checks")}  # type: ignore[arg-type]

    # -- alarms and messages -----------------------------------------------------------------------------

    def alarms(self, *, standing: bool = False) -> list[YardAlarm]:
        """Return the alarms of the yard, the newest first."""
        query = "SELECT * FROM alarms WHERE ?1 = 0 OR ended_ms IS NULL ORDER BY id DESC LIMIT 1000"
        return [YardAlarm(*row) for row in self._all(query, int(standing))]  # type: ignore[arg-type]

    def begin(self, site: str, kind: str, why: str, now_ms: int) -> int:
        """Begin an alarm; return its number."""
        query = "INSERT INTO alarms VALUES (NULL, ?, ?, ?, ?, NULL) RETURNING id"
        return int(str(self._all(query, site, kind, why, now_ms)[0][0]))

    def end(self, number: int, now_ms: int) -> None:
        """End an alarm."""
        self._all("UPDATE alarms SET ended_ms = ? WHERE id = ?", now_ms, number)

    def tell(self, number: str, channels: Sequence[str], title: str, body: str, now_ms: int) -> None:
        """Leave a message for each channel, for the messenger."""
        rows = [(number, each, each, "high", title, body, now_ms) for each in channels]
        with self._whole() as db:
            db.executemany("INSERT INTO outbox VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", rows)


def is_fingerprint(text: str) -> bool:
    """Whether this is what a key is compared by."""
    return bool(re.fullmatch(r"[0-9a-f]{32}", text))


def _of(token: str) -> bytes:
    return sha256(token.encode("utf-8", "replace")).digest()
