"""A site for tests of the yard: a journal with signed heads, grown as its one writer grows it."""

from __future__ import annotations

import random
from contextlib import closing
from pathlib import Path

from gateway import entry, tree
from gateway.adapters import heads as table
from gateway.adapters.heads import HeadWriter
from gateway.adapters.journal import Journal, open_reader
from gateway.entry import Arrival, Kind
from gateway.flow_state import Outcomes, State
from gateway.heads import Signed
from gateway.payload.canonical import to_bytes
from tests.sites import T0, pack


class Site:
    """A home whose journal grows on demand; `entries` and `heads` are what it holds."""

    def __init__(self, home: Path, t0: int = T0) -> None:
        home.mkdir(parents=True)
        self.home, self.now_ms, self.entries = home, t0, list[bytes]()
        self.book, self.state, self.chance = Journal(home / "journal.db"), State(), random.Random(5)
        self.writer = HeadWriter(home, None)
        self.grow([entry.plain(Kind.STARTED, t0, to_bytes({"offset_ms": 0}))])

    def readings(self, count: int, every_ms: int = 400) -> list[bytes]:
        """Return so many messages of 24 sensors, in order of time."""
        made = []
        for number in range(len(self.entries), len(self.entries) + count):
            self.now_ms += every_ms
            name = f"sensor-{number % 24}"
            payload = pack(name, round(20 + self.chance.gauss(0, 1), 2), self.now_ms - 30, "Cel")
            made.append(entry.message(Arrival(f"dewgate/site/{name}", payload, number % 65_535 + 1), self.now_ms))
        return made

    def standing(self, **said: object) -> bytes:
        """Return a word of how the site stands."""
        area = {
            "area": "shell",
            "activity": "",
            "verdict": "inside limits",
            "quantity": "dew point margin",
            "why": "",
        }
        body = {"jobsite": "north tower", "simulated": True, "areas": [area], "alarms": [], "alarm_count": 0,
                "findings": [], "sent": {}, "trouble": []}  # fmt: skip
        return entry.plain(Kind.STANDING, self.now_ms, to_bytes(body | said))

    def grow(self, entries: list[bytes], *, head: bool | None = None) -> None:
        """Commit entries; head: with one, without one, or as the writer sees fit."""
        for made in entries:
            tree.append(self.state.peaks, made)
        signed = self.writer.due(self.state, self.now_ms, None, ending=bool(head)) if head is not False else None
        self.book.commit(len(self.entries) + 1, entries, 1, Outcomes(), self.now_ms, None, signed)
        self.writer.written(signed)
        self.entries += entries

    @property
    def gateway(self) -> str:
        """Fingerprint of its first key."""
        return self.heads()[0].head.gateway

    def heads(self) -> list[Signed]:
        """Return its heads."""
        return heads_of(self.home)


def heads_of(home: Path) -> list[Signed]:
    """Return the heads of a journal, at the site or at the yard."""
    with closing(open_reader(home / "journal.db")) as reader:
        return list(table.every(reader))


def grown(home: Path) -> Site:
    """A site with heads over 1, 41 and 81 entries, and 20 entries after them."""
    made = Site(home)
    for _ in range(2):
        made.grow(made.readings(40), head=True)
    made.grow(made.readings(20), head=False)
    return made
