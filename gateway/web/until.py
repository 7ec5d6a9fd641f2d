"""Until when a verdict is expected to stand: what a crew asks next, in the forecast's own say.

Input: one area's verdict for one activity with the outlook of each limit. Output: sentences. Expected is not
promised, and what has no forecast is named.
"""

from __future__ import annotations

from alerts.limits import Verdict
from alerts.time_to_limit import Outlook, span
from gateway.board import AreaVerdict, JudgedLimit
from gateway.web.words import clock

MINUTE_MS = 60_000
_ALIKE = {
    Verdict.INSIDE: (Verdict.INSIDE, Verdict.CLOSE), Verdict.CLOSE: (Verdict.INSIDE, Verdict.CLOSE),
    Verdict.OUTSIDE: (Verdict.OUTSIDE,),
}  # fmt: skip


def until(area: AreaVerdict, zone_name: str) -> list[str]:
    """Return the sentences, with times of day in site time; none where nothing is judged."""
    judged = [each for each in area.limits if each.verdict in _ALIKE.get(area.verdict, ())]
    told = [each.outlook for each in judged if each.outlook and not each.outlook.why_not]
    say = _to_return if area.verdict is Verdict.OUTSIDE else _to_cross
    return [*([say(told, zone_name)] if told else []), *_not_forecast(judged)]


def _to_cross(told: list[Outlook], zone_name: str) -> str:
    """The first limit to be crossed decides."""

    def at(minutes: float) -> str:
        return _clock(told[0].utc_minute + minutes, zone_name)

    reach = min(each.reach_min for each in told)
    likely = min((each.likely_min for each in told if each.likely_min is not None), default=None)
    earliest = min((each.earliest_min for each in told if each.earliest_min is not None), default=None)
    if earliest is None:
        return f"No crossing is expected until {at(reach)}."
    if likely is None:
        return f"May be outside from {at(earliest)} on, more likely not before {at(reach)}."
    return f"Expected to be outside from about {at(likely)}, maybe from {at(earliest)} on."


def _to_return(told: list[Outlook], zone_name: str) -> str:
    """The last limit to come back decides."""
    known = [each.again_min for each in told if each.again_min is not None]
    if len(known) < len(told):
        return f"Not expected inside again within {span(min(each.reach_min for each in told))}."
    return f"Expected inside again at about {_clock(told[0].utc_minute + max(known), zone_name)}."


def _not_forecast(judged: list[JudgedLimit]) -> list[str]:
    silent = [each.quantity for each in judged if each.outlook is None or each.outlook.why_not]
    return [f"No forecast of: {each}." for each in dict.fromkeys(silent)]


def _clock(utc_minute: float, zone_name: str) -> str:
    return clock(round(utc_minute * MINUTE_MS), zone_name)[:5]
