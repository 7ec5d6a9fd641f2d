"""Wet bulbs and enthalpy against published values, CoolProp and themselves."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable

import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway import psychrometrics as air
from gateway import wet_bulb

ATMOSPHERE = 101_325.0
ZERO_C = 273.15

station = st.floats(60e3, 110e3)

PSYCHROMETER = [
    (20.0, 15.0, ATMOSPHERE, 58.64),
    (25.0, 20.0, ATMOSPHERE, 63.20),
    (30.0, 20.0, ATMOSPHERE, 39.25),
    (40.0, 20.0, ATMOSPHERE, 13.45),
    (10.0, 7.0, ATMOSPHERE, 65.41),
    (25.6, 19.5, 87_900.0, 58.21),
]


@pytest.mark.parametrize(("t_c", "wet_c", "p_pa", "percent"), PSYCHROMETER)
def test_psychrometer_gives_the_humidity_of_the_wmo_coefficient(
    t_c: float, wet_c: float, p_pa: float, percent: float
) -> None:
    """Computed values of the WMO-No. 8 psychrometer formula, within 0.05 % relative humidity."""
    assert 100 * wet_bulb.psychrometer_rh(t_c, wet_c, p_pa) == pytest.approx(percent, abs=0.05)


def test_an_iced_bulb_uses_the_ice_coefficient() -> None:
    """At -5 C and an iced bulb of -6 C the vapour is e_ice(-6) less 0.575 Pa per kPa and kelvin."""
    e_pa = air.saturation_pressure_ice_pa(-6.0) * air.enhancement_factor_ice(-6.0, 1e5) - 5.75e-4 * 1e5
    assert wet_bulb.psychrometer_rh(-5.0, -6.0, 1e5) == pytest.approx(air.relative_humidity(-5.0, e_pa, 1e5))


def test_a_bulb_in_still_air_reads_too_high() -> None:
    """20 C and 15 C are 55.6 % with the still-air coefficient and 58.6 % ventilated (computed)."""
    still = wet_bulb.psychrometer_rh(20.0, 15.0, ATMOSPHERE, ventilated=False)
    assert 100 * still == pytest.approx(55.6, abs=0.1)
    iced = air.vapour_pressure_pa(-5.0, wet_bulb.psychrometer_rh(-5.0, -6.0, 1e5, ventilated=False), 1e5)
    whirled = air.vapour_pressure_pa(-5.0, wet_bulb.psychrometer_rh(-5.0, -6.0, 1e5), 1e5)
    assert whirled - iced == pytest.approx((8.0e-4 * 2501 / 2830 - 5.75e-4) * 1e5, abs=1e-6)


@settings(max_examples=30)
@given(t_c=st.floats(12.0, 60.0), rh=st.floats(0.3, 1.0), p_pa=station)
def test_wet_bulb_is_near_coolprop(t_c: float, rh: float, p_pa: float) -> None:
    """The thermodynamic wet bulb agrees within 0.05 K away from 0 C."""
    truth = HAPropsSI("B", "T", t_c + ZERO_C, "P", p_pa, "R", rh) - ZERO_C
    if 1.0 < truth < 60.0:
        assert wet_bulb.wet_bulb_c(t_c, rh, p_pa) == pytest.approx(truth, abs=0.05)


@pytest.mark.parametrize(("t_c", "percent"), [(-2.0, 60), (3.0, 20), (8.0, 5), (-7.0, 80)])
def test_an_iced_bulb_is_near_coolprop(t_c: float, percent: float) -> None:
    """Below -0.9 C within 0.02 K; taken as wet it would read 0.04 to 0.6 K higher."""
    rh = percent / 100
    ratio = air.humidity_ratio(air.vapour_pressure_pa(t_c, rh, ATMOSPHERE), ATMOSPHERE)
    truth = HAPropsSI("B", "T", t_c + ZERO_C, "P", ATMOSPHERE, "W", ratio) - ZERO_C
    assert truth < -0.9
    assert wet_bulb.wet_bulb_c(t_c, rh, ATMOSPHERE) == pytest.approx(truth, abs=0.02)


def test_the_worked_example_of_ashrae() -> None:
    """40 C, wet bulb 20 C, one atmosphere: W 0.0065, 14 %, h 56.7 kJ/kg (ASHRAE 2017, chapter 1, example 1)."""
    e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(40.0, 20.0, ATMOSPHERE)
    ratio = air.humidity_ratio(e_pa, ATMOSPHERE)
    assert ratio == pytest.approx(0.0065, rel=0.01)
    assert air.relative_humidity(40.0, e_pa, ATMOSPHERE) == pytest.approx(0.14, abs=0.002)
    assert wet_bulb.enthalpy_j_per_kg(40.0, ratio) == pytest.approx(56_700.0, rel=0.005)


@pytest.mark.parametrize(
    ("t_c", "wet_c", "percent"), [(20, 15, 58.96), (25, 20, 63.50), (30, 20, 39.71), (10, 7, 65.67)]
)
def test_a_thermodynamic_wet_bulb_is_not_a_psychrometers(t_c: float, wet_c: float, percent: float) -> None:
    """CoolProp's humidity of the pair (computed) within 0.1 %; a psychrometer gives 0.2 to 0.6 % less."""
    e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet_c, ATMOSPHERE)
    found = 100 * air.relative_humidity(t_c, e_pa, ATMOSPHERE)
    assert found == pytest.approx(percent, abs=0.1)
    assert 0.2 < found - 100 * wet_bulb.psychrometer_rh(t_c, wet_c, ATMOSPHERE) < 0.6


@given(t_c=st.floats(-8.0, 70.0), rh=st.floats(0.05, 1.0), p_pa=station)
def test_vapour_comes_back_from_the_wet_bulb(t_c: float, rh: float, p_pa: float) -> None:
    """Humidity to wet bulb and back, wherever there is a wet bulb in range, also through the iced bulb."""
    try:
        wet_c = wet_bulb.wet_bulb_c(t_c, rh, p_pa)
    except air.OutOfRange:
        return
    e_pa = air.vapour_pressure_pa(t_c, rh, p_pa)
    at_the_seam = abs(wet_c) < 1e-6  # ice and water differ by 70 ppm at 0 C
    tolerance = 1e-4 if at_the_seam else 1e-6
    assert wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet_c, p_pa) == pytest.approx(e_pa, rel=tolerance)


@pytest.mark.parametrize(("t_c", "rh"), [(25.0, 0.5), (5.0, 0.3), (-2.0, 0.6), (59.0, 0.9), (0.0, 0.999)])
def test_ordinary_air_has_a_wet_bulb_that_leads_back(t_c: float, rh: float) -> None:
    """None of these is refused, also with an iced bulb."""
    wet_c = wet_bulb.wet_bulb_c(t_c, rh, ATMOSPHERE)
    e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet_c, ATMOSPHERE)
    assert air.relative_humidity(t_c, e_pa, ATMOSPHERE) == pytest.approx(rh, rel=1e-7)
    assert wet_c < t_c


def test_saturated_air_has_its_wet_bulb_at_its_temperature() -> None:
    """At 100 % nothing evaporates, and rounding refuses no temperature, each third of a kelvin."""
    for thirds in range(181):
        t_c = thirds / 3.0
        assert wet_bulb.wet_bulb_c(t_c, 1.0, ATMOSPHERE) == pytest.approx(t_c, abs=1e-8)


def test_the_hottest_bulb_is_60_c() -> None:
    """Air at 70 C whose bulb is 60 C is answered, and a tenth of a per cent moister it is refused."""
    rh = air.relative_humidity(70.0, wet_bulb.vapour_pressure_from_wet_bulb_pa(70.0, 60.0, 1e5), 1e5)
    assert wet_bulb.wet_bulb_c(70.0, rh * 0.999, 1e5) == pytest.approx(60.0, abs=0.03)
    with pytest.raises(air.OutOfRange, match="humidity ratio for a wet bulb"):
        wet_bulb.wet_bulb_c(70.0, rh * 1.001, 1e5)


@given(t_c=st.floats(5.0, 60.0), lower_k=st.floats(0.5, 4.0), p_pa=station)
def test_a_lower_bulb_is_drier_air(t_c: float, lower_k: float, p_pa: float) -> None:
    """Both wet bulbs: humidity falls as the bulb falls, whirled or not."""
    wet_c = t_c - lower_k
    laws: list[Callable[[float], float]] = [
        lambda wet: wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet, p_pa),
        lambda wet: wet_bulb.psychrometer_rh(t_c, wet, p_pa),
        lambda wet: wet_bulb.psychrometer_rh(t_c, wet, p_pa, ventilated=False),
    ]
    for law in laws:
        assert law(wet_c - 0.3) < law(wet_c)


@pytest.mark.parametrize(
    ("t_c", "percent", "tolerance_j"),
    [
        (-40, 100, 30),
        (-20, 50, 30),
        (0, 0, 5),
        (0, 100, 30),
        (20, 50, 30),
        (20, 100, 30),
        (35, 80, 90),
        (50, 100, 300),
    ],
)
def test_enthalpy_is_as_near_to_coolprop_as_stated(t_c: float, percent: float, tolerance_j: float) -> None:
    """At one atmosphere, per kg of dry air, at the same humidity ratio."""
    e_pa = air.saturated_vapour_pressure_pa(t_c, ATMOSPHERE, frost=t_c < 0) * percent / 100
    ratio = air.humidity_ratio(e_pa, ATMOSPHERE) if percent else 0.0
    truth = HAPropsSI("Hda", "T", t_c + ZERO_C, "P", ATMOSPHERE, "W", ratio)
    assert wet_bulb.enthalpy_j_per_kg(t_c, ratio) == pytest.approx(truth, abs=tolerance_j)


def test_enthalpy_is_that_of_an_independent_library() -> None:
    """PsychroLib implements the same equation."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t_c, ratio in ((-30.0, 1e-4), (0.0, 1e-6), (25.0, 0.01), (90.0, 0.4)):
        expected = psychrolib.GetMoistAirEnthalpy(t_c, ratio)
        assert wet_bulb.enthalpy_j_per_kg(t_c, ratio) == pytest.approx(expected, abs=0.01)


def test_a_line_keeps_the_ideal_enthalpy() -> None:
    """At 8 bar and 0 C a real gas has 1.9 kJ/kg less, as the docstring says."""
    truth = HAPropsSI("Hda", "T", ZERO_C, "P", 8e5, "W", 0.0)
    assert wet_bulb.enthalpy_j_per_kg(0.0, 0.0) - truth == pytest.approx(1900, abs=20)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: wet_bulb.psychrometer_rh(20.0, 21.0, 1e5), r"wet bulb \(C\) is 21"),
        (lambda: wet_bulb.psychrometer_rh(50.0, 10.0, 1e5), r"wet bulb \(C\) is 10, allowed is higher"),
        (lambda: wet_bulb.psychrometer_rh(20.0, 15.0, 2e5), r"total pressure for a wet bulb \(Pa\) is 200000"),
        (lambda: wet_bulb.vapour_pressure_from_wet_bulb_pa(201.0, 60.0, 1e5), r"temperature \(C\) is 201"),
        (lambda: wet_bulb.psychrometer_rh(math.nan, 15.0, 1e5), r"temperature \(C\) is nan"),
        (lambda: wet_bulb.psychrometer_rh(20.0, math.nan, 1e5), r"wet bulb \(C\) is nan"),
        (lambda: wet_bulb.vapour_pressure_from_wet_bulb_pa(20.0, -10.1, 1e5), r"wet bulb \(C\) is -10.1"),
        (lambda: wet_bulb.vapour_pressure_from_wet_bulb_pa(90.0, 60.1, 1e5), r"wet bulb \(C\) is 60.1"),
        (
            lambda: wet_bulb.vapour_pressure_from_wet_bulb_pa(50.0, 10.0, 1e5),
            r"wet bulb .*higher, for dry air at 50",
        ),
        (lambda: wet_bulb.vapour_pressure_from_wet_bulb_pa(20.0, 10.0, 5e4), r"total pressure for a wet bulb"),
        (lambda: wet_bulb.wet_bulb_c(-11.0, 0.9, 1e5), r"wet bulb \(C\) is -11"),
        (lambda: wet_bulb.wet_bulb_c(-8.0, 0.02, 1e5), r"humidity ratio for a wet bulb"),
        (lambda: wet_bulb.wet_bulb_c(75.0, 0.9, 1e5), r"humidity ratio for a wet bulb"),
        (lambda: wet_bulb.enthalpy_j_per_kg(201.0, 0.0), r"temperature \(C\) is 201"),
        (lambda: wet_bulb.enthalpy_j_per_kg(20.0, -0.1), r"humidity ratio \(kg/kg\) is -0.1"),
        (lambda: wet_bulb.enthalpy_j_per_kg(20.0, math.nan), r"humidity ratio \(kg/kg\) is nan"),
    ],
)
def test_an_impossible_input_is_refused_by_name(call: Callable[[], float], message: str) -> None:
    """The message tells what is wrong and what would be right."""
    with pytest.raises(air.OutOfRange, match=message):
        call()


def test_the_module_needs_no_numpy_and_no_coolprop_when_imported() -> None:
    """A small gateway computes with the standard library alone."""
    work = "import sys; from gateway import wet_bulb as w; w.wet_bulb_c(20, .5, 101325);"
    code = work + "sys.exit(bool({'numpy', 'CoolProp'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
