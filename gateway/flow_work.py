"""Areas in the fold: what acts of persons change, and what a judging adds to clocks, history and exposures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from alerts.limits import Verdict
from alerts.measured import Quantity
from gateway import area_work, clocks, flow_exposures, flow_history
from gateway.area_work import COATING, UNSET, Coat, Seen, Work, applies
from gateway.conditions import Condition, Conditions, Key
from gateway.flow_history import Said
from gateway.flow_state import Begun, Outcomes, State
from gateway.jobsite import Area, Jobsite
from gateway.tiers import Sheet

WET = ("wet by ISO 9223 estimate", "RH at steel above 80 %", "margin at or below 0 K")
LOOKED_AT = (
    Quantity.STEEL_TEMPERATURE, Quantity.RH_AT_STEEL, Quantity.DEW_POINT_MARGIN, Quantity.RELATIVE_HUMIDITY,
    Quantity.AIR_TEMPERATURE,
)  # fmt: skip

NOTHING: Mapping[str, Begun] = {}


def work_of(state: State, area: str) -> Work:
    """Return what is known of an area's steel."""
    work = state.work.get(area)
    if work is None:
        work = state.work[area] = Work()
    return work


# -- acts ----------------------------------------------------------------------------------------------


def begin(state: State, body: Mapping[str, Any]) -> None:
    """Take the begin of an activity: blasting starts the clock of the oldest steel, a film begins a coat."""
    work, activity, now = work_of(state, body["area"]), body["activity"], state.core_ms
    if activity == "blasting" and (not work.bare or body.get("anew")):
        state.work[body["area"]] = Work(area_work.NOT_STATED, now, body["person"], now, seen=work.seen)
    elif activity == "blasting":
        work.blast_ended_ms = None
    elif activity in COATING:
        name = body.get("coat") or f"{activity} {1 + sum(each.activity == activity for each in work.coats)}"
        product, batch = body.get("product", ""), body.get("batch", "")
        work.coats.append(Coat(activity, name, product, batch, now, body["person"]))


def end(state: State, body: Mapping[str, Any]) -> None:
    """Take the end of an activity: the end of a film begins its cure, since it cures whether anybody says so."""
    work, activity, now, by = work_of(state, body["area"]), body["activity"], state.core_ms, body["person"]
    if activity == "blasting":
        work.blast_ended_ms = now
        _stage(work, area_work.BLASTED, now, by)
    elif activity in COATING:
        for coat in work.coats:
            if coat.activity == activity and coat.ended_ms is None:
                coat.ended_ms = now
        _stage(work, area_work.PRIMED if activity == "priming" else area_work.COATED, now, by)
        state.activities.setdefault(body["area"], {})["curing"] = Begun(now, by)
    elif activity == "curing":
        for coat in work.coats:
            coat.cured_ms = coat.cured_ms or now
        _stage(work, area_work.CURED, now, by)


def _stage(work: Work, stage: str, now_ms: int, by: str) -> None:
    work.stage, work.since_ms, work.by = stage, now_ms, by


def rain(state: State, area: str) -> None:
    """Water on a film that is not yet at its earliest recoat time makes that time void."""
    _void(work_of(state, area), "rain or fog on the coat")


def _void(work: Work, why: str) -> None:
    for coat in work.coats[-1:]:
        if coat.recoat.earliest < 1.0:
            coat.recoat.void = coat.recoat.void or why


def dispose(state: State, body: Mapping[str, Any]) -> None:
    """Take the inspector's decision on an exposure that has ended."""
    found = state.exposures[int(body["exposure"].removeprefix("E-"))]
    found.disposition, found.reason = body["decision"], body["reason"]
    found.disposed_by, found.disposed_ms = body["person"], state.core_ms


# -- time ----------------------------------------------------------------------------------------------


def started(state: State) -> None:
    """Nothing is derived across downtime: what stood before is not known to have stood since."""
    for work in state.work.values():
        work.seen = None


def expire(state: State, now_ms: int) -> None:
    """Idle ends with its shift; the area is then unset, and all its limits are judged."""
    for going_on in state.activities.values():
        for name in [name for name, begun in going_on.items() if _is_over(begun, now_ms)]:
            del going_on[name]


def _is_over(begun: Begun, now_ms: int) -> bool:
    return begun.until_ms is not None and begun.until_ms <= now_ms


def deadlines(state: State, site: Jobsite | None) -> list[int]:
    """Return the core times at which an activity ends by itself, or bare steel has stood as long as it may."""
    going_on = [begun for area in state.activities.values() for begun in area.values()]
    found = [begun.until_ms for begun in going_on if begun.until_ms is not None]
    for area in site.areas if site else ():
        work = state.work.get(area.id)
        due_ms = None if work is None else flow_exposures.due_to_prime_ms(area, work)
        if due_ms is not None:
            found.append(due_ms)
    return found


# -- judging -------------------------------------------------------------------------------------------


class _Place:
    """One area, and what of it stays the same from one second to the next: where its values are, its channels."""

    def __init__(self, site: Jobsite, area: Area, found: Conditions) -> None:
        self.area = area
        self.keys = {(area.id, quantity) for quantity in LOOKED_AT}
        # `Workings` fills these lists in place
        self.steel, self.at_steel, self.margins, self.rh, self.air = (
            found.get((area.id, quantity), []) for quantity in LOOKED_AT
        )
        feeding = [train for train in site.trains if area.id in train.feeds]
        self.trains = [
            [(f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN) for piece in train.pieces]
            for train in feeding
        ]
        self.pieces = {key for keys in self.trains for key in keys}
        self.wet = [f"{area.id}|wetness|{words}" for words in WET]
        self._limits = site.limits_of(area.id)
        self.name(())

    def name(self, going_on: Iterable[str]) -> None:
        """Name the channels that are history while these activities go on; of limits: id, outside, stopped."""
        area, self.going_on = self.area.id, list(going_on)
        names = self.going_on or [UNSET]
        self.activities = [f"{area}|activity|{name}" for name in names]
        self.limits = [
            (limit.id, f"{area}|outside {limit.id}|{name}", f"{area}|stopped {limit.id}|{name}")
            for limit in self._limits for name in names
            if applies(limit, () if name == UNSET else (name,))
        ]  # fmt: skip


class Areas:
    """Every area of the jobsite in force as it is judged: its clocks, its history, its exposures."""

    def __init__(self, state: State, site: Jobsite, found: Conditions) -> None:
        self._state = state
        self._site = site
        self._found = found
        self._places = [_Place(site, area, found) for area in site.areas]
        self._windows = {each.id: each for each in site.products if not clocks.no_window(each)}
        self._exposed = flow_exposures.Open(state)

    def judge(
        self, verdicts: Mapping[str, Verdict], anew: set[Key], turned: bool, minute: bool, before_ms: int,
        outcomes: Outcomes,
    ) -> None:  # fmt: skip
        """Bring the clocks up to the second just judged, and history and exposures where they may change.

        anew: the values made again. turned: an act or a verdict is not as it was at the second before.
        """
        state = self._state
        for place in self._places:
            area = place.area
            work, going_on = work_of(state, area.id), state.activities.get(area.id, NOTHING)
            if work.seen is not None and (work.coats or work.blast_begun_ms is not None):
                self._run_clocks(work, work.seen)
            if "blasting" in going_on and (turned or not anew.isdisjoint(place.pieces)):
                work.blast_air_wet = work.blast_air_wet or self._is_blast_air_wet(place)
            again = turned or minute or work.shown != list(going_on)
            if again or not anew.isdisjoint(place.keys) or self._is_overdue(area, work, before_ms):
                self._look(place, work, verdicts, again, minute, outcomes)
            elif work.seen is not None:
                work.seen.since_ms = state.judged_ms

    def _look(
        self, place: _Place, work: Work, verdicts: Mapping[str, Verdict], again: bool, minute: bool,
        outcomes: Outcomes,
    ) -> None:  # fmt: skip
        before, margins = work.seen, _known(place.margins)
        least_k = min(margins) if margins else None
        condensing = _of_all(clocks.is_condensing(least_k), margins, place.margins)
        if condensing:
            _void(work, "condensation on the coat")
        seen = work.seen = self._seen(place, condensing)
        if again or before is None or _wet(before) != _wet(seen):
            self._history(place, work, seen, verdicts, minute, outcomes.sheet)
        if work.blast_begun_ms is not None or work.shown or self._exposed.any():
            flow_exposures.judged(self._state, self._site, place.area, work, least_k, self._exposed, outcomes)

    def _is_overdue(self, area: Area, work: Work, before_ms: int) -> bool:
        """Whether time alone made bare steel stand too long."""
        due_ms = flow_exposures.due_to_prime_ms(area, work)
        return due_ms is not None and before_ms < due_ms <= self._state.judged_ms

    def _run_clocks(self, work: Work, seen: Seen) -> None:
        length_ms = self._state.judged_ms - seen.since_ms
        if length_ms <= 0:
            return
        if work.blast_begun_ms is not None:
            work.wetness.take(length_ms, seen.air, seen.steel, seen.condensing)
        for coat in work.coats[-1:]:
            product = self._windows.get(coat.product)
            if product and coat.cured_ms is None:
                applied = coat.ended_ms is not None
                clocks.run(coat.recoat, product, seen.since_ms, length_ms, seen.coldest_c, seen.warmest_c, applied)

    def _seen(self, place: _Place, condensing: bool | None) -> Seen:
        steel, at_steel = _known(place.steel), _known(place.at_steel)
        every = len(steel) == len(place.steel) > 0
        return Seen(
            self._state.judged_ms,
            min(steel) if every else None,
            max(steel) if every else None,
            _is_wet_air(place),
            _of_all(clocks.is_wet_steel(max(at_steel) if at_steel else None), at_steel, place.at_steel),
            condensing,
        )

    def _is_blast_air_wet(self, place: _Place) -> bool:
        """Whether the last place of a feeding train of which anything is known has water falling out after it."""
        for keys in place.trains:
            margins = [_known(self._found.get(key, [])) for key in keys]
            last = next((known for known in reversed(margins) if known), [])
            if any(value <= 0.0 for value in last):
                return True
        return False

    def _history(
        self, place: _Place, work: Work, seen: Seen, verdicts: Mapping[str, Verdict], minute: bool, sheet: Sheet
    ) -> None:
        """Activities, wet hours and verdicts are history as any derived value: 1 while so, 0 while not."""
        state = self._state
        going_on = list(state.activities.get(place.area.id, ()))
        if work.shown != going_on:  # an act has changed it: what stood for the activities before ends here
            _take_down_activities(state, place.area.id, sheet)
            work.shown = going_on
        if place.going_on != going_on:
            place.name(going_on)
        said: list[Said] = [(channel, SO) for channel in place.activities]
        said += ((channel, _WHOLE[is_so]) for channel, is_so in zip(place.wet, _wet(seen), strict=True))
        for limit, outside, stopped in place.limits:
            verdict = verdicts[limit]
            said.append((outside, _OUTSIDE.get(verdict)))
            said.append((stopped, SO if verdict is Verdict.NOT_RUNNING else None))
        flow_history.put_up(state, sheet, said, minute)


SO, NOT_SO = 1_000_000, 0  # in millionths
_WHOLE = {True: SO, False: NOT_SO, None: None}
_OUTSIDE = {Verdict.INSIDE: NOT_SO, Verdict.CLOSE: NOT_SO, Verdict.OUTSIDE: SO}


def _known(places: list[Condition]) -> list[float]:
    return [value for each in places if (value := each.measured.value) is not None]


def _of_all(worst: bool | None, known: list[float], places: list[Condition]) -> bool | None:
    """Wet where the wettest place known is; dry only where all are known."""
    return worst if worst or len(known) == len(places) else None


def _is_wet_air(place: _Place) -> bool | None:
    pairs = zip(place.rh, place.air, strict=True)
    said = [clocks.is_wet_air(rh.measured.value, t.measured.value) for rh, t in pairs]
    return True if True in said else None if None in said or not said else False


def _wet(seen: Seen) -> tuple[bool | None, bool | None, bool | None]:
    """By the three readings of wetness, in the order of their words."""
    return seen.air, seen.steel, seen.condensing


def _take_down_activities(state: State, area: str, sheet: Sheet) -> None:
    kinds = tuple(f"{area}|{kind}" for kind in ("activity|", "outside ", "stopped "))
    flow_history.take_down(state, sheet, [each for each in state.standing if each.startswith(kinds)])
