"""A gauge that reads nothing while air is under pressure behind it, or flows: it failed, or it is shut off.

Without this a pot's gauge that fails at zero would read as a vented pot, whose train is not judged. What cannot be
told is which of the two is wrong, so the gauge at zero is not believed and the train is judged without it. The
pressure before it says nothing: a vented pot on a line under pressure is how crews work.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from gateway.jobsite import Jobsite, Piece, Train
from gateway.train_state import FLOWING_M3_PER_S, OPEN_END, RUNNING_PA

BAR = 1e5


@dataclass(frozen=True, slots=True)
class Witness:
    """What contradicts a gauge at zero: gauges behind it, and meters of the flow of its train alone."""

    pressures: tuple[str, ...]
    flows: tuple[str, ...]


def witnesses(site: Jobsite) -> dict[str, Witness]:
    """Return by gauge, the last before the hose of each train, what would contradict it."""
    meters = Counter(name for train in site.trains for name in {piece.outlet.flow for piece in train.pieces})
    found = {}
    for train in site.trains:
        at = _last_gauge(train)
        if at is None:
            continue
        gauge = train.pieces[at].outlet.pressure
        behind = [train.pieces[at].blast_line, *(piece.outlet.pressure for piece in train.pieces[at + 1 :])]
        alone = [piece.outlet.flow for piece in train.pieces if meters[piece.outlet.flow] == 1]
        witness = Witness(_named(behind, gauge), _named(alone, gauge))
        if witness.pressures or witness.flows:
            found[gauge] = witness
    return found


def _last_gauge(train: Train) -> int | None:
    def fitted(piece: Piece) -> bool:
        return bool(piece.outlet.pressure) and piece.kind not in OPEN_END

    return max((at for at, piece in enumerate(train.pieces) if fitted(piece)), default=None)


def _named(names: list[str], gauge: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in names if name and name != gauge))


def contradicted(gauge: str, witness: Witness, value: Callable[[str], float | None]) -> str:
    """Return why a gauge at zero is not believed, or nothing. value: the newest of a sensor, None where silent."""
    own_pa = value(gauge)
    if own_pa is None or own_pa >= RUNNING_PA:
        return ""
    for name in witness.pressures:
        if (pa := value(name)) is not None and pa >= RUNNING_PA:
            return f"reads {own_pa / BAR:.1f} bar while {name} reads {pa / BAR:.1f} bar: one of them is wrong"
    for name in witness.flows:
        if (flow := value(name)) is not None and flow >= FLOWING_M3_PER_S:
            return f"reads {own_pa / BAR:.1f} bar while {name} reads {flow * 60:.1f} m³/min: one of them is wrong"
    return ""
