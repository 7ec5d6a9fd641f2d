"""What was refused as measured ahead while the box's clock was behind: read again once the clock is set.

A box without a battery for its clock starts in the past. What sensors and broker kept for it is ahead of its
time then: refused, acknowledged, and so the broker's no more. Its bytes are in the journal (`flow` keeps them),
and from there it is offered once more. What was taken since is known by its bytes, however long ago that was.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Executor, Future
from contextlib import closing
from hashlib import sha256
from itertools import islice
from pathlib import Path
from threading import Event

from gateway import entry
from gateway.adapters.journal import dropped_to, entries_after, last_of, open_reader
from gateway.entry import Arrival, Kind
from gateway.flow import AHEAD, Flow
from gateway.payload.forms import Forms
from gateway.reading import Rejected
from gateway.tree import SEAL

LOOKED_THROUGH = 300_000  # entries: as many messages as the shipped broker holds for us
AT_ONCE = 10_000  # held in memory
A_TURN = 500


class Ahead:
    """The messages to be offered again. Looks through the journal in another thread, on its own connection."""

    def __init__(self, path: Path, thread: Executor) -> None:
        self._path, self._thread = path, thread
        self._wanted = True  # some were perhaps not yet offered when the program ended
        self._looking: Future[list[Arrival]] | None = None
        self._waiting: deque[Arrival] = deque()
        self._more, self._given_up = False, Event()

    def stop(self) -> None:
        """Give up looking, so that nobody waits for its end; the next start looks again."""
        self._given_up.set()

    def stepped(self, old_ms: int, new_ms: int) -> dict[str, object]:
        """Return what an entry says of a step of the clock; look again if it was set forward."""
        self._wanted = self._wanted or new_ms > old_ms
        return {"old_offset_ms": old_ms, "new_offset_ms": new_ms, "cause": "the wall clock stepped"}

    def due(self, flow: Flow, core_ms: int) -> Iterator[Arrival]:
        """Yield what is to be received now: a few in each turn, none twice."""
        self._look(flow, core_ms)
        for _ in range(min(A_TURN, len(self._waiting))):
            arrival = self._waiting.popleft()
            if flow.would_take(arrival, core_ms):
                self._wanted = self._wanted or self._more
                yield arrival

    def _look(self, flow: Flow, core_ms: int) -> None:
        if self._looking and self._looking.done():
            found, self._looking = self._looking.result(), None
            self._waiting.extend(found)
            self._more = len(found) == AT_ONCE
        if self._wanted and flow.site and not self._looking and not self._waiting:
            self._wanted = False
            if AHEAD not in flow.state.rejected:  # a clock that drifts steps now and then
                return
            utc_ms = core_ms + flow.state.offset_ms
            self._looking = self._thread.submit(refused_ahead, self._path, flow.forms, utc_ms, self._given_up)


def refused_ahead(path: Path, forms: Forms, utc_ms: int, given_up: Event) -> list[Arrival]:
    """Return what was refused as ahead, can be read at utc_ms and was not taken since, the oldest first."""
    found: dict[bytes, Arrival] = {}
    for made in _newest(path, given_up):
        if made[0] == Kind.REJECTION:
            refusal = entry.rejection_of(entry.body_of(made))
            if refusal.code == AHEAD and sha256(refusal.kept).digest() == refusal.sha256:
                again = Arrival(refusal.topic, refusal.kept, before_marker=True)
                if not isinstance(forms.decode(again.topic, again.payload, utc_ms), Rejected):
                    found.setdefault(_bytes_of(again), again)
        elif found and made[0] == Kind.MESSAGE:
            found.pop(_bytes_of(entry.message_of(entry.body_of(made))), None)
    return list(islice(found.values(), AT_ONCE))


def _bytes_of(arrival: Arrival) -> bytes:
    return sha256(arrival.topic.encode("utf-8", "replace") + b"\0" + arrival.payload).digest()


def _newest(path: Path, given_up: Event) -> Iterator[bytes]:
    """Yield the newest entries in order, with nothing open between two blocks."""
    with closing(open_reader(path)) as db:
        last = last_of(db)
        seq = max(dropped_to(db), last - LOOKED_THROUGH, 0)
    while seq < last and not given_up.is_set():
        with closing(open_reader(path)) as db:
            found = list(islice(entries_after(db, seq), min(SEAL - seq % SEAL, last - seq)))
        yield from found
        seq += len(found)
