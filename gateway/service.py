"""The wiring of `run`: broker, clock, flow, journal, pages; one writer thread and the pages' own loop.

A batch is received, folded, committed, and only then acknowledged. What is in memory and not on disk is never
shown as true. When the disk is full the batch is kept, the broker is left, everything is unknown, and the same
batch is written when there is room. When a commit fails in any other way the process stops and starts again.
"""

from __future__ import annotations

import errno
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import chain
from pathlib import Path

from gateway import acts, entry, inbox, overview, shifts, tree
from gateway.adapters import ahead, heads, trouble
from gateway.adapters import journal as files
from gateway.adapters.address import Address
from gateway.adapters.batch import Batch
from gateway.adapters.edges import EdgeNodes, open_edges
from gateway.adapters.health import Health
from gateway.adapters.home import lock, outcomes_after, restore
from gateway.adapters.mqtt import Broker, outlived
from gateway.adapters.sealing import Sealer
from gateway.adapters.supervisor import Supervisor
from gateway.adapters.undelivered import Undelivered
from gateway.board import Board
from gateway.clock import Clock, TimeLapse
from gateway.entry import Kind
from gateway.flow import CORE_VERSION, MINUTE
from gateway.flow_state import Outcomes
from gateway.jobsite import Edge
from gateway.payload import canonical
from gateway.payload.forms import topics
from gateway.standing import Saying
from gateway.tiers import Sheet

BATCH, IDLE_S = 1000, 0.2
GATHER_S, GATHERINGS = 0.005, 10


class Service:
    """The writer: everything that becomes an entry goes through `turn`."""

    def __init__(self, home: Path, lapse: TimeLapse | None = None) -> None:
        self._lock = lock(home)
        self.home = home
        (home / "inbox").mkdir(exist_ok=True)
        self.flow = restore(home / "journal.db", Supervisor().starting)
        self.book = files.Journal(home / "journal.db")
        self.heads = heads.HeadWriter(home, heads.newest(self.book.db))
        self.clock = Clock(self.flow.state.core_ms, lapse)
        self.wake, self.stopping = threading.Event(), threading.Event()
        self.actions: deque[tuple[Kind, bytes]] = deque()
        self.broker: Broker | None = None
        self.edges: EdgeNodes | None = None
        self._where: tuple[Address, str] | None = None
        self._subscribed: tuple[list[str], tuple[Edge, ...]] = ([], ())
        self._unwritten: Batch | None = None  # what a full disk did not take; until it does, nothing else happens
        self._taken: list[Path] = []  # inbox files whose entries are not yet on disk
        self._told, self._undelivered, self._health = trouble.Told(), Undelivered(home), Health(home)
        self.board: Board | None = overview.board(self.flow, self.clock.core_ms())
        # Began: nothing is judged across downtime, the first turn only says that it starts. Ending: with a head.
        self._shown, self._began, self._ending = -1.0, False, False
        self._sheet, self._saying, self._packer = Sheet(), Saying(), ThreadPoolExecutor(1, "packer")
        self._sealer = Sealer(self.book, self._packer)
        self._cursor, self._look_again = self.book.outcomes_cursor(), 0.0
        self._ahead = ahead.Ahead(self.book.path, self._packer)
        entries, offset_ms = self.flow.state.sequence, self.clock.offset_ms
        body = {"core_version": CORE_VERSION, "offset_ms": offset_ms, "entries": entries}
        self.actions.append((Kind.STARTED, canonical.to_bytes(body)))
        self.turn()

    def connect(self, at: Address, client_id: str) -> None:
        """Begin to receive. The jobsite must be set, since its id is in the topic."""
        self._where = (at, client_id)
        if self._unwritten is None:
            self._go_on()

    def _go_on(self) -> None:
        """Subscribe to what the jobsite in force names."""
        site = self.flow.site
        if self._where is None or site is None:
            return
        before = outlived(self.home / "subscribed", topics(site))
        self.broker = Broker(*self._where, topics(site), self.wake, before)
        self.broker.start()
        self.edges = open_edges(site, *self._where, self.wake)
        self._subscribed = (topics(site), site.edges)

    def _leave(self) -> None:
        for door in (self.broker, self.edges):
            if door:
                door.stop()
        self.broker = self.edges = None

    def _resubscribe(self) -> None:
        """Another jobsite may name other topics and edge nodes."""
        site = self.flow.site
        if self.broker and site and (topics(site), site.edges) != self._subscribed:
            self._leave()
            self._go_on()

    def loop(self) -> None:
        """Turn until told to stop."""
        looked, supervisor = 0.0, Supervisor()
        supervisor.ready()
        while not self.stopping.is_set():
            supervisor.alive()
            self.wake.wait(IDLE_S)
            self._gather()
            self.wake.clear()
            if time.monotonic() - looked >= 1:  # a folder is not read again for every batch
                looked = time.monotonic()
                self.take_inbox()
            else:
                self.turn()
        if self._unwritten:
            self.turn()
        self._ending = True
        self.actions.append((Kind.STOPPING, canonical.to_bytes({"cause": "asked to stop"})))
        self.turn()
        if self._unwritten:
            raise OSError(errno.ENOSPC, "stopped while the disk is full")
        self._as_room_allows(self._checkpoint)

    def _gather(self) -> None:
        """While messages keep coming, let them: two threads that take turns at each message cost more."""
        waiting = self.broker.arrivals if self.broker else ()
        before = 0
        for _ in range(GATHERINGS):
            if not before < len(waiting) < BATCH:
                return
            before = len(waiting)
            time.sleep(GATHER_S)

    def turn(self) -> None:
        """Take what has come, fold it in, commit it, acknowledge it."""
        now, late = self.clock.core_ms(), self._unwritten
        batch = late or self._fold_in(now)
        if not self._write(batch):
            self._stand_still(now)
            return
        if self.broker and batch.arrivals:
            self.broker.committed(batch.arrivals)
        while self._taken:  # only now is it on disk; a crash before takes it in again
            self._taken.pop().unlink()
            self._resubscribe()
        if late:  # its messages come once more, as repeats: what was not acknowledged before the broker was left
            self._go_on()
        self._as_room_allows(lambda: self._seal(batch.first, len(batch.entries)))
        self._show(now)

    def _fold_in(self, now: int) -> Batch:
        flow = self.flow
        first, first_event, arrivals = flow.state.sequence + 1, flow.state.events + 1, self._drain()
        outcomes = flow.tick(now, self._sheet) if self._began else Outcomes()
        again = self._ahead.due(flow, now) if self._began else ()
        entries = [flow.receive(each, now, outcomes) for each in chain(arrivals, again)]
        entries += [self._of_edge(each, now, outcomes) for each in self.edges.taken(BATCH)] if self.edges else []
        cursor = self._note_deliveries()
        for kind, body in self._due_actions(now, bool(outcomes.events and not entries)):
            entries.append(entry.plain(kind, now, body))
            flow.advance(entries[-1:], outcomes)
        utc_ms = self.clock.wall_ms()
        head = self.heads.due(flow.state, utc_ms, flow.site, ending=self._ending) if entries else None
        outcomes.notices += self.heads.for_holders(head, flow.site)
        return Batch(first, entries, first_event, outcomes, utc_ms, cursor, arrivals, head)

    def _write(self, batch: Batch) -> bool:
        """Commit; return False when the disk is full, and keep the batch: it is folded in and must be written."""
        if not batch.entries:
            return True
        try:
            self.book.commit(
                batch.first, batch.entries, batch.first_event, batch.outcomes, batch.utc_ms, batch.cursor,
                batch.head, (batch.head or self.heads).code,
            )  # fmt: skip
        except sqlite3.Error as error:
            if not trouble.is_full(error, self.home):
                raise
            self._unwritten = batch
            return False
        self._unwritten, self._sheet, self._began = None, Sheet(), True
        self.heads.written(batch.head)
        return True

    def _stand_still(self, now: int) -> None:
        """Leave the broker: in memory a message would grow old unnoticed."""
        self._leave()
        self._show(now)

    def _as_room_allows(self, do: Callable[[], None]) -> None:
        """Do what only saves time or room: a full disk may put it off."""
        try:
            do()
        except sqlite3.Error as error:
            if not trouble.is_full(error, self.home):
                raise

    def _drain(self) -> list[entry.Arrival]:
        waiting = self.broker.arrivals if self.broker else deque[entry.Arrival]()
        return [waiting.popleft() for _ in range(min(BATCH, len(waiting)))]

    def _of_edge(self, what: entry.Arrival | str, now: int, outcomes: Outcomes) -> bytes:
        if isinstance(what, entry.Arrival):
            return self.flow.receive(what, now, outcomes)
        made = entry.plain(Kind.EDGE_SESSION, now, canonical.to_bytes({"what": what}))
        self.flow.advance([made], outcomes)
        return made

    def _due_actions(self, now: int, anchor: bool) -> list[tuple[Kind, bytes]]:
        """What the writer itself has to say, then what persons did."""
        due: list[tuple[Kind, bytes]] = []
        old, new = self.clock.offset_ms, self.clock.step()
        if new is not None:
            due.append((Kind.CLOCK_STEP, canonical.to_bytes(self._ahead.stepped(old, new))))
        asked = self.edges.ask(self.flow.edges_to_ask(now)) if self.edges else []
        due += [(Kind.EDGE_SESSION, canonical.to_bytes(each)) for each in asked]
        due += [self.actions.popleft() for _ in range(len(self.actions))]
        if word := self._saying.due(self.board, self.flow.state.counts, now):
            due.append((Kind.STANDING, word))
        if not due and (anchor or now // MINUTE > self.flow.state.core_ms // MINUTE):
            due.append((Kind.HEARTBEAT, b""))
        return due

    def _note_deliveries(self) -> int | None:
        """Put new outcomes of `deliver` among the entries; return the new cursor, if it moved."""
        if time.monotonic() < self._look_again:
            return None
        self._look_again = time.monotonic() + 1.0
        found = outcomes_after(self.home / "delivery.db", self._cursor)
        self.actions += [(Kind.DELIVERY, canonical.to_bytes(body)) for _, body in found]
        if found:
            self._cursor = found[-1][0]
        return self._cursor if found else None

    def _seal(self, first: int, count: int) -> None:
        """Checkpoint at every 4,096th entry; put in what was packed in the background."""
        if (first + count - 1) // tree.SEAL > (first - 1) // tree.SEAL:
            self._sealer.block_is_whole(self.flow.state.sequence, CORE_VERSION, self.flow.checkpoint())
        self._sealer.put_in()

    def _checkpoint(self) -> None:
        self.book.save_checkpoint(self.flow.state.sequence, CORE_VERSION, self.flow.checkpoint())

    def _show(self, now: int) -> None:
        """Make the board anew, once a second of the person who looks at it."""
        if time.monotonic() - self._shown < 1:
            return
        self._shown = time.monotonic()
        if self._unwritten:
            why = trouble.FULL.format(self.home)
            self._told.say(disk_full=(why,))
            if self.board:
                self.board = overview.standing_still(self.board, why, now + self.clock.offset_ms)
            return
        broker, head = self.broker.trouble() if self.broker else (), self.heads.trouble
        self._told.say(broker=broker, head=head, outbox=self._undelivered.lines())
        seen = {"head": head, "messenger": self._undelivered.idle}
        self.actions += self._health.due(self.flow.state, self.broker, seen, now + self.clock.offset_ms)
        board = overview.board(self.flow, now)
        self.board = board and replace(board, trouble=self._told.lines, record_code=self.heads.code)

    def act(self, body: acts.Body) -> str | None:
        """Take what a person does, from any thread; return why not, or None. The door vouches for the person."""
        if self._unwritten:
            return trouble.FULL.format(self.home)
        body = heads.completed(self.book.path, body)
        body = shifts.with_end(self.flow.site, body, self.clock.core_ms() + self.clock.offset_ms)
        if why := acts.refusal(self.flow.state, self.flow.site, body):
            return why
        self.actions.append((Kind.ACTION, canonical.to_bytes(body)))
        self.wake.set()
        return None

    def take_inbox(self) -> None:
        """Turn, with what `dewgate apply` left; a file appears whole or not at all (it is renamed in)."""
        if not self._unwritten:
            self._taken = sorted((self.home / "inbox").glob("*.config"))
            self.actions.extend((Kind.CONFIG_SET, path.read_bytes()) for path in self._taken)
            self._taken += inbox.take_acts(self.home, self.act)
            self._as_room_allows(lambda: inbox.take_bases(self.home, self.book.drop))
        self.turn()

    def close(self) -> None:
        """Leave broker and journal."""
        self._leave()
        self._ahead.stop()
        self._packer.shutdown()
        self.book.close()
        self._lock.close()
