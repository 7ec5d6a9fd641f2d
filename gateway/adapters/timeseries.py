"""The one door to a time-series server: a process of its own that copies readings from the journal.

It reads the journal by sequence number and never writes it. What a server has accepted can still die with it
(measured: the last 10 s), so the place kept in `follower.db` stays at least 60 s behind, and after every
new connection the readings since then are sent again; the server drops equal samples.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from alerts import log
from gateway import entry
from gateway.adapters.history_fine import Decoder
from gateway.adapters.journal import WrongJournal, entries_after, open_reader
from gateway.entry import Arrival, Kind
from gateway.flow_edges import is_edge
from gateway.payload import canonical, sparkplug_state
from gateway.reading import Reading, Rejected

BATCH = 500
CHUNK = 4096  # entries read at once, so that the journal is never held open while the network is slow
BEHIND_S = 60.0
POLL_S = 1.0
BACK_OFF_S = (1.0, 2.0, 5.0, 15.0, 60.0)
BUCKET = "dewgate"

_SCHEMA = """
CREATE TABLE IF NOT EXISTS place (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL,
  offset_ms INTEGER NOT NULL, config BLOB NOT NULL) STRICT;
"""
_EDGES = "ALTER TABLE place ADD COLUMN edges BLOB NOT NULL DEFAULT x''"


class Unreachable(Exception):
    """The server did not take what was sent."""


@dataclass(frozen=True, slots=True)
class Place:
    """How far the journal has been read, and what the entries up to there leave in force."""

    seq: int = 0
    offset_ms: int = 0
    config: bytes = b""
    edges: bytes = b""  # the sessions of the edge nodes, where the jobsite has some


@dataclass(frozen=True, slots=True)
class Batch:
    """Lines to send, and the place that is reached when they have been taken."""

    lines: list[str]
    reached: Place


def follow(home: Path, url: str, token: str, stop: threading.Event) -> None:
    """Copy readings until told to stop. An error only makes it wait: its place is on disk."""
    failures = 0
    with closing(Follower(home, Server(url, token))) as follower:
        while not stop.is_set():
            try:
                stop.wait(0 if follower.step() else POLL_S)
                failures = 0
            except (Unreachable, WrongJournal, ValueError, sqlite3.Error) as error:
                pause = BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)]
                log.tell("follow", "server-away", f"{error}; trying again in {pause:g} s")
                follower.go_back()
                failures += 1
                stop.wait(pause)


class Server:
    """The synchronous v2 write API of the server."""

    def __init__(self, url: str, token: str) -> None:
        from influxdb_client.client.influxdb_client import InfluxDBClient
        from influxdb_client.client.write_api import SYNCHRONOUS

        self._url = url
        self._client: Any = InfluxDBClient(url=url, token=token, org=BUCKET)
        self._write: Any = self._client.write_api(write_options=SYNCHRONOUS).write

    def send(self, lines: list[str]) -> None:
        """Write lines; without any, only ask whether the server is there. Raises Unreachable."""
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        try:
            if lines:
                self._write(BUCKET, BUCKET, lines, write_precision="ms")
            elif not self._client.ping():
                raise Unreachable(f"{self._url} does not answer")
        except ApiException as error:
            raise Unreachable(f"{self._url} refused the readings: {error.status} {error.reason}") from error
        except (HTTPError, OSError) as error:
            raise Unreachable(f"{self._url} cannot be reached: {error}") from error

    def link(self) -> object:
        """Return the open connection's socket: another one than before means that the server may have died.

        The library reconnects without a word, so there is no other way to see it.
        """
        pool = self._client.api_client.rest_client.pool_manager.connection_from_url(self._url)
        open_ones = [each.sock for each in pool.pool.queue if each is not None and each.sock is not None]
        return open_ones[-1] if open_ones else object()

    def close(self) -> None:
        """Leave the server."""
        self._client.close()


class Follower:
    """Three places: read (waiting), taken by the server (sent), and surely on the server's disk (kept)."""

    def __init__(self, home: Path, server: Server) -> None:
        self._journal, self._server = home / "journal.db", server
        self._db = sqlite3.connect(home / "follower.db", isolation_level=None)
        self._db.executescript(_SCHEMA)
        if not self._db.execute("SELECT 1 FROM pragma_table_info('place') WHERE name = 'edges'").fetchone():
            self._db.execute(_EDGES)
        row = self._db.execute("SELECT seq, offset_ms, config, edges FROM place").fetchone()
        self.kept = self.sent = Place(*row) if row else Place()
        self._waiting: deque[Batch] = deque()
        self._taken: deque[tuple[float, Place]] = deque()
        self._link: object = None

    def step(self) -> bool:
        """Send one batch, or look whether the server still lives; return whether there was something to do."""
        self._waiting = self._waiting or self._read()
        batch = self._waiting[0] if self._waiting else None
        self._server.send(batch.lines if batch else [])
        if self._reconnected() and self.sent != self.kept:
            self.go_back()
            return True
        if batch:
            self._waiting.popleft()
            self.sent = batch.reached
            self._taken.append((time.monotonic(), self.sent))
        self._keep()
        return batch is not None

    def go_back(self) -> None:
        """Begin again at the kept place: what was taken since may be lost."""
        self.sent = self.kept
        self._waiting.clear()
        self._taken.clear()

    def close(self) -> None:
        """Leave server and place."""
        self._server.close()
        self._db.close()

    def _reconnected(self) -> bool:
        before, self._link = self._link, self._server.link()
        return self._link is not before

    def _keep(self) -> None:
        """Move the kept place: the same connection has now outlived these batches by long enough."""
        before, safe = self.kept, time.monotonic() - BEHIND_S
        while self._taken and self._taken[0][0] <= safe:
            self.kept = self._taken.popleft()[1]
        if self.kept != before:
            row = (self.kept.seq, self.kept.offset_ms, self.kept.config, self.kept.edges)
            self._db.execute("INSERT OR REPLACE INTO place VALUES (1, ?, ?, ?, ?)", row)

    def _read(self) -> deque[Batch]:
        """Return the next chunk of the journal as batches; empty at its end."""
        with closing(open_reader(self._journal)) as reader:
            entries = list(islice(entries_after(reader, self.sent.seq), CHUNK))
        return deque(batches(entries, self.sent))


def batches(entries: list[bytes], place: Place) -> Iterator[Batch]:
    """Yield the lines of entries that follow a place, about 500 at a time, with the place reached."""
    if not entries:  # asked every second: nothing is made ready for nothing
        return
    lines, reader = list[str](), _Reader(place)
    for each in entries:
        lines += reader.take(*entry.unpack(each))
        if len(lines) >= BATCH:
            yield Batch(lines, reader.reached())
            lines = []
    yield Batch(lines, reader.reached())


class _Reader:
    """What entries are read by: the clock, the jobsite in force, and what edge nodes have said before."""

    def __init__(self, place: Place) -> None:
        edges = canonical.from_checkpoint(place.edges, sparkplug_state.State) if place.edges else None
        self._place, self._decode = place, Decoder(place.config or None, edges)

    def take(self, kind: Kind, core_ms: int, body: bytes) -> list[str]:
        """Return the lines of the next entry."""
        self._place = _after(self._place, kind, body)
        utc_ms = core_ms + self._place.offset_ms
        if kind is Kind.CONFIG_SET:
            self._decode.set(body)
        elif kind is Kind.EDGE_SESSION:
            self._decode.session(body, utc_ms)
        elif kind is Kind.MESSAGE:
            return self._lines(entry.message_of(body), utc_ms)
        return []

    def reached(self) -> Place:
        """Return the place after the entries taken."""
        edges = self._decode.edges
        return replace(self._place, edges=canonical.checkpoint(edges) if edges else b"")

    def _lines(self, arrival: Arrival, received_ms: int) -> list[str]:
        """Return a line for each reading whose time is known."""
        found = self._decode.news(arrival, received_ms)
        if isinstance(found, Rejected):
            if is_edge(arrival.topic):  # its births may lie before the place of an older follower
                return []
            raise ValueError(f"the journal took what is now refused: {found.detail}")  # never passed over
        old = arrival.retain or arrival.before_marker  # may have waited for any time: no sample without a time
        readings = [each for each in found if isinstance(each, Reading) and (each.absolute or not old)]
        return [_line(each, received_ms, self._decode.jobsite) for each in readings]


def _after(place: Place, kind: Kind, body: bytes) -> Place:
    match kind:
        case Kind.CONFIG_SET:
            return replace(place, seq=place.seq + 1, config=body)
        case Kind.STARTED:
            return replace(place, seq=place.seq + 1, offset_ms=canonical.to_dict(body)["offset_ms"])
        case Kind.CLOCK_STEP:
            return replace(place, seq=place.seq + 1, offset_ms=canonical.to_dict(body)["new_offset_ms"])
        case _:
            return replace(place, seq=place.seq + 1)


def _line(reading: Reading, received_ms: int, jobsite: str) -> str:
    at = received_ms if reading.measured_ms is None else reading.measured_ms
    tags = f"jobsite={_escape(jobsite)},sensor={_escape(reading.sensor)}"
    return f"reading,{tags} value={float(reading.value)!r} {at}"


def _escape(tag: str) -> str:
    for sign in "\\,= ":
        tag = tag.replace(sign, f"\\{sign}")
    return tag
