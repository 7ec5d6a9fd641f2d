"""What the fold hears and says of the time to a limit: one closed minute of core time at a time.

A minute's value is the mean of what was judged in it; a minute that ends unknown is unknown. Limits that are a
breach only together have no forecast, nor has a value that is a bound.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from alerts import time_to_limit
from alerts.forecast import FORECAST
from alerts.limits import Limit, Verdict
from alerts.measured import Validity
from alerts.time_to_limit import Outlook
from gateway.flow_state import Ahead, Judged, State

MINUTE = 60_000
STALE_MIN = 3  # minutes without a closed one after which nothing is said
KNOWN = (Validity.GOOD, Validity.SATURATED)
JUDGED = (Verdict.INSIDE, Verdict.CLOSE, Verdict.OUTSIDE)
GROUPED = "no forecast: this limit counts only together with others"


def of_limits(state: State, limits: Iterable[Limit]) -> list[tuple[Limit, Ahead]]:
    """Return the limits of a jobsite that have a forecast, with what is remembered; forget others."""
    forecast = [each for each in limits if each.quantity in FORECAST and not each.group]
    state.ahead = {each.id: _ahead_of(state, each) for each in forecast}
    return [(each, state.ahead[each.id]) for each in forecast]


def take(
    state: State, limits: Iterable[tuple[Limit, Ahead]], judged: Mapping[str, Judged], budget: float
) -> Iterator[tuple[Limit, Outlook]]:
    """Take in what is judged now; yield the limits of which a warning ahead is due, each with its outlook.

    budget: false warnings a week that the site lead allows.
    """
    minute = (state.judged_ms + state.offset_ms) // MINUTE
    for limit, ahead in limits:
        due = minute != ahead.minute and _close(ahead, limit, minute, budget)
        _add(ahead, judged[limit.id])
        if due and judged[limit.id].judgement.verdict in (Verdict.INSIDE, Verdict.CLOSE):
            yield limit, time_to_limit.outlook(ahead.track, limit)


def _ahead_of(state: State, limit: Limit) -> Ahead:
    """What is remembered of a limit; of another threshold under the same name, nothing."""
    of = f"{limit.subject} {limit.quantity} {limit.relation} {limit.threshold!r} {limit.unit}"
    ahead = state.ahead.get(limit.id)
    return ahead if ahead is not None and ahead.of == of else Ahead(of)


def _close(ahead: Ahead, limit: Limit, minute: int, budget: float) -> bool:
    """Give the minute that is over to the track, and begin the next."""
    due = False
    if ahead.minute >= 0:
        mean = ahead.total / ahead.count if ahead.count else None
        due = time_to_limit.hear(ahead.track, limit, ahead.minute, mean, budget)
    ahead.minute, ahead.total, ahead.count = minute, 0.0, 0
    return due


def _add(ahead: Ahead, judged: Judged) -> None:
    distance = known_distance(judged)
    if distance is None:
        ahead.total, ahead.count = 0.0, 0
    else:
        ahead.total, ahead.count = ahead.total + distance, ahead.count + 1


def known_distance(judged: Judged) -> float | None:
    """Return the distance to the limit where the value itself is known now, else None."""
    judgement, measured = judged.judgement, judged.condition.measured
    known = judgement.verdict in JUDGED and measured.validity in KNOWN and measured.value is not None
    return judgement.distance if known else None


def outlook(state: State, limit: Limit, judged: Judged, core_ms: int) -> Outlook:
    """Return what is expected of a limit as of core_ms, or why not: nothing of a value not known now."""
    if limit.group:
        return Outlook(why_not=GROUPED)
    ahead = state.ahead.get(limit.id)
    found = time_to_limit.outlook(ahead.track if ahead else None, limit)
    old = (core_ms + state.offset_ms) // MINUTE - found.utc_minute > STALE_MIN
    if not found.why_not and (known_distance(judged) is None or old):
        return Outlook(why_not=time_to_limit.UNKNOWN)
    return found
