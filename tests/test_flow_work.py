"""Areas in the fold: stages, the clocks' begin and end, exposures by rule, and history of what went on."""

from __future__ import annotations

import dataclasses
import json

import pytest

from alerts.alarm import Alarm, AlarmState, Change
from alerts.limits import Limit, Verdict
from alerts.measured import Measured, Quantity, Validity, unknown
from gateway import area_work
from gateway.coatings import Product, RecoatStep
from gateway.conditions import Condition, Conditions
from gateway.entry import Kind, plain
from gateway.flow import Flow
from gateway.flow_exposures import undisposed
from gateway.flow_state import Begun, Outcomes, State
from gateway.flow_work import Areas
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from tests.sites import margin_limit, site
from tests.test_flow import Day, values

H = 3_600_000
PRODUCT = Product("pu", "polyurethane", "sheet 1", "by temperature", (RecoatStep(16.0, 27.0, 6.0, 48.0),))


def place(*limits: object) -> Jobsite:
    """The test site with a product and a time to prime within."""
    plain_site = site(*limits)  # type: ignore[arg-type]
    (area,) = plain_site.areas
    area = dataclasses.replace(area, prime_within_s=8 * 3600.0, prime_clause="spec 5.1")
    return dataclasses.replace(plain_site, areas=(area,), products=(PRODUCT,))


@pytest.fixture
def day() -> Day:
    """A day on that site, with its margin limit for coating."""
    made = Day(margin_limit(activities=("coating", "curing")))
    body = canonical.config_set(place(margin_limit(activities=("coating", "curing"))), "keeper", "test")
    made.add(plain(Kind.CONFIG_SET, made.now, body))
    return made


def act(day: Day, act: str, activity: str = "", **more: object) -> None:
    """The lead does something in area A; what is refused is a mistake of the test."""
    body = {"act": act, "person": "lead", "area": "A"} | ({"activity": activity} if activity else {}) | more
    refused = day.flow.state.counts.get("act refused", 0)
    day.put(Kind.ACTION, body)
    assert day.flow.state.counts.get("act refused", 0) == refused


def work(day: Day) -> area_work.Work:
    return day.flow.state.work["A"]


def again(day: Day) -> Flow:
    """The same entries in one go."""
    flow = Flow()
    flow.advance(day.entries, Outcomes())
    return flow


def test_the_stages_of_an_area_follow_what_ended(day: Day) -> None:
    """Blasted, primed, coated, cured: each with its time and its person."""
    act(day, "begin", "blasting")
    day.pass_time(600, **values())
    act(day, "end", "blasting")
    assert (work(day).stage, work(day).since_ms, work(day).by) == ("blasted", day.now, "lead")
    act(day, "begin", "priming", product="pu", batch="17")
    act(day, "end", "priming")
    assert work(day).stage == "primed" and not work(day).bare
    act(day, "begin", "coating", coat="finish")
    act(day, "end", "coating")
    assert work(day).stage == "coated"
    assert [coat.name for coat in work(day).coats] == ["priming 1", "finish"]
    act(day, "end", "curing")
    assert work(day).stage == "cured" and {coat.cured_ms for coat in work(day).coats} == {day.now}


def test_a_coat_cures_whether_anybody_says_so_or_not(day: Day) -> None:
    """The end of a film begins its cure; idle and a restart leave it."""
    act(day, "begin", "coating")
    act(day, "end", "coating")
    assert list(day.flow.state.activities["A"]) == ["curing"]
    act(day, "begin", "idle", until_ms=day.now + H)
    day.put(Kind.STARTED, {"offset_ms": 0})
    assert "curing" in day.flow.state.activities["A"]


def test_hours_since_blast_count_from_the_oldest_steel(day: Day) -> None:
    """Blasting that goes on next day keeps its clock; blasting anew, or over a coat, begins it again."""
    act(day, "begin", "blasting")
    begun = day.now
    day.now += 10 * H
    act(day, "end", "blasting")
    act(day, "begin", "blasting")
    assert work(day).blast_begun_ms == begun and work(day).blast_ended_ms is None
    act(day, "end", "blasting")
    day.now += H
    act(day, "begin", "blasting", anew=1)
    assert work(day).blast_begun_ms == day.now


def test_idle_ends_with_its_shift_without_a_message(day: Day) -> None:
    """Then the area is unset, which is not idle."""
    day.pass_time(60, **values())
    act(day, "begin", "idle", until_ms=day.now + 2 * 60_000)
    day.pass_time(110, **values())
    assert "idle" in day.flow.state.activities["A"]
    day.now += 20_000
    day.flow.tick(day.now)
    assert day.flow.state.activities["A"] == {}


def test_a_breach_in_cure_opens_an_exposure_and_limits_back_end_it(day: Day) -> None:
    """It says area, coat, minutes and the worst margin, and waits for the inspector."""
    act(day, "begin", "coating", coat="finish")
    day.pass_time(60, **values())
    act(day, "end", "coating")
    broke = day.now + 11_000  # judged on the next whole second
    day.pass_time(300, **values(steel=11.0))
    (made,) = day.flow.state.exposures.values()
    assert (made.code, made.area, made.coat, made.activity, made.limits) == (
        "E-1",
        "A",
        "finish",
        "curing",
        ["margin"],
    )
    assert made.opened_ms == broke and made.ended_ms is None
    day.pass_time(7200)  # silence ends nothing
    assert made.ended_ms is None
    day.pass_time(700, **values())
    assert made.ended_ms is not None
    # 20 °C, 50 % at 1010 hPa: dew point 9.27 °C (CoolProp 8.0.0), steel 11 °C.
    assert made.worst_k == pytest.approx(1.73, abs=0.01)
    assert [e.code for e in undisposed(day.flow.state)] == ["E-1"]
    events = [json.loads(each) for each in day.out.events]
    exposed = [e for e in events if e["number"] == "E-1"]
    assert [e["change"] for e in exposed] == ["exposure opened", "exposure ended"]
    assert "area A needs the inspector's disposition" in exposed[-1]["reason"]
    assert again(day).state.exposures == day.flow.state.exposures


def test_an_exposure_is_disposed_of_once_and_only_when_limits_are_back(day: Day) -> None:
    """The inspector's word stays with reason and person."""
    act(day, "begin", "coating")
    day.pass_time(300, **values(steel=11.0))
    word = {
        "act": "disposition",
        "exposure": "E-1",
        "decision": "to be reworked",
        "reason": "blush",
        "person": "i",
    }
    day.put(Kind.ACTION, word)
    assert day.flow.state.counts["act refused"] == 1
    day.pass_time(700, **values())
    day.put(Kind.ACTION, word)
    made = day.flow.state.exposures[1]
    assert (made.disposition, made.reason, made.disposed_by) == ("to be reworked", "blush", "i")
    assert undisposed(day.flow.state) == []
    day.put(Kind.ACTION, word | {"decision": "accepted as it is"})
    assert made.disposition == "to be reworked"


def test_blasted_steel_at_its_dew_point_is_exposed(day: Day) -> None:
    """Without any limit; it ends half a kelvin above, and somebody is told both times."""
    act(day, "begin", "blasting")
    day.pass_time(60, **values())
    act(day, "end", "blasting")
    day.pass_time(60, **values(steel=9.0))
    (made,) = day.flow.state.exposures.values()
    assert (made.limits, made.coat) == ([], "N/A") and made.worst_k == pytest.approx(-0.27, abs=0.01)
    day.pass_time(60, **values(steel=9.5))
    assert made.ended_ms is None
    day.pass_time(60, **values(steel=10.0))
    assert made.ended_ms is not None
    assert [n.event_number for n in day.out.notices if n.event_number == "E-1"] == ["E-1", "E-1"]


def test_no_exposure_of_bare_steel_that_stays_above(day: Day) -> None:
    """A breach alone is an alarm, not an exposure, while no film is on the steel."""
    act(day, "begin", "blasting")
    day.pass_time(300, **values(steel=11.0))
    assert day.flow.state.exposures == {}


def test_the_recoat_clock_runs_between_judgings(day: Day) -> None:
    """Six hours of the sheet: an hour of steel at 20 °C is a sixth; wet steel makes it void."""
    act(day, "begin", "coating", product="pu")
    day.pass_time(10, **values())
    act(day, "end", "coating")
    day.pass_time(3600, **values())
    recoat = work(day).coats[0].recoat
    assert recoat.earliest == pytest.approx(1 / 6, abs=0.002)
    assert recoat.latest == pytest.approx(1 / 48, abs=0.001) and recoat.void == ""
    day.pass_time(300, **values(steel=9.0))
    assert recoat.void == "condensation on the coat"
    assert again(day).state.work == day.flow.state.work


def test_rain_by_hand_makes_the_earliest_time_void(day: Day) -> None:
    """An entry by hand counts as what it says."""
    act(day, "begin", "coating", product="pu")
    act(day, "end", "coating")
    act(day, "manual", kind="rain or fog", seen="rain", words="ten minutes")
    assert work(day).coats[0].recoat.void == "rain or fog on the coat"


def test_wet_hours_and_activities_are_history(day: Day) -> None:
    """As derived values: what stood, stood for its time, also over a change of activity."""
    day.pass_time(10, **values(air_rh=85.0))
    act(day, "begin", "blasting")
    day.pass_time(600, **values(air_rh=85.0))
    act(day, "end", "blasting")
    day.pass_time(600, **values(air_rh=85.0))
    by_name: dict[str, list[int]] = {}
    for (name, _), sums in day.out.sheet.buckets.items():
        so_far = by_name.setdefault(name, [0, 0])
        so_far[0] += sums.total // 1_000_000
        so_far[1] += sums.known_ms
    assert by_name["A|activity|blasting"] == [600_000, 600_000]
    assert by_name["A|wetness|wet by ISO 9223 estimate"][0] == pytest.approx(
        1_170_000, abs=31_000
    )  # the last minute still stands
    assert by_name["A|activity|unset"][0] == pytest.approx(570_000, abs=31_000)
    outside, known = by_name["A|outside margin|unset"]
    # 20 °C and 85 % leave steel of 20 °C 2.6 K above the dew point of 17.4 °C: outside 3 K, all the time known.
    assert outside == known == pytest.approx(570_000, abs=31_000)
    assert "A|outside margin|blasting" not in by_name  # the limit is for coating


def test_bad_air_at_the_pot_while_blasting_is_remembered(day: Day) -> None:
    """The warning stands with the blast, not with the train."""
    train = {"dryer-t": 40.0, "dryer-rh": 95.0, "line-p": 7.0, "pot-skin": 20.0}
    day.pass_time(30, **values(), **train)
    act(day, "begin", "blasting")
    day.pass_time(30, **values(), **train)
    assert work(day).blast_air_wet
    act(day, "end", "blasting")
    act(day, "begin", "blasting", anew=1)
    assert not work(day).blast_air_wet


@pytest.mark.parametrize(
    ("going_on", "holds"),
    [((), True), (("coating",), True), (("priming",), True), (("stripe coat",), True), (("curing",), False),
     (("idle",), False), (("blasting",), False)],
)  # fmt: skip
def test_a_limit_for_coating_holds_for_every_film_and_while_nothing_is_set(
    going_on: tuple[str, ...], holds: bool
) -> None:
    """Unset is not idle."""
    assert area_work.applies(margin_limit(activities=("coating",)), going_on) is holds


def test_any_split_of_the_entries_gives_the_same_state(day: Day) -> None:
    """Clocks and exposures come from entries alone, not from when the writer looked."""
    act(day, "begin", "coating", product="pu")
    day.pass_time(300, **values(steel=11.0))
    act(day, "end", "coating")
    day.pass_time(900, **values())
    whole, bits = again(day), Flow()
    for each in day.entries:
        bits.advance([each], Outcomes())
    assert whole.checkpoint() == bits.checkpoint() == Flow.from_checkpoint(bits.checkpoint()).checkpoint()


def test_blasted_steel_that_stands_too_long_is_told_and_needs_a_disposition(day: Day) -> None:
    """After eight hours of the specification, without any message; until it has its coat."""
    act(day, "begin", "blasting")
    begun = day.now
    day.pass_time(60, **values())
    act(day, "end", "blasting")
    day.now = begun + 8 * H - 1000
    day.flow.tick(day.now)
    assert day.flow.state.exposures == {}
    assert day.flow.due_ms() == begun + 8 * H
    day.now += 1000
    outcomes = day.flow.tick(day.now)
    (made,) = day.flow.state.exposures.values()
    assert (made.cause, made.limits, made.opened_ms) == (area_work.TIME, ["8 h 00 min (spec 5.1)"], begun + 8 * H)
    assert "blasted steel stood longer than 8 h 00 min (spec 5.1)" in outcomes.notices[0].title
    act(day, "begin", "priming")
    day.pass_time(10, **values())
    assert made.ended_ms is not None and [each.code for each in undisposed(day.flow.state)] == ["E-1"]


def test_the_end_of_a_cure_ends_its_exposure_and_does_not_say_limits_back(day: Day) -> None:
    """The film is cured; the air is as bad as before."""
    act(day, "begin", "coating")
    act(day, "end", "coating")
    day.pass_time(300, **values(steel=11.0))
    act(day, "end", "curing")
    day.pass_time(10, **values(steel=11.0))
    (made,) = day.flow.state.exposures.values()
    assert made.ended_ms is not None and made.ended_by == "the activity ended, limits are not back"
    assert "limits back" not in json.loads(day.out.events[-1])["reason"]


def said(*values: float | None) -> list[Condition]:
    """A value at so many places; None where it is not known."""
    return [
        Condition("", unknown("", 0) if value is None else Measured(value, 0.1, 0, Validity.GOOD))
        for value in values
    ]


@pytest.mark.parametrize(
    ("steel", "at_steel", "margins", "rh", "seen"),
    [
        ((10.0, 12.0), (0.5, 0.9), (5.0, -0.5), 0.5, (10.0, 12.0, False, True, True)),
        ((10.0, 12.0), (0.5, 0.7), (5.0, 3.0), 0.9, (10.0, 12.0, True, False, False)),
        ((10.0, None), (None, 0.9), (None, -0.5), None, (None, None, None, True, True)),
        ((None, 12.0), (0.5, None), (5.0, None), 0.5, (None, None, False, None, None)),
        ((), (), (), 0.5, (None, None, False, None, None)),
    ],
)
def test_the_worst_place_says_whether_an_area_is_wet(
    steel: tuple[float | None, ...], at_steel: tuple[float | None, ...], margins: tuple[float | None, ...],
    rh: float | None, seen: tuple[float | bool | None, ...],
) -> None:  # fmt: skip
    """Wet where any place is; dry, and the two ends of the steel, only where every place is known."""
    found = {
        ("A", Quantity.STEEL_TEMPERATURE): said(*steel),
        ("A", Quantity.RH_AT_STEEL): said(*at_steel),
        ("A", Quantity.DEW_POINT_MARGIN): said(*margins),
        ("A", Quantity.RELATIVE_HUMIDITY): said(rh),
        ("A", Quantity.AIR_TEMPERATURE): said(20.0),
    }
    state = State(judged_ms=5000, work={"A": area_work.Work(blast_begun_ms=0)})
    Areas(state, site(), found).judge({}, set(), True, False, 4000, Outcomes())
    assert state.work["A"].seen == area_work.Seen(5000, *seen)  # type: ignore[arg-type]
    assert [each.worst_k for each in state.exposures.values()] == ([-0.5] if -0.5 in margins else [])


def test_air_that_turns_bad_while_blasting_is_remembered_when_it_is_good_again(day: Day) -> None:
    """A pot warmer than the air keeps its vapour, one of 20 °C does not."""
    train = {"dryer-t": 40.0, "dryer-rh": 95.0, "line-p": 7.0}
    day.pass_time(30, **values(), **train, **{"pot-skin": 60.0})
    act(day, "begin", "blasting")
    day.pass_time(30, **values(), **train, **{"pot-skin": 60.0})
    assert not work(day).blast_air_wet
    day.pass_time(60, **values(), **train, **{"pot-skin": 20.0})  # the third reading is believed
    assert work(day).blast_air_wet
    day.pass_time(60, **values(), **train, **{"pot-skin": 60.0})
    assert work(day).blast_air_wet


def test_a_verdict_is_history_from_the_second_it_turns(day: Day) -> None:
    """Not from the next minute on."""
    day.now += 80_000 - day.now % 60_000
    day.pass_time(60, **values())
    before = day.flow.state.standing["A|outside margin|unset"]
    assert (before.whole, before.since_ms) == (0, day.now - 19_000)  # since the minute
    day.pass_time(10, **values(steel=11.0))
    day.pass_time(10)
    stood = day.flow.state.standing["A|outside margin|unset"]
    assert (stood.whole, stood.since_ms) == (1_000_000, day.now - 9_000)


def test_an_activity_that_ends_by_itself_ends_in_history(day: Day) -> None:
    """Idle ends with its shift, between two minutes and without any message."""
    day.now += 80_000 - day.now % 60_000
    act(day, "begin", "idle", until_ms=day.now + 15_000)
    day.flow.tick(day.now + 14_000)
    assert "A|activity|idle" in day.flow.state.standing
    day.flow.tick(day.now + 16_000)
    standing = day.flow.state.standing
    assert "A|activity|idle" not in standing and standing["A|activity|unset"].since_ms == day.now + 15_000


def test_bare_steel_counts_its_wet_hours(day: Day) -> None:
    """Air of 85 % over blasted steel for ten minutes, from the first second judged."""
    act(day, "begin", "blasting")
    day.pass_time(600, **values(air_rh=85.0))
    wetness = work(day).wetness
    assert wetness.air_ms == wetness.air_known_ms == 580_000  # each reading is judged a second later
    assert wetness.condensing_ms == 0 and wetness.condensing_known_ms == wetness.air_ms


def test_no_recoat_window_runs_where_the_sheet_has_none_by_temperature(day: Day) -> None:
    """A moisture-cured product: its steps are not one of temperature alone."""
    cured = dataclasses.replace(PRODUCT, cure="moisture")
    at = dataclasses.replace(place(), products=(cured,))
    day.add(plain(Kind.CONFIG_SET, day.now, canonical.config_set(at, "keeper", "test")))
    act(day, "begin", "coating", product="pu")
    act(day, "end", "coating")
    day.pass_time(600, **values())
    assert (work(day).coats[0].recoat.earliest, work(day).coats[0].recoat.latest) == (0.0, 0.0)


def judged(
    state: State, at: Jobsite, margins: dict[str, float], verdicts: dict[str, Verdict] | None = None
) -> State:
    """One second judged of these margins, by subject."""
    found: Conditions = {}
    for subject, value in margins.items():
        of_train = Quantity.CONDENSATION_MARGIN if "/" in subject else Quantity.DEW_POINT_MARGIN
        found[subject, of_train] = said(value)
    Areas(state, at, found).judge(verdicts or {}, set(), True, False, 4000, Outcomes())
    return state


@pytest.mark.parametrize(
    ("margins", "wet"),
    [
        ({"T1/dryer": 5.0, "T1/pot": -1.0}, True),
        ({"T1/dryer": -1.0, "T1/pot": 5.0}, False),
        ({"T1/dryer": -1.0}, True),
        ({}, False),
    ],
)
def test_the_last_place_known_says_whether_blast_air_is_wet(margins: dict[str, float], wet: bool) -> None:
    """What falls out before it was taken out on the way."""
    state = State(judged_ms=5000, activities={"A": {"blasting": Begun(0, "lead")}})
    assert judged(state, site(), margins).work["A"].blast_air_wet is wet


def test_a_train_that_stands_still_is_history_as_that() -> None:
    """Neither inside nor outside."""
    state = judged(State(judged_ms=5000), site(margin_limit()), {}, {"margin": Verdict.NOT_RUNNING})
    assert state.standing["A|stopped margin|unset"].whole == 1_000_000
    assert "A|outside margin|unset" not in state.standing


def two_areas(*limits: Limit) -> Jobsite:
    plain_site = site(*limits)
    (area,) = plain_site.areas
    return dataclasses.replace(plain_site, areas=(area, dataclasses.replace(area, id="B")))


def test_an_exposure_of_one_area_is_not_ended_by_another() -> None:
    """Bare steel of A is wet, of B dry."""
    bare = {area: area_work.Work(blast_begun_ms=0) for area in ("A", "B")}
    state = judged(State(judged_ms=5000, work=bare), two_areas(), {"A": -1.0, "B": 5.0})
    assert [(each.area, each.ended_ms) for each in state.exposures.values()] == [("A", None)]


@pytest.mark.parametrize(
    ("area", "activities", "exposed"),
    [("A", ("curing",), ["A"]), ("B", ("curing",), []), ("A", ("blasting",), [])],
)
def test_a_coat_is_exposed_by_its_own_areas_limits_for_it(
    area: str, activities: tuple[str, ...], exposed: list[str]
) -> None:
    """While A cures; the alarm of the limit stands."""
    alarm = Alarm(AlarmState.UNACKNOWLEDGED, Change.BREACH)
    state = State(judged_ms=5000, alarms={"margin": alarm}, activities={"A": {"curing": Begun(0, "lead")}})
    limit = margin_limit(area=area, activities=activities)
    judged(state, two_areas(limit), {}, {"margin": Verdict.OUTSIDE})
    assert [each.area for each in state.exposures.values()] == exposed
