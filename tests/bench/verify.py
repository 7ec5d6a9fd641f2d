"""How fast a record is checked, unpacking and all, and what signed heads cost the writer."""

from __future__ import annotations

import json
import random
import tempfile
import time
import zipfile
from pathlib import Path
from statistics import median

from gateway import entry, tree, verify_record
from gateway.adapters import record_zip
from gateway.adapters.heads import HeadWriter
from gateway.entry import Arrival
from gateway.flow_state import State
from tests.sites import T0, pack

HEAD_EACH = 14_400  # entries of ten minutes of 24 channels a second


def entries_a_second(count: int) -> float:
    """Return how many entries of the size of a real reading are checked in a second, by the exported program."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.zip"
        _write(path, count)
        began = time.perf_counter()
        found = verify_record.compare(verify_record.read(path), [], T0)
        spent = time.perf_counter() - began
    if found.wrong or f"entries 1 to {count} agree" not in found.proven[0]:
        raise RuntimeError(f"{found}")
    return count / spent


def _write(path: Path, count: int) -> None:
    """Write a record of messages as 24 sensors send them, a head each ten minutes and at the end."""
    writer, state, chance = HeadWriter(path.parent, None), State(), random.Random(7)
    blocks, block, lines = list[record_zip.Block](), list[bytes](), list[str]()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as to:
        for number in range(1, count + 1):
            name, core_ms = f"sensor-{number % 24}", T0 + number * 42
            payload = pack(name, round(20 + chance.gauss(0, 1), 2), core_ms - 30, "Cel")
            block.append(entry.message(Arrival(f"dewgate/bench/{name}", payload, number % 65_535 + 1), core_ms))
            tree.append(state.peaks, block[-1])
            if (number % HEAD_EACH == 0 or number == count) and (
                head := writer.due(state, core_ms, None, ending=True)
            ):
                writer.written(head)
                lines.append(head.as_text() + "\n")
            if number % tree.SEAL == 0 or number == count:
                blocks.append(record_zip.put(to, len(blocks), block))
                block = []
        to.writestr("heads.jsonl", "".join(lines))
        to.writestr("record.json", json.dumps({"blocks": blocks}))


def head_us() -> float:
    """Return the median time to make and sign one head over a large tree, µs: once in ten minutes."""
    with tempfile.TemporaryDirectory() as folder:
        writer, state = (
            HeadWriter(Path(folder), None),
            State(peaks=[(1 << n, bytes(32)) for n in range(24, -1, -1)]),
        )
        writer.written(writer.due(state, T0, None, ending=True))
        spent = []
        for _ in range(200):
            began = time.perf_counter()
            writer.due(state, T0, None, ending=True)
            spent.append(time.perf_counter() - began)
    return 1e6 * median(spent)
