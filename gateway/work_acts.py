"""Acts on areas: which words each needs and why one is refused; what they change is in `flow_work`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gateway import manual
from gateway.area_work import COATING
from gateway.flow_state import State
from gateway.jobsite import ACTIVITIES, Jobsite

IDLE = "idle"
DECISIONS = ("accepted as it is", "to be reworked", "to be blasted again", "to be tested further")
LONGEST_SHIFT_MS = 24 * 3_600_000
SLACK_MS = 120_000  # the newest entry may be a minute older than the clock of the one who reads
Body = Mapping[str, Any]


def utc_ms(state: State) -> int:
    """Return the UTC of the newest entry."""
    return state.core_ms + state.offset_ms


def no_area(site: Jobsite, body: Body) -> str | None:
    """Refuse an area or an activity that there is none of."""
    if body["area"] not in {area.id for area in site.areas}:
        return f"There is no area {body['area']!r} in this jobsite."
    if body["activity"] not in (*ACTIVITIES, IDLE):
        return f"{body['activity']!r} is none of {', '.join((*ACTIVITIES, IDLE))}."
    return None


def cannot_begin(state: State, site: Jobsite, body: Body) -> str | None:
    """Refuse what goes on already, idle without an end, and a product that the jobsite does not have."""
    if why := no_area(site, body):
        return why
    begun = state.activities.get(body["area"], {}).get(body["activity"])
    if begun:
        return f"{body['activity']} in {body['area']} goes on already, begun by {begun.by}."
    if body["activity"] == IDLE:
        return _no_end(state, body.get("until_ms"))
    product = body.get("product", "")
    if body["activity"] in COATING and product and product not in {each.id for each in site.products}:
        return f"There is no product {product!r} in this jobsite; leave it out, or enter it with its data sheet."
    return None


def _no_end(state: State, until_ms: object) -> str | None:
    now = utc_ms(state)
    if type(until_ms) is int and now < until_ms <= now + LONGEST_SHIFT_MS:
        return None
    return (
        "Idle ends with its shift: enter shift_ends in the jobsite file, or say until when, at most 24 hours on."
    )


def cannot_end(state: State, site: Jobsite, body: Body) -> str | None:
    """Refuse to end what does not go on."""
    begun = state.activities.get(body["area"], {}).get(body["activity"])
    return no_area(site, body) or (
        None if begun else f"{body['activity']} in {body['area']} is not going on."
    )  # fmt: skip


def cannot_dispose(state: State, _: Jobsite, body: Body) -> str | None:
    """Refuse a disposition of an exposure that goes on, or has its disposition, or is none."""
    number = str(body["exposure"]).removeprefix("E-")
    found = state.exposures.get(int(number)) if number.isdecimal() and len(number) < 10 else None
    if found is None:
        return f"There is no exposure {body['exposure']!r}."
    if found.ended_ms is None:
        return f"{found.code} goes on; it is disposed of when limits are back."
    if found.disposition:
        return f"{found.code} has its disposition, by {found.disposed_by}: {found.disposition}."
    return None if body["decision"] in DECISIONS else f"A decision is one of: {', '.join(DECISIONS)}."


def cannot_enter(state: State, site: Jobsite, body: Body) -> str | None:
    """Refuse an entry by hand that is not whole or cannot be."""
    return manual.refusal(site, state.by_hand, utc_ms(state) + SLACK_MS, body)


def cannot_note(_: State, site: Jobsite, body: Body) -> str | None:
    """Refuse a note about an area there is none of."""
    if body["area"] not in {manual.NA, *(area.id for area in site.areas)}:
        return f"There is no area {body['area']!r} in this jobsite; write {manual.NA} where it belongs to none."
    return None
