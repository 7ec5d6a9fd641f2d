"""Links that acknowledge from a phone: a random token that goes out with a message and is kept only as its hash.

A link belongs to one event and one person, lasts 24 h and acts once. Looking at it changes nothing, so that a
mail scanner or a chat's preview acknowledges nothing. `deliver` makes links; the pages of `run` show and use them.
"""

from __future__ import annotations

import re
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

PATH = "/acknowledge/"
LASTS_MS = 24 * 3_600_000
UNKNOWN = "This link is not known here. It may have been cut off on its way, or be older than a week."
USED = "This link has been used; it acts only once."
ENDED = "This link is older than 24 hours and acts no more."
_ALARM = re.compile(r"[AK]-\d+")
Act = Callable[[Mapping[str, str | int]], str | None]


@dataclass(frozen=True, slots=True)
class Link:
    """What a link would acknowledge, in whose name, and why it would not (a sentence, or nothing)."""

    number: str
    person: str
    title: str
    refused: str = ""


def make(number: str, base: str) -> tuple[str, bytes] | None:
    """Return a new link and its token's hash, for an event that can be acknowledged and a base address."""
    if not base or not _ALARM.fullmatch(number):
        return None
    token = secrets.token_urlsafe(24)
    return f"{base.rstrip('/')}{PATH}{token}", _hash(token)


def wrong_base(base: str) -> str:
    """Return what is wrong with a base address, or nothing."""
    is_one = re.fullmatch(r"https?://[^\s/?#@]+(/[^\s?#]*)?", base)
    return "" if not base or is_one else f"--link {base}: needs an address such as http://gateway.lan:8080"


def look(path: Path, token: str, now_ms: int) -> Link | None:
    """Return what a link stands for, without changing anything; None when it is not known."""
    if not path.exists():
        return None
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=5)) as db:
        return _found(db, token, now_ms)


def use(path: Path, token: str, now_ms: int, act: Act) -> Link | None:
    """Acknowledge by a link, once; `refused` says why it was not, None that the link is not known.

    Used and acknowledged go together: what `act` refuses leaves the link as it was.
    """
    if not path.exists():
        return None
    with _writing(path) as db:
        link = _found(db, token, now_ms)
        if link is None or link.refused:
            return link
        body: dict[str, str | int] = {"act": "acknowledge", "number": link.number, "person": link.person}
        why = act({**body, "door": "link"})
        if why:
            return Link(link.number, link.person, link.title, why)
        db.execute("UPDATE links SET used_utc_ms = ? WHERE hash = ?", (now_ms, _hash(token)))
        return link


@contextmanager
def _writing(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"file:{path}?mode=rw", uri=True, isolation_level=None, timeout=5)) as db:
        db.execute("PRAGMA journal_mode=PERSIST")  # as the messenger keeps it: its reserve
        db.execute("BEGIN IMMEDIATE")
        try:
            yield db
        finally:
            db.execute("COMMIT")


def _found(db: sqlite3.Connection, token: str, now_ms: int) -> Link | None:
    query = "SELECT number, person, title, made_utc_ms, used_utc_ms FROM links WHERE hash = ?"
    row = db.execute(query, (_hash(token),)).fetchone()
    if row is None:
        return None
    number, person, title, made_ms, used_ms = row
    return Link(number, person, title, _refused(made_ms, used_ms, now_ms))


def _refused(made_ms: int, used_ms: int | None, now_ms: int) -> str:
    if used_ms is not None:
        return USED
    return "" if abs(now_ms - made_ms) < LASTS_MS else ENDED


def _hash(token: str) -> bytes:
    return sha256(token.encode()).digest()
