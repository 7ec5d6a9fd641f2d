"""What happened to alarms, read from the journal's events: one story a number, figures a shift, messages sent.

Read-only connections; the newest events only, since nobody reads ten thousand lines. The words "told" and "kept
back" in an event's change say who was told, and who was not and why.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from statistics import median

from alerts.alarm import Change
from gateway.adapters import landmarks
from gateway.adapters.journal import open_reader
from gateway.payload import canonical

MOST = 5000
BEGINNINGS = frozenset({Change.BREACH, Change.UNKNOWN, Change.CLOSE})
PUT_ASIDE = frozenset({Change.SHELVED, Change.OUT_OF_SERVICE})
_OUTBOX = "SELECT id, person, channel, title, body, created_utc_ms FROM outbox WHERE event_number = ? ORDER BY id"
_OUTCOMES = (
    "SELECT outbox_id, attempt, outcome, reason, at_utc_ms FROM outcomes WHERE outbox_id IN ({}) ORDER BY id"
)

_OWN = """SELECT number, person, channel, outcome, reason, at_utc_ms FROM outcomes
WHERE number LIKE 'D-%' ORDER BY id DESC LIMIT ?"""


@dataclass(frozen=True, slots=True)
class Happened:
    """One event, at a UTC time."""

    utc_ms: int
    number: str
    change: str
    limit: str
    verdict: str
    reason: str


@dataclass(frozen=True, slots=True)
class Story:
    """One alarm from its beginning: what happened to it, oldest first, without and with the telling."""

    number: str
    events: tuple[Happened, ...]

    @property
    def limit(self) -> str:
        """The id of its limit."""
        return self.events[0].limit

    @property
    def life(self) -> tuple[Happened, ...]:
        """What happened to the alarm itself."""
        return tuple(each for each in self.events if each.change not in (Change.TOLD, Change.KEPT_BACK))

    @property
    def telling(self) -> tuple[Happened, ...]:
        """Who was told, who was not, and why."""
        return tuple(each for each in self.events if each.change in (Change.TOLD, Change.KEPT_BACK))


@dataclass(slots=True)
class Shift:
    """Figures of one stretch of time: alarms that began, until they were acknowledged, and what was put aside."""

    from_ms: int
    until_ms: int
    began: int = 0
    told: int = 0
    kept_back: int = 0
    put_aside: int = 0
    acknowledged_after_ms: list[int] = field(default_factory=list)

    @property
    def middle_ms(self) -> float | None:
        """The median time until a person acknowledged."""
        return median(self.acknowledged_after_ms) if self.acknowledged_after_ms else None


@dataclass(frozen=True, slots=True)
class Sent:
    """One message on its way: to whom, when, and what became of the newest attempt."""

    person: str
    channel: str
    title: str
    body: str
    created_utc_ms: int
    attempt: int
    outcome: str
    reason: str
    at_utc_ms: int


@dataclass(frozen=True, slots=True)
class OwnMessage:
    """One attempt at a message of the messenger's own, such as a test, and how it ended."""

    number: str
    person: str
    channel: str
    outcome: str
    reason: str
    at_utc_ms: int


def events_of(journal: Path, most: int = MOST) -> list[Happened]:
    """Return the newest events, oldest first; none while there is no journal."""
    if not journal.exists():
        return []
    with closing(open_reader(journal)) as db:
        clocks = landmarks.clocks(db)
        rows = db.execute("SELECT event FROM events ORDER BY id DESC LIMIT ?", (most,)).fetchall()
    return [_happened(canonical.to_dict(row[0]), clocks) for row in reversed(rows)]


def _happened(said: dict[str, str | int], clocks: landmarks.Clocks) -> Happened:
    texts = (str(said[name]) for name in ("number", "change", "limit", "verdict", "reason"))
    return Happened(clocks.utc_ms(int(said["core_ms"])), *texts)


def stories(events: Iterable[Happened]) -> list[Story]:
    """Return one story a number, the one that moved last first."""
    found: dict[str, list[Happened]] = {}
    for each in events:
        if each.number:
            found.setdefault(each.number, []).append(each)
    newest = sorted(found.items(), key=lambda item: -item[1][-1].utc_ms)
    return [Story(number, tuple(lines)) for number, lines in newest]


def shifts(events: Sequence[Happened], width_ms: int, offset_ms: int) -> list[Shift]:
    """Return the figures of each stretch in which something happened, newest first; offset_ms: of one of them."""

    def at(each: Happened) -> int:
        return (each.utc_ms - offset_ms) // width_ms

    began: dict[str, int] = {}
    found = []
    for number, lines in groupby(sorted(events, key=at), key=at):
        shift = Shift(number * width_ms + offset_ms, (number + 1) * width_ms + offset_ms)
        for each in lines:
            _count(shift, each, began)
        found.append(shift)
    return found[::-1]


def _count(shift: Shift, each: Happened, began: dict[str, int]) -> None:
    """Count what happened to alarms of limits; those of instruments are no load of the crew's."""
    if each.number.startswith("K-"):
        return
    if each.change in BEGINNINGS:
        shift.began += 1
        began[each.number] = each.utc_ms
    elif each.change == Change.ACKNOWLEDGED and each.number in began:
        shift.acknowledged_after_ms.append(each.utc_ms - began.pop(each.number))
    shift.told += each.change == Change.TOLD
    shift.kept_back += each.change == Change.KEPT_BACK
    shift.put_aside += each.change in PUT_ASIDE


def sent(home: Path, number: str) -> list[Sent]:
    """Return the messages of an alarm with the newest outcome of each."""
    if not (home / "journal.db").exists():
        return []
    with closing(open_reader(home / "journal.db")) as db:
        rows = db.execute(_OUTBOX, (number,)).fetchall()
    outcomes = _outcomes(home / "delivery.db", [row[0] for row in rows])
    nothing = (0, "not tried yet", "", 0)
    return [
        Sent(person, channel, title, body, at, *outcomes.get(key, nothing))
        for key, person, channel, title, body, at in rows
    ]


def own_messages(home: Path, most: int = 10) -> list[OwnMessage]:
    """Return what became of the messenger's own messages, tests among them; the newest attempt first."""
    if not (home / "delivery.db").exists():
        return []
    with closing(open_reader(home / "delivery.db")) as db:
        try:
            rows = db.execute(_OWN, (most,)).fetchall()
        except sqlite3.OperationalError:  # not made yet, or being made
            return []
    return [OwnMessage(*row) for row in rows]


def _outcomes(delivery: Path, ids: list[int]) -> dict[int, tuple[int, str, str, int]]:
    if not delivery.exists() or not ids:
        return {}
    with closing(open_reader(delivery)) as db:
        try:
            rows = db.execute(_OUTCOMES.format(",".join("?" * len(ids))), ids).fetchall()
        except sqlite3.OperationalError:  # not made yet, or being made
            return {}
    return {row[0]: tuple(row[1:]) for row in rows}
