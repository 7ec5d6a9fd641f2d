"""The life of an alarm against a small model, and each rule of the limits by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts import alarm as life
from alerts.alarm import Alarm, AlarmState, Change, Hold
from alerts.figures import often
from alerts.limits import Judgement, Limit, Verdict, judge, probability_of_conformance, together
from alerts.measured import UNITS, Measured, Quantity, Validity, unknown
from tests.sites import margin_limit

LIMIT = margin_limit()
SECOND = 1000


def margin(value: float | None, u: float | None = 0.2, validity: Validity = Validity.GOOD) -> Measured:
    return unknown("no data", 0) if value is None else Measured(value, u, 0, validity)


@pytest.mark.parametrize(
    ("value", "u", "verdict", "well_inside"),
    [
        (3.5, 0.2, Verdict.INSIDE, True),
        (3.45, 0.2, Verdict.INSIDE, False),  # inside, but not yet past the deadband
        (3.39, 0.2, Verdict.CLOSE, False),  # within U = 0.4 K
        (3.0, 0.2, Verdict.CLOSE, False),  # at the limit is at least the limit
        (2.9999, 0.2, Verdict.OUTSIDE, False),  # judged unrounded, shown as it is
        (9.0, None, Verdict.INSIDE, True),  # accuracy not stated: no soft edge, never u = 0 by silence
        (None, None, Verdict.UNKNOWN, False),
    ],
)
def test_simple_acceptance(value: float | None, u: float | None, verdict: Verdict, well_inside: bool) -> None:
    """ILAC-G8:09/2019, 4.2.1: without a rule in the specification the limit itself decides."""
    said = judge(LIMIT, margin(value, u))
    assert (said.verdict, said.well_inside) == (verdict, well_inside)


def test_a_guarded_rule_asks_for_the_uncertainty_on_top_and_never_guesses_it() -> None:
    """ILAC-G8:09/2019, 4.2.2, w = U; without a stated accuracy the verdict is unknown."""
    guarded = margin_limit(decision_rule="guarded")
    assert judge(guarded, margin(3.39)).verdict is Verdict.OUTSIDE
    assert judge(guarded, margin(3.41)).verdict is Verdict.INSIDE
    assert judge(guarded, margin(9.0, None)).verdict is Verdict.UNKNOWN


def test_five_degrees_fahrenheit_are_not_three_kelvin() -> None:
    """The limit stays in the specification's unit: 5 Δ°F = 2.78 K; differences convert without the offset."""
    limit = margin_limit(threshold=5.0, unit="Δ°F", deadband=1.0, deadband_unit="Δ°F")
    assert judge(limit, margin(2.78)).verdict is not Verdict.OUTSIDE
    assert judge(limit, margin(2.77)).verdict is Verdict.OUTSIDE
    assert UNITS["°F"].inside(32.0) == pytest.approx(0.0)


def test_a_bound_decides_only_where_the_truth_cannot_lie_across() -> None:
    """Humidity below the sensor's resolution: dry enough may be said, too wet or dry at least may not."""
    bound = margin(5.0, 0.2, Validity.BOUND)
    assert judge(LIMIT, bound).verdict is Verdict.INSIDE
    assert judge(LIMIT, margin(2.0, 0.2, Validity.BOUND)).verdict is Verdict.UNKNOWN
    assert judge(LIMIT, margin(3.1, 0.3, Validity.BOUND)).verdict is Verdict.CLOSE
    assert not judge(LIMIT, margin(3.1, 0.3, Validity.BOUND)).well_inside  # the deadband is 0.5 K
    guarded = margin_limit(decision_rule="guarded")
    assert judge(guarded, margin(3.1, 0.3, Validity.BOUND)).verdict is Verdict.UNKNOWN
    assert judge(guarded, margin(3.7, 0.3, Validity.BOUND)).verdict is Verdict.INSIDE
    assert judge(guarded, margin(9.0, None, Validity.BOUND)).verdict is Verdict.UNKNOWN
    least = margin_limit(quantity=Quantity.RELATIVE_HUMIDITY, threshold=30.0, unit="%RH", deadband_unit="%RH")
    assert judge(least, margin(0.02, 0.01, Validity.BOUND)).verdict is Verdict.OUTSIDE


@pytest.mark.parametrize(
    ("distance", "probability"), [(0.0, 0.500), (0.3, 0.804), (0.576, 0.950), (0.7, 0.977), (-0.5, 0.077)]
)
def test_probability_of_conformance(distance: float, probability: float) -> None:
    """JCGM 106:2012, 7.2, for u = 0.35: computed values for a lower limit of 3.0 K."""
    assert probability_of_conformance(distance, 0.35) == pytest.approx(probability, abs=5e-4)


def test_a_stopped_train_raises_nothing_and_clears_nothing() -> None:
    """Not running is neither dry nor unknown."""
    alarm = Alarm(AlarmState.UNACKNOWLEDGED, Change.BREACH, 1)
    stopped = life.Judgement(Verdict.NOT_RUNNING, None, False, "")
    assert all(life.step(alarm, LIMIT, stopped, t * SECOND) is None for t in range(0, 7200, 60))
    assert alarm.state is AlarmState.UNACKNOWLEDGED


def test_a_good_value_starts_the_on_delay_again() -> None:
    """Two short spells outside with a good value between are not one long spell."""
    alarm, bad, good = Alarm(), judge(LIMIT, margin(2.0)), judge(LIMIT, margin(8.0))
    for t, said in ((0, bad), (50, bad), (55, good), (60, bad), (110, bad)):
        assert life.step(alarm, LIMIT, said, t * SECOND) is None
    assert life.step(alarm, LIMIT, bad, 120 * SECOND) is Change.BREACH


def test_close_to_limit_warns_once_until_it_has_been_calm() -> None:
    """Noise at the edge of the uncertainty does not repeat the warning."""
    alarm = Alarm()
    noise = ((t, judge(LIMIT, margin(3.2 if t // 120 % 2 else 3.7))) for t in range(0, 3600, 10))
    said = [life.step(alarm, LIMIT, judgement, t * SECOND) for t, judgement in noise]
    assert said.count(Change.CLOSE) == 1


def raised(**changes: object) -> Alarm:
    alarm = Alarm(AlarmState.UNACKNOWLEDGED, Change.BREACH, 1)
    for name, value in changes.items():
        setattr(alarm, name, value)
    return alarm


def run(alarm: Alarm, limit: Limit, value: float | None, seconds: range) -> list[Change]:
    said = judge(limit, margin(value))
    return [change for t in seconds if (change := life.step(alarm, limit, said, t * SECOND)) is not None]


def test_a_latched_alarm_stays_until_it_is_acknowledged_and_reset() -> None:
    """ISA-18.2: latched unacknowledged, acknowledged, then reset by a person; a new breach is a new alarm."""
    limit, alarm = margin_limit(latching=True), raised()
    assert run(alarm, limit, 8.0, range(602)) == [Change.RETURNED]
    assert alarm.state is AlarmState.LATCHED_UNACKNOWLEDGED
    assert life.reset(alarm) is None, "first acknowledged, then reset"
    assert life.acknowledge(alarm) is Change.ACKNOWLEDGED and alarm.state is AlarmState.LATCHED
    assert run(alarm, limit, 8.0, range(602, 9000)) == [] and alarm.state is AlarmState.LATCHED
    assert life.reset(alarm) is Change.RESET and alarm.state is AlarmState.NORMAL
    latched = raised(state=AlarmState.LATCHED)
    assert run(latched, limit, 2.0, range(9000, 9070)) == [Change.BREACH]
    assert latched.state is AlarmState.UNACKNOWLEDGED
    acknowledged = raised(state=AlarmState.ACKNOWLEDGED)
    run(acknowledged, limit, 8.0, range(602))
    assert acknowledged.state is AlarmState.LATCHED


def test_shelving_needs_an_end_within_a_shift_and_happens_once() -> None:
    """Without an end, in the past, or beyond twelve hours it is not shelved."""
    hour = 3_600_000
    for until_ms, change in ((None, None), (hour, None), (hour + 1, Change.SHELVED), (13 * hour, Change.SHELVED),
                             (13 * hour + 1, None)):  # fmt: skip
        assert life.shelve(raised(), Hold("lead", "service", until_ms), hour) is change
    alarm = raised()
    assert life.shelve(alarm, Hold("lead", "service", hour), 0) is Change.SHELVED
    assert life.shelve(alarm, Hold("other", "again", hour), 0) is None
    assert alarm.shown is AlarmState.SHELVED and alarm.shelf == Hold("lead", "service", hour)
    assert life.deadline_ms(alarm, LIMIT) == hour


@pytest.mark.parametrize(
    ("hold", "release", "shown"),
    [
        (lambda a: life.suppress(a, True), lambda a: life.suppress(a, False), AlarmState.SUPPRESSED),
        (lambda a: life.shelve(a, Hold("lead", "x", 9), 0), life.unshelve, AlarmState.SHELVED),
        (lambda a: life.take_out_of_service(a, Hold("lead", "x")), life.put_in_service, AlarmState.OUT_OF_SERVICE),
    ],
)
def test_an_alarm_under_a_hold_is_unacknowledged_again_when_the_hold_ends(
    hold: Callable[[Alarm], Change | None], release: Callable[[Alarm], Change | None], shown: AlarmState
) -> None:
    """Acknowledged before or not: what still stands is to be seen again; what is back is not."""
    alarm = raised(state=AlarmState.ACKNOWLEDGED)
    assert hold(alarm) is not None and hold(alarm) is None, "a second time changes nothing"
    assert alarm.shown is shown and alarm.held
    assert release(alarm) is not None and release(alarm) is None
    assert alarm.shown is alarm.state is AlarmState.UNACKNOWLEDGED and not alarm.held
    calm = Alarm()
    hold(calm)
    release(calm)
    assert calm.state is AlarmState.NORMAL


def test_silence_under_a_hold_clears_nothing() -> None:
    """Shelved while outside, then silent for hours, then unshelved: it still stands."""
    alarm = raised()
    life.shelve(alarm, Hold("lead", "service", 3_600_000), 0)
    assert run(alarm, LIMIT, None, range(1, 3601)) == []
    life.unshelve(alarm)
    assert alarm.active and alarm.cause == Change.BREACH and alarm.state is AlarmState.UNACKNOWLEDGED


def test_two_holds_are_both_to_end() -> None:
    """Out of service is shown before shelved, and the end of one leaves the other."""
    alarm = raised(state=AlarmState.ACKNOWLEDGED)
    life.shelve(alarm, Hold("lead", "service", 9), 0)
    life.take_out_of_service(alarm, Hold("keeper", "sensor sent in"))
    assert alarm.shown is AlarmState.OUT_OF_SERVICE
    life.put_in_service(alarm)
    assert alarm.shown is AlarmState.SHELVED and alarm.state is AlarmState.ACKNOWLEDGED
    life.unshelve(alarm)
    assert alarm.state is AlarmState.UNACKNOWLEDGED


def test_three_alarms_within_an_hour_chatter() -> None:
    """The last of three counts; an hour and a second apart they do not."""
    assert often(raised(raised_ms=[0, 1000, 3_600_000]), 3_600_000)
    assert not often(raised(raised_ms=[0, 1000, 3_601_000]), 3_601_000)
    assert not often(raised(raised_ms=[0, 1000]), 1000)


def test_limits_of_a_group_are_a_breach_only_together() -> None:
    """One inside decides; an unknown one decides nothing beside it; all outside are a breach."""
    inside, outside = judge(LIMIT, margin(8.0)), judge(LIMIT, margin(2.0))
    close, silent = judge(LIMIT, margin(3.1)), judge(LIMIT, margin(None))
    for given_, verdict in (
        ([outside, inside], Verdict.INSIDE), ([outside, outside], Verdict.OUTSIDE),
        ([outside, silent], Verdict.UNKNOWN), ([silent, inside], Verdict.INSIDE),
        ([outside, close], Verdict.CLOSE),
    ):  # fmt: skip
        assert together(given_).verdict is verdict
        assert together(given_[::-1]).verdict is verdict
    assert together([outside, inside]).well_inside and not together([outside, close]).well_inside


LATCHED = (AlarmState.LATCHED, AlarmState.LATCHED_UNACKNOWLEDGED)
RELEASED = (Change.UNSHELVED, Change.IN_SERVICE, Change.UNSUPPRESSED)


class AlarmLife(RuleBasedStateMachine):
    """Any sequence of values, silences and hands; the promises hold after each step."""

    def __init__(self) -> None:
        super().__init__()
        self.alarm, self.now = Alarm(), 0
        self.good_since: int | None = None  # since when every value was known and past the deadband
        self.known_good_since: int | None = None
        self.bad_since: int | None = None  # since when no good value was seen
        self.limit = LIMIT

    @initialize(latching=st.booleans())
    def of_a_limit(self, latching: bool) -> None:
        """One that a person must reset, or not."""
        self.limit = replace(LIMIT, latching=latching)

    @rule(
        spell=st.sampled_from([(2.0, 61), (8.0, 601), (None, 301)])
        | st.tuples(st.sampled_from([None, 2.0, 2.9, 3.2, 3.6, 8.0]), st.sampled_from([1, 30, 61, 299, 601]))
    )
    def live(self, spell: tuple[float | None, int]) -> None:
        """A spell of weather: often a whole breach, a whole return, a whole silence."""
        self.pass_time(*spell)

    def pass_time(self, value: float | None, seconds: int) -> None:
        """The value holds for so long, judged every second something could change."""
        said = judge(self.limit, margin(value))
        good = said.verdict in (Verdict.INSIDE, Verdict.CLOSE)
        self.bad_since = None if good else self.bad_since if self.bad_since is not None else self.now
        start = self.now
        self.good_since = (
            None if not said.well_inside else self.good_since if self.good_since is not None else start
        )
        self.known_good_since = (
            None if not good else self.known_good_since if self.known_good_since is not None else start
        )
        for t in range(start, start + seconds * SECOND + 1, SECOND):
            before, cause = self.alarm.state, self.alarm.cause
            due = life.deadline_ms(self.alarm, self.limit)
            change = life.step(self.alarm, self.limit, said, t)
            if change is not None and t > start:
                assert due is not None and due <= t, "a change without a value needs a deadline to wake for"
            if change is Change.RETURNED:
                since = self.good_since if cause == Change.BREACH else self.known_good_since
                assert since is not None and t - since >= self.limit.off_delay_s * SECOND
                assert (self.alarm.state in LATCHED) is self.limit.latching
            elif change in (Change.BREACH, Change.UNKNOWN):
                delay_s = self.limit.on_delay_s if change is Change.BREACH else self.limit.unknown_delay_s
                assert self.bad_since is not None and t - self.bad_since >= delay_s * SECOND, "too early"
            elif change is None:
                assert self.alarm.state is before
        self.now = start + seconds * SECOND

    @rule(seconds=st.sampled_from([1, 61, 601]))
    def stand_still(self, seconds: int) -> None:
        """The train does not run: nothing is raised, nothing cleared, no timer runs on."""
        before = self.alarm.state
        for t in range(self.now, self.now + seconds * SECOND + 1, SECOND):
            assert life.step(self.alarm, self.limit, Judgement(Verdict.NOT_RUNNING, None, False, ""), t) is None
        assert self.alarm.state is before
        self.bad_since = self.good_since = self.known_good_since = None
        self.now += seconds * SECOND

    @rule()
    def reset(self) -> None:
        """Only what is latched and acknowledged goes."""
        before, change = self.alarm.state, life.reset(self.alarm)
        assert (change is Change.RESET) is (before is AlarmState.LATCHED)
        assert self.alarm.state is (AlarmState.NORMAL if change else before)

    @rule()
    def acknowledge(self) -> None:
        """A person acknowledges: the cause stays what it is."""
        was_active, change = self.alarm.active, life.acknowledge(self.alarm)
        assert self.alarm.active == was_active
        assert change in (None, Change.ACKNOWLEDGED)

    @rule(kind=st.sampled_from(["shelve", "too long", "unshelve", "service", "work"]))
    def hold(self, kind: str) -> None:
        """Put aside or back: shelved (never for longer than a shift), out of service or in it, other work."""
        before, alarm, hour_ms = self.alarm.state, self.alarm, 3_600_000
        match kind:
            case "shelve" | "too long":
                hold = Hold("lead", "service", self.now + (12 if kind == "shelve" else 13) * hour_ms)
                was_free = alarm.shelf is None
                assert (life.shelve(alarm, hold, self.now) is Change.SHELVED) is (was_free and kind == "shelve")
                assert alarm.state is before
            case "unshelve":
                self.seen_again(life.unshelve(alarm))
            case "service" if alarm.out:
                self.seen_again(life.put_in_service(alarm))
            case "service":
                assert life.take_out_of_service(alarm, Hold("keeper", "sent in")) is Change.OUT_OF_SERVICE
                assert alarm.state is before
            case _:
                self.seen_again(life.suppress(alarm, not alarm.suppressed))

    def seen_again(self, change: Change | None) -> None:
        """What still stands when the last hold ends is unacknowledged, whoever acknowledged it before."""
        if change in RELEASED and self.alarm.active and not self.alarm.held:
            assert self.alarm.state is AlarmState.UNACKNOWLEDGED

    @invariant()
    def a_hold_is_shown_and_ends_by_itself(self) -> None:
        """Held alarms are never shown as what lies under them; a shelf always has a moment at which it ends."""
        holds = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
        assert (self.alarm.shown in holds) == self.alarm.held
        if self.alarm.shelf is not None:
            due = life.deadline_ms(self.alarm, self.limit)
            assert due is not None and due <= self.alarm.shelf.until_ms

    @invariant()
    def a_long_bad_spell_has_an_alarm(self) -> None:
        """Not good for longer than every delay means an alarm that stands."""
        if self.bad_since is not None and self.now - self.bad_since > 900 * SECOND:
            assert self.alarm.active


TestAlarmLife = AlarmLife.TestCase
TestAlarmLife.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
