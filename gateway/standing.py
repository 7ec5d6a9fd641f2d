"""How a jobsite stands, in its own journal: verdicts, alarms and deliveries as its board shows them.

An entry a minute, and within ten seconds of a change, so that who holds a copy of the journal knows the verdict
without judging everything again: at a yard with a thousand sites that would cost a processor of its own. It says
nothing that the entries before it do not say, which `contradicts` finds out; the fold passes it over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from alerts.limits import SEVERITY, Verdict
from gateway.board import AreaVerdict, Board
from gateway.payload import canonical

MINUTE_MS, SOONEST_MS = 60_000, 10_000
MOST = 40  # areas, alarms or findings that are said; the number of all is said too
MOST_BYTES = 1 << 18
_DELIVERY = "delivery "
OF_ENTRIES = ("jobsite", "simulated", "areas", "alarms", "alarm_count", "findings")
"""What in a word follows from the entries alone, beside `sent`, which is counted when it is told."""


@dataclass(frozen=True, slots=True)
class AreaSaid:
    """The worst word on an area. activity: what goes on there, empty: nothing was begun: all that is limited."""

    area: str
    activity: str
    verdict: Verdict
    quantity: str
    why: str


@dataclass(frozen=True, slots=True)
class AlarmSaid:
    """An alarm that stands, in the words of the board."""

    number: str
    state: str
    title: str
    priority: str = ""
    since_ms: int = 0
    body: str = ""


@dataclass(frozen=True, slots=True)
class Word:
    """How a jobsite says that it stands. sent: how many messages came to what end."""

    jobsite: str = ""
    simulated: bool = False
    areas: tuple[AreaSaid, ...] = ()
    alarms: tuple[AlarmSaid, ...] = ()
    alarm_count: int = 0
    findings: tuple[str, ...] = ()
    sent: dict[str, int] = field(default_factory=dict)
    trouble: tuple[str, ...] = ()

    @property
    def worst(self) -> AreaSaid | None:
        """The area that is worst off."""
        return min(self.areas, key=lambda each: SEVERITY.index(each.verdict), default=None)


def word_of(made: bytes) -> Word | None:
    """Return the word that a STANDING entry's body holds, None where it holds none: it comes from elsewhere."""
    try:
        return canonical.value_of(made, Word) if len(made) <= MOST_BYTES else None
    except ValueError:
        return None


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
    return canonical.to_bytes({
        "jobsite": board.jobsite, "simulated": board.simulated, "areas": areas[:MOST], "alarms": alarms[:MOST],
        "alarm_count": len(alarms), "findings": [each.title for each in board.findings[:MOST]],
        "sent": _sent(counts), "trouble": list(board.trouble[:MOST]),
    })  # fmt: skip


def _sent(counts: Mapping[str, int]) -> dict[str, int]:
    return {name.removeprefix(_DELIVERY): many for name, many in counts.items() if name.startswith(_DELIVERY)}


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


def contradicts(said: Mapping[str, Any], boards: Sequence[Mapping[str, Any]], counts: Mapping[str, int]) -> str:
    """Return what in a word the entries before it do not say, in a sentence; nothing where it follows.

    said: the word. boards: `body` of each board it may have been made from, the newest last. counts: of the flow
    when it was told. Trouble is what the gateway's own process saw: no entry says it.
    """
    if any(all(said.get(name) == board[name] for name in OF_ENTRIES) for board in boards):
        sent = _sent(counts)
        return "" if said.get("sent") == sent else f"messages: it said {said.get('sent')}, its entries say {sent}"
    if said.get("trouble") and _knows_nothing(said):  # its disk was full: nothing was judged, and nothing claimed
        return ""
    if not boards:
        return "it said how it stands, and its entries name no jobsite"
    return next(_differences(said, boards[-1]), "")


def _knows_nothing(said: Mapping[str, Any]) -> bool:
    nothing = {Verdict.UNKNOWN.value, Verdict.NO_LIMIT.value}
    return all(isinstance(each, Mapping) and each.get("verdict") in nothing for each in said.get("areas", ()))


def _differences(said: Mapping[str, Any], board: Mapping[str, Any]) -> Iterator[str]:
    for name, key, words in (("areas", "area", "verdict"), ("alarms", "number", "state")):
        here, there = _by(said.get(name), key), _by(board[name], key)
        for each in dict.fromkeys((*there, *here)):
            if here.get(each) != there.get(each):
                told = [str(side[each].get(words, "")) if each in side else "nothing" for side in (here, there)]
                more = "" if told[0] != told[1] else ", in other words"
                yield f"{each}: it said {told[0]}, its entries say {told[1]}{more}"
    for name in OF_ENTRIES:
        if said.get(name) != board[name]:
            yield f"{name}: it said {said.get(name)!r:.80}, its entries say {board[name]!r:.80}"


def _by(lines: object, key: str) -> dict[str, Mapping[str, Any]]:
    found = lines if isinstance(lines, list) else []
    return {str(each.get(key, "")): each for each in found if isinstance(each, Mapping)}
