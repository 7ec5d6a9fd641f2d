"""One sensor against its own past: jumps, standing still, long wet hours. The figures are the module's own."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from alerts.measured import Quantity
from gateway import sensor_track
from gateway.sensor_track import HOUR_MS, MINUTE_MS, Rule, Track
from tests.sites import T0, sensor


class Past:
    """A track with its rule and hands to feed it."""

    def __init__(self, quantity: Quantity, every_ms: int = MINUTE_MS, *, in_line: bool = False, dry: bool = False):
        plain = sensor("s", quantity, "%RH" if quantity is Quantity.RELATIVE_HUMIDITY else "Cel", 0.02, "")
        self.rule: Rule = sensor_track.rule_of(
            plain, 3 * every_ms, in_line=in_line, dry_by_design=dry, compared=True
        )
        self.every_ms, self.now, self.track = every_ms, T0, None

    def say(self, value: float, *, saturated: bool = False, below: bool = False, after_ms: int = 0) -> str:
        self.now += after_ms or self.every_ms
        if self.track is None:
            self.track = Track(value, self.now, value, self.now)
        sensor_track.take(self.track, self.rule, value, self.now, saturated, below)
        return sensor_track.fault(self.track, self.rule)

    def repeat(self, value: float, times: int, **facts: bool) -> str:
        return [self.say(value, **facts) for _ in range(times)][-1]


@pytest.mark.parametrize(
    ("quantity", "start", "inside", "beyond"),
    [  # at once plus one minute's worth: 5+2 K, 0.20+0.10, 10+5 K, 15+10 K, 30+30 K, 500+200 Pa
        (Quantity.AIR_TEMPERATURE, 20.0, 26.9, 27.1),
        (Quantity.RELATIVE_HUMIDITY, 0.50, 0.79, 0.81),
        (Quantity.STEEL_TEMPERATURE, 20.0, 5.1, 4.9),
        (Quantity.WALL_TEMPERATURE, 20.0, 44.9, 45.1),
        (Quantity.GAS_TEMPERATURE, 20.0, 79.9, 80.1),
        (Quantity.STATION_PRESSURE, 101_000.0, 101_690.0, 101_710.0),
    ],
)
def test_a_step_no_quantity_can_make_in_a_minute_is_a_jump(
    quantity: Quantity, start: float, inside: float, beyond: float
) -> None:
    """Just inside is believed, just beyond is not."""
    for value, jumps in ((inside, False), (beyond, True)):
        past = Past(quantity)
        past.say(start)
        assert ("jumped by" in past.say(value)) is jumps


def test_a_longer_time_allows_a_larger_step() -> None:
    """15 K of air are a jump in a minute (7 K) and none in five (15 K)."""
    past = Past(Quantity.AIR_TEMPERATURE)
    past.say(10.0)
    assert past.say(25.0, after_ms=5 * MINUTE_MS) == ""
    assert past.say(10.0) == "jumped by -15.0 K; waiting until two more readings agree"


def test_a_jump_is_believed_when_two_more_agree_and_not_before() -> None:
    """Jump, one agrees, the second agrees: believed; then the old value is the jump."""
    past = Past(Quantity.STEEL_TEMPERATURE)
    past.say(20.0)
    assert [bool(past.say(value)) for value in (60.0, 60.5, 61.0)] == [True, True, False]
    assert past.say(20.0).startswith("jumped by -41.0 K")


def test_a_jump_that_returns_is_over_at_once() -> None:
    """One wild reading costs one reading."""
    past = Past(Quantity.STEEL_TEMPERATURE)
    past.say(20.0)
    assert past.say(90.0)
    assert past.say(20.1) == ""


def test_a_loose_wire_is_never_agreed_with() -> None:
    """Jumps that do not agree among themselves never become believed."""
    past = Past(Quantity.STEEL_TEMPERATURE)
    past.say(20.0)
    assert all(past.say(value) for value in (90.0, 120.0, 90.0, 120.0, 90.0, 120.0))
    assert all(past.say(value) for value in (90.0, 90.5, 120.0, 120.5, 90.0))


def test_a_return_is_measured_from_what_was_last_believed() -> None:
    """Six minutes after the last believed value 17 K are allowed, whatever jumped in between."""
    past = Past(Quantity.AIR_TEMPERATURE)
    past.say(20.0)
    assert past.say(60.0)
    assert past.say(36.5, after_ms=5 * MINUTE_MS) == ""


def test_a_probe_moved_into_a_line_is_no_longer_held_to_its_jump() -> None:
    """The rule changes with the place; a doubt that no rule raises any more is gone with the next reading."""
    past = Past(Quantity.RELATIVE_HUMIDITY)
    past.say(0.9)
    assert past.say(0.2)
    past.rule = replace(past.rule, at_once=inf)
    assert past.say(0.2) == ""


def test_in_a_line_a_humidity_may_step_and_gauge_pressure_always() -> None:
    """A train that starts changes its air within seconds."""
    line = Past(Quantity.RELATIVE_HUMIDITY, in_line=True)
    line.say(0.9)
    assert line.say(0.05) == ""
    assert Quantity.GAUGE_PRESSURE not in sensor_track.JUDGED


@pytest.mark.parametrize(
    ("quantity", "hours"),
    [(Quantity.AIR_TEMPERATURE, 2), (Quantity.RELATIVE_HUMIDITY, 2), (Quantity.GAS_TEMPERATURE, 2),
     (Quantity.STEEL_TEMPERATURE, 4), (Quantity.WALL_TEMPERATURE, 4)],
)  # fmt: skip
def test_the_same_digits_for_hours_are_stuck_until_they_move(quantity: Quantity, hours: int) -> None:
    """Exactly at the time it is not yet stuck, a minute later it is; the next digit frees it."""
    past = Past(quantity)
    past.say(0.4)
    assert past.repeat(0.4, hours * 60) == ""
    assert past.say(0.4) == f"stuck: exactly the same value for {hours}.0 h while it should move"
    assert past.say(0.41) == ""
    assert past.say(0.41) == ""


def test_sixty_readings_are_needed_however_long_they_take() -> None:
    """A sensor that speaks every ten minutes is not stuck after two hours but with its sixtieth reading."""
    past = Past(Quantity.AIR_TEMPERATURE, 10 * MINUTE_MS)
    past.say(20.0)
    assert past.repeat(20.0, 58) == ""
    assert past.say(20.0).startswith("stuck: exactly the same value for 9.8 h")


def test_the_sixty_readings_must_be_of_one_spell() -> None:
    """Forty short rests do not add up: 25 readings in 250 min are too few, though past two hours."""
    past = Past(Quantity.AIR_TEMPERATURE, 10 * MINUTE_MS)
    for turn in range(40):
        past.repeat(20.0 + turn % 2, 2)
    assert past.repeat(25.0, 26) == ""


def test_silence_is_no_time_at_the_same_value() -> None:
    """Ten hours of silence between two equal readings count three intervals."""
    past = Past(Quantity.AIR_TEMPERATURE)
    past.say(20.0)
    past.repeat(20.0, 60)
    assert past.say(20.0, after_ms=10 * HOUR_MS) == ""
    assert past.track is not None and past.track.held_ms == 63 * MINUTE_MS


def test_a_clock_set_back_takes_no_time_away() -> None:
    """A reading timed before the last one adds no time and takes none."""
    past = Past(Quantity.RELATIVE_HUMIDITY)
    past.say(0.9)
    past.repeat(0.9, 10)
    assert past.say(0.9, after_ms=-5 * MINUTE_MS) == ""
    assert past.track is not None
    assert (past.track.held_ms, past.track.wet_ms) == (10 * MINUTE_MS, 10 * MINUTE_MS)


def test_a_pressure_may_stand_still_for_days() -> None:
    """A calm day, a regulator."""
    past = Past(Quantity.STATION_PRESSURE)
    past.say(101_300.0)
    assert past.repeat(101_300.0, 3000) == ""


def test_a_coarse_sensor_is_given_three_times_its_longest_rest() -> None:
    """Rests of 110 min were seen: now 330 min are allowed, and never more than 12 h."""
    past = Past(Quantity.AIR_TEMPERATURE)
    past.say(20.0)
    past.repeat(20.0, 110)
    past.say(21.0)
    assert past.repeat(21.0, 330) == ""
    assert past.say(21.0).startswith("stuck")
    past.say(22.0)
    past.repeat(22.0, 325)
    past.say(23.0)
    assert past.repeat(23.0, 720) == "" and past.say(23.0).startswith("stuck")


def test_a_stuck_spell_teaches_nothing() -> None:
    """After a spell that was suspected the sensor is given no more time than before."""
    past = Past(Quantity.AIR_TEMPERATURE)
    past.say(20.0)
    past.repeat(20.0, 300)
    past.say(21.0)
    assert past.repeat(21.0, 121).startswith("stuck")


@pytest.mark.parametrize("facts", [{"saturated": True}, {"saturated": False}])
def test_a_humidity_at_a_hundred_percent_is_saturated_not_stuck(facts: dict[str, bool]) -> None:
    """Fog may stand all night."""
    past = Past(Quantity.RELATIVE_HUMIDITY)
    past.say(1.0)
    assert past.repeat(1.0, 900, **facts) == ""


def test_the_low_end_for_hours_is_a_fault_except_behind_an_adsorption_dryer() -> None:
    """No outside air is below what a chip resolves for two hours; the air of an adsorption dryer is."""
    said = {}
    for dry in (False, True):
        past = Past(Quantity.RELATIVE_HUMIDITY, dry=dry)
        past.say(0.02, below=True)
        said[dry] = past.repeat(0.02, 121, below=True)
    assert said == {False: "at the low end of its range for 2.0 h: check the sensor and its wire", True: ""}


def test_long_wet_hours_are_noted_and_pass_as_slowly() -> None:
    """More than 60 h above 80 %RH: a note, no fault; gone when as many hours below have passed."""
    past = Past(Quantity.RELATIVE_HUMIDITY, HOUR_MS // 2)
    past.say(0.85)
    for turn in range(120):
        past.say(0.85 + turn % 2 / 100)
    assert past.track is not None and sensor_track.notes(past.track) == []
    assert past.say(0.85) == ""
    assert sensor_track.notes(past.track) == [
        "may read up to 3 %RH high: it stood above 80 %RH for more than 60 h"
    ]
    for turn in range(120):
        past.say(0.80 - turn % 2 / 100)
    assert sensor_track.notes(past.track) != []
    past.say(0.79)
    assert sensor_track.notes(past.track) == [] and past.track.wet_ms == 0


def test_the_sums_of_the_hour_hold_what_was_heard_and_whether_it_may_be_used() -> None:
    """Count, total, ends; a saturated or a jumped reading spoils the hour."""
    past = Past(Quantity.AIR_TEMPERATURE)
    for value in (20.0, 19.0, 21.5):
        past.say(value)
    track = past.track
    assert track is not None
    assert (track.count, track.total, track.low, track.high, track.spoilt) == (3, 60.5, 19.0, 21.5, False)
    past.say(60.0)
    assert track.spoilt
    humid = Past(Quantity.RELATIVE_HUMIDITY)
    humid.say(1.0, saturated=True)
    assert humid.track is not None and humid.track.spoilt


def test_a_humidity_says_its_jump_in_percent() -> None:
    """A reader sees %RH, not a fraction."""
    past = Past(Quantity.RELATIVE_HUMIDITY)
    past.say(0.3)
    assert past.say(0.9) == "jumped by 60.0 %RH; waiting until two more readings agree"
