"""A short story of a jobsite as journal entries, made by the real flow, for the tests of what was heard."""

from __future__ import annotations

from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.heard import Heard, take
from gateway.heard_message import Standing
from gateway.jobsite import Jobsite
from gateway.payload.canonical import config_set, to_bytes
from tests.sites import T0, site

OFFSET_MS = 3_600_000  # UTC is an hour ahead of core time, so that no test mistakes one for the other


class Story:
    """Entries in order. Times are seconds after T0 of core time."""

    def __init__(self, jobsite: Jobsite | None = None) -> None:
        self.flow, self.entries, self.packet = Flow(), list[bytes](), 0
        self.plain(Kind.STARTED, 0, core_version="9.9/1", offset_ms=OFFSET_MS, entries=0)
        self.set(jobsite or site(), 0)

    def plain(self, kind: Kind, at_s: float, **said: object) -> None:
        self.put(entry.plain(kind, T0 + round(at_s * 1000), to_bytes(said) if said else b""))

    def set(self, jobsite: Jobsite, at_s: float) -> None:
        self.put(entry.plain(Kind.CONFIG_SET, T0 + round(at_s * 1000), config_set(jobsite, "keeper", "test")))

    def put(self, made: bytes) -> None:
        self.flow.advance([made], Outcomes())
        self.entries.append(made)

    def message(self, at_s: float, topic: str, payload: bytes, **facts: bool) -> None:
        """The level alone stands for a topic of the test jobsite."""
        self.packet += 1
        full = topic if "/" in topic else f"dewgate/test/{topic}"
        arrival = Arrival(full, payload, self.packet, **facts)
        self.entries.append(self.flow.receive(arrival, T0 + round(at_s * 1000), Outcomes()))

    def kinds(self) -> list[Kind]:
        return [entry.kind_and_time(made)[0] for made in self.entries]

    def heard(self, from_s: float = 0) -> Heard:
        found = Heard(T0 + round(from_s * 1000), Standing())
        for made in self.entries:
            take(found, made)
        return found


def utc_ms(at_s: float) -> int:
    """UTC of a moment of the story."""
    return T0 + OFFSET_MS + round(at_s * 1000)
