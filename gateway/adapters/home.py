"""The folder of one jobsite: who may write in it, and the flow as its journal leaves it."""

from __future__ import annotations

import fcntl
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from itertools import islice
from pathlib import Path
from typing import IO

from gateway.adapters import base, landmarks
from gateway.adapters import journal as files
from gateway.flow import Flow, goes_on_from
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.tree import SEAL

_NEWEST = 1 << 62
Tell = Callable[[int, int], None]


class AlreadyRunning(Exception):
    """Another process is the writer of this home."""


def lock(home: Path) -> IO[str]:
    """Become the only writer of a home, or raise AlreadyRunning."""
    home.mkdir(parents=True, exist_ok=True)
    held = (home / "writer.lock").open("w")
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise AlreadyRunning(f"{home}: another dewgate is writing here") from None
    return held


def is_locked(path: Path) -> bool:
    """Whether a process holds this lock file now: `writer.lock` of a home, or `delivery.lock`."""
    try:
        held = path.open()
    except FileNotFoundError:
        return False
    with held:
        try:
            fcntl.flock(held, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
    return False


def restore(path: Path, tell: Tell = lambda *_: None) -> Flow:
    """Return the flow as the journal leaves it. tell: called with how far it is, and with the newest entry.

    Only reads, so that a damaged file is left as it was found. Raises sqlite3.Error, WrongJournal or ValueError.
    """
    if not path.exists():
        return Flow()
    with closing(files.open_reader(path)) as reader:
        if not files.check_version(reader, path):
            return Flow()
        return newest(reader, tell)


def newest(reader: sqlite3.Connection, tell: Tell = lambda *_: None) -> Flow:
    """Return the flow after the newest entry: the last checkpoint, if it can be gone on from, then the rest."""
    flow = _kept(reader)
    entries = files.entries_after(reader, flow.state.sequence)
    last = files.last_of(reader)
    while chunk := list(islice(entries, SEAL)):
        flow.advance(chunk, Outcomes())
        tell(flow.state.sequence, last)
    return flow


def _kept(reader: sqlite3.Connection) -> Flow:
    """The flow of the checkpoint, which is only a cache; where it cannot be read, that the entries begin with."""
    kept = reader.execute("SELECT core_version, body FROM checkpoint").fetchone()
    if kept and goes_on_from(kept[0]):
        with suppress(ValueError):
            return Flow.from_checkpoint(kept[1])
    return base.flow_of(reader)


def people_told(path: Path, priority: str = "high", person: str = "") -> list[tuple[str, str]]:
    """Return (person, channel) of the jobsite in force for a priority, or all of one person."""
    try:
        with closing(files.open_reader(path)) as reader:
            body = landmarks.config_at(reader, _NEWEST)
    except sqlite3.Error:  # no journal, not made yet, or not to be read now
        return []
    people = canonical.jobsite_of(body).people if body else ()
    wanted = [each for each in people if (each.id == person if person else priority in each.priorities)]
    return [(each.id, channel) for each in wanted for channel in each.channels]


def outcomes_after(path: Path, cursor: int) -> list[tuple[int, dict[str, object]]]:
    """Return the delivery outcomes after a cursor, at most 200, each with its number.

    waited_ms: how long since its first attempt. outbox below zero: a message of the
    messenger's own. Addresses are not in it, nor is what was sent.
    """
    if not path.exists():
        return []
    names = ("outbox", "attempt", "outcome", "reason", "number", "person", "channel", "waited_ms")
    with closing(files.open_reader(path)) as reader:
        try:
            query = (
                "SELECT id, outbox_id, attempt, outcome, reason, number, person, channel, waited_ms "
                "FROM outcomes WHERE id > ? ORDER BY id LIMIT 200"
            )
            rows = reader.execute(query, (cursor,)).fetchall()
        except sqlite3.OperationalError:  # not made yet, or being made
            return []
    return [(row[0], dict(zip(names, row[1:], strict=True))) for row in rows]
