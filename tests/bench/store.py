"""What the journal takes at rest, how fast it is folded again, and how fast a month of history is drawn."""

from __future__ import annotations

import os
import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

from alerts.limits import Limit
from alerts.measured import Quantity
from gateway import entry, tree
from gateway.adapters import states
from gateway.adapters.history import WHOLE, History, draw
from gateway.adapters.journal import Journal, entries_after, open_reader, pack_oldest
from gateway.entry import Arrival, Kind
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.payload.canonical import config_set, to_bytes
from gateway.replay import divided
from gateway.replay_cores import Cores
from gateway.tiers import QUARTER_MS, Sheet
from tests.bench.conditions import VALUES, a_jobsite
from tests.sites import T0, margin_limit, pack

EVERY_MS = 10_000
DAY_MS = 86_400_000
CHANNELS = 24
BATCH = 240
DIGITS = {"Cel": 2, "%RH": 1, "hPa": 1, "bar": 3}  # what such sensors send
WRITTEN = {"Cel": 1.0, "%RH": 100.0, "hPa": 0.01, "bar": 1e-5}  # from the unit inside


@dataclass(frozen=True, slots=True)
class Stored:
    """A journal of simulated days: bytes a reading at rest, and readings a second when it is folded again.

    On all cores it is the time on the clock that counts, and every event is compared.
    """

    bytes_a_reading: float
    replayed_a_second: float
    on_all_cores_a_second: float
    cores: int
    parts: int


def stored(days: float, *, limits: bool = False) -> Stored:
    """Write days of 24 channels every 10 s through the fold, as the writer does, and read them back.

    limits: with three limits of each area in force, far from all of them; else nothing is judged by any.
    """
    site = a_jobsite()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.db"
        count = _write(path, days, replace(site, limits=_limits(site)) if limits else site)
        size = sum(each.stat().st_size for each in Path(folder).iterdir())
        with closing(open_reader(path)) as reader:
            before = time.process_time()
            flow = Flow()
            flow.advance(entries_after(reader, 0), Outcomes())
            spent = time.process_time() - before
        cores = len(os.sched_getaffinity(0))
        before = time.perf_counter()
        parts = _replay(path, cores)
        whole = time.perf_counter() - before
    if flow.state.counts["message"] != count:
        raise RuntimeError(f"{flow.state.counts} of {count} readings came back")
    return Stored(size / count, count / spent, count / whole, cores, parts)


def _replay(path: Path, cores: int) -> int:
    """As `dewgate replay --cores N`; return in how many parts."""
    with closing(open_reader(path)) as reader:
        work = Cores(path, divided(reader, cores), cores, lambda _: None)
    if any(block.lines for block in work.folded()) or work.refused:
        raise RuntimeError("a replay on all cores says other than was said")
    return len(work.parts)


def _limits(site: Jobsite) -> tuple[Limit, ...]:
    humid = {"quantity": Quantity.RH_AT_STEEL, "relation": "at most", "unit": "%RH", "deadband_unit": "%RH"}
    warm = {"quantity": Quantity.STEEL_TEMPERATURE, "unit": "Cel"}
    kinds: tuple[dict[str, object], ...] = ({}, {**humid, "threshold": 90.0}, {**warm, "threshold": 5.0})
    return tuple(
        margin_limit(id=f"{area.id}-{at}", area=area.id, **kind)
        for area in site.areas for at, kind in enumerate(kinds)
    )  # fmt: skip


def _write(path: Path, days: float, site: Jobsite) -> int:
    flow, count = Flow(), 0
    with closing(Journal(path)) as book:
        started = entry.plain(Kind.STARTED, T0, to_bytes({"offset_ms": 0}))
        begin = [started, entry.plain(Kind.CONFIG_SET, T0, config_set(site, "bench", "bench"))]
        outcomes = Outcomes()
        flow.advance(begin, outcomes)
        book.commit(1, begin, 1, outcomes, 0)
        for arrivals in _spoken(days):
            first, first_event, outcomes = flow.state.sequence + 1, flow.state.events + 1, Outcomes()
            made = [flow.receive(arrival, core_ms, outcomes) for core_ms, arrival in arrivals]
            book.commit(first, made, first_event, outcomes, 0)
            count += len(made)
            if flow.state.sequence // tree.SEAL > (first - 1) // tree.SEAL:
                _note(count, days)
                while packed := pack_oldest(path):
                    book.seal(packed)
                if flow.state.sequence - states.newest(book.db) >= states.EVERY:
                    kept = states.packed(flow.state.sequence, CORE_VERSION, flow.checkpoint())
                    states.keep(book.db, kept)
        book.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        book.db.execute("VACUUM")
    return count


def _note(count: int, days: float) -> None:
    if sys.stderr.isatty():
        print(f"\r# {count} of {round(days * DAY_MS / EVERY_MS) * CHANNELS} readings", end="", file=sys.stderr)


def _spoken(days: float) -> Iterator[list[tuple[int, Arrival]]]:
    """Batches of messages: each sensor at its own moment of the 10 s, with noise in its last digits."""
    chance = random.Random(3)
    sensors = a_jobsite().sensors[:CHANNELS]
    at = {each.id: chance.randrange(EVERY_MS) for each in sensors}
    order = sorted(sensors, key=lambda each: at[each.id])
    wander, batch, packet = {each.id: 0.0 for each in sensors}, list[tuple[int, Arrival]](), 0
    for turn in range(round(days * DAY_MS / EVERY_MS)):
        for each in order:
            wander[each.id] = 0.999 * wander[each.id] + chance.gauss(0.0, 0.01)
            measured = T0 + turn * EVERY_MS + at[each.id] + chance.randrange(40)
            value = VALUES[each.quantity] * WRITTEN[each.unit] + wander[each.id] + chance.gauss(0.0, 0.02)
            packet = packet % 65_535 + 1
            payload = pack(each.id, round(value, DIGITS[each.unit]), measured, each.unit)
            batch.append((measured + 30, Arrival(f"dewgate/bench/{each.id}", payload, packet)))
        if len(batch) >= BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def leaf_us() -> float:
    """Return the median time of one leaf of the tree, of an entry of 150 bytes, µs."""
    made = bytes(150)
    return 1e6 * median(_timed(lambda: [tree.leaf(made) for _ in range(1000)]) for _ in range(50)) / 1000


def _timed(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def draw_ms(days_stored: int) -> float:
    """Return the median time to draw 30 days of 12 channels in 1,440 columns, with so many days stored, ms."""
    with tempfile.TemporaryDirectory() as folder, closing(sqlite3.connect(Path(folder) / "h.db")) as db:
        db.executescript(WHOLE)
        names = [f"channel-{n}" for n in range(CHANNELS)]
        history = History(db)
        for day in range(days_stored):
            with db:
                history.add(_a_day(names, T0 + day * DAY_MS))
                history.pack(T0 + day * DAY_MS)
        end = T0 + days_stored * DAY_MS
        found = draw(db, names[:12], end - 30 * DAY_MS, end, 1440)
        if sum(len(each.weight) - each.weight.count(0) for each in found.values()) < 12 * 1440:
            raise RuntimeError("columns are missing")
        return 1000 * median(_timed(lambda: draw(db, names[:12], end - 30 * DAY_MS, end, 1440)) for _ in range(15))


def _a_day(names: list[str], begin_ms: int) -> Sheet:
    sheet, chance = Sheet(), random.Random(begin_ms)
    for name in names:
        for at in range(begin_ms, begin_ms + DAY_MS, QUARTER_MS):
            for _ in range(2):
                sheet.add(name, at, chance.gauss(20.0, 3.0))
            sheet.know(name, at, at + QUARTER_MS)
    return sheet
