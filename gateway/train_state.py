"""What a train is doing: off, vented, warming up, flowing, or under pressure without flow.

Read from its gauges: the pressures before the hose say whether the line and the pot are under pressure, those at
hose or nozzle, and flow meters, whether air flows through. Limits of a train are judged only while it flows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from gateway.jobsite import Train
from gateway.said import Read

RUNNING_PA = 20_000.0  # gauge; below it a piece counts as vented (ours, see DEVELOPERS.md)
FLOWING_M3_PER_S = 0.02  # a flow below this is a leak, not blasting: ours
OPEN_END = ("hose", "nozzle")  # behind the pot's outlet valve: under pressure only while air flows
CONDENSED = "water may have condensed; blow out before abrasive (ASTM D4285, 4.1)"


class Doing(StrEnum):
    """The states of a train. UNKNOWN: no pressure of it is known, so its limits are judged."""

    OFF = "off"
    VENTED = "vented"
    WARMING_UP = "warming up"
    FLOWING = "flowing"
    STANDING = "pressurised without flow"
    UNKNOWN = "unknown"


NOT_JUDGED = (Doing.OFF, Doing.VENTED, Doing.WARMING_UP, Doing.STANDING)


@dataclass(slots=True)
class Run:
    """What a train is doing since when, and since when it is under pressure (core ms; None: since we saw it)."""

    doing: Doing
    since_ms: int
    pressed_ms: int | None = None


def seen(train: Train, read: Read) -> Doing:
    """Return what the newest pressures say; warming up is not seen, it is told by the time (`follow`)."""
    before = list(_pressures(train, read, open_end=False))
    behind = list(_pressures(train, read, open_end=True))
    known = [value for value in (*before, *behind) if value is not None]
    if not known:
        return Doing.UNKNOWN
    if max(known) < RUNNING_PA:
        return Doing.OFF
    if before and before[-1] is not None and before[-1] < RUNNING_PA:
        return Doing.VENTED
    flows = [read(piece.outlet.flow).value for piece in train.pieces if piece.outlet.flow]
    still = [value < RUNNING_PA if value is not None else None for value in behind]
    still += [value < FLOWING_M3_PER_S if value is not None else None for value in flows]
    return Doing.STANDING if still and all(still) else Doing.FLOWING


def gauges(train: Train) -> Iterator[str]:
    """Yield the sensors that what a train is doing is read from."""
    for piece in train.pieces:
        yield from filter(None, (piece.outlet.pressure, piece.outlet.flow))


def _pressures(train: Train, read: Read, *, open_end: bool) -> Iterable[float | None]:
    for piece in train.pieces:
        if piece.outlet.pressure and (piece.kind in OPEN_END) == open_end:
            yield read(piece.outlet.pressure).value


def follow(run: Run | None, train: Train, doing: Doing, now_ms: int) -> Run:
    """Return the run as of now. A train first seen under pressure is not taken for one that just began."""
    pressed_ms = run.pressed_ms if run else None
    if doing in (Doing.OFF, Doing.VENTED):
        pressed_ms = None
    elif run is not None and run.doing in (Doing.OFF, Doing.VENTED) and doing is not Doing.UNKNOWN:
        pressed_ms = now_ms
    if doing is Doing.FLOWING and pressed_ms is not None and now_ms < pressed_ms + round(train.warm_up_s * 1000):
        doing = Doing.WARMING_UP
    if run is None or run.doing is not doing:
        return Run(doing, now_ms, pressed_ms)
    run.pressed_ms = pressed_ms
    return run


def deadline_ms(run: Run, train: Train) -> int | None:
    """Return when warming up ends, or None."""
    if run.doing is not Doing.WARMING_UP or run.pressed_ms is None:
        return None
    return run.pressed_ms + round(train.warm_up_s * 1000)


def words(run: Run) -> str:
    """Return what a person reads of a train that is not judged, or nothing."""
    match run.doing:
        case Doing.OFF | Doing.VENTED | Doing.STANDING:
            return f"the train is {run.doing}; {CONDENSED}"
        case Doing.WARMING_UP:
            return "the train is warming up"
        case _:
            return ""
