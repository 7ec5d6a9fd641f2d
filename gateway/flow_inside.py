"""For how long the limits of an area have been inside before work begins: some specifications ask for it.

Counted while every other limit of the area for the same work is known to be inside. With the begin of the work the
count stands: what began too early stays so until it ends, and is an alarm; before, nobody is told that a wait goes
on, since nothing has been started yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from alerts.limits import Judgement, Limit, Verdict
from alerts.measured import Measured, Quantity, Validity, unknown
from gateway.area_work import applies
from gateway.conditions import Condition
from gateway.flow_state import Inside, Judged, State

MINUTE = 60_000
INSIDE = frozenset({Verdict.INSIDE, Verdict.CLOSE})
SILENT = frozenset({Verdict.NOT_ENTERED})
ALONE = "no other limit is entered for this work, so nothing says whether it is inside"


def condition(state: State, limit: Limit, limits: Mapping[str, Limit], judged: Mapping[str, Judged]) -> Condition:
    """Bring the count of a limit up to the second being judged and return it, in whole minutes [s]."""
    others = [each for each in limits.values() if _counts(each, limit)]
    if not others:
        return Condition("", unknown(ALONE, state.judged_ms))
    against = [each.id for each in others if judged[each.id].judgement.verdict not in INSIDE | SILENT]
    inside = state.inside.get(limit.id)
    if inside is None:
        inside = state.inside[limit.id] = Inside()
    began_ms = begun_ms(state, limit)
    if began_ms is not None and began_ms != inside.begun_ms:
        inside.stood_ms = 0 if inside.since_ms is None else max(0, began_ms - inside.since_ms)
    inside.begun_ms = began_ms
    inside.since_ms = None if against else state.judged_ms if inside.since_ms is None else inside.since_ms
    return Condition("", _measured(inside, against, state.judged_ms))


def _counts(other: Limit, limit: Limit) -> bool:
    return (
        other.area == limit.area
        and other.quantity is not Quantity.TIME_INSIDE
        and not set(other.activities).isdisjoint(limit.activities)
    )


def _measured(inside: Inside, against: list[str], now_ms: int) -> Measured:
    if inside.begun_ms is not None:
        stood_s = inside.stood_ms // MINUTE * 60.0
        return Measured(stood_s, 0.0, inside.begun_ms, Validity.GOOD, "counted up to the begin of the work")
    if inside.since_ms is None:
        return Measured(0.0, 0.0, now_ms, Validity.GOOD, f"not inside: {', '.join(against)}")
    return Measured((now_ms - inside.since_ms) // MINUTE * 60.0, 0.0, inside.since_ms, Validity.GOOD)


def begun_ms(state: State, limit: Limit) -> int | None:
    """Return since when work that a limit holds for goes on in its area, or None."""
    going_on = state.activities.get(limit.area, {})
    return min((each.since_ms for name, each in going_on.items() if applies(limit, (name,))), default=None)


def for_alarm(state: State, limit: Limit, judgement: Judgement) -> Judgement:
    """Return what the alarm of a limit hears: waiting before the work begins is no breach, nor does it end one."""
    waits = limit.quantity is Quantity.TIME_INSIDE and begun_ms(state, limit) is None
    if waits and judgement.verdict is Verdict.OUTSIDE:
        return replace(judgement, verdict=Verdict.NOT_RUNNING)
    return judgement


def deadline_ms(state: State, limit: Limit) -> int | None:
    """Return when the count reaches what the limit asks for, or None."""
    inside = state.inside.get(limit.id)
    if inside is None or inside.since_ms is None or inside.begun_ms is not None:
        return None
    return inside.since_ms + round(limit.threshold_inside * 1000)


def started(state: State) -> None:
    """Nothing is derived across downtime: the count begins again; what stood at a begin stays."""
    for inside in state.inside.values():
        inside.since_ms = None
