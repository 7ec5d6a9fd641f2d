"""Plain words for what a disk or a journal file refuses: what is wrong, where, what follows, what to do.

A full disk is the one refusal that is waited for: it ends when somebody makes room. All others end the process,
which starts again from the journal, since nobody can tell what a failing disk has kept.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import struct
import sys
from pathlib import Path

from alerts import log
from gateway.adapters.home import AlreadyRunning
from gateway.adapters.journal import KEEP, WrongJournal

_WAITS = "what was not recorded was not acknowledged and waits at the broker"
NO_ROOM_BYTES = 65_536  # SQLite calls a shared-memory file that cannot grow an I/O error, not a full disk
FULL = "the disk is full: nothing is recorded or judged; messages wait at the broker; free space on the disk of {}"
_READ_ONLY = "{} cannot be written ({}): make disk and files writable for this user; " + _WAITS
_NO_WRITING = (errno.EROFS, errno.EACCES, errno.EPERM)


def is_full(error: BaseException, folder: Path) -> bool:
    """Whether an error says no more than that the disk has no room."""
    if not isinstance(error, sqlite3.Error):
        return isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)
    code = _primary(error)
    return code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and _room_bytes(folder) < NO_ROOM_BYTES)


def words(error: BaseException, home: Path) -> str:
    """Return what an error means to the keeper of the home, in one line."""
    if is_full(error, home):
        return FULL.format(home)
    if isinstance(error, sqlite3.Error) and _primary(error) is not None:
        return _of_sqlite(error, home)
    if isinstance(error, OSError):
        return _READ_ONLY.format(home, error) if error.errno in _NO_WRITING else f"{home}: {error}"
    if isinstance(error, WrongJournal):
        return f"{home / 'journal.db'}: {error}"
    if isinstance(error, (ValueError, LookupError, struct.error)):  # what bytes that are no entry lead to
        return f"{home / 'journal.db'} cannot be understood ({error!r}); {KEEP}"
    return f"a fault of the program: {error!r}; {_WAITS}"


def _of_sqlite(error: sqlite3.Error, home: Path) -> str:
    path = home / "journal.db"
    match _primary(error):
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return f"{path} is damaged ({error}); {KEEP}"
        case sqlite3.SQLITE_READONLY:
            return _READ_ONLY.format(path, error)
        case sqlite3.SQLITE_CANTOPEN:
            return f"{path} cannot be opened ({error}): make disk, folder and files writable for this user"
        case _:
            return f"{path}: the disk refuses ({error}) and may be failing; {_WAITS}"


def stop(command: str, error: BaseException, home: Path) -> int:
    """Say why a command ends; return its exit code, 2 for what was told wrong and 3 for disk and journal."""
    if isinstance(error, AlreadyRunning):
        _say(command, "not-started", str(error))
        return 2
    _say(command, "failed", f"stopped: {words(error, home)}")
    return 3


def _say(command: str, event: str, line: str) -> None:
    """To the log of a service, or to the person who typed a command."""
    if command == "run":
        log.tell(command, event, line)
    else:
        print(f"dewgate {command}: {line}", file=sys.stderr)


class Told:
    """What stands in the way now; the beginning and the end of each is said once on stderr."""

    def __init__(self) -> None:
        self.lines: tuple[str, ...] = ()
        self._events: dict[str, str] = {}

    def say(self, **standing: tuple[str, ...]) -> None:
        """Take what stands now, by the name of its event, "_" for "-"."""
        now = {line: event.replace("_", "-") for event, lines in standing.items() for line in lines}
        for line in [each for each in now if each not in self._events]:
            log.tell("run", now[line], line)
        for line in [each for each in self._events if each not in now]:
            log.tell("run", f"{self._events[line]}-over", f"over: {line}")
        self.lines, self._events = tuple(now), now


def _primary(error: sqlite3.Error) -> int | None:
    code: int | None = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF


def _room_bytes(folder: Path) -> int:
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize
