"""What a sensor's sheet, its certificate and the time since then make of one reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI

from alerts.measured import Quantity, Validity
from gateway import entry
from gateway.entry import Kind
from gateway.jobsite import Accuracy, Calibration, Sensor
from gateway.payload import canonical
from tests.sites import margin_limit, sensor, site
from tests.test_flow import Day, values

THERMOMETER = sensor("t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air")
HYGROMETER = sensor("rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water")


def calibrated(plain: Sensor, **found: float) -> Sensor:
    return replace(plain, calibration=Calibration(**found))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("accuracy", "found", "u"),
    [
        (Accuracy(0.3), {}, 0.3 / 3**0.5),
        (Accuracy(0.3, "k=2"), {}, 0.15),
        (Accuracy(0.3, "k=1"), {}, 0.3),
        (Accuracy(0.3, "k=2"), {"expanded_u": 0.4}, 0.25),  # 3, 4, 5: 0.15 and 0.4 / 2
        (Accuracy(0.3, "k=1"), {"drift": 0.4 * 3**0.5}, 0.5),  # a rectangle of that half width has u = 0.4
        (Accuracy(0.3, "k=1"), {"drift": 0.4 * 3**0.5, "expanded_u": 2.4}, 1.3),  # 0.5 and 1.2
        (Accuracy(0.3, "k=1"), {"correction": 5.0}, 0.3),  # a correction is no uncertainty
        (Accuracy(None), {"expanded_u": 0.4, "drift": 0.2}, None),
    ],
)
def test_u_of_a_reading(accuracy: Accuracy, found: dict[str, float], u: float | None) -> None:
    """u^2 = accuracy^2 + (U/2)^2 + drift^2/3 (JCGM 100:2008, 4.3.3, 4.3.7, 5.1.2); not stated stays so."""
    assert calibrated(replace(THERMOMETER, accuracy=accuracy), **found).u == (u and pytest.approx(u))


@pytest.mark.parametrize(
    ("accuracy", "found", "factor"),
    [
        (Accuracy(0.3), {}, 1.645),
        (Accuracy(0.3), {"correction": 0.1}, 1.645),
        (Accuracy(0.3), {"drift": 0.3}, 2.0),
        (Accuracy(0.3), {"expanded_u": 0.3}, 2.0),
        (Accuracy(0.3, "k=2"), {}, 2.0),
        (Accuracy(0.3, "k=1"), {}, 2.0),
    ],
)
def test_the_95_percent_interval_of_a_reading(accuracy: Accuracy, found: dict[str, float], factor: float) -> None:
    """The middle 95 % of a rectangle reach 0.95 of its half width, which is 1.645 u; a normal's are 2 u."""
    assert calibrated(replace(THERMOMETER, accuracy=accuracy), **found).coverage_95 == pytest.approx(
        factor, abs=5e-4
    )


@pytest.mark.parametrize("found", [{"expanded_u": 0.01}, {"drift": 0.02}, {"expanded_u": 0.03, "drift": 0.01}])
def test_the_95_percent_interval_of_a_mixed_reading_holds_at_least_that(found: dict[str, float]) -> None:
    """Limits of 2 % with a certificate and drift: 95 to 100 % of 200,000 draws lie in it."""
    mixed, chance = calibrated(HYGROMETER, **found), np.random.default_rng(9)
    drift = found.get("drift", 0.0)
    off = chance.uniform(-0.02, 0.02, 200_000) + chance.uniform(-drift, drift, 200_000)
    off += chance.normal(0.0, found.get("expanded_u", 0.0) / 2, 200_000)
    assert mixed.u is not None
    assert 0.95 < float(np.mean(np.abs(off) < mixed.coverage_95 * mixed.u)) <= 1.0


@pytest.mark.parametrize(
    ("correction", "value", "validity", "expected", "then"),
    [
        (0.00, 0.500, Validity.GOOD, 0.500, Validity.GOOD),
        (-0.05, 0.500, Validity.GOOD, 0.450, Validity.GOOD),
        (0.02, 0.985, Validity.GOOD, 1.000, Validity.SATURATED),
        (-0.05, 1.000, Validity.SATURATED, 1.000, Validity.SATURATED),  # wet stays wet
        (-0.05, 0.060, Validity.GOOD, 0.020, Validity.BOUND),  # no drier than the accuracy of 2 %
        (-0.01, 0.020, Validity.BOUND, 0.020, Validity.BOUND),
        (0.01, 0.020, Validity.BOUND, 0.030, Validity.BOUND),
    ],
)
def test_a_humidity_is_corrected_within_what_its_sensor_can_tell(
    correction: float, value: float, validity: Validity, expected: float, then: Validity
) -> None:
    """A correction makes nothing look drier than the sensor resolves, and saturated air stays saturated."""
    found = calibrated(HYGROMETER, correction=correction).corrected(value, validity)
    assert found == (pytest.approx(expected), then)


@pytest.mark.parametrize(
    ("accuracy", "found", "least"),
    [
        (Accuracy(0.02), {}, 0.02),
        (Accuracy(0.02, "k=2"), {}, 0.02),
        (Accuracy(0.02, "k=1"), {}, 0.04),
        (Accuracy(0.03, "k=2"), {"expanded_u": 0.04}, 0.05),  # 3, 4, 5
        (Accuracy(None), {}, 0.0),
    ],
)
def test_below_half_its_95_percent_interval_a_humidity_is_a_bound(
    accuracy: Accuracy, found: dict[str, float], least: float
) -> None:
    """There the true air may be as dry as it likes: an upper bound, never a number with a u that grows smaller."""
    hygrometer = calibrated(replace(HYGROMETER, accuracy=accuracy), **found)
    assert hygrometer.resolves_rh == pytest.approx(least)
    if least:
        assert hygrometer.corrected(least - 1e-6, Validity.GOOD) == (pytest.approx(least), Validity.BOUND)
        assert hygrometer.corrected(0.01, Validity.BOUND) == (pytest.approx(least), Validity.BOUND)
    assert hygrometer.corrected(least + 1e-6, Validity.GOOD) == (pytest.approx(least + 1e-6), Validity.GOOD)


def test_a_temperature_is_corrected_by_the_difference() -> None:
    """Also below zero, where a humidity would end."""
    assert calibrated(THERMOMETER, correction=-0.4).corrected(0.1, Validity.GOOD) == (
        pytest.approx(-0.3),
        Validity.GOOD,
    )


def test_a_jobsite_of_the_journal_without_the_new_fields_still_reads() -> None:
    """Entries are for ever: what an older program wrote has no correction, uncertainty or drift."""
    plain = site()
    old = canonical.to_dict(canonical.config_set(plain, "keeper", "test"))
    for each in old["jobsite"]["sensors"]:
        for name in ("correction", "expanded_u", "drift"):
            del each["calibration"][name]
    assert canonical.jobsite_of(canonical.to_bytes(old)) == plain
    new = replace(plain, sensors=(calibrated(THERMOMETER, correction=0.1, expanded_u=0.2, drift=0.3),))
    assert canonical.jobsite_of(canonical.config_set(new, "keeper", "test")) == new


def test_the_flow_reads_every_sensor_corrected_and_with_its_whole_u() -> None:
    """The correction is added once; margin, board and alert are made from what `read` gives."""
    day, plain = Day(), site(margin_limit())
    steel = calibrated(plain.sensors[3], correction=-0.4, expanded_u=0.4, drift=0.1 * 3**0.5)
    humid = calibrated(plain.sensors[1], correction=0.03)
    changed = replace(plain, sensors=(plain.sensors[0], humid, plain.sensors[2], steel, *plain.sensors[4:]))
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(changed, "keeper", "calibrated")))
    day.pass_time(60, **values(steel=13.0))
    read = day.flow.read("steel")
    assert read.value == pytest.approx(12.6)
    assert read.u == pytest.approx((0.5**2 / 3 + 0.2**2 + 0.1**2) ** 0.5)
    assert day.flow.read("air-rh").value == pytest.approx(0.53)
    (margin,) = day.flow.conditions["A", Quantity.DEW_POINT_MARGIN]
    assert margin.temperature_c == pytest.approx(12.6)
    judge = HAPropsSI("D", "T", 293.15, "R", 0.53, "P", 101_000.0) - 273.15
    assert margin.point_c == pytest.approx(judge, abs=0.005)


def test_a_humidity_that_a_correction_brings_to_saturation_is_judged_wet() -> None:
    """98.5 %, 2 % too low: saturated, with the words a reader knows; at the dry end it is a bound."""
    day, plain = Day(), site()
    humid = calibrated(plain.sensors[1], correction=0.02)
    changed = replace(plain, sensors=(plain.sensors[0], humid, *plain.sensors[2:]))
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(changed, "keeper", "calibrated")))
    day.pass_time(60, **values(air_rh=98.5))
    read = day.flow.read("air-rh")
    assert (read.value, read.validity, read.reason) == (1.0, Validity.SATURATED, "air-rh: saturated, judged wet")
