"""What persons do to alarms: acknowledge, reset, shelve and take out of service; why an act is refused.

`number` is an alarm's or a message's, such as A-1042; `limit` is the id of a limit, since what is out of service
is the limit and not one alarm. Times are UTC ms.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from alerts.alarm import LONGEST_SHELVING_MS, WAITING, Alarm, AlarmState, Change
from alerts.limits import Verdict
from gateway.flow_state import State
from gateway.jobsite import Jobsite

Body = Mapping[str, Any]
HOUR = 3_600_000


def of_number(state: State, number: str) -> list[str]:
    """Return the limits that a number speaks of: of a message all its alarms, else the one alarm."""
    for message in tuple(state.telling.messages):
        if message.number == number:
            alarms = ((name, own, state.alarms.get(name)) for name, own in message.members.items())
            return [name for name, own, alarm in alarms if alarm is not None and alarm.name == own]
    return [name for name, alarm in tuple(state.alarms.items()) if alarm.name == number]


def shelved_with(state: State, number: str) -> list[str]:
    """Return the limits that were shelved at once with the alarm of this number."""
    shelves = [state.alarms[name].shelf for name in of_number(state, number) if state.alarms[name].shelf]
    return [name for name, alarm in tuple(state.alarms.items()) if alarm.shelf and alarm.shelf in shelves]


def cannot_acknowledge(state: State, _: Jobsite, body: Body) -> str | None:
    """Refuse what does not wait for a person."""
    waiting = any(state.alarms[name].state in WAITING for name in of_number(state, body["number"]))
    told = any(each.number == body["number"] and not each.acknowledged for each in tuple(state.telling.messages))
    return None if waiting or told else f"{body['number']} is not an alarm that waits to be acknowledged."


def cannot_reset(state: State, _: Jobsite, body: Body) -> str | None:
    """Refuse what is not latched and acknowledged."""
    latched = any(state.alarms[name].state is AlarmState.LATCHED for name in of_number(state, body["number"]))
    return (
        None if latched else f"{body['number']} is not latched; a latched alarm is acknowledged first, then reset."
    )


def cannot_shelve(state: State, _: Jobsite, body: Body) -> str | None:
    """Refuse a shelving without an alarm, without an end, or for longer than a shift."""
    names = of_number(state, body["number"])
    if not names:
        return f"There is no alarm {body['number']} now."
    if any(state.alarms[name].shelf for name in names):
        return f"{body['number']} is shelved already."
    if type(body["until_ms"]) is not int:
        return "until_ms is a whole number of milliseconds since 1970, UTC."
    ahead = body["until_ms"] - state.offset_ms - state.core_ms
    if not 0 < ahead <= LONGEST_SHELVING_MS:
        return f"An alarm is shelved until a time within the next {LONGEST_SHELVING_MS // HOUR} hours."
    return None


def cannot_unshelve(state: State, _: Jobsite, body: Body) -> str | None:
    """Refuse what is not shelved."""
    return None if shelved_with(state, body["number"]) else f"{body['number']} is not shelved."


def cannot_take_out(state: State, site: Jobsite, body: Body) -> str | None:
    """Refuse a limit that is not there or is out of service."""
    alarm = state.alarms.get(str(body["limit"]))
    if alarm is None:
        return _no_limit(site, body)
    return f"{body['limit']} is out of service already." if alarm.out else None


def cannot_put_back(state: State, site: Jobsite, body: Body) -> str | None:
    """Refuse a limit that is in service."""
    alarm = state.alarms.get(str(body["limit"]))
    if alarm is None:
        return _no_limit(site, body)
    return None if alarm.out else f"{body['limit']} is in service."


def _no_limit(site: Jobsite, body: Body) -> str:
    known = ", ".join(limit.id for limit in site.limits) or "none"
    return f"There is no alarm of a limit {body['limit']!r} yet; limits: {known}."


def hold_words(alarm: Alarm) -> str:
    """Return who or what puts an alarm aside, and why."""
    if alarm.out is not None:
        return f"out of service by {alarm.out.by}: {alarm.out.why}"
    if alarm.shelf is not None:
        return f"shelved by {alarm.shelf.by}: {alarm.shelf.why}"
    return "suppressed by design: none of its activities goes on"


def known_verdict(alarm: Alarm) -> Verdict:
    """Return what stands, as far as the alarm knows: words of an act may not depend on what was judged last."""
    if alarm.cause == Change.FAULT:
        return Verdict.NO_LIMIT
    return Verdict(alarm.cause) if alarm.active else Verdict.UNKNOWN
