"""Compressed air against published conversions, water balances and nozzle tables."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from CoolProp.CoolProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from gateway import compressed_air as line
from gateway import psychrometrics as air
from tests.tables import rows

ATMOSPHERE = 101_325.0
LINE = 801_325.0
CFM = 0.3048**3 / 60
ZERO_C = 273.15


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("atmospheric_equivalent", 15))
def test_line_air_let_down_has_the_tabled_point(inputs: list[float], expected: float, tolerance: float) -> None:
    """Every row of pressure dew point against atmospheric point is met, and frost is said where it is frost."""
    value, frost = line.atmospheric_equivalent_c(*inputs)
    assert value == pytest.approx(expected, abs=tolerance)
    assert frost is (expected < 0)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("pressure_dew_point", 6))
def test_humidity_in_the_line_gives_the_tabled_pressure_dew_point(
    inputs: list[float], expected: float, tolerance: float
) -> None:
    """Every row of humidity in the line against pressure dew point is met."""
    t_c, percent, line_pa = inputs
    value, frost = line.pressure_dew_point_c(t_c, percent / 100, line_pa)
    assert value == pytest.approx(expected, abs=tolerance)
    assert frost is (expected < 0)


@pytest.mark.parametrize("to_pa", [ATMOSPHERE, 4e5, 11e5, 16e5])
@pytest.mark.parametrize("point_c", [-60.0, -41.0, -20.0, -3.0, 3.0, 10.0, 25.0, 40.0])
def test_a_point_at_another_pressure_is_within_2_mk_of_coolprop(point_c: float, to_pa: float) -> None:
    """Same mole fraction at the other pressure, over a grid of points, where both are clear of 0 C."""
    share = HAPropsSI("psi_w", "T", point_c + ZERO_C, "P", LINE, "R", 1.0)
    truth = HAPropsSI("D", "T", 440.0, "P", to_pa, "psi_w", share) - ZERO_C
    value, frost = line.at_pressure_c(point_c, LINE, to_pa)
    assert value == pytest.approx(truth, abs=0.002)
    assert frost is (truth < 0)


@pytest.mark.parametrize(("to_pa", "expected"), [(6e5, 29.98), (5e5, 26.89)])
def test_dew_point_falls_with_pressure(to_pa: float, expected: float) -> None:
    """Saturated at 35 C and 8 bar absolute: 30.0 C at 6 bar and 26.9 C at 5 bar."""
    value, frost = line.pressure_dew_point_c(35.0, 1.0, 8e5, to_pa)
    assert value == pytest.approx(expected, abs=0.01)
    assert not frost


def test_gauge_taken_for_absolute_pressure_would_show() -> None:
    """-23 C at the atmosphere is -1.91 C at 7.0 bar absolute and -0.32 C at 7.0 bar gauge."""
    wrong = line.at_pressure_c(-23.0, ATMOSPHERE, 7e5)
    right = line.at_pressure_c(-23.0, ATMOSPHERE, line.absolute_pressure_pa(7e5, ATMOSPHERE))
    assert wrong == (pytest.approx(-1.91, abs=0.03), True)
    assert right == (pytest.approx(-0.32, abs=0.03), True)


def test_charts_over_water_can_be_compared() -> None:
    """+3 C at 7 bar gauge is -22.83 C over water, as charts print without f as -23, but -20.53 C as frost."""
    assert line.at_pressure_over_water_c(3.0, LINE, ATMOSPHERE) == pytest.approx(-22.83, abs=0.03)
    assert line.at_pressure_c(3.0, LINE, ATMOSPHERE) == (pytest.approx(-20.53, abs=0.01), True)


def test_a_supercooled_dew_point_can_be_given_as_such() -> None:
    """frost=False takes -10 C as over water, which is -8.9 C as frost at the same pressure."""
    assert line.at_pressure_c(-10.0, LINE, LINE, frost=False)[0] == pytest.approx(-8.93, abs=0.05)
    assert line.at_pressure_c(-10.0, LINE, LINE)[0] == pytest.approx(-10.0, abs=0.001)


@pytest.mark.parametrize(
    ("point_c", "from_gauge", "to_gauge", "expected"),
    [(3.0, 6e5, 7e5, 4.85), (3.0, 8.59e5, 7e5, 0.54), (3.0, 10e5, 7e5, -1.14), (-20.0, 10e5, 7e5, -23.15)],
)
def test_a_class_is_judged_at_the_pressure_it_is_stated_for(
    point_c: float, from_gauge: float, to_gauge: float, expected: float
) -> None:
    """A point measured at one line pressure differs at 7 bar gauge."""
    moved = line.at_pressure_c(point_c, from_gauge + ATMOSPHERE, to_gauge + ATMOSPHERE)[0]
    assert moved == pytest.approx(expected, abs=0.05)


clear_of_zero = st.one_of(st.floats(-55.0, -3.0), st.floats(3.0, 50.0))


@given(point_c=clear_of_zero, from_pa=st.floats(4e5, 16e5), to_pa=st.floats(4e5, 16e5))
def test_conversion_there_and_back_returns_the_point(point_c: float, from_pa: float, to_pa: float) -> None:
    """Within 4 mK, wherever the other side is not on the line between frost and dew."""
    there, frost = line.at_pressure_c(point_c, from_pa, to_pa)
    if abs(there) > 0.1:
        back, _ = line.at_pressure_c(there, to_pa, from_pa, frost)
        assert back == pytest.approx(point_c, abs=0.004)


@given(point_c=st.floats(-60.0, 40.0), p_pa=st.floats(6e4, 15e5), factor=st.floats(1.02, 1.2))
def test_compression_raises_the_point(point_c: float, p_pa: float, factor: float) -> None:
    """The same water at a higher pressure condenses at a higher temperature."""
    if p_pa * factor <= 16e5:
        assert line.at_pressure_c(point_c, p_pa, p_pa * factor)[0] > point_c


@pytest.mark.parametrize(
    ("pdp_c", "expected"),
    [
        (-70.0, "indicated humidity class 1"),
        (-69.99, "indicated humidity class 2"),
        (-40.0, "indicated humidity class 2"),
        (-20.0, "indicated humidity class 3"),
        (-19.99, "indicated humidity class 4"),
        (3.0, "indicated humidity class 4"),
        (7.0, "indicated humidity class 5"),
        (10.0, "indicated humidity class 6"),
        (10.01, "no indicated humidity class (wetter than class 6)"),
    ],
)
def test_the_humidity_class_is_only_indicated(pdp_c: float, expected: str) -> None:
    """Each limit belongs to its class, and the words say that the class is indicated."""
    assert line.iso_8573_humidity_class(pdp_c) == expected


@pytest.mark.parametrize(
    ("pdp_c", "expected"),
    [(-70.0, 0.35), (-40.0, 16.7), (-20.0, 133.5), (3.0, 975.0), (7.0, 1288.0), (10.0, 1578.0)],
)
def test_class_limits_are_these_ppmv_of_dry_air(pdp_c: float, expected: float) -> None:
    """Water at 8 bar absolute (Hardy's factor, computed), within 0.5 %."""
    law = (air.saturation_pressure_ice_pa, air.enhancement_factor_ice)
    if pdp_c > 0:
        law = (air.saturation_pressure_water_pa, air.enhancement_factor_water)
    assert line.ppmv_dry(law[0](pdp_c) * law[1](pdp_c, 8e5), 8e5) == pytest.approx(expected, rel=0.005)


def test_ppmv_counts_against_dry_air_alone() -> None:
    """1 kPa of vapour in 100 kPa of dry air is 10,000 ppmv."""
    assert line.ppmv_dry(1e3, 101e3) == pytest.approx(10_000.0, rel=1e-12)


@pytest.mark.parametrize(
    ("t_c", "percent", "cooled_c", "condensate"), [(30, 70, 40, 9.34), (35, 80, 45, 14.90), (20, 60, 30, 4.07)]
)
def test_the_aftercooler_water_balance_closes(
    t_c: float, percent: float, cooled_c: float, condensate: float
) -> None:
    """375 cfm of free air cooled at 7 bar gauge: condensate in kg/h (CoolProp, computed), within 0.5 %."""
    e_in = air.vapour_pressure_pa(t_c, percent / 100, ATMOSPHERE)
    dry = line.dry_air_kg_per_s(375 * CFM, t_c, e_in, ATMOSPHERE)
    before = line.water_kg_per_h(air.humidity_ratio(e_in, ATMOSPHERE), dry)
    after = line.water_kg_per_h(air.humidity_ratio(air.vapour_pressure_pa(cooled_c, 1.0, LINE), LINE), dry)
    assert before - after == pytest.approx(condensate, rel=0.005)


def test_dry_air_and_intake_water_of_a_known_compressor() -> None:
    """375 cfm at 30 C and 70 %: 720.0 kg/h of dry air and 13.60 kg/h of water (computed)."""
    e_pa = air.vapour_pressure_pa(30.0, 0.7, ATMOSPHERE)
    dry = line.dry_air_kg_per_s(375 * CFM, 30.0, e_pa, ATMOSPHERE)
    assert dry * 3600 == pytest.approx(720.0, rel=1e-3)
    assert line.water_kg_per_h(air.humidity_ratio(e_pa, ATMOSPHERE), dry) == pytest.approx(13.60, rel=1e-3)


@pytest.mark.parametrize(("cooled_c", "expected"), [(30.0, -1.33), (40.0, 6.25), (45.0, 10.09), (50.0, 13.92)])
def test_dry_cold_intake_air_leaves_no_condensate(cooled_c: float, expected: float) -> None:
    """An aftercooler outlet at 7 bar gauge condenses only above this intake point (computed)."""
    assert line.at_pressure_c(cooled_c, LINE, ATMOSPHERE)[0] == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(
    ("bore_in", "psig", "coefficient", "cfm"),
    [(0.25, 100, 1.0, 104.2), (0.375, 100, 1.0, 234.4), (0.5, 100, 1.0, 416.7), (0.375, 100, 0.83, 194.6)],
)
def test_choked_flow_matches_ideal_orifice_values(
    bore_in: float, psig: float, coefficient: float, cfm: float
) -> None:
    """Ideal values beside Moss's table (70 F, free air of 0.075 lb/ft3), within 0.5 %."""
    area = math.pi / 4 * (bore_in * 0.0254) ** 2
    inlet = line.absolute_pressure_pa(psig * 6894.757, ATMOSPHERE)
    found = line.choked_nozzle_kg_per_s(area, inlet, 21.11, ATMOSPHERE, coefficient)
    free_air = 0.075 * 0.45359237 / 0.3048**3
    assert found / free_air / CFM == pytest.approx(cfm, rel=0.005)


def test_the_choked_constants_follow_from_their_formulas() -> None:
    """Ratio of heats 1.4 and R = 287.04 J/(kg K)."""
    assert pytest.approx(math.sqrt(1.4 / 287.04) * (2 / 2.4) ** 3, rel=1e-5) == line.CHOKED_COEFFICIENT
    assert pytest.approx((2 / 2.4) ** 3.5, rel=1e-5) == line.CRITICAL_RATIO


@pytest.mark.parametrize(("altitude_m", "expected"), [(0, 101_325), (500, 95_461), (1000, 89_875), (4000, 61_640)])
def test_standard_atmosphere_matches_the_ashrae_table(altitude_m: float, expected: float) -> None:
    """ASHRAE Fundamentals 2017, chapter 1, table 1, within 1 Pa."""
    assert line.standard_atmosphere_pa(altitude_m) == pytest.approx(expected, abs=1)


def test_sea_level_pressure_on_a_mountain_would_show() -> None:
    """At 1,600 m it hides 18 % of humidity ratio and 3.7 K of pressure dew point."""
    station = line.standard_atmosphere_pa(1600)
    e_true, e_wrong = (air.vapour_pressure_pa(20.0, 0.5, p) for p in (station, ATMOSPHERE))
    ratio = air.humidity_ratio(e_wrong, ATMOSPHERE) / air.humidity_ratio(e_true, station)
    assert ratio == pytest.approx(0.82, abs=0.005)
    right, wrong = (line.at_pressure_c(15.0, p, 8e5)[0] for p in (station, ATMOSPHERE))
    assert wrong - right == pytest.approx(-3.7, abs=0.4)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: line.absolute_pressure_pa(7e5, 7e5),
            r"station pressure \(Pa\) is 700000, allowed is 50000 to 110000",
        ),
        (lambda: line.absolute_pressure_pa(-2e5, 1e5), r"absolute pressure \(Pa\) is -100000"),
        (lambda: line.absolute_pressure_pa(math.nan, 1e5), r"absolute pressure \(Pa\) is nan"),
        (lambda: line.standard_atmosphere_pa(9000.0), r"altitude \(m\) is 9000"),
        (lambda: line.pressure_dew_point_c(35.0, 0.5, 8e5, 0.0), r"total pressure \(Pa\) is 0"),
        (lambda: line.at_pressure_c(95.0, 1.2e5, 16e5), r"vapour pressure|dew point"),
        (lambda: line.at_pressure_c(3.0, 8e5, 1e5, frost=True), r"temperature over ice \(C\) is 3"),
        (lambda: line.iso_8573_humidity_class(math.nan), r"pressure dew point \(C\) is nan"),
        (lambda: line.ppmv_dry(1e5, 1e5), r"vapour pressure"),
        (lambda: line.dry_air_kg_per_s(-1.0, 20.0, 1e3, 1e5), r"air flow \(m3/s\) is -1"),
        (lambda: line.dry_air_kg_per_s(1.0, 400.0, 1e3, 1e5), r"temperature \(C\) is 400"),
        (lambda: line.dry_air_kg_per_s(1.0, 20.0, 2e5, 1e5), r"vapour pressure"),
        (lambda: line.water_kg_per_h(-0.1, 1.0), r"humidity ratio"),
        (lambda: line.water_kg_per_h(0.1, -1.0), r"dry air"),
        (lambda: line.choked_nozzle_kg_per_s(0.0, 8e5, 20.0, 1e5), r"bore area"),
        (lambda: line.choked_nozzle_kg_per_s(1e-4, 1.8e5, 20.0, 1e5), r"nozzle pressure \(Pa\) is 180000"),
        (lambda: line.choked_nozzle_kg_per_s(1e-4, 8e5, 300.0, 1e5), r"temperature"),
        (lambda: line.choked_nozzle_kg_per_s(1e-4, 8e5, 20.0, 1e5, 1.1), r"discharge coefficient"),
    ],
)
def test_an_impossible_input_is_refused_by_name(call: Callable[[], object], message: str) -> None:
    """The message tells which input is wrong and what it was."""
    with pytest.raises(air.OutOfRange, match=message):
        call()
