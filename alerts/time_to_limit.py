"""Time to limit as a person asks for it: how likely within the hour, about when, back by when, start until when.

Made from what `forecast` remembers. All moments come from one curve, the probability of having been outside by
then: its tenth, half and ninth tenth are the earliest, likely and latest minute of an 80 % interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from alerts.forecast import (
    FIRST_MIN,
    FORECAST,
    HORIZONS_MIN,
    STEPS_MIN,
    TREND,
    Scale,
    Track,
    at_steps,
    feed,
    paths_of,
    probabilities,
)
from alerts.limits import Limit

TOO_FAST = "no forecast: the humidity of the air changes too fast to promise a time"
NOT_OFFERED = "no forecast is made for this quantity"
UNKNOWN = "no forecast: the value is not known now"
TOO_SHORT = f"no forecast yet: it needs {FIRST_MIN} minutes of values without a gap"
NO_HISTORY = "no history yet: from the last hour's trend, at most 2 h ahead"
HISTORY = "from this site's usual day"
REACH_MIN = {False: 120, True: HORIZONS_MIN[-1]}
SHOWN_MIN = (15, 30, 60, 120)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is expected of one limit, in minutes from utc_minute; nothing but `why_not` where nothing is.

    within: (minutes, probability of being outside at some minute until then). earliest, likely, latest: when the
    probability reaches 10, 50 and 90 %; None beyond reach_min. again and again_by: when outside now, the likely
    return and the one that holds in nine of ten; None beyond reach_min.
    """

    why_not: str = ""
    basis: str = ""
    utc_minute: int = 0
    inside: bool = False
    reach_min: int = 0
    within: tuple[tuple[int, float], ...] = ()
    earliest_min: float | None = None
    likely_min: float | None = None
    latest_min: float | None = None
    again_min: float | None = None
    again_by_min: float | None = None


def hear(track: Track, limit: Limit, minute: int, distance: float | None, budget: float) -> bool:
    """Take one closed minute in; return whether a warning ahead is due.

    Args: minute: of UTC, counted from 1970. distance: mean distance to the limit [unit used inside], positive on
    its good side, None where not known. budget: false warnings a week that the site lead allows.
    """
    before = track.minute
    feed(track, minute, None if distance is None else Scale.of(limit).y(distance))
    if distance is None or track.minute == before:
        return False
    ready = distance >= 0 and track.known > FIRST_MIN
    p = probabilities(track, SHOWN_MIN)[-1] if ready else None
    return track.early.feed(minute, distance, limit.deadband_inside, p, budget)


def outlook(track: Track | None, limit: Limit) -> Outlook:
    """Return what is expected of a limit, or why nothing is."""
    if limit.quantity not in FORECAST:
        return Outlook(why_not=TOO_FAST if "humidity" in limit.quantity else NOT_OFFERED)
    if track is None or track.now is None:
        return Outlook(why_not=UNKNOWN)
    if track.known <= FIRST_MIN:
        return Outlook(why_not=TOO_SHORT)
    history = track.way != TREND
    reach, basis = REACH_MIN[history], HISTORY if history else NO_HISTORY
    if track.now < 0:
        again, by = _return(track, reach)
        return Outlook("", basis, track.minute, False, reach, again_min=again, again_by_min=by)
    curve = [each for each in zip(HORIZONS_MIN, probabilities(track), strict=True) if each[0] <= reach]
    within = tuple((minutes, round(p, 2)) for minutes, p in curve)
    return Outlook("", basis, track.minute, True, reach, within, *(reaches(curve, p) for p in (0.1, 0.5, 0.9)))


def reaches(curve: Sequence[tuple[int, float]], share: float) -> float | None:
    """Return when a never falling curve that begins at nothing reaches a share, straight between its points."""
    for (before, low), (after, high) in pairwise([(0, 0.0), *curve]):
        if high >= share:
            return before + (after - before) * (share - low) / (high - low)
    return None


def _return(track: Track, reach_min: int) -> tuple[float | None, float | None]:
    """When the path comes back inside, and when its lower edge does."""
    path = paths_of(track)[track.way]
    low = at_steps([each.low * each.error for each in track.ways[track.way].outside])
    edge = [y + down for y, down in zip(path, low, strict=True)]
    return _first_inside(path, reach_min), _first_inside(edge, reach_min)


def _first_inside(path: list[float], reach_min: int) -> float | None:
    return next((m for m, y in zip(STEPS_MIN, path, strict=True) if y >= 0 and m <= reach_min), None)


def last_start_min(found: Outlook, work_min: float) -> float | None:
    """Return how many minutes from now a piece of work may begin at the latest to end inside in nine of ten.

    Negative: it would not. None: no crossing is foreseen within reach, or nothing is known (`why_not`).
    """
    return None if found.earliest_min is None else found.earliest_min - work_min


def words(found: Outlook) -> str:
    """Return one line for a person."""
    if found.why_not:
        return found.why_not
    if not found.inside:
        return f"outside now; {_return_words(found)} ({found.basis})"
    shares = ", ".join(f"{span(m)} {p:.0%}".replace("%", " %") for m, p in found.within if m in SHOWN_MIN)
    return f"{_likely_words(found)}; outside within {shares} ({found.basis})"


def _return_words(found: Outlook) -> str:
    if found.again_min is None:
        return f"not expected inside again within {span(found.reach_min)}"
    by = f"in nine of ten by {span(found.again_by_min)}" if found.again_by_min else "not sure when"
    return f"inside again in about {span(found.again_min)}, {by}"


def _likely_words(found: Outlook) -> str:
    if found.likely_min is None:
        if found.earliest_min is None:
            return f"no crossing expected within {span(found.reach_min)}"
        return f"may cross from {span(found.earliest_min)} on, more likely not within {span(found.reach_min)}"
    latest = f"to {span(found.latest_min)}" if found.latest_min else f"or after {span(found.reach_min)}"
    return f"crosses in about {span(found.likely_min)} (80 %: {span(found.earliest_min or 0)} {latest})"


def span(minutes: float) -> str:
    """Return a stretch of time as a person says it: to the minute, from 20 minutes on to five."""
    whole = round(minutes) if minutes < 20 else 5 * round(minutes / 5)
    if whole < 120:
        return f"{whole} min"
    return f"{whole // 60} h" + (f" {whole % 60} min" if whole % 60 else "")
