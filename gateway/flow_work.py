"""Areas in the fold: what acts of persons change, and what a judging adds to clocks, history and exposures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from alerts.limits import Verdict
from alerts.measured import Quantity
from gateway import area_work, clocks, flow_exposures, flow_history
from gateway.area_work import COATING, UNSET, Coat, Seen, Work, applies
from gateway.coatings import Product
from gateway.conditions import Conditions
from gateway.flow_state import Begun, Outcomes, State
from gateway.jobsite import Area, Jobsite

WET = {
    "air": "wet by ISO 9223 estimate",
    "steel": "RH at steel above 80 %",
    "condensing": "margin at or below 0 K",
}


def work_of(state: State, area: str) -> Work:
    """Return what is known of an area's steel."""
    return state.work.setdefault(area, Work())


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


def deadlines(state: State, site: Jobsite | None) -> Iterator[int]:
    """Yield the core times at which an activity ends by itself, or bare steel has stood as long as it may."""
    for area in site.areas if site else ():
        due = flow_exposures.due_to_prime_ms(area, state.work.get(area.id, Work()))
        yield from () if due is None else (due,)
    for going_on in state.activities.values():
        yield from (begun.until_ms for begun in going_on.values() if begun.until_ms is not None)


# -- judging -------------------------------------------------------------------------------------------


def judged(
    state: State, site: Jobsite, found: Conditions, verdicts: dict[str, Verdict], changed: set[str],
    before_ms: int, outcomes: Outcomes,
) -> None:  # fmt: skip
    """Bring every area's clocks up to the second just judged, and its history and exposures if they may change.

    changed: areas with a value, a limit or an act that is not as it was at the second judged before.
    """
    minute = state.judged_ms // clocks.MINUTE_MS != before_ms // clocks.MINUTE_MS
    products = {each.id: each for each in site.products}
    for area in site.areas:
        work = work_of(state, area.id)
        _run_clocks(work, products, state.judged_ms)
        if "blasting" in state.activities.get(area.id, {}):
            work.blast_air_wet = work.blast_air_wet or _is_blast_air_wet(site, area.id, found)
        if work.seen is not None and area.id not in changed and not _has_turned(state, area, work, before_ms):
            work.seen.since_ms = state.judged_ms
            continue
        seen = work.seen = _seen(area, found, state.judged_ms)
        if seen.condensing:
            _void(work, "condensation on the coat")
        _history(state, site, area, work, verdicts, minute, outcomes)
        flow_exposures.judged(state, site, area, work, found, outcomes)


def _has_turned(state: State, area: Area, work: Work, before_ms: int) -> bool:
    """Whether time alone ended an activity, or made bare steel stand too long."""
    due_ms = flow_exposures.due_to_prime_ms(area, work)
    overdue = due_ms is not None and before_ms < due_ms <= state.judged_ms
    return overdue or work.shown != list(state.activities.get(area.id, {}))


def _run_clocks(work: Work, products: dict[str, Product], now_ms: int) -> None:
    seen = work.seen
    if seen is None or now_ms <= seen.since_ms:
        return
    length_ms = now_ms - seen.since_ms
    if work.blast_begun_ms is not None:
        work.wetness.take(length_ms, seen.air, seen.steel, seen.condensing)
    for coat in work.coats[-1:]:
        product = products.get(coat.product)
        if coat.cured_ms is None and product and not clocks.no_window(product):
            applied = coat.ended_ms is not None
            clocks.run(coat.recoat, product, seen.since_ms, length_ms, seen.coldest_c, seen.warmest_c, applied)


def _seen(area: Area, found: Conditions, now_ms: int) -> Seen:
    temperatures = _values(found, area.id, Quantity.STEEL_TEMPERATURE)
    known = [each for each in temperatures if each is not None]
    whole = len(known) == len(temperatures) > 0
    humid = _values(found, area.id, Quantity.RELATIVE_HUMIDITY)
    warm = _values(found, area.id, Quantity.AIR_TEMPERATURE)
    return Seen(
        now_ms,
        min(known) if whole else None,
        max(known) if whole else None,
        _any(clocks.is_wet_air(rh, t) for rh, t in zip(humid, warm, strict=True)),
        _any(map(clocks.is_wet_steel, _values(found, area.id, Quantity.RH_AT_STEEL))),
        _any(map(clocks.is_condensing, _values(found, area.id, Quantity.DEW_POINT_MARGIN))),
    )


def _values(found: Conditions, subject: str, quantity: Quantity) -> list[float | None]:
    return [each.measured.value for each in found.get((subject, quantity), ())]


def _any(said: Iterable[bool | None]) -> bool | None:
    """Wet where any place is; not known where one is not, or where there is none."""
    every = list(said)
    return True if True in every else None if None in every or not every else False


def _is_blast_air_wet(site: Jobsite, area: str, found: Conditions) -> bool:
    """Whether the last place of a feeding train of which anything is known has water falling out after it."""
    for train in site.trains:
        if area not in train.feeds:
            continue
        margins = [
            _values(found, f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN) for piece in train.pieces
        ]
        known = [[value for value in each if value is not None] for each in margins]
        last = next((each for each in reversed(known) if each), [])
        if any(value <= 0.0 for value in last):
            return True
    return False


def _history(
    state: State, site: Jobsite, area: Area, work: Work, verdicts: dict[str, Verdict], minute: bool,
    outcomes: Outcomes,
) -> None:  # fmt: skip
    """Activities, wet hours and verdicts are history as any derived value: 1 while so, 0 while not."""
    going_on = state.activities.get(area.id, {})

    def stands(channel: str, is_so: bool | None) -> None:
        whole = None if is_so is None else 1_000_000 * is_so
        flow_history.put_up(state, outcomes.sheet, f"{area.id}|{channel}", whole, minute)

    if work.shown != list(going_on):  # an act has changed it: what stood for the activities before ends here
        _take_down_activities(state, area.id, outcomes)
        work.shown = list(going_on)
    for activity in going_on or (UNSET,):
        stands(f"activity|{activity}", True)
    for name, words in WET.items():
        stands(f"wetness|{words}", getattr(work.seen, name))
    for limit in site.limits_of(area.id):
        for activity in going_on or (UNSET,):
            if applies(limit, () if activity == UNSET else (activity,)):
                verdict = verdicts[limit.id]
                stands(f"outside {limit.id}|{activity}", _OUTSIDE.get(verdict))
                stands(f"stopped {limit.id}|{activity}", True if verdict is Verdict.NOT_RUNNING else None)


_OUTSIDE = {Verdict.INSIDE: False, Verdict.CLOSE: False, Verdict.OUTSIDE: True}


def _take_down_activities(state: State, area: str, outcomes: Outcomes) -> None:
    kinds = tuple(f"{area}|{kind}" for kind in ("activity|", "outside ", "stopped "))
    for channel in [each for each in state.standing if each.startswith(kinds)]:
        flow_history.take_down(state, outcomes.sheet, channel)
