"""How a jobsite stands, in its own journal: verdicts, alarms and deliveries as its board shows them.

An entry a minute, and within ten seconds of a change, so that who holds a copy of the journal knows the verdict
without judging everything again: at a yard with a thousand sites that would cost a processor of its own. It says
nothing that the entries before it do not say; the fold passes it over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from alerts.limits import SEVERITY, Verdict
from gateway.board import AreaVerdict, Board
from gateway.payload import canonical

MINUTE_MS, SOONEST_MS = 60_000, 10_000
MOST = 40  # areas, alarms or findings that are said; the number of all is said too
_DELIVERY = "delivery "


@dataclass(slots=True)
class Saying:
    """When the next word is due. Times are core ms."""

    _at_ms: int = -1
    _said: tuple[object, ...] | None = None

    def due(self, board: Board | None, counts: Mapping[str, int], core_ms: int) -> bytes | None:
        """Return the body of a STANDING entry when it is due: each minute, and when a word of it has changed."""
        if board is None or self._at_ms < 0:
            self._at_ms = core_ms
            return None
        news = self._said is not None and _gist(board) != self._said
        if core_ms - self._at_ms < (SOONEST_MS if news else MINUTE_MS):
            return None
        self._at_ms, self._said = core_ms, _gist(board)
        return body(board, counts)


def _gist(board: Board) -> tuple[object, ...]:
    verdicts = tuple((each.area, each.activity, each.verdict) for each in board.verdicts)
    return verdicts, tuple((each.number, each.state) for each in board.alarms), bool(board.trouble)


def body(board: Board, counts: Mapping[str, int]) -> bytes:
    """Return what a STANDING entry says of a board. counts: what the flow has counted."""
    areas = [_area(board, area) for area in dict.fromkeys(each.area for each in board.verdicts)]
    areas.sort(key=lambda each: SEVERITY.index(Verdict(each["verdict"])))
    alarms = [
        {"number": each.number, "priority": each.priority, "since_ms": each.since_utc_ms, "state": each.state,
         "title": each.title, "body": each.body}
        for each in board.alarms
    ]  # fmt: skip
    sent = {name.removeprefix(_DELIVERY): many for name, many in counts.items() if name.startswith(_DELIVERY)}
    return canonical.to_bytes({
        "jobsite": board.jobsite, "simulated": board.simulated, "areas": areas[:MOST], "alarms": alarms[:MOST],
        "alarm_count": len(alarms), "findings": [each.title for each in board.findings[:MOST]], "sent": sent,
        "trouble": list(board.trouble[:MOST]),
    })  # fmt: skip


def _area(board: Board, area: str) -> dict[str, str]:
    """The worst word on an area: of what goes on there, or where nothing was begun of all that is limited."""
    said = [each for each in board.verdicts if each.area == area]
    begun = {each.activity for work in board.works if work.area == area for each in work.going_on}
    asked = [each for each in said if each.activity in begun] if begun else _limited(said)
    worst = min(asked or said, key=lambda each: SEVERITY.index(each.verdict))
    first = worst.limits[0] if worst.limits else None
    why = f"{first.value}; limit {first.limit}; {first.reason}" if first else ""
    return {
        "area": worst.area_label, "activity": worst.activity if begun else "", "verdict": worst.verdict.value,
        "quantity": first.quantity if first else "", "why": why,
    }  # fmt: skip


def _limited(said: Sequence[AreaVerdict]) -> list[AreaVerdict]:
    return [each for each in said if each.limits]
