"""What the shell sees of the gateway's own health, as entries: one when the class of a figure changes.

The classes are ours, common practice, no source: less than 30 days of room at the pace so far, or 1 GB, is low;
less than 3 days, or 300 MB, is nearly full. To be better again takes a quarter more.
"""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from gateway.adapters.journal import open_reader
from gateway.adapters.mqtt import Broker
from gateway.entry import Kind
from gateway.flow_health import ABSENCE, GOOD
from gateway.flow_state import State
from gateway.payload import canonical

DAY_MS = 86_400_000
LOOK_S = 60.0
LOW, NEARLY_FULL = "low", "nearly full"
CLASSES = ((NEARLY_FULL, 3.0, 300e6), (LOW, 30.0, 1e9))  # days, bytes
BETTER = 1.25
Said = tuple[str, str]
"""Class and words of one figure."""
BAD = {"head": "unsigned", "messenger": "idle"}
WELL: Said = (GOOD, "")


@dataclass(frozen=True, slots=True)
class Room:
    """Bytes that are free, bytes the journal holds, for how many days that is enough; None = too young to tell."""

    free: float
    held: float
    days: float | None

    @property
    def words(self) -> str:
        """The same in a sentence."""
        said = f"{self.free / 1e9:.1f} GB free, the journal holds {self.held / 1e6:.1f} MB"
        if self.days is None:
            return f"{said}; too young to tell for how long"
        return f"{said}: enough for {self.days:.0f} days at this pace"


def room(home: Path, utc_ms: float) -> Room:
    """Return the room on the disk of a home. Raises OSError or sqlite3.Error where it cannot be found out."""
    free, held = shutil.disk_usage(home).free, (home / "journal.db").stat().st_size
    with closing(open_reader(home / "journal.db")) as reader:
        (since,) = reader.execute("SELECT min(utc_ms) FROM heads").fetchone()
    age = (utc_ms - since) / DAY_MS if since else 0.0
    return Room(free, held, free / max(held / age, 1.0) if age >= 1.0 else None)


def level_of(free: float, days_left: float | None, before: str) -> str:
    """Return the class of a disk by its room [bytes, days]. before: what it was; leaving it takes more room."""
    was = [name for name, *_ in CLASSES].index(before) if before != GOOD else len(CLASSES)
    for at, (name, days, size) in enumerate(CLASSES):
        more = BETTER if at >= was else 1.0
        if free < size * more or (days_left is not None and days_left < days * more):
            return name
    return GOOD


class Health:
    """Looks at the disk once a minute, and says what changed of it and of what others see."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._looked_s = float("-inf")

    def due(
        self, state: State, broker: Broker | None, seen: Mapping[str, tuple[str, ...]], utc_ms: int
    ) -> list[tuple[Kind, bytes]]:
        """Return an entry for each figure whose class is not what the journal has. seen: what stands in the way of
        the head and of the messenger, in sentences.
        """
        known = state.health.figures
        found = {figure: (BAD[figure], "; ".join(lines)) if lines else WELL for figure, lines in seen.items()}
        if broker is not None:
            found["broker"] = broker.standing()
        if (now_s := time.monotonic()) - self._looked_s >= LOOK_S:
            self._looked_s = now_s
            found |= self._disk(known["disk"].level if "disk" in known else GOOD, utc_ms)
        changed = [
            {"figure": figure, "class": level, "said": words}
            for figure, (level, words) in found.items()
            if level != (known[figure].level if figure in known else GOOD)
        ]
        absences = map(_absence, broker.absences() if broker else ())
        return [(Kind.HEALTH, canonical.to_bytes(each)) for each in (*absences, *changed)]

    def _disk(self, before: str, utc_ms: int) -> dict[str, Said]:
        try:
            found = room(self._home, utc_ms)
        except (OSError, sqlite3.Error):  # a disk that refuses: `run` says that itself
            return {}
        return {"disk": (level_of(found.free, found.days, before), found.words)}


def _absence(between_s: tuple[float, float]) -> dict[str, object]:
    """away_ms: how long the broker was away; ended_ms: before how long that ended."""
    lost_s, back_s = between_s
    away_ms, ended_ms = round(1000 * (back_s - lost_s)), round(1000 * (time.monotonic() - back_s))
    said = f"the broker was away for {away_ms / 1000:.1f} s"
    return {"figure": ABSENCE, "class": GOOD, "said": said, "away_ms": away_ms, "ended_ms": ended_ms}
