"""What the yard can take: entries a second on one core, verified and on disk; and a thousand sites at once.

The thousand sites push over loopback without TLS, 24 readings each ten seconds in one stretch, a signed head each
ten minutes and a word a minute, spread evenly: first at that pace, then as fast as the yard answers.
"""

from __future__ import annotations

import asyncio
import os
import random
import re
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from statistics import quantiles
from subprocess import Popen

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gateway import entry, heads, tree
from gateway.adapters.block import pack_block
from gateway.adapters.yard_db import YardDb
from gateway.entry import Arrival, Kind
from gateway.heads import Head, Signed
from gateway.payload.canonical import to_bytes
from gateway.yard.intake import Intake
from gateway.yard_batch import Stretch, pack, unpack
from tests.sites import T0
from tests.sites import pack as reading
from tests.yard.served import ServedYard, pusher, size, token_file
from tests.yard_site import Site

CHANNELS, EVERY_S, HEAD_EACH = 24, 10, 60
AREA = {
    "area": "shell",
    "activity": "",
    "verdict": "inside limits",
    "quantity": "dew point margin",
    "why": "6.1 K",
}
WORD = {"jobsite": "bench", "simulated": True, "areas": [AREA], "alarms": [], "alarm_count": 0, "findings": [],
        "sent": {"delivered": 3}, "trouble": []}  # fmt: skip


@dataclass
class Bench:
    """One site in memory: its journal's peaks, its key, and the number of the entry it sends next."""

    name: str
    token: str = ""
    key: Ed25519PrivateKey = field(default_factory=Ed25519PrivateKey.generate)
    peaks: tree.Peaks = field(default_factory=list)
    last: Head | None = None
    next: int = 1
    turn: int = 0

    def stretch(self, now_ms: int, count: int = CHANNELS) -> Stretch:
        """Return what ten seconds bring: readings, now and then a word, now and then a head."""
        chance = random.Random(self.next)
        made = [] if self.turn else [entry.plain(Kind.STARTED, now_ms, to_bytes({"offset_ms": 0}))]
        for number in range(count):
            sensor = f"sensor-{number % CHANNELS}"
            payload = reading(sensor, round(20 + chance.gauss(0, 1), 2), now_ms - 30, "Cel")
            made.append(entry.message(Arrival(f"dewgate/bench/{sensor}", payload, number + 1), now_ms + number))
        if self.turn % (60 // EVERY_S) == 0:
            made.append(entry.plain(Kind.STANDING, now_ms + count, to_bytes(WORD)))
        tree.extend(self.peaks, made)
        signed = [self._head(now_ms)] if self.turn % HEAD_EACH == 0 else []
        self.turn, self.next = self.turn + 1, self.next + len(made)
        return Stretch(made, signed)

    def _head(self, now_ms: int) -> Signed:
        public = self.key.public_key().public_bytes_raw()
        self.last = heads.following(self.last, self.peaks, public, b"", now_ms)
        return Signed(self.last, self.key.sign(heads.SIGNED_AS + self.last.statement()))


def ingest_a_second(count: int) -> float:
    """Return entries a second of CPU: unpacked, each hashed into the tree, heads checked, committed.

    A site that catches up in stretches of 4,096. What seals blocks is a thread beside it, see `seal_us`.
    """
    site, spent = Bench("north"), 0.0
    with tempfile.TemporaryDirectory() as folder, closing(YardDb(Path(folder) / "yard.db")) as db:
        token = db.add(site.name, "", 300, T0)
        with closing(Intake(Path(folder), db, lambda: T0, 8)) as intake:
            while site.next <= count:
                first = site.next
                body = pack(site.stretch(T0 + 10 * first, tree.SEAL))
                began = time.thread_time()
                known = db.let_in(site.name, token)
                assert known
                taken = intake.take(known, first, unpack(body))
                spent += time.thread_time() - began
        if taken.next != site.next or not taken.covered:
            raise RuntimeError(f"{taken}, {site.next} was to be next")
    return (site.next - 1) / spent


def seal_us() -> float:
    """Return the CPU time to seal one entry into its block, µs, off the way of what comes in."""
    entries = Bench("north").stretch(T0, tree.SEAL).entries
    began = time.process_time()
    for _ in range(5):
        pack_block(entries)
    return 1e6 * (time.process_time() - began) / 5 / len(entries)


def push_cpu(seconds: float) -> float:
    """Return the CPU of a site's `push` as a share of one core, while 24 readings come each ten seconds."""
    with tempfile.TemporaryDirectory() as folder:
        home, to = Path(folder) / "home", Path(folder) / "yard"
        site, token = Site(home), token_file(to, "north", Path(folder) / "token")
        yard = ServedYard(to)
        yard.wait(60)
        push = pusher(home, yard.url, "north", token, "--every", "5")
        try:
            while size(to, "north") < 1:
                time.sleep(0.2)
            began, used = time.perf_counter(), _cpu_s(push)
            while time.perf_counter() - began < seconds:
                site.grow(site.readings(CHANNELS))
                time.sleep(EVERY_S)
            return (_cpu_s(push) - used) / (time.perf_counter() - began)
        finally:
            push.kill()
            yard.kill()


@dataclass(frozen=True, slots=True)
class Thousand:
    """Entries a second at the sites' own pace and as fast as it goes; of the first, seconds from made to answered
    (the 99th of a hundred), CPU as a share of one core, and the yard's resident memory in MB."""

    rate: float
    lag_p99_s: float
    cpu: float
    rss_mb: float
    most: float


def thousand(sites: int, seconds: float) -> Thousand:
    """Run a real yard with so many sites."""
    with tempfile.TemporaryDirectory() as folder:
        yard_folder = Path(folder) / "yard"
        yard_folder.mkdir()
        with closing(YardDb(yard_folder / "yard.db")) as db:
            db._db.execute("PRAGMA synchronous=OFF")
            made = [Bench(f"site-{n}") for n in range(sites)]
            for each in made:
                each.token = db.add(each.name, "", 300, T0)
        yard = ServedYard(yard_folder)
        try:
            yard.wait(60)
            return asyncio.run(_measure(yard, made, seconds))
        finally:
            yard.kill()


async def _measure(yard: ServedYard, sites: list[Bench], seconds: float) -> Thousand:
    lines = [await asyncio.open_connection("127.0.0.1", yard.port) for _ in sites]
    hands = asyncio.Semaphore(32)
    await asyncio.gather(*(_send(*each, hands) for each in zip(sites, lines, strict=True)))  # first contact
    cpu, began, before = _cpu_s(yard.process), time.perf_counter(), sum(each.next for each in sites)
    lags: list[float] = []
    await asyncio.gather(*(
        _at_pace(site, line, hands, began + EVERY_S * n / len(sites), began + seconds, lags)
        for n, (site, line) in enumerate(zip(sites, lines, strict=True))
    ))  # fmt: skip
    spent, used = time.perf_counter() - began, _cpu_s(yard.process) - cpu
    sent = sum(each.next for each in sites) - before
    most = await _flat_out(sites, lines, hands, min(seconds, 15.0))
    return Thousand(sent / spent, quantiles(lags, n=100)[98], used / spent, _rss_mb(yard), most)


Line = tuple[asyncio.StreamReader, asyncio.StreamWriter]


async def _at_pace(
    site: Bench, line: Line, hands: asyncio.Semaphore, first_s: float, until_s: float, lags: list[float]
) -> None:
    """Push each ten seconds, from a moment of the site's own on."""
    at = first_s
    while at < until_s:
        await asyncio.sleep(max(0.0, at - time.perf_counter()))
        await _send(site, line, hands)
        lags.append(time.perf_counter() - at)
        at += EVERY_S


async def _flat_out(sites: list[Bench], lines: list[Line], hands: asyncio.Semaphore, seconds: float) -> float:
    """Return entries a second while every site has the next ten seconds ready as soon as it is answered."""
    began, before = time.perf_counter(), sum(each.next for each in sites)

    async def one(site: Bench, line: Line) -> None:
        while time.perf_counter() - began < seconds:
            await _send(site, line, hands)

    await asyncio.gather(*(one(*each) for each in zip(sites, lines, strict=True)))
    return (sum(each.next for each in sites) - before) / (time.perf_counter() - began)


async def _send(site: Bench, line: Line, hands: asyncio.Semaphore) -> None:
    reader, writer = line
    async with hands:
        first = site.next
        body = pack(site.stretch(time.time_ns() // 1_000_000))
        head = (
            f"PUT /sites/{site.name}/entries?from={first} HTTP/1.1\r\nHost: localhost\r\n"
            f"Authorization: Bearer {site.token}\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        writer.write(head.encode() + body)
        answer = await reader.readuntil(b"\r\n\r\n")
        size = re.search(rb"content-length: (\d+)", answer, re.IGNORECASE)
        said = await reader.readexactly(int(size[1]) if size else 0)
        if b" 200 " not in answer[:20] or b'"next":%d,' % site.next not in said:
            raise RuntimeError(f"{site.name}: {answer!r} {said!r}")


def _cpu_s(process: Popen[bytes]) -> float:
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _rss_mb(yard: ServedYard) -> float:
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{yard.process.pid}/status").read_text())
    if found is None:
        raise RuntimeError("the yard is gone")
    return int(found[1]) * 1024 / 1e6
