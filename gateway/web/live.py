"""The live board: sections rendered once a second, numbered, kept for a while, and streamed to the pages.

Every event carries the sections that changed since the one before. A page that was away names the last id it
saw and gets what it missed; if that is no longer kept, it gets everything. Ids are `boot-n`: after a restart
the boot differs, so old numbers are never mistaken for new ones.
Format: HTML Living Standard, 9.2 (server-sent events).
"""

from __future__ import annotations

import asyncio
import json
import secrets
import threading
from collections import Counter, deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field

from gateway.board import Board
from gateway.web.words import clock

RING = 120  # two minutes of one-second events: longer absences get the whole board
POLL_S = 0.1
PING_S = 10.0
ASK_S = 2.0
MOST_STREAMS = 100
MOST_STREAMS_PER_CLIENT = 20  # a site behind one router still gets all its phones
Sections = dict[str, str]


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest board and how long its second has stood still, by the monotonic clock."""

    board: Board | None
    age_ms: int


@dataclass(slots=True)
class Watch:
    """Tells how old the board is without trusting the wall clock of any machine."""

    board: Callable[[], Board | None]
    monotonic: Callable[[], float]
    _utc_ms: int | None = None
    _changed_at: float = 0.0

    def look(self) -> Seen:
        """Read the board once."""
        board, now = self.board(), self.monotonic()
        utc_ms = None if board is None else board.utc_ms
        if utc_ms != self._utc_ms:
            self._utc_ms, self._changed_at = utc_ms, now
        return Seen(board, int(1000 * (now - self._changed_at)))


@dataclass(slots=True)
class Ring:
    """The last events and the newest state of every section; rendered once for all open pages."""

    watch: Watch
    render: Callable[[Board], Sections]
    boot: str = field(default_factory=lambda: secrets.token_hex(4))
    newest: int = 0
    _shown_ms: int | None = None
    _due: float = float("-inf")
    _sections: Sections = field(default_factory=dict)
    _events: deque[tuple[int, str]] = field(default_factory=lambda: deque(maxlen=RING))

    def refresh(self) -> None:
        """Add an event when the board has a new second, at most one a second."""
        board, now = self.watch.look().board, self.watch.monotonic()
        if board is None or board.utc_ms == self._shown_ms or now < self._due:
            return
        sections = self.render(board)
        changed = {name: html for name, html in sections.items() if self._sections.get(name) != html}
        self.newest += 1
        self._shown_ms, self._sections = board.utc_ms, sections
        # A late poll does not push the next one later, or jitter would lose every few seconds of the board.
        self._due = max(self._due, now - POLL_S) + 1.0
        self._events.append((self.newest, self._event(board, changed)))

    def after(self, last_id: str) -> list[str]:
        """Return the events after this id, or the whole board when they are not all kept."""
        boot, _, tail = last_id.rpartition("-")
        seen = int(tail) if tail.isascii() and tail.isdecimal() and len(tail) < 16 else -1
        oldest = self._events[0][0] if self._events else self.newest + 1
        if boot == self.boot and oldest - 1 <= seen <= self.newest:
            return [text for number, text in self._events if number > seen]
        return self._whole()

    def id(self) -> str:
        """Return the id of the newest event."""
        return f"{self.boot}-{self.newest}"

    def tick(self) -> str:
        """Return an event that says the link is alive, with the age of what the page shows."""
        seen = self.watch.look()
        times = {"age_ms": seen.age_ms, "board": seen.board is not None}
        return f"event: time\ndata: {json.dumps(times)}\n\n"

    def _whole(self) -> list[str]:
        board = self.watch.look().board
        return [] if board is None or not self._sections else [self._event(board, self._sections)]

    def _event(self, board: Board, sections: Sections) -> str:
        times = self._times(board)
        return f"id: {self.id()}\nevent: board\ndata: {json.dumps({**times, 'sections': sections})}\n\n"

    def _times(self, board: Board) -> dict[str, object]:
        """Server time is the board's second plus how long it has stood: the phone's clock has no say."""
        utc_ms = board.utc_ms if self._shown_ms is None else self._shown_ms
        server_ms = board.utc_ms + self.watch.look().age_ms
        return {"utc_ms": utc_ms, "server_ms": server_ms, "at": clock(utc_ms, board.time_zone)}


@dataclass(slots=True)
class Streams:
    """The open streams, counted, woken and ended together: one metronome for all, not a poll of each."""

    stop: threading.Event  # set from a signal handler, so not an asyncio one
    watch: Watch
    _open: Counter[str] = field(default_factory=Counter)
    _beat: asyncio.Event = field(default_factory=asyncio.Event)
    _metronome: asyncio.Task[None] | None = None

    def full(self, client: str) -> bool:
        """Tell whether one more stream for this client is too many."""
        return self._open.total() >= MOST_STREAMS or self._open[client] >= MOST_STREAMS_PER_CLIENT

    async def stream(
        self, ring: Ring, client: str, last_id: str, still: Callable[[], bool] = lambda: True
    ) -> AsyncIterator[str]:
        """Send what the page missed, then each new second, until the page leaves or the server stops.

        still: asked every other second whether this reader may go on reading.
        """
        self._open[client] += 1
        if self._metronome is None or self._metronome.done():
            self._metronome = asyncio.create_task(self._beats())
        try:
            ring.refresh()
            yield "retry: 2000\n: ping\n\n"
            async for text in self._events(ring, last_id, still):
                yield text
        finally:
            self._open[client] -= 1

    async def _beats(self) -> None:
        """Wake every stream when the board has a new second, after a second without one, and at the end."""
        shown, beaten = 0, self.watch.monotonic()
        while self._open.total():
            board, now = self.watch.look().board, self.watch.monotonic()
            utc_ms = board.utc_ms if board else 0
            if utc_ms != shown or now - beaten >= 1.0 or self.stop.is_set():
                shown, beaten = utc_ms, now
                self._beat.set()
                self._beat = asyncio.Event()
            await asyncio.sleep(POLL_S)

    async def _events(self, ring: Ring, last_id: str, still: Callable[[], bool]) -> AsyncIterator[str]:
        monotonic = self.watch.monotonic
        pinged = sent = asked = monotonic()
        while not self.stop.is_set():
            beat, now = self._beat, monotonic()
            if now - asked >= ASK_S:
                asked = now
                if not still():
                    yield "event: ended\ndata: {}\n\n"
                    return
            ring.refresh()
            texts = [] if last_id == ring.id() else ring.after(last_id)
            last_id = ring.id()
            if not texts and now - sent >= 1.0:
                texts = [ring.tick()]
            if now - pinged >= PING_S:
                pinged, texts = now, [*texts, ": ping\n\n"]
            if texts:
                sent = now
                yield "".join(texts)
            await beat.wait()
