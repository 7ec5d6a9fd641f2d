"""Moist air against published tables, CoolProp, PsychroLib and itself.

Tables are in tests/tables with source and tolerance. Printed dew-point tables for painters are left out: they mix
dew and frost points and hold misprints.
"""

from __future__ import annotations

import math
import subprocess
import sys
import timeit
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given
from hypothesis import strategies as st

from gateway import psychrometrics as air
from tests import make_surface
from tests.tables import rows

ATMOSPHERE = 101_325.0
ZERO_C = 273.15
PRESSURES = (55e3, 70e3, ATMOSPHERE, 2e5, 3.3e5, 5e5, 8.01325e5, 11e5, 13e5, 16e5)
GOAL_K = 0.002  # the accuracy promised against the references

pressure = st.floats(air.LOWEST_PA, air.HIGHEST_PA)
humidity = st.floats(0.02, 1.0)


def over_its_phase(t_c: float, p_pa: float) -> float:
    """Enhancement factor over ice below 0 C and over water above."""
    return (air.enhancement_factor_ice if t_c < 0 else air.enhancement_factor_water)(t_c, p_pa)


def saturation(t_c: float) -> float:
    """Saturation pressure over ice below 0 C and over water above."""
    return (air.saturation_pressure_ice_pa if t_c < 0 else air.saturation_pressure_water_pa)(t_c)


def saturated_humidity_ratio(t_c: float, p_pa: float) -> float:
    """Over ice below 0 C and over water above."""
    return air.humidity_ratio(air.saturated_vapour_pressure_pa(t_c, p_pa, frost=t_c < 0), p_pa)


def coolprop_saturated(t_c: float, p_pa: float) -> float:
    return float(HAPropsSI("P_w", "T", t_c + ZERO_C, "P", p_pa, "R", 1.0))


# Tables: name, rows, and what must give the expected value from the inputs of a row.

TABLES: list[tuple[str, int, Callable[..., float]]] = [
    ("saturation_pressure_water", 14, air.saturation_pressure_water_pa),
    ("saturation_pressure_ice", 10, air.saturation_pressure_ice_pa),
    ("saturation_pressure_ashrae", 8, saturation),
    ("sublimation_pressure_r14", 1, lambda t_k: make_surface.r14_ice_pa(t_k - ZERO_C)),
    ("dew_point", 29, lambda t_c, percent: air.dew_point_c(t_c, percent / 100, ATMOSPHERE)),
    ("frost_point", 7, lambda t_c, percent: air.frost_point_c(t_c, percent / 100, ATMOSPHERE)),
    ("enhancement_factor", 40, over_its_phase),
    ("saturated_humidity_ratio", 7, saturated_humidity_ratio),
]
ROWS = [(law, *row) for name, count, law in TABLES for row in rows(name, count)]


@pytest.mark.parametrize(("law", "inputs", "expected", "tolerance"), ROWS)
def test_every_row_of_every_table_is_met(
    law: Callable[..., float], inputs: list[float], expected: float, tolerance: float
) -> None:
    """Published and reference values, each within the tolerance its table states."""
    assert law(*inputs) == pytest.approx(expected, abs=tolerance)


# Dense grids against the references


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_dew_points_above_zero_are_within_2_mk_of_coolprop(p_pa: float) -> None:
    """From 0.05 to 100 C, at every pressure, as far as CoolProp goes towards pure steam."""
    points = [t for t in np.arange(0.05, 100.0, 1.3) if air.saturation_pressure_water_pa(t) < 0.9 * p_pa]
    for t in points:
        found = air.dew_point_from_vapour_pressure_c(coolprop_saturated(t, p_pa), p_pa)
        assert found == pytest.approx(t, abs=GOAL_K)


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_frost_points_are_within_2_mk_of_coolprop(p_pa: float) -> None:
    """From -100 to 0 C at every pressure."""
    for t in np.arange(-99.99, 0.0, 1.7):
        found = air.frost_point_from_vapour_pressure_c(coolprop_saturated(t, p_pa), p_pa)
        assert found == pytest.approx(t, abs=GOAL_K)


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_dew_points_over_supercooled_water_are_within_2_mk_of_hardy(p_pa: float) -> None:
    """From -100 to 0 C at every pressure; below -50 C this is Hardy's equation extrapolated."""
    for t in np.arange(-99.9, 0.0, 1.7):
        e_pa = make_surface.hardy_water_pa(t) * math.exp(make_surface.hardy_ln_factor(t, p_pa))
        assert air.dew_point_from_vapour_pressure_c(e_pa, p_pa) == pytest.approx(t, abs=GOAL_K)


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_dew_point_from_temperature_and_humidity_is_within_2_mk_of_coolprop(p_pa: float) -> None:
    """Gas from 0.5 to 200 C with saturation under 0.9 of the pressure, wherever the dew point is above 0 C."""
    compared = 0
    for t in np.arange(0.5, 200.0, 7.3):
        if air.saturation_pressure_water_pa(t) >= 0.9 * p_pa:
            break
        for rh in (0.01, 0.1, 0.4, 0.8, 1.0):
            truth = HAPropsSI("D", "T", t + ZERO_C, "P", p_pa, "R", rh) - ZERO_C
            if 0.02 < truth < 100.0:
                assert air.dew_point_c(t, rh, p_pa) == pytest.approx(truth, abs=GOAL_K)
                compared += 1
    assert compared > 25


def test_frost_point_from_temperature_and_humidity_is_within_2_mk_of_coolprop() -> None:
    """Warm dry gas, where humidity over water and over ice are the same input."""
    compared = 0
    for p_pa in PRESSURES:
        for t in np.arange(0.5, 60.0, 5.9):
            for rh in (0.001, 0.01, 0.1, 0.5):
                truth = HAPropsSI("D", "T", t + ZERO_C, "P", p_pa, "R", rh) - ZERO_C
                if truth < -0.05 and air.saturation_pressure_water_pa(t) < 0.9 * p_pa:
                    assert air.frost_point_c(t, rh, p_pa) == pytest.approx(truth, abs=GOAL_K)
                    compared += 1
    assert compared > 100


def test_pure_vapour_pressure_follows_its_references_closely() -> None:
    """Without air: IAPWS-95 to 10 ppm up to 200 C, R14 over ice and Hardy over supercooled water too."""
    for t in np.arange(0.02, 200.0, 3.1):
        truth = PropsSI("P", "T", t + ZERO_C, "Q", 0, "Water")
        assert air.saturation_pressure_water_pa(t) == pytest.approx(truth, rel=1e-5)
    for t in np.arange(-100.0, 0.0, 3.1):
        assert air.saturation_pressure_ice_pa(t) == pytest.approx(make_surface.r14_ice_pa(t), rel=1e-5)
        assert air.saturation_pressure_water_pa(t) == pytest.approx(make_surface.hardy_water_pa(t), rel=1e-5)


def test_pure_vapour_pressure_agrees_with_an_independent_library() -> None:
    """PsychroLib's Hyland-Wexler equations, a separate implementation, agree to 300 ppm over water."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t in np.arange(0.5, 100.0, 3.3):
        assert air.saturation_pressure_water_pa(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=3e-4)
    for t in np.arange(-60.0, 0.0, 3.3):
        assert air.saturation_pressure_ice_pa(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-3)


@pytest.mark.parametrize(
    ("t_c", "p_pa", "tolerance"),
    [(0.5, 1e5, 2e-3), (20.0, 1e5, 2e-3), (35.0, ATMOSPHERE, 2e-3), (20.0, 8e5, 0.01), (-20.0, 16e5, 0.015)],
)
def test_absolute_humidity_is_near_coolprop(t_c: float, p_pa: float, tolerance: float) -> None:
    """The ideal gas is as close as the docstring says."""
    e_pa = air.vapour_pressure_pa(t_c, 0.8, p_pa)
    ratio, volume = (HAPropsSI(what, "T", t_c + ZERO_C, "P", p_pa, "P_w", e_pa) for what in ("W", "Vda"))
    assert air.absolute_humidity_kg_per_m3(t_c, e_pa, p_pa) == pytest.approx(ratio / volume, rel=tolerance)


@pytest.mark.parametrize("p_pa", [ATMOSPHERE, 8.01325e5, 16e5])
def test_saturated_pressure_is_that_of_coolprop(p_pa: float) -> None:
    """With the factor, over water above 0 C and over ice below, within 100 ppm."""
    for t in (-80.0, -40.0, -10.0, 5.0, 20.0, 60.0, 90.0):
        found = air.saturated_vapour_pressure_pa(t, p_pa, frost=t < 0)
        assert found == pytest.approx(coolprop_saturated(t, p_pa), rel=1e-4)


def test_saturated_pressure_over_supercooled_water_is_that_of_hardy() -> None:
    """A dew point of -20 C is 125.58 Pa before the factor, a frost point 103.24 Pa."""
    for frost, pure, law in ((False, 125.58, make_surface.hardy_ln_factor(-20.0, 8e5)), (True, 103.24, 0.0358)):
        found = air.saturated_vapour_pressure_pa(-20.0, 8e5, frost)
        assert found == pytest.approx(pure * math.exp(law), rel=3e-4)


@pytest.mark.parametrize("t_c", [-40.0, -20.0, -5.0])
def test_humidity_over_ice_is_the_input_humidity_of_coolprop_below_zero(t_c: float) -> None:
    """CoolProp takes humidity over ice below 0 C; both directions agree to 100 ppm."""
    truth = HAPropsSI("P_w", "T", t_c + ZERO_C, "P", 8e5, "R", 0.6)
    assert air.vapour_pressure_from_rh_ice_pa(t_c, 0.6, 8e5) == pytest.approx(truth, rel=1e-4)
    assert air.relative_humidity_ice(t_c, truth, 8e5) == pytest.approx(0.6, rel=1e-4)


def test_air_saturated_over_water_is_above_100_percent_over_ice() -> None:
    """At -10 C e_w/e_i is 1.1025 (Hardy 1998), a little less with the factors of the two phases."""
    wet = air.vapour_pressure_pa(-10.0, 1.0, ATMOSPHERE)
    assert air.relative_humidity_ice(-10.0, wet, ATMOSPHERE) == pytest.approx(1.1025, rel=1e-3)


def test_humidity_ratio_gives_the_vapour_pressure_of_ashrae() -> None:
    """0.020173 kg/kg is saturation at 25 C and one atmosphere (ASHRAE 2017, chapter 1, table 2)."""
    found = air.vapour_pressure_from_humidity_ratio_pa(0.020173, ATMOSPHERE)
    assert found == pytest.approx(air.vapour_pressure_pa(25.0, 1.0, ATMOSPHERE), rel=2e-4)


def test_absolute_humidity_gives_the_vapour_pressure_of_a_handbook() -> None:
    """17.30 g/m3 is saturation at 20 C (published), so 2339 Pa as an ideal gas, within 0.1 %."""
    found = air.vapour_pressure_from_absolute_humidity_pa(0.01730, 20.0, ATMOSPHERE)
    assert found == pytest.approx(2339.26, rel=1e-3)


# Traps others fell into


@pytest.mark.parametrize(
    ("t_c", "rh", "dew", "frost"), [(20.0, 0.10, -12.540, -11.179), (5.0, 0.50, -4.554, -4.032)]
)
def test_dew_point_below_zero_is_over_water_and_not_the_frost_point(
    t_c: float, rh: float, dew: float, frost: float
) -> None:
    """Libraries return the frost point under the name of dew point; here the two are apart."""
    assert air.dew_point_c(t_c, rh, ATMOSPHERE) == pytest.approx(dew, abs=0.01)
    assert air.frost_point_c(t_c, rh, ATMOSPHERE) == pytest.approx(frost, abs=0.01)


def test_humidity_below_zero_is_relative_to_water() -> None:
    """At -5 C and 80 % the vapour pressure is 337.44 Pa before the factor, not 321.41 as over ice."""
    pure = air.vapour_pressure_pa(-5.0, 0.8, ATMOSPHERE) / air.enhancement_factor_water(-5.0, ATMOSPHERE)
    assert pure == pytest.approx(337.44, abs=0.02)
    assert air.humidity_ratio(pure, ATMOSPHERE) == pytest.approx(2.078e-3, abs=5e-7)


def test_vapour_pressure_holds_the_enhancement_factor() -> None:
    """The real partial pressure is above the pure one, and 421.80 Pa is a frost point of -4.479 C at 1 atm."""
    assert air.frost_point_from_vapour_pressure_c(421.80, ATMOSPHERE) == pytest.approx(-4.479, abs=0.002)
    pure = air.saturation_pressure_water_pa(20.0)
    assert air.vapour_pressure_pa(20.0, 1.0, ATMOSPHERE) / pure == pytest.approx(1.00413, abs=1e-4)


@pytest.mark.parametrize(
    ("t_c", "expected"), [(-5.0, 421.80), (-10.0, 286.52), (-20.0, 125.58), (-30.0, 51.03), (-40.0, 19.03)]
)
def test_supercooled_water_is_not_taken_for_ice(t_c: float, expected: float) -> None:
    """Published values over supercooled water (Hardy 1998), well above those over ice."""
    assert air.saturation_pressure_water_pa(t_c) == pytest.approx(expected, rel=3e-4)
    assert air.saturation_pressure_water_pa(t_c) > 1.04 * air.saturation_pressure_ice_pa(t_c)


def test_leaving_out_the_enhancement_factor_would_show_at_line_pressure() -> None:
    """A library without it is 2.2 to 2.8 % low in humidity ratio at 8 bar absolute; ours is not."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t in (3.0, 20.0, 40.0):
        ours = air.humidity_ratio(air.vapour_pressure_pa(t, 1.0, 8e5), 8e5)
        assert 0.022 < 1 - psychrolib.GetSatHumRatio(t, 8e5) / ours < 0.029


def test_enhancement_factor_depends_on_temperature_at_line_pressure() -> None:
    """At 8 bar absolute the ambient-pressure formula gives 1.0268 everywhere; 20 C has 1.0253 and -40 C 1.045."""
    assert air.enhancement_factor_water(20.0, 8e5) == pytest.approx(1.0253, abs=2e-4)
    assert air.enhancement_factor_ice(-40.0, 8.01325e5) == pytest.approx(1.04527, abs=1e-4)


def test_painters_tables_print_frost_points_below_zero() -> None:
    """2 C and 50 %: the printed -6.6 is near the frost point -6.50; the dew point is -7.33."""
    assert air.dew_point_c(2.0, 0.5, ATMOSPHERE) == pytest.approx(-7.33, abs=0.02)
    assert air.frost_point_c(2.0, 0.5, ATMOSPHERE) == pytest.approx(-6.50, abs=0.02)


@pytest.mark.parametrize(
    ("t_c", "margin"), [(0.0, 2.22), (5.0, 2.31), (10.0, 2.40), (20.0, 2.60), (30.0, 2.80), (40.0, 3.01)]
)
def test_85_percent_and_3_kelvin_are_different_limits(t_c: float, margin: float) -> None:
    """Steel at air temperature and 85 % is less than 3 K above the dew point, but in hot air."""
    assert t_c - air.dew_point_c(t_c, 0.85, ATMOSPHERE) == pytest.approx(margin, abs=0.015)


def test_ice_coefficients_have_no_typing_mistake() -> None:
    """Published typing mistakes give 6.4e11 or 706.5 Pa over ice at -10 C; 259.87 is right."""
    assert air.saturation_pressure_ice_pa(-10.0) == pytest.approx(259.87, abs=0.02)


# The line between frost and dew


def test_condensation_is_frost_below_zero_and_dew_above() -> None:
    """The flag and the value change together, and the frost point is the higher one."""
    frosty = air.vapour_pressure_pa(5.0, 0.5, ATMOSPHERE)
    assert air.condensation_point_c(frosty, ATMOSPHERE) == (air.frost_point_c(5.0, 0.5, ATMOSPHERE), True)
    assert air.condensation_point_c(frosty, ATMOSPHERE)[0] > air.dew_point_c(5.0, 0.5, ATMOSPHERE)
    wet = air.vapour_pressure_pa(20.0, 0.5, ATMOSPHERE)
    assert air.condensation_point_c(wet, ATMOSPHERE) == (air.dew_point_c(20.0, 0.5, ATMOSPHERE), False)


@pytest.mark.parametrize("p_pa", PRESSURES)
@pytest.mark.parametrize("centre_pa", [611.0, 615.0, 630.0, 650.0])
def test_points_never_fall_as_vapour_rises_through_zero(p_pa: float, centre_pa: float) -> None:
    """Dew point and condensation point only rise across the seam between the two references."""
    steps = np.linspace(0.98 * centre_pa, 1.03 * centre_pa, 400)
    dew = [air.dew_point_from_vapour_pressure_c(float(e), p_pa) for e in steps]
    lowest = [air.condensation_point_c(float(e), p_pa)[0] for e in steps]
    assert all(b >= a for a, b in pairwise(dew))
    assert all(b >= a for a, b in pairwise(lowest))
    assert max(b - a for a, b in pairwise(lowest)) < 0.06


def test_the_fit_has_no_step_where_hot_gas_begins() -> None:
    """Two pieces of the fit meet at 100 C within 1 mK of dew point."""
    for p_pa in (2e5, 8e5, 16e5):
        below, above = (air.dew_point_c(t, 0.5, p_pa) for t in (100.0 - 1e-9, 100.0))
        assert above == pytest.approx(below, abs=1e-3)


# Round trips and direction


@given(t_c=st.floats(-60.0, 99.0), rh=humidity, p_pa=pressure)
def test_humidity_comes_back_from_vapour_pressure(t_c: float, rh: float, p_pa: float) -> None:
    """Temperature and humidity to vapour pressure and back is exact."""
    if air.saturation_pressure_water_pa(t_c) < 0.95 * p_pa:
        e_pa = air.vapour_pressure_pa(t_c, rh, p_pa)
        assert air.relative_humidity(t_c, e_pa, p_pa) == pytest.approx(rh, rel=1e-12)


@given(t_c=st.floats(-100.0, 0.0), rh_ice=humidity, p_pa=pressure)
def test_humidity_over_ice_comes_back(t_c: float, rh_ice: float, p_pa: float) -> None:
    """Over ice to vapour pressure and back is exact, and more humid is more vapour."""
    e_pa = air.vapour_pressure_from_rh_ice_pa(t_c, rh_ice, p_pa)
    assert air.relative_humidity_ice(t_c, e_pa, p_pa) == pytest.approx(rh_ice, rel=1e-12)
    assert air.vapour_pressure_from_rh_ice_pa(t_c, rh_ice * 0.99, p_pa) < e_pa


@given(share=st.floats(1e-7, 0.95), t_c=st.floats(-100.0, 200.0), p_pa=pressure)
def test_vapour_comes_back_from_ratio_and_absolute_humidity(share: float, t_c: float, p_pa: float) -> None:
    """Vapour pressure to kg/kg or kg/m3 and back is exact, and more is more."""
    e_pa = share * p_pa
    ratio = air.humidity_ratio(e_pa, p_pa)
    assert air.vapour_pressure_from_humidity_ratio_pa(ratio, p_pa) == pytest.approx(e_pa, rel=1e-12)
    assert air.vapour_pressure_from_humidity_ratio_pa(ratio * 1.01, p_pa) > e_pa
    density = air.absolute_humidity_kg_per_m3(t_c, e_pa, p_pa)
    back = air.vapour_pressure_from_absolute_humidity_pa(density, t_c, p_pa)
    assert back == pytest.approx(e_pa, rel=1e-12)
    assert air.vapour_pressure_from_absolute_humidity_pa(density * 1.01, t_c, p_pa) > e_pa


@given(point_c=st.floats(-99.0, 0.0), p_pa=pressure)
def test_a_frost_point_has_less_vapour_than_the_same_dew_point(point_c: float, p_pa: float) -> None:
    """Ice holds less, but just below 0 C, where the two sources do not meet: by at most 0.035 K for each bar.

    Both rise with the point, and the point comes back within 2 mK.
    """
    dew, frost = (air.saturated_vapour_pressure_pa(point_c, p_pa, frost=each) for each in (False, True))
    assert frost < dew or point_c > -0.035 * p_pa / 1e5
    assert air.saturated_vapour_pressure_pa(point_c - 0.1, p_pa, frost=True) < frost
    assert air.frost_point_from_vapour_pressure_c(frost, p_pa) == pytest.approx(point_c, abs=GOAL_K)
    assert air.dew_point_from_vapour_pressure_c(dew, p_pa) == pytest.approx(point_c, abs=GOAL_K)


@given(t_c=st.floats(-99.0, 99.0), p_pa=pressure)
def test_saturated_air_has_its_dew_point_at_its_temperature(t_c: float, p_pa: float) -> None:
    """At 100 % the dew point is the temperature, within 2 mK."""
    if air.saturation_pressure_water_pa(t_c) < 0.9 * p_pa:
        assert air.dew_point_c(t_c, 1.0, p_pa) == pytest.approx(t_c, abs=GOAL_K)


@given(t_c=st.floats(-99.0, -0.001), p_pa=pressure)
def test_air_saturated_over_ice_has_its_frost_point_at_its_temperature(t_c: float, p_pa: float) -> None:
    """Over ice the frost point is the temperature, within 2 mK."""
    e_pa = air.enhancement_factor_ice(t_c, p_pa) * air.saturation_pressure_ice_pa(t_c)
    assert air.frost_point_from_vapour_pressure_c(e_pa, p_pa) == pytest.approx(t_c, abs=GOAL_K)


@given(t_c=st.floats(-40.0, 99.0), rh=st.floats(0.02, 0.98), p_pa=pressure)
def test_more_humid_air_has_a_higher_dew_point(t_c: float, rh: float, p_pa: float) -> None:
    """Dew point rises with humidity, or stands still in the gap at 0 C."""
    if air.saturation_pressure_water_pa(t_c) < 0.9 * p_pa:
        drier, wetter = (air.dew_point_c(t_c, each, p_pa) for each in (rh, rh + 0.02))
        assert wetter > drier or drier == 0.0


@given(t_c=st.floats(-40.0, 98.0), rh=humidity, p_pa=pressure)
def test_warmer_air_of_the_same_humidity_has_a_higher_dew_point(t_c: float, rh: float, p_pa: float) -> None:
    """Dew point rises with temperature at constant humidity, or stands still in the gap at 0 C."""
    if air.saturation_pressure_water_pa(t_c + 0.5) < 0.9 * p_pa:
        colder, warmer = (air.dew_point_c(each, rh, p_pa) for each in (t_c, t_c + 0.5))
        assert warmer > colder or colder == 0.0


@given(t_c=st.floats(-60.0, 99.0), rh=humidity, p_pa=pressure)
def test_dew_point_is_never_above_the_air(t_c: float, rh: float, p_pa: float) -> None:
    """Unsaturated air is warmer than its dew point, or as warm in the gap at 0 C."""
    if air.saturation_pressure_water_pa(t_c) < 0.9 * p_pa and rh < 0.999:
        assert air.dew_point_c(t_c, rh, p_pa) <= t_c


# Range


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: air.dew_point_c(200.1, 0.01, 16e5), r"temperature \(C\) is 200\.1, allowed is -100 to 200"),
        (lambda: air.dew_point_c(-100.1, 0.5, 1e5), r"temperature \(C\)"),
        (
            lambda: air.dew_point_c(20.0, 0.0, 1e5),
            r"relative humidity \(fraction\) is 0, allowed is above 0, up to 1",
        ),
        (lambda: air.dew_point_c(20.0, 1.001, 1e5), r"relative humidity"),
        (lambda: air.dew_point_c(20.0, 50.0, 1e5), r"relative humidity \(fraction\) is 50"),
        (lambda: air.dew_point_c(math.nan, 0.5, 1e5), r"temperature \(C\) is nan"),
        (lambda: air.dew_point_c(20.0, math.nan, 1e5), r"relative humidity \(fraction\) is nan"),
        (lambda: air.dew_point_c(20.0, 0.5, math.nan), r"total pressure \(Pa\) is nan"),
        (
            lambda: air.dew_point_c(20.0, 0.5, 54_999.0),
            r"total pressure \(Pa\) is 54999, allowed is 55000 to 1600000",
        ),
        (lambda: air.dew_point_c(20.0, 0.5, 1_600_001.0), r"total pressure"),
        (
            lambda: air.dew_point_c(101.0, 0.5, ATMOSPHERE),
            r"saturation vapour pressure .* below the total pressure",
        ),
        (lambda: air.dew_point_c(150.0, 1.0, 16e5), r"dew point \(C\) is 150\.\d+, allowed is -100 to 100"),
        (lambda: air.dew_point_c(-99.0, 0.1, 1e5), r"dew point \(C\) is -1.*allowed is -100 to 100"),
        (lambda: air.frost_point_c(20.0, 0.5, 1e5), r"frost point \(C\) is .*allowed is -100 to 0"),
        (lambda: air.humidity_ratio(1e5, 1e5), r"vapour pressure \(Pa\) is 100000"),
        (lambda: air.humidity_ratio(0.0, 1e5), r"vapour pressure"),
        (lambda: air.condensation_point_c(-1.0, 1e5), r"vapour pressure"),
        (lambda: air.saturation_pressure_ice_pa(0.1), r"temperature over ice \(C\)"),
        (lambda: air.saturation_pressure_water_pa(201.0), r"temperature \(C\)"),
        (lambda: air.saturated_vapour_pressure_pa(0.1, 1e5, frost=True), r"temperature over ice \(C\) is 0.1"),
        (lambda: air.saturated_vapour_pressure_pa(-5.0, 2e6, frost=True), r"total pressure"),
        (lambda: air.saturated_vapour_pressure_pa(201.0, 16e5, frost=False), r"temperature \(C\) is 201"),
        (lambda: air.relative_humidity_ice(1.0, 300.0, 1e5), r"temperature over ice \(C\) is 1"),
        (lambda: air.relative_humidity_ice(-1.0, 0.0, 1e5), r"vapour pressure"),
        (
            lambda: air.vapour_pressure_from_rh_ice_pa(-10.0, 1.11, 1e5),
            r"over ice \(fraction\) is 1.11, allowed is above 0, up to 1.10",
        ),
        (lambda: air.vapour_pressure_from_rh_ice_pa(-10.0, 0.0, 1e5), r"over ice \(fraction\) is 0"),
        (lambda: air.vapour_pressure_from_rh_ice_pa(-10.0, math.nan, 1e5), r"over ice \(fraction\) is nan"),
        (lambda: air.vapour_pressure_from_humidity_ratio_pa(0.0, 1e5), r"humidity ratio \(kg/kg\) is 0"),
        (lambda: air.vapour_pressure_from_humidity_ratio_pa(math.inf, 1e5), r"humidity ratio \(kg/kg\) is inf"),
        (lambda: air.vapour_pressure_from_humidity_ratio_pa(0.01, 1e4), r"total pressure"),
        (lambda: air.vapour_pressure_from_absolute_humidity_pa(0.0, 20.0, 1e5), r"vapour pressure \(Pa\) is 0"),
        (lambda: air.vapour_pressure_from_absolute_humidity_pa(1.0, 20.0, 1e5), r"vapour pressure \(Pa\) is 135"),
        (lambda: air.vapour_pressure_from_absolute_humidity_pa(0.01, 201.0, 1e5), r"temperature"),
    ],
)
def test_an_impossible_input_names_itself_its_value_and_its_range(call: Callable[[], float], message: str) -> None:
    """The message tells what is wrong and what would be right."""
    with pytest.raises(air.OutOfRange, match=message):
        call()


@pytest.mark.parametrize("p_pa", [7e5, ATMOSPHERE * 1.1, 16e5])
def test_the_ends_of_the_range_are_inside(p_pa: float) -> None:
    """Points of exactly -100, 0 and +100 C are answered."""
    assert air.dew_point_c(100.0, 1.0, p_pa) == pytest.approx(100.0, abs=GOAL_K)
    assert air.dew_point_c(-100.0, 1.0, p_pa) == pytest.approx(-100.0, abs=GOAL_K)
    for t in (-100.0, 0.0):
        e_pa = air.enhancement_factor_ice(t, p_pa) * air.saturation_pressure_ice_pa(t)
        assert air.frost_point_from_vapour_pressure_c(e_pa, p_pa) == pytest.approx(t, abs=GOAL_K)
    assert air.frost_point_from_vapour_pressure_c(e_pa * 1.00004, p_pa) == 0.0  # half a millikelvin too moist


# Arrays


def scalar_or_nan(law: Callable[..., float], *values: float) -> float:
    try:
        return law(*values)
    except air.OutOfRange:
        return math.nan


def random_air(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Temperatures, humidities and pressures in and out of range, the same each time."""
    chance = np.random.default_rng(20)
    t, rh, p = (
        chance.uniform(-110, 210, count),
        chance.uniform(-0.05, 1.05, count),
        chance.uniform(4e4, 17e5, count),
    )
    t[:3], rh[3:6], p[6:9] = math.nan, math.nan, math.nan
    return t, rh, p


@pytest.mark.parametrize(
    ("scalar", "array"),
    [
        (air.dew_point_c, air.dew_point_array_c),
        (air.frost_point_c, air.frost_point_array_c),
        (air.vapour_pressure_pa, air.vapour_pressure_array_pa),
    ],
)
def test_arrays_of_temperature_and_humidity_agree_with_scalars(
    scalar: Callable[..., float], array: Callable[..., np.ndarray]
) -> None:
    """The same to 1e-9 relative or kelvin, and NaN exactly where the scalar raises."""
    t, rh, p = random_air(4000)
    expected = [scalar_or_nan(scalar, *map(float, each)) for each in zip(t, rh, p, strict=True)]
    assert 100 < np.isnan(expected).sum() < 3900
    np.testing.assert_allclose(array(t, rh, p), expected, atol=1e-9, rtol=1e-12)


@pytest.mark.parametrize(
    ("scalar", "array"),
    [
        (air.dew_point_from_vapour_pressure_c, air.dew_point_from_vapour_pressure_array_c),
        (air.frost_point_from_vapour_pressure_c, air.frost_point_from_vapour_pressure_array_c),
        (lambda e, p: air.condensation_point_c(e, p)[0], lambda e, p: air.condensation_point_array_c(e, p)[0]),
    ],
)
def test_arrays_of_vapour_pressure_agree_with_scalars(
    scalar: Callable[..., float], array: Callable[..., np.ndarray]
) -> None:
    """The same to 1e-9 K, through the gap at 0 C and out of range."""
    chance = np.random.default_rng(7)
    e = np.concatenate([np.exp(chance.uniform(-10, 13, 3000)), np.linspace(600, 680, 500), [-1.0, 0.0, math.nan]])
    p = chance.uniform(5e4, 17e5, e.size)
    expected = [scalar_or_nan(scalar, float(a), float(b)) for a, b in zip(e, p, strict=True)]
    np.testing.assert_allclose(array(e, p), expected, atol=1e-9, rtol=0)


@given(
    t_c=st.floats(-120.0, 220.0) | st.just(math.nan),
    rh=st.floats(-0.1, 1.1) | st.just(math.nan),
    p_pa=st.floats(4e4, 17e5) | st.just(math.nan),
)
def test_any_one_value_is_the_same_in_an_array(t_c: float, rh: float, p_pa: float) -> None:
    """NaN in, or a scalar that raises, is NaN out; else the same to 1e-9."""
    for scalar, array in ((air.dew_point_c, air.dew_point_array_c), (air.frost_point_c, air.frost_point_array_c)):
        expected = scalar_or_nan(scalar, t_c, rh, p_pa)
        assert float(array(t_c, rh, p_pa)[0]) == pytest.approx(expected, abs=1e-9, nan_ok=True)


def test_an_array_says_where_its_points_are_frost() -> None:
    """The flag is that of the scalar, and False where there is no point."""
    e = np.array([100.0, 1000.0, -1.0])
    values, frost = air.condensation_point_array_c(e, 8e5)
    assert [air.condensation_point_c(x, 8e5)[1] for x in (100.0, 1000.0)] + [False] == frost.tolist()
    assert np.isnan(values).tolist() == [False, False, True]


def test_arrays_broadcast() -> None:
    """One pressure serves a column of readings."""
    found = air.dew_point_array_c([20.0, 25.0], 0.5, ATMOSPHERE)
    assert found.tolist() == pytest.approx([air.dew_point_c(t, 0.5, ATMOSPHERE) for t in (20.0, 25.0)], abs=1e-9)


def test_the_module_needs_no_numpy_and_no_coolprop_when_imported() -> None:
    """A small gateway computes with the standard library alone."""
    work = "import sys; from gateway import psychrometrics as a; a.dew_point_c(20, .5, 101325);"
    code = work + "sys.exit(bool({'numpy', 'CoolProp'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.timeout(120)
def test_it_is_much_faster_than_the_library_it_was_fitted_to() -> None:
    """One dew point is at least 20 times and a column of 10,000 at least 500 times quicker than CoolProp."""
    chance = np.random.default_rng(3)
    t, rh = chance.uniform(5, 45, 10_000), chance.uniform(0.2, 1, 10_000)
    few = [(float(a), float(b)) for a, b in zip(t[:500], rh[:500], strict=True)]

    def best(work: Callable[[], object], count: int, repeat: int) -> float:
        return min(timeit.repeat(work, number=1, repeat=repeat)) / count

    slow = best(lambda: [HAPropsSI("D", "T", a + ZERO_C, "P", ATMOSPHERE, "R", b) for a, b in few], 500, 5)
    scalar = best(lambda: [air.dew_point_c(a, b, ATMOSPHERE) for a, b in few], 500, 20)
    array = best(lambda: air.dew_point_array_c(t, rh, ATMOSPHERE), 10_000, 30)
    assert slow / scalar > 20
    assert slow / array > 500
