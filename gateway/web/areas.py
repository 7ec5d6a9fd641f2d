"""The verdicts by area: what goes on first, then the other activities limits are entered for."""

from __future__ import annotations

from dataclasses import dataclass

from alerts.limits import SEVERITY, Verdict
from gateway.area_work import COATING
from gateway.board import AreaVerdict, AreaWork, Board


@dataclass(frozen=True, slots=True)
class AreaBoard:
    """One area: what is done there, the verdicts that count now, and those of other activities.

    unset: nobody said what goes on, so all of them count. idle: no work goes on, so none of them does.
    """

    id: str
    label: str
    work: AreaWork | None
    now: tuple[AreaVerdict, ...]
    others: tuple[AreaVerdict, ...]
    unset: bool
    idle: bool

    @property
    def worst(self) -> Verdict | None:
        """The worst verdict that counts now; None where none does."""
        return min((each.verdict for each in self.now), key=SEVERITY.index, default=None)


def areas(board: Board) -> list[AreaBoard]:
    """Return the areas in the order of the jobsite; a verdict of no known area stands alone."""
    works = {work.area: work for work in board.works}
    names = dict.fromkeys((*works, *(verdict.area for verdict in board.verdicts)))
    return [_area(board, name, works.get(name)) for name in names]


def _area(board: Board, name: str, work: AreaWork | None) -> AreaBoard:
    verdicts = [each for each in board.verdicts if each.area == name]
    going_on = {each.activity for each in work.going_on} if work else set()
    if going_on & set(COATING):  # a limit for coating holds for every film on the steel
        going_on.add("coating")
    unset, idle = not going_on, going_on == {"idle"}
    now = tuple(each for each in verdicts if unset or each.activity in going_on)
    others = tuple(each for each in verdicts if each not in now)
    label = work.label if work else verdicts[0].area_label
    return AreaBoard(name, label, work, now, others, unset, idle)
