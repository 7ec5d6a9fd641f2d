"""The entries behind a minute of history: number, what each says, its leaf hash, its bytes.

Decoded with the jobsite that was in force then. A reading stands under the minute in which it was received, which
is where its entry is; when it was measured stands beside it.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from alerts.limits import written
from alerts.measured import DIMENSION, UNITS
from gateway import entry, tree
from gateway.adapters.history_fine import Decoder, Said, said_of
from gateway.adapters.landmarks import clocks, config_at
from gateway.adapters.spans import entries_between
from gateway.entry import Kind
from gateway.jobsite import Sensor

MOST = 500
MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Shown:
    """One entry, ready to be read."""

    seq: int
    received_ms: int
    kind: str
    said: tuple[str, ...]
    leaf: str
    bytes: str


def entries_of_minute(db: sqlite3.Connection, from_ms: int) -> list[Shown]:
    """Return the entries with a core time in the minute that begins at this UTC ms."""
    time = clocks(db)
    begin, end = time.core_span(from_ms, from_ms + MINUTE_MS)
    decode = Decoder(config_at(db, begin))
    found = []
    for seq, made in entries_between(db, begin, end):
        kind, core_ms = entry.kind_and_time(made)
        readings = tuple(_words(each, decode.sensors[each.sensor]) for each in said_of(decode, time, seq, made))
        words = readings or _other(kind, entry.body_of(made))
        leaf = tree.leaf(made).hex()
        found.append(Shown(seq, time.utc_ms(core_ms), _name(kind), words, leaf, _shown(made)))
    return found


def _name(kind: Kind) -> str:
    return kind.name.lower().replace("_", " ")


def _words(said: Said, sensor: Sensor) -> str:
    dimension, unit = DIMENSION[sensor.quantity], UNITS[sensor.unit]
    value, corrected = (
        written(each, dimension, unit, 3).replace("Cel", "°C") for each in (said.value, said.corrected)
    )
    after = "" if value == corrected else f", corrected {corrected}"
    late = said.received_ms - said.measured_ms
    measured = f", measured {late / 1000:.1f} s before" if late > 0 else ""
    name = said.sensor if sensor.label == said.sensor else f"{sensor.label} ({said.sensor})"
    return f"{name}: {value}{after}, {said.validity}{measured}"


def _other(kind: Kind, body: bytes) -> tuple[str, ...]:
    if kind is Kind.REJECTION:
        refusal = entry.rejection_of(body)
        return (f"{refusal.topic}: {refusal.code}, {refusal.detail}",)
    if kind is Kind.DUPLICATE:
        return (f"first in entry {entry.duplicate_of(body)}",)
    return ()


def _shown(made: bytes) -> str:
    """The head in hex, then the body as text where it is text."""
    head = made[:10].hex(" ")
    rest = made[10 : 10 + 600]
    text = "".join(chr(each) if 32 <= each < 127 else f"\\x{each:02x}" for each in rest)
    return f"{head} | {text}{' …' if len(made) > 610 else ''}"
