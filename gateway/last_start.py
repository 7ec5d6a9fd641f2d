"""Last blast start: until when blasting may begin so that its steel is primed before a limit is likely crossed.

The crossing is the forecast's, at which the limit is outside in one case of ten; the time to prime is the one the
specification allows blasted steel to stand. What cannot be foreseen is said, never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from alerts.alarm import WARNINGS, Change
from alerts.forecast import FORECAST
from alerts.limits import Limit
from alerts.notification import NOTHING, Foreseen
from alerts.saying import clock_words
from alerts.time_to_limit import HISTORY, Outlook, last_start_min, span
from gateway import clocks, flow_ahead
from gateway.area_work import COATING
from gateway.clocks import Phrase
from gateway.flow_state import Judged, State
from gateway.jobsite import Area, Jobsite
from gateway.steel_lines import Clock

NAME = "Last blast start"
OTHERS = "only temperatures and the margin are foreseen; this area has limits of other kinds, too"
_WORK = frozenset({"blasting", *COATING})


@dataclass(frozen=True, slots=True)
class Start:
    """The latest start of an area by the limit that allows the least. utc_ms: None where it cannot be said.

    likely_utc_ms: the same by the likely crossing. at_least: no crossing is foreseen, so that it may be later.
    """

    limit: Limit
    outlook: Outlook
    utc_ms: int | None = None
    likely_utc_ms: int | None = None
    at_least: bool = False


def of_area(state: State, site: Jobsite, area: Area, judged: Mapping[str, Judged], core_ms: int) -> Start | None:
    """Return until when blasting may begin in an area, or None where no time to prime is entered, or no limit."""
    if area.prime_within_s is None:
        return None
    work_min, found = area.prime_within_s / 60, list[Start]()
    for limit in _asked(site, area):
        if limit.quantity in FORECAST and not limit.group and limit.id in judged:
            outlook = flow_ahead.outlook(state, limit, judged[limit.id], core_ms)
            found.append(_start(limit, outlook, work_min))
    return min(found, key=_least, default=None)


def _asked(site: Jobsite, area: Area) -> list[Limit]:
    return [each for each in site.limits if each.area == area.id and not _WORK.isdisjoint(each.activities)]


def _start(limit: Limit, outlook: Outlook, work_min: float) -> Start:
    if outlook.why_not or not outlook.inside:
        return Start(limit, outlook)
    last = last_start_min(outlook, work_min)
    if last is None:
        spare = outlook.reach_min - work_min
        return Start(limit, outlook, _utc_ms(outlook, spare), None, True) if spare >= 0 else Start(limit, outlook)
    likely = None if outlook.likely_min is None else _utc_ms(outlook, outlook.likely_min - work_min)
    return Start(limit, outlook, _utc_ms(outlook, last), likely)


def _utc_ms(outlook: Outlook, minutes: float) -> int:
    return round((outlook.utc_minute + minutes) * 60_000)


def _least(start: Start) -> tuple[int, int]:
    """What is outside now first, then what cannot be said, then the earliest."""
    if start.utc_ms is None:
        return (0 if not start.outlook.why_not and not start.outlook.inside else 1), 0
    return 2, start.utc_ms


def clock(start: Start, site: Jobsite, area: Area, now_utc_ms: int) -> Clock:
    """Return the last start as a clock of the steel, in words."""
    others = any(each.quantity not in FORECAST for each in _asked(site, area))
    due = start.utc_ms is not None and start.utc_ms < now_utc_ms and not start.at_least
    return Clock(NAME, _phrase(start, site, area, due), due, OTHERS if others else "")


def _phrase(start: Start, site: Jobsite, area: Area, due: bool) -> Phrase:
    outlook = start.outlook
    if outlook.why_not:
        return Phrase(outlook.why_not)
    if not outlook.inside:
        return Phrase("outside limits now")
    allowed = clocks.hours(round((area.prime_within_s or 0.0) * 1000))
    parts = {"allowed": allowed, "clause": area.prime_clause, "reach": span(outlook.reach_min)}
    if start.utc_ms is None:
        return _say(
            "not foreseen: steel may stand {allowed} ({clause}), the forecast reaches {reach}", outlook, parts
        )
    parts["last"] = clock_words(start.utc_ms, site.time_zone)
    if start.at_least:
        return _say("{last} or later: no crossing within {reach}; to prime {allowed} ({clause})", outlook, parts)
    parts["from"] = clock_words(_utc_ms(outlook, outlook.earliest_min or 0.0), site.time_zone)
    if due:
        return _say("passed: a limit may be crossed from {from} on; to prime {allowed} ({clause})", outlook, parts)
    text = "{last} in nine of ten: a limit may be crossed from {from} on; to prime {allowed} ({clause})"
    return _say(text, outlook, parts)


def _say(text: str, outlook: Outlook, parts: Mapping[str, str]) -> Phrase:
    return Phrase(f"{text} ({outlook.basis})", tuple((k, v) for k, v in parts.items() if f"{{{k}}}" in text))


# -- beside an alarm -------------------------------------------------------------------------------------------


def foreseen(outlook: Outlook, change: Change) -> Foreseen:
    """Return what a forecast says beside an alarm: of a warning when it crosses, of a breach when it ends."""
    if outlook.why_not or change not in (*WARNINGS, Change.BREACH):
        return NOTHING
    reach, history = span(outlook.reach_min), outlook.basis == HISTORY
    if change is Change.BREACH:
        again = () if outlook.inside else _moments(outlook, outlook.again_min, outlook.again_by_min)
        return Foreseen((), again, reach, history)
    if outlook.earliest_min is None:
        return NOTHING
    crossing = _moments(outlook, outlook.earliest_min, outlook.likely_min, outlook.latest_min)
    return Foreseen(crossing, (), reach, history)


def _moments(outlook: Outlook, *minutes: float | None) -> tuple[int | None, ...]:
    return tuple(None if each is None else _utc_ms(outlook, each) for each in minutes)


def beside(found: Foreseen, start: Start, area: Area) -> Foreseen:
    """Return it with the last blast start of the area."""
    allowed = clocks.hours(round((area.prime_within_s or 0.0) * 1000))
    return replace(found, start=start.utc_ms, allowed=allowed, clause=area.prime_clause)
