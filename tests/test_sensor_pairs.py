"""Two humidity sensors in the same air, hour by hour. Expected differences are ratios of vapour pressure."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest

from alerts.measured import Quantity
from gateway import sensor_pairs
from gateway.jobsite import Accuracy, Area, Calibration, Station
from gateway.sensor_pairs import Pair, Probe
from gateway.sensor_track import Track
from tests.sites import sensor, site

ONE, OTHER = Probe("t1", "rh1"), Probe("t2", "rh2")
SENSORS = {
    name: sensor(name, quantity, unit, half_width, "")
    for names, quantity, unit, half_width in (
        (("t1", "t2"), Quantity.AIR_TEMPERATURE, "Cel", 0.3),
        (("rh1", "rh2"), Quantity.RELATIVE_HUMIDITY, "%RH", 0.02),
    )
    for name in names
}


def hour_of(mean: float, spread: float = 0.0, count: int = 12, spoilt: bool = False) -> Track:
    """The sums of one hour around a mean."""
    sums = {"count": count, "total": mean * count, "low": mean - spread / 2, "high": mean + spread / 2}
    return Track(mean, 0, mean, 0, spoilt=spoilt, **sums)  # type: ignore[arg-type]


Changes = dict[str, Track] | None


def hours(first: float, second: float, number: int = 6, changes: Changes = None) -> Pair:
    """A pair after so many equal hours at 20 °C."""
    pair = Pair()
    for hour in range(number):
        after(pair, hour, first, second, changes)
    return pair


def after(pair: Pair, hour: int, first: float, second: float, changes: Changes = None) -> None:
    plain = {"t1": hour_of(20.0), "t2": hour_of(20.0), "rh1": hour_of(first), "rh2": hour_of(second)}
    tracks = plain | (changes or {})
    sensor_pairs.end_hour(pair, ONE, OTHER, tracks, SENSORS, hour)


def test_what_both_accuracies_explain_is_no_disagreement() -> None:
    """±2 %RH and ±0.3 K at 20 °C/60 %: u(ln e) = 0.031, so 6.2 % of e is explained and 7 % is not.

    By hand: sqrt(2)·sqrt((0.0115/0.6)² + (0.0619·0.173)²) = 0.0311; 0.0619 /K is d(ln e)/dT at 20 °C.
    """
    assert hours(0.6 * 1.060, 0.6).off is None
    assert hours(0.6 * 1.070, 0.6).off == pytest.approx(log(1.070), abs=1e-4)
    assert hours(0.6, 0.6 * 1.070).off == pytest.approx(-log(1.070), abs=1e-4)
    (_, _, expanded) = hours(0.6, 0.6).hours[0]
    assert expanded == pytest.approx(0.0622, rel=0.01)


def test_vapour_pressure_is_compared_not_humidity() -> None:
    """20.4 °C/60 % and 20.0 °C/61.5 % is one air: saturation rises 6.2 % a kelvin."""
    warm = hours(0.60, 0.615, changes={"t1": hour_of(20.4)})
    assert abs(warm.hours[0][1]) < 0.001
    assert hours(0.60, 0.60, changes={"t1": hour_of(20.4)}).hours[0][1] == pytest.approx(0.0248, abs=0.0005)


def test_sensors_are_compared_after_the_correction_of_their_calibration() -> None:
    """64 % by a chip that its certificate says reads 4 % high, beside 60 %: one air."""
    known = {**SENSORS, "rh1": replace(SENSORS["rh1"], calibration=Calibration(correction=-0.04))}
    tracks, pair = {"t1": hour_of(20.0), "t2": hour_of(20.0), "rh1": hour_of(0.64), "rh2": hour_of(0.6)}, Pair()
    sensor_pairs.end_hour(pair, ONE, OTHER, tracks, known, 0)
    assert pair.hours[0][1] == pytest.approx(0.0, abs=1e-9)


def test_perfect_sensors_are_still_given_three_percent() -> None:
    """With accuracies of nothing the floor decides."""
    perfect = {name: replace(each, accuracy=Accuracy(0.0)) for name, each in SENSORS.items()}
    for ratio, off in ((1.029, False), (1.032, True)):
        pair, tracks = Pair(), {"t1": hour_of(20.0), "t2": hour_of(20.0)}
        tracks |= {"rh1": hour_of(0.5 * ratio), "rh2": hour_of(0.5)}
        for hour in range(5):
            sensor_pairs.end_hour(pair, ONE, OTHER, tracks, perfect, hour)
        assert (pair.off is not None) is off


@pytest.mark.parametrize(
    "changes",
    [
        {"t2": hour_of(21.1)},  # not the same air
        {"t1": hour_of(20.0, spread=2.1)},  # it moves
        {"t2": hour_of(20.0, spread=2.1)},
        {"rh1": hour_of(0.9, spoilt=True)},  # saturated, below resolution or jumped
        {"rh2": hour_of(0.5, count=3)},  # hardly heard
        {"rh2": hour_of(0.0)},  # no vapour at all
    ],
)
def test_an_hour_that_is_not_well_mixed_says_nothing(changes: dict[str, Track]) -> None:
    """A difference of 80 % is not even looked at."""
    pair = hours(0.9, 0.5, changes=changes)
    assert (pair.hours, pair.off) == ([], None)


def test_an_accuracy_that_is_not_stated_cannot_explain_anything() -> None:
    """Then the two are not compared."""
    sensors = {**SENSORS, "rh1": replace(SENSORS["rh1"], accuracy=Accuracy(None))}
    tracks = {"t1": hour_of(20.0), "t2": hour_of(20.0), "rh1": hour_of(0.9), "rh2": hour_of(0.5)}
    pair = Pair()
    sensor_pairs.end_hour(pair, ONE, OTHER, tracks, sensors, 0)
    assert pair.hours == []


def test_four_hours_are_too_few_and_five_are_enough() -> None:
    """One odd hour is weather."""
    assert hours(0.7, 0.6, 4).off is None
    assert hours(0.7, 0.6, 5).off is not None


def test_a_flag_stays_through_hours_that_say_nothing_and_goes_only_well_inside() -> None:
    """Silence takes nothing back; the difference must fall to three quarters of what is explained."""
    pair = hours(0.60 * 1.08, 0.60, 6)
    for hour in range(6, 60):
        sensor_pairs.end_hour(pair, ONE, OTHER, {}, SENSORS, hour)
    assert pair.hours == [] and pair.off is not None
    for hour in range(60, 66):
        after(pair, hour, 0.60 * 1.055, 0.60)
    assert pair.off is not None  # 5.4 % of e lies between three quarters of 6.2 % and 6.2 %
    for hour in range(90, 96):
        after(pair, hour, 0.60 * 1.04, 0.60)
    assert pair.off is None


def test_only_the_last_day_counts() -> None:
    """An hour 24 h ago is gone."""
    pair = hours(0.6, 0.6, 6)
    after(pair, 24, 0.6, 0.6)
    assert [hour for hour, _, _ in pair.hours] == [1, 2, 3, 4, 5, 24]


def test_probes_of_one_area_and_all_outside_are_compared_and_no_others() -> None:
    """Inside a containment the air is another; the same sensor in two stations is no pair."""
    plain = site()
    deck = plain.stations[0]
    named = {
        name: Station(name, name, f"{name}-t", f"{name}-rh", "baro") for name in ("gate", "roof", "tank", "hall")
    }
    stations = (deck, *named.values(), replace(deck, id="again"))
    areas = (
        Area("A", "a", ("deck", "again"), ()),
        Area("B", "b", ("gate",), ()),
        Area("C", "c", ("tank", "hall"), (), "inside containment"),
    )
    pairs = sensor_pairs.probes_to_compare(replace(plain, stations=stations, areas=areas))
    assert [(one.humidity, other.humidity) for one, other in pairs] == [
        ("air-rh", "gate-rh"), ("gate-rh", "air-rh"), ("tank-rh", "hall-rh"),
    ]  # fmt: skip


def test_both_are_named_and_told_from_their_own_side() -> None:
    """The one reads 8 % more vapour, so the other 7 % less."""
    pair = hours(0.648, 0.60)
    assert sensor_pairs.words(pair, "rh2", 1) == (
        "vapour pressure +8 % against rh2 over 6 well-mixed hours of the last day: check both"
    )
    assert sensor_pairs.words(pair, "rh1", -1).startswith("vapour pressure -7 % against rh1")
