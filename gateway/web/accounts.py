"""The people who sign in: `accounts.db`, with passwords, sessions, keys for programs and one-time codes.

Nothing in the file opens anything: passwords are argon2id hashes, and of sessions, keys and codes only SHA-256 is
kept (they are 256-bit random, so a quick hash is enough). Times are UTC ms and given by the caller.
Sources: RFC 9106 (argon2id; the library's own parameters are its second recommended ones); NIST SP 800-63B-4,
3.1.1.2 (length instead of rules of composition).
"""

from __future__ import annotations

import secrets
import sqlite3
import threading
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError

from gateway.web.roles import Role
from gateway.web.taste import Taste, taste_of

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
IDLE_MS, WHOLE_MS = 12 * HOUR, 7 * DAY  # a shift without a look; a week at the longest
CODE_MS = DAY
LEAST, MOST = 12, 200  # characters of a password
HASHES_AT_ONCE = 2  # each takes 64 MiB
_SCHEMA = """
CREATE TABLE accounts (name TEXT PRIMARY KEY COLLATE NOCASE, person TEXT NOT NULL, role TEXT NOT NULL,
  hash TEXT NOT NULL, taste TEXT NOT NULL, made_ms INTEGER NOT NULL) STRICT;
CREATE TABLE sessions (hash BLOB PRIMARY KEY, name TEXT NOT NULL COLLATE NOCASE, made_ms INTEGER NOT NULL,
  seen_ms INTEGER NOT NULL, client TEXT NOT NULL) STRICT;
CREATE TABLE keys (id INTEGER PRIMARY KEY, hash BLOB NOT NULL UNIQUE, name TEXT NOT NULL COLLATE NOCASE,
  label TEXT NOT NULL, scope TEXT NOT NULL, made_ms INTEGER NOT NULL, used_ms INTEGER) STRICT;
CREATE TABLE codes (hash BLOB PRIMARY KEY, name TEXT NOT NULL COLLATE NOCASE, person TEXT NOT NULL,
  role TEXT NOT NULL, until_ms INTEGER NOT NULL) STRICT;
CREATE TABLE audit (id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, name TEXT NOT NULL, what TEXT NOT NULL,
  client TEXT NOT NULL) STRICT;
PRAGMA user_version = 1;
"""
SCOPES = ("read", "act")


@dataclass(frozen=True, slots=True)
class Account:
    """One person who may sign in. person: the id the journal keeps for what this account does."""

    name: str
    person: str
    role: Role
    taste: Taste


class NotTaken(ValueError):
    """A password or name that cannot be used; the message says why."""


class Accounts:
    """The file. Every call is short but those that hash, which belong into a thread."""

    def __init__(self, path: Path) -> None:
        path.touch(mode=0o600)
        self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self._db.row_factory = sqlite3.Row
        self._lock = threading.Lock()
        self._db.execute("PRAGMA journal_mode=WAL")
        if not self._db.execute("PRAGMA user_version").fetchone()[0]:
            self._db.executescript(f"BEGIN; {_SCHEMA} COMMIT")
        self._hasher, self._hashing = PasswordHasher(), threading.BoundedSemaphore(HASHES_AT_ONCE)
        self._nobody = ""  # a hash to compare with where there is no account: the answer must take as long

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _all(self, query: str, *values: object) -> list[sqlite3.Row]:
        with self._lock:
            return self._db.execute(query, values).fetchall()

    def _note(self, query: str, *values: object) -> None:
        """Write what only tells when somebody was here: on a full disk who is signed in must still be let in."""
        with suppress(sqlite3.OperationalError):
            self._all(query, *values)

    def _one(self, query: str, *values: object) -> sqlite3.Row | None:
        return next(iter(self._all(query, *values)), None)

    # -- accounts ----------------------------------------------------------------------------------------

    def everyone(self) -> list[Account]:
        """Return all accounts by name."""
        return [_account(row) for row in self._all("SELECT * FROM accounts ORDER BY name")]

    def find(self, name: str) -> Account | None:
        """Return the account of this name."""
        row = self._one("SELECT * FROM accounts WHERE name = ?", name)
        return _account(row) if row else None

    def check(self, name: str, password: str) -> Account | None:
        """Return the account when the password is right; takes as long where there is no such account."""
        row = self._one("SELECT * FROM accounts WHERE name = ?", name)
        self._nobody = self._nobody or self._hashed(secrets.token_urlsafe())
        try:
            with self._hashing:
                self._hasher.verify(row["hash"] if row else self._nobody, password[:MOST])
        except VerificationError:
            return None
        return _account(row) if row else None

    def set_password(self, name: str, password: str) -> None:
        """Give an account another password and end its sessions. Raises NotTaken."""
        hashed = self._hashed(_good(password, name))
        self._all("UPDATE accounts SET hash = ? WHERE name = ?", hashed, name)
        self.end_all(name)

    def set_role(self, name: str, role: Role) -> None:
        """Give an account another role; what is open asks again and gets the new one. Raises NotTaken."""
        if role is not Role.KEEPER:
            self._keep_a_keeper(name)
        self._all("UPDATE accounts SET role = ? WHERE name = ?", role.value, name)

    def set_taste(self, name: str, taste: Taste) -> None:
        """Keep how a person reads."""
        self._all("UPDATE accounts SET taste = ? WHERE name = ?", taste.written(), name)

    def remove(self, name: str) -> None:
        """Take an account away with everything that opens it. Raises NotTaken for the last keeper."""
        self._keep_a_keeper(name)
        self.end_all(name)
        for table in ("keys", "codes", "accounts"):
            self._all(f"DELETE FROM {table} WHERE name = ?", name)  # noqa: S608  names of this module

    def _keep_a_keeper(self, name: str) -> None:
        query = "SELECT 1 FROM accounts WHERE role = ? AND name <> ?"
        if not self._one(query, Role.KEEPER.value, name):
            raise NotTaken("This is the last keeper. Make another one first.")

    def _hashed(self, password: str) -> str:
        with self._hashing:
            return self._hasher.hash(password)

    # -- one-time codes ----------------------------------------------------------------------------------

    def invite(self, name: str, person: str, role: Role, now_ms: int, code: str = "") -> str:
        """Return a one-time code by which this name chooses its password; a new one replaces the old."""
        code = code or "-".join(secrets.token_hex(2) for _ in range(8))
        self._all("DELETE FROM codes WHERE name = ? OR until_ms < ?", name, now_ms)
        self._all("INSERT INTO codes VALUES (?,?,?,?,?)", _of(code), name, person, role.value, now_ms + CODE_MS)
        return code

    def invited(self) -> list[sqlite3.Row]:
        """Return who has not yet used a code."""
        return self._all("SELECT name, person, role, until_ms FROM codes ORDER BY name")

    def of_code(self, code: str, now_ms: int) -> sqlite3.Row | None:
        """Return name, person and role of a code that is still good."""
        return self._one("SELECT * FROM codes WHERE hash = ? AND until_ms >= ?", _of(code.strip()), now_ms)

    def begin(self, code: str, name: str, password: str, now_ms: int) -> Account:
        """Use a code up: make the account, or give it the new password. Raises NotTaken.

        A code without a name (the first of all) takes the name that was typed.
        """
        found = self.of_code(code, now_ms)
        if found is None:
            raise NotTaken("This code is not known, was used, or is more than a day old.")
        name = found["name"] or _plain(name)
        hashed = self._hashed(_good(password, name))
        person = found["person"] or name
        if not self._all("DELETE FROM codes WHERE hash = ? RETURNING 1", found["hash"]):
            raise NotTaken("This code was used a moment ago.")
        self._all(
            "INSERT INTO accounts VALUES (?,?,?,?,?,?) ON CONFLICT DO UPDATE SET hash = excluded.hash",
            name, person, found["role"], hashed, Taste().written(), now_ms,
        )  # fmt: skip
        self.end_all(name)
        account = self.find(name)
        assert account
        return account

    # -- sessions ----------------------------------------------------------------------------------------

    def open(self, name: str, client: str, now_ms: int) -> str:
        """Return the secret of a new session; only its hash is kept."""
        secret = secrets.token_urlsafe(32)
        self._all("DELETE FROM sessions WHERE made_ms < ? OR seen_ms < ?", now_ms - WHOLE_MS, now_ms - IDLE_MS)
        self._all("INSERT INTO sessions VALUES (?,?,?,?,?)", _of(secret), name, now_ms, now_ms, client)
        return secret

    def session(self, secret: str, now_ms: int, *, seen: bool = True) -> Account | None:
        """Return whose session this is, or None when it ended, idled 12 h or is a week old.

        seen: a person did something; a stream that asks again and again does not keep its session alive.
        """
        row = self._one(
            "SELECT accounts.*, seen_ms FROM sessions JOIN accounts USING (name) "
            "WHERE sessions.hash = ? AND sessions.made_ms >= ? AND seen_ms >= ?",
            _of(secret), now_ms - WHOLE_MS, now_ms - IDLE_MS,
        )  # fmt: skip
        if row is None:
            return None
        if seen and now_ms - row["seen_ms"] > MINUTE:
            self._note("UPDATE sessions SET seen_ms = ? WHERE hash = ?", now_ms, _of(secret))
        return _account(row)

    def sessions(self, name: str) -> list[sqlite3.Row]:
        """Return when each open session of a name began, was seen and from where."""
        return self._all("SELECT made_ms, seen_ms, client FROM sessions WHERE name = ? ORDER BY made_ms", name)

    def end(self, secret: str) -> None:
        """End one session."""
        self._all("DELETE FROM sessions WHERE hash = ?", _of(secret))

    def end_all(self, name: str) -> None:
        """End every session of a name."""
        self._all("DELETE FROM sessions WHERE name = ?", name)

    # -- keys of programs --------------------------------------------------------------------------------

    def make_key(self, name: str, label: str, scope: str, now_ms: int) -> str:
        """Return a new key for a program that acts as this account; it is shown once."""
        if scope not in SCOPES:
            raise NotTaken("A key may read, or read and act.")
        key = f"dewgate_{secrets.token_urlsafe(32)}"
        self._all("INSERT INTO keys VALUES (NULL,?,?,?,?,?,NULL)", _of(key), name, label[:60], scope, now_ms)
        return key

    def of_key(self, key: str, now_ms: int) -> tuple[Account, str] | None:
        """Return account and scope of a key."""
        query = "SELECT accounts.*, scope, used_ms FROM keys JOIN accounts USING (name) WHERE keys.hash = ?"
        row = self._one(query, _of(key))
        if row is None:
            return None
        if now_ms - (row["used_ms"] or 0) > MINUTE:
            self._note("UPDATE keys SET used_ms = ? WHERE hash = ?", now_ms, _of(key))
        return _account(row), row["scope"]

    def keys(self, name: str) -> list[sqlite3.Row]:
        """Return label, scope and last use of a name's keys."""
        return self._all("SELECT id, label, scope, made_ms, used_ms FROM keys WHERE name = ? ORDER BY id", name)

    def drop_key(self, name: str, number: int) -> None:
        """Make one of a name's keys useless."""
        self._all("DELETE FROM keys WHERE name = ? AND id = ?", name, number)

    # -- what was done at the door -----------------------------------------------------------------------

    def note(self, at_ms: int, name: str, what: str, client: str) -> None:
        """Keep one line of what was done at the door: what is done inside stands in the journal."""
        self._all("INSERT INTO audit VALUES (NULL,?,?,?,?)", at_ms, name[:80], what, client)

    def noted(self, most: int = 200) -> list[sqlite3.Row]:
        """Return the newest lines first."""
        return self._all("SELECT at_ms, name, what, client FROM audit ORDER BY id DESC LIMIT ?", most)


def _of(secret: str) -> bytes:
    return sha256(secret.encode("utf-8", "replace")).digest()


def _account(row: sqlite3.Row) -> Account:
    return Account(row["name"], row["person"], Role(row["role"]), taste_of(row["taste"]))


def _plain(name: str) -> str:
    name = " ".join(name.split())
    if not 1 < len(name) <= 40 or not name.isprintable():
        raise NotTaken("A name has 2 to 40 letters.")
    return name


def _good(password: str, name: str) -> str:
    """Return a password that may be used: long, and neither one letter over and over nor the name."""
    if not LEAST <= len(password) <= MOST:
        raise NotTaken(f"A password has {LEAST} to {MOST} characters; a few words in a row are good.")
    if len(set(password.casefold())) < 5 or name.casefold() in password.casefold():
        raise NotTaken("This password is easy to guess: use more different characters, and not your name.")
    return password
