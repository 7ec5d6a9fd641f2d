"""What persons do, as entries: which words each act needs, why one is refused, and what it changes in the state.

An act is `{"act": ..., "person": ..., ...}`: texts, and whole numbers such as times. The door that took the act (a
page, a link, a command) vouches for the person. The same refusal holds when an entry is folded in, so that a
second click changes nothing; events that an act brings about are made by the flow.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from gateway import alarm_acts, flow_findings, flow_lasting, flow_work, work_acts
from gateway.flow_state import Begun, State
from gateway.heads import record_code
from gateway.jobsite import Jobsite
from gateway.manual import PRODUCT
from gateway.work_acts import IDLE

KEPT_REFS = 256  # an act sent twice comes again within moments
LONGEST = 2000  # characters of one text
Body = Mapping[str, Any]


def refusal(state: State, site: Jobsite | None, body: Body) -> str | None:
    """Say in a sentence why an act is not taken, or None."""
    act = body.get("act")
    if site is None:
        return "No jobsite is set."
    if act not in _ACTS:
        return f"There is no act {act!r}; there are {', '.join(_ACTS)}."
    for name in ("person", *_ACTS[act][0]):
        if not _is_said(body.get(name)):
            return f"{act} needs {name}, a text of 1 to {LONGEST} characters or a whole number."
    for name, said in body.items():
        if not (type(said) is int or (isinstance(said, str) and len(said) <= LONGEST)):
            return f"{act}: {name} is a text of at most {LONGEST} characters, or a whole number."
    if body.get("ref") in state.refs:
        return "This has been entered already."
    return _ACTS[act][1](state, site, body)


def _is_said(said: object) -> bool:
    return type(said) is int or (isinstance(said, str) and 0 < len(said.strip()) <= LONGEST)


def fold(state: State, body: Body) -> None:
    """Bring the state up to an act that is not refused; acts on alarms are the flow's."""
    if "ref" in body:
        state.refs.append(str(body["ref"]))
        del state.refs[:-KEPT_REFS]
    if body["act"] == "begin":
        _begin(state, body)
    elif body["act"] == "end":
        del state.activities[body["area"]][body["activity"]]
        flow_work.end(state, body)
    elif body["act"] == "hold_head":
        state.held_heads[body["person"]] = body["number"], body["size"]
    elif body["act"] == "disposition":
        flow_work.dispose(state, body)
    elif body["act"] == "manual":
        state.by_hand += 1
        if body["kind"] == PRODUCT:
            flow_lasting.enter_product(state, body)
        if body["kind"] == "rain or fog":
            flow_lasting.enter(state, body)
            if body["area"] in state.work and body["seen"] != flow_lasting.DRY:
                flow_work.rain(state, body["area"])


def _begin(state: State, body: Body) -> None:
    going_on = state.activities.setdefault(body["area"], {})
    until_ms = body["until_ms"] - state.offset_ms if body["activity"] == IDLE else None
    if body["activity"] == IDLE:  # a coat cures on, whether anybody works or not
        for name in [name for name in going_on if name != "curing"]:
            del going_on[name]
    going_on.pop(IDLE, None)
    going_on[body["activity"]] = Begun(state.core_ms, body["person"], until_ms)
    flow_work.begin(state, body)


def _cannot_hold(state: State, site: Jobsite, body: Body) -> str | None:
    """A head is held by somebody who shall hold it, as it is in the record, and not an older one than before."""
    number, code = body["number"], body["code"]
    if body["person"] not in {person.id for person in site.people if person.holds_heads}:
        return f"{body['person']} is not among the people with holds_heads = true in the jobsite file."
    if "size" not in body or "root" not in body:
        return f"There is no head {number} in this record. If you hold one, keep it, and ask what was cut."
    if code != record_code(number, body["size"], body["root"]):
        return f"Head {number} of this record has another code than {code}. Keep yours, and ask why."
    if number <= state.held_heads.get(body["person"], (0, 0))[0]:
        return f"{body['person']} holds a head as new as that already."
    return None


def _cannot_drop(state: State, site: Jobsite, body: Body) -> str | None:  # noqa: ARG001 - as all of them
    """Entries go only where somebody outside holds a head over them."""
    if body["until"] > max((size for _, size in state.held_heads.values()), default=0):
        return f"Nobody outside holds a head over entries 1 to {body['until']}: they stay."
    return None


_ACTS: dict[str, tuple[tuple[str, ...], Callable[[State, Jobsite, Body], str | None]]] = {
    "acknowledge": (("number",), alarm_acts.cannot_acknowledge),
    "reset": (("number",), alarm_acts.cannot_reset),
    "shelve": (("number", "until_ms", "reason"), alarm_acts.cannot_shelve),
    "unshelve": (("number", "reason"), alarm_acts.cannot_unshelve),
    "out_of_service": (("limit", "reason"), alarm_acts.cannot_take_out),
    "back_in_service": (("limit", "reason"), alarm_acts.cannot_put_back),
    "begin": (("area", "activity"), work_acts.cannot_begin),
    "end": (("area", "activity"), work_acts.cannot_end),
    "disposition": (("exposure", "decision", "reason"), work_acts.cannot_dispose),
    "manual": (("kind", "area"), work_acts.cannot_enter),
    "serviced": (("train", "piece", "what"), flow_findings.cannot_serve),
    "dryer_tested": (("serial", "kind", "day", "result", "files"), lambda *_: None),
    "hold_head": (("number", "code"), _cannot_hold),
    "drop": (("until", "reports"), _cannot_drop),
    "note": (("area", "text"), work_acts.cannot_note),
}
