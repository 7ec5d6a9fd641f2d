"""Exposures in the fold: steel or a coat that stood in what it should not.

One opens where a limit is broken while a coat goes on or cures, or where blasted steel is at or below the dew
point. It ends by limits back, never by silence, and then waits for the inspector's disposition.
"""

from __future__ import annotations

from alerts.alarm import Change
from alerts.limits import Limit, Verdict
from alerts.notification import Notice
from alerts.reasons import in_language
from alerts.saying import Reader, say
from gateway import clocks
from gateway.area_work import DEW_POINT, EXPOSED, LIMITS, TIME, UNSET, Exposure, Work, applies
from gateway.flow_state import Event, Outcomes, State
from gateway.jobsite import Area, Jobsite
from gateway.payload import canonical

BACK, COVERED = "limits back", "it has its coat or is blasted anew"
OPENED, ENDED = "exposure opened", "exposure ended"
BACK_K = 0.5  # bare steel is out of its exposure this far above the dew point: ours, so that noise opens no second


class Open:
    """The exposures that go on, looked up again only after an event: none begins or ends without one."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._events = -1
        self._found: list[Exposure] = []

    def any(self) -> list[Exposure]:
        """Return those of all areas."""
        if self._events != self._state.events:
            self._events = self._state.events
            self._found = [each for each in self._state.exposures.values() if each.ended_ms is None]
        return self._found

    def of(self, area: str) -> list[Exposure]:
        """Return those of an area."""
        return [each for each in self.any() if each.area == area]


def undisposed(state: State) -> list[Exposure]:
    """Return the exposures that wait for the inspector's disposition, those that go on among them."""
    return [each for each in state.exposures.values() if not each.disposition]


def judged(
    state: State, site: Jobsite, area: Area, work: Work, least_k: float | None, exposed: Open, outcomes: Outcomes
) -> None:
    """Open, end and worsen the exposures of an area by the second just judged; least_k: its least margin known."""
    standing = {each.cause: each for each in exposed.of(area.id)}
    broken = _broken(state, site, area.id)
    if broken or LIMITS in standing:
        _breach(state, site, area, work, broken, standing.get(LIMITS), outcomes)
    _bare(state, site, area, work, least_k, standing.get(DEW_POINT), outcomes)
    _stood(state, site, area, work, standing.get(TIME), outcomes)
    for each in exposed.of(area.id):
        if least_k is not None and (each.worst_k is None or least_k < each.worst_k):
            each.worst_k = least_k


def _broken(state: State, site: Jobsite, area: str) -> list[Limit]:
    """The limits of an area that are broken, as their alarms see it, for a film that goes on or cures."""
    exposed = [name for name in state.activities.get(area, ()) if name in EXPOSED]
    if not exposed:
        return []
    own = [limit for limit in site.limits if limit.area == area and _is_breach(state, limit)]
    return [limit for limit in own if applies(limit, exposed)]


def _is_breach(state: State, limit: Limit) -> bool:
    alarm = state.alarms.get(limit.id)
    return alarm is not None and alarm.active and alarm.cause == Change.BREACH


def _breach(
    state: State, site: Jobsite, area: Area, work: Work, broken: list[Limit], standing: Exposure | None,
    outcomes: Outcomes,
) -> None:  # fmt: skip
    if standing:
        standing.limits += [each.id for each in broken if each.id not in standing.limits]
        if not broken:
            still = any(_is_breach(state, limit) for limit in site.limits if limit.id in standing.limits)
            _end(state, standing, "the activity ended, limits are not back" if still else BACK, outcomes)
    elif broken:
        going_on = state.activities[area.id]
        exposed = sorted((begun.since_ms, name) for name, begun in going_on.items() if name in EXPOSED)
        alarms = [state.alarms[each.id] for each in broken]
        broke_ms = min(each.since_ms if each.breach_since is None else each.breach_since for each in alarms)
        coat = work.coats[-1].name if work.coats else "N/A"
        activity = ", ".join(name for _, name in exposed)
        opened = max(broke_ms, exposed[0][0])
        _open(state, Exposure(0, area.id, coat, activity, [each.id for each in broken], opened), outcomes)


def _bare(
    state: State, site: Jobsite, area: Area, work: Work, least_k: float | None, standing: Exposure | None,
    outcomes: Outcomes,
) -> None:  # fmt: skip
    """Blasted steel at or below its dew point; what is not known neither opens nor ends it."""
    if standing:
        every = work.seen is not None and work.seen.condensing is not None
        if not work.bare or (every and least_k is not None and least_k > BACK_K):
            _end(state, standing, BACK if work.bare else COVERED, outcomes)
            outcomes.notices += notices(site, standing)
    elif least_k is not None and least_k <= 0.0 and work.bare:
        activity = ", ".join(state.activities.get(area.id, {})) or UNSET
        made = Exposure(0, area.id, "N/A", activity, [], state.judged_ms, DEW_POINT)
        _open(state, made, outcomes)
        outcomes.notices += notices(site, made)


def _stood(
    state: State, site: Jobsite, area: Area, work: Work, standing: Exposure | None, outcomes: Outcomes
) -> None:
    """Blasted steel that stands longer than the specification allows, until it has its coat or is blasted anew."""
    due_ms = due_to_prime_ms(area, work)
    overdue = due_ms is not None and state.judged_ms >= due_ms
    if standing and not overdue:
        _end(state, standing, COVERED, outcomes)
        outcomes.notices += notices(site, standing)
    elif overdue and not standing and due_ms is not None and area.prime_within_s is not None:
        activity = ", ".join(state.activities.get(area.id, {})) or UNSET
        allowed = f"{clocks.hours(round(area.prime_within_s * 1000))} ({area.prime_clause})"
        made = Exposure(0, area.id, "N/A", activity, [allowed], due_ms, TIME)
        _open(state, made, outcomes)
        outcomes.notices += notices(site, made)


def due_to_prime_ms(area: Area, work: Work) -> int | None:
    """Return the core time by which bare blasted steel is to have its coat; None where none is entered."""
    if area.prime_within_s is None or work.blast_begun_ms is None or not work.bare:
        return None
    return work.blast_begun_ms + round(area.prime_within_s * 1000)


def _open(state: State, made: Exposure, outcomes: Outcomes) -> None:
    state.exposure_numbers += 1
    made.number = state.exposure_numbers
    state.exposures[made.number] = made
    _event(state, made, OPENED, outcomes)


def _end(state: State, exposure: Exposure, by: str, outcomes: Outcomes) -> None:
    exposure.ended_ms, exposure.ended_by = state.judged_ms, by
    _event(state, exposure, ENDED, outcomes)


def _event(state: State, of: Exposure, change: str, outcomes: Outcomes) -> None:
    state.events += 1
    limit = of.limits[0] if of.cause == LIMITS else ""
    verdict = Verdict.OUTSIDE if change == OPENED else Verdict.INSIDE
    event = Event(state.events, state.judged_ms, of.code, change, limit, verdict, of.worst_k, None, words(of))
    outcomes.events.append(canonical.to_bytes(event))


def words(of: Exposure) -> str:
    """Return what an exposure is, in a sentence."""
    coat = "" if of.coat == "N/A" else f", coat {of.coat}"
    if of.ended_ms is None:
        return f"area {of.area}{coat}: {_why(of)}"
    minutes = -(-(of.ended_ms - of.opened_ms) // clocks.MINUTE_MS)
    return f"{of.ended_by}; area {of.area} needs the inspector's disposition{coat}: {_why(of)} for {minutes} min"


def _why(of: Exposure) -> str:
    if of.cause == TIME:
        return f"blasted steel stood longer than {of.limits[0]}"
    return f"outside {', '.join(of.limits)}" if of.cause == LIMITS else "blasted steel at or below its dew point"


def notices(site: Jobsite, of: Exposure) -> list[Notice]:
    """Return who is told that bare steel got wet, or that it waits for its disposition."""
    made = []
    for person in site.people:
        if "high" in person.priorities:
            said = in_language(words(of), person.language)
            body = f"{said}. {say(Reader(person.language), 'caution')}"
            title = f"{of.code} {said}"[:120]
            made += [Notice(of.code, person.id, each, "high", title, body) for each in person.channels]
    return made
