"""What the board shows of the work on an area: activities with who began them, the stage, open exposures."""

from __future__ import annotations

from gateway.area_work import Exposure, Work
from gateway.board import AreaWork, ExposureLine, GoingOn
from gateway.flow_state import State
from gateway.jobsite import Area, Jobsite


def work_of(state: State, site: Jobsite, area: Area) -> AreaWork:
    """Return what goes on in an area and what waits for the inspector, times in UTC."""
    begun, work, offset = state.activities.get(area.id, {}), state.work.get(area.id, Work()), state.offset_ms
    going_on = tuple(
        GoingOn(name, each.since_ms + offset, each.by, None if each.until_ms is None else each.until_ms + offset)
        for name, each in begun.items()
    )
    waiting = [each for each in state.exposures.values() if each.area == area.id and not each.disposition]
    return AreaWork(
        area.id, area.label, work.stage, work.since_ms + offset if work.since_ms else 0, going_on,
        tuple(_exposure(each, offset) for each in waiting), tuple(each.id for each in site.products),
    )  # fmt: skip


def _exposure(each: Exposure, offset_ms: int) -> ExposureLine:
    ended = None if each.ended_ms is None else each.ended_ms + offset_ms
    return ExposureLine(each.code, each.coat, each.activity, each.opened_ms + offset_ms, ended, each.worst_k)
