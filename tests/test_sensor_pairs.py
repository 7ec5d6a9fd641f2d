"""Two sensors that should agree, hour by hour. Humidities differ by ratios of vapour pressure."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest

from alerts.measured import Quantity
from gateway import sensor_pairs
from gateway.jobsite import Accuracy, Area, Calibration, Point, Sensor, Station
from gateway.psychrometrics import dew_point_c
from gateway.sensor_pairs import Pair, Two
from gateway.sensor_track import Track
from tests.sites import sensor, site

TWO = sensor_pairs.of_air(Station("1", "1", "t1", "rh1", "b"), Station("2", "2", "t2", "rh2", "b"))
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
    sensor_pairs.end_hour(pair, TWO, tracks, SENSORS, hour)


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
    sensor_pairs.end_hour(pair, TWO, tracks, known, 0)
    assert pair.hours[0][1] == pytest.approx(0.0, abs=1e-9)


def test_perfect_sensors_are_still_given_three_percent() -> None:
    """With accuracies of nothing the floor decides."""
    perfect = {name: replace(each, accuracy=Accuracy(0.0)) for name, each in SENSORS.items()}
    for ratio, off in ((1.029, False), (1.032, True)):
        pair, tracks = Pair(), {"t1": hour_of(20.0), "t2": hour_of(20.0)}
        tracks |= {"rh1": hour_of(0.5 * ratio), "rh2": hour_of(0.5)}
        for hour in range(5):
            sensor_pairs.end_hour(pair, TWO, tracks, perfect, hour)
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
    sensor_pairs.end_hour(pair, TWO, tracks, sensors, 0)
    assert pair.hours == []


def test_four_hours_are_too_few_and_five_are_enough() -> None:
    """One odd hour is weather."""
    assert hours(0.7, 0.6, 4).off is None
    assert hours(0.7, 0.6, 5).off is not None


def test_a_flag_stays_through_hours_that_say_nothing_and_goes_only_well_inside() -> None:
    """Silence takes nothing back; the difference must fall to three quarters of what is explained."""
    pair = hours(0.60 * 1.08, 0.60, 6)
    for hour in range(6, 60):
        sensor_pairs.end_hour(pair, TWO, {}, SENSORS, hour)
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
    pairs = sensor_pairs.to_compare(replace(plain, stations=stations, areas=areas))
    assert [(two.first, two.second) for two in pairs] == [
        ("air-rh", "gate-rh"), ("gate-rh", "air-rh"), ("tank-rh", "hall-rh"),
    ]  # fmt: skip


def test_both_are_named_and_told_from_their_own_side() -> None:
    """The one reads 8 % more vapour, so the other 7 % less."""
    pair = hours(0.648, 0.60)
    assert sensor_pairs.words(pair, TWO, "rh1") == (
        "vapour pressure +8 % against rh2 over 6 well-mixed hours of the last day: check both"
    )
    assert sensor_pairs.words(pair, TWO, "rh2").startswith("vapour pressure -7 % against rh1")


def test_what_was_seen_a_day_ago_is_told_as_that() -> None:
    """A day of silence later no hour of the last day stands behind the flag."""
    pair = hours(0.648, 0.60)
    sensor_pairs.end_hour(pair, TWO, {}, SENSORS, 26)  # hours 3, 4 and 5 are left
    assert len(pair.hours) == 3
    assert sensor_pairs.words(pair, TWO, "rh1") == (
        "vapour pressure +8 % against rh2 when last compared: check both"
    )


# -- barometers --------------------------------------------------------------------------------------------


def barometers(above_m: float = 0.0, half_width_pa: float = 100.0) -> tuple[Two, dict[str, Sensor]]:
    """Two at sea level, the second so much higher."""
    known = {
        name: sensor(name, Quantity.STATION_PRESSURE, "hPa", half_width_pa, "absolute") for name in ("low", "high")
    }
    plain = replace(site(), altitude_m=0.0, sensors=tuple(known.values()), areas=(), trains=())
    deck = replace(plain.stations[0], id="deck", station_pressure="low")
    (two,) = sensor_pairs.to_compare(
        replace(plain, stations=(deck, replace(deck, id="top", station_pressure="high", above_site_m=above_m)))
    )
    return two, known


def weighed(first_hpa: float, second_hpa: float, above_m: float = 0.0, half_width_pa: float = 100.0) -> Pair:
    """The pair after five equal hours."""
    two, known = barometers(above_m, half_width_pa)
    pair, tracks = Pair(), {"low": hour_of(100.0 * first_hpa), "high": hour_of(100.0 * second_hpa)}
    for hour in range(5):
        sensor_pairs.end_hour(pair, two, tracks, known, hour)
    return pair


def test_two_barometers_differ_by_what_both_accuracies_explain_and_no_more() -> None:
    """±1 hPa each, as limits: U = 2·sqrt(2)·1/sqrt(3) = 1.63 hPa."""
    assert weighed(1013.0, 1011.4).off is None
    assert weighed(1013.0, 1011.3).off == pytest.approx(170.0)
    assert weighed(1011.3, 1013.0).off == pytest.approx(-170.0)
    assert weighed(1013.0, 1012.6, half_width_pa=20.0).off == pytest.approx(40.0)  # better sensors, less allowed


def test_a_barometer_that_stands_higher_may_read_less_by_its_height() -> None:
    """40 m at sea level is 4.8 hPa (standard atmosphere: 1013.25 (1 - 2.25577e-5·40)^5.2559 = 1008.45)."""
    assert weighed(1013.25, 1008.45, above_m=40.0).off is None
    assert weighed(1013.25, 1008.45, above_m=40.0).hours[0][1] == pytest.approx(0.0, abs=1.0)
    assert weighed(1013.25, 1013.25, above_m=40.0).off == pytest.approx(-480.0, abs=2.0)
    assert weighed(1013.25, 1008.45).off == pytest.approx(480.0, abs=1.0)


def test_one_barometer_of_two_stations_is_no_pair_and_each_is_compared_with_each() -> None:
    """Three stations, two barometers: one pair."""
    plain = site()
    deck = plain.stations[0]
    stations = (deck, replace(deck, id="b"), replace(deck, id="c", station_pressure="baro-2"))
    pairs = sensor_pairs.to_compare(replace(plain, stations=stations, areas=(), trains=()))
    assert [two.key for two in pairs] == ["baro baro-2"]
    heights = (deck, replace(deck, id="c", station_pressure="baro-2", above_site_m=7000.0))
    assert sensor_pairs.to_compare(replace(plain, stations=heights, areas=(), trains=())) == []


def test_a_silent_barometer_says_nothing_of_the_other() -> None:
    """Neither a flag nor, after one, its end."""
    two, known = barometers()
    pair = Pair()
    for hour in range(30):
        sensor_pairs.end_hour(pair, two, {"low": hour_of(101_300.0)}, known, hour)
    assert (pair.hours, pair.off) == ([], None)
    pair.off = 170.0
    sensor_pairs.end_hour(pair, two, {"low": hour_of(101_300.0)}, known, 31)
    assert pair.off == 170.0
    assert sensor_pairs.words(pair, two, "high") == (
        "station pressure -1.7 hPa against low when last compared: check both"
    )


# -- a dew-point probe -------------------------------------------------------------------------------------


def outlet(basis: str) -> tuple[Two, dict[str, Sensor]]:
    """A dew-point probe, a thermometer and a humidity at the outlet of the dryer of the test site."""
    plain = site()
    (train,) = plain.trains
    bed, *others = train.pieces
    known = {
        "pdp": sensor("pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 0.5, basis),
        **{each.id: each for each in plain.sensors},
    }
    fitted = replace(bed, outlet=Point("dryer-t", "dryer-rh", "line-p", "pdp"))
    trains = (replace(train, pieces=(fitted, *others)),)
    (two,) = sensor_pairs.to_compare(replace(plain, sensors=tuple(known.values()), trains=trains))
    return two, known


def test_a_dew_point_probe_alone_is_no_pair() -> None:
    """Without a thermometer, or without a humidity, nothing is worked out beside it."""
    plain = site()
    (train,) = plain.trains
    for at in (
        Point("dryer-t", "", "line-p", "pdp"),
        Point("", "dryer-rh", "line-p", "pdp"),
        Point("dryer-t", "dryer-rh"),
    ):
        trains = (replace(train, pieces=(replace(train.pieces[0], outlet=at),)),)
        assert sensor_pairs.to_compare(replace(plain, trains=trains)) == []


def points(point_c: float, t_c: float, rh: float, basis: str = "dew", spread: float = 0.0) -> Pair:
    """The pair after five equal hours."""
    two, known = outlet(basis)
    pair = Pair()
    tracks = {"pdp": hour_of(point_c), "dryer-t": hour_of(t_c, spread), "dryer-rh": hour_of(rh)}
    for hour in range(5):
        sensor_pairs.end_hour(pair, two, tracks, known, hour)
    return pair


def test_a_dew_point_probe_is_held_against_the_humidity_beside_it() -> None:
    """40 °C and 50 % is a dew point of 27.6 °C (ASHRAE: e = 0.5·7.384 kPa, saturated at 27.6 °C).

    ±2 %RH is 4 % of e, 0.68 K (u 0.39), ±0.3 K is 0.27 K (u 0.16), the probe's ±0.5 K u 0.29: U = 1.03 K.
    """
    assert points(27.6, 40.0, 0.5).hours[0][1:] == pytest.approx((0.0, 1.03), abs=0.05)
    assert points(28.5, 40.0, 0.5).off is None
    assert points(28.8, 40.0, 0.5).off == pytest.approx(1.2, abs=0.05)
    assert points(26.4, 40.0, 0.5).off == pytest.approx(-1.2, abs=0.05)


def test_a_frost_point_is_compared_with_a_frost_point() -> None:
    """20 °C and 20 % is -3.7 °C over water and -3.2 °C over ice (Hardy 1998, IAPWS R14-08)."""
    assert points(-3.3, 20.0, 0.2, "frost").hours[0][1] == pytest.approx(0.0, abs=0.1)
    assert points(-3.7, 20.0, 0.2, "dew").hours[0][1] == pytest.approx(0.0, abs=0.1)
    assert points(-3.7, 20.0, 0.2, "frost").hours[0][1] == pytest.approx(-0.4, abs=0.1)


def test_gas_that_moves_says_nothing() -> None:
    """A train that starts or stops within the hour."""
    assert points(40.0, 40.0, 0.5, spread=2.1).hours == []
    assert points(40.0, 40.0, 0.5, spread=1.9).hours != []


def test_the_point_hardly_depends_on_the_pressure_it_is_worked_out_at() -> None:
    """One pressure stands for all of 1 to 16 bar(a): within 0.12 K, also at 5 %RH."""
    for t_c, rh in ((20.0, 0.05), (40.0, 0.05), (60.0, 0.05), (60.0, 0.2), (60.0, 0.9)):
        at = dew_point_c(t_c, rh, sensor_pairs.ANY_LINE_PA)
        assert at == pytest.approx(dew_point_c(t_c, rh, 1.0e5), abs=0.125)
        assert at == pytest.approx(dew_point_c(t_c, rh, 1.6e6), abs=0.14)


def test_a_dew_point_that_disagrees_is_told_from_both_sides() -> None:
    """In kelvin."""
    two, _ = outlet("dew")
    pair = points(28.8, 40.0, 0.5)
    assert sensor_pairs.words(pair, two, "pdp") == (
        "dew point +1.2 K against dryer-rh over 5 steady hours of the last day: check both"
    )
    assert sensor_pairs.words(pair, two, "dryer-rh").startswith("dew point -1.2 K against pdp")
