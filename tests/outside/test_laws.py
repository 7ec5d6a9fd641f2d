"""What must hold anywhere in the range: arrays are scalars, NaN stays NaN, more of this gives more of that."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway import psychrometrics as air
from gateway import wet_bulb

ATMOSPHERE = 101_325.0
pressure = st.floats(air.LOWEST_PA, air.HIGHEST_PA)
gas = st.floats(-110.0, 210.0)
# Chosen evenly in the logarithm, with the neighbourhood of 0 C dew point as likely as the rest.
vapour = st.one_of(st.floats(-12.0, 14.5).map(math.exp), st.floats(590.0, 700.0))
THREE = [
    (air.dew_point_c, air.dew_point_array_c),
    (air.frost_point_c, air.frost_point_array_c),
    (air.vapour_pressure_pa, air.vapour_pressure_array_pa),
]
TWO = [
    (air.dew_point_from_vapour_pressure_c, air.dew_point_from_vapour_pressure_array_c),
    (air.frost_point_from_vapour_pressure_c, air.frost_point_from_vapour_pressure_array_c),
    (lambda e, p: air.condensation_point_c(e, p)[0], lambda e, p: air.condensation_point_array_c(e, p)[0]),
]


def scalar_or_nan(law: Callable[..., float], *values: float) -> float:
    try:
        return law(*values)
    except air.OutOfRange:
        return math.nan


def same(law: Callable[..., float], array: Callable[..., np.ndarray], *values: float) -> None:
    found = float(array(*([v] for v in values))[0])
    assert found == pytest.approx(scalar_or_nan(law, *values), abs=1e-9, rel=1e-12, nan_ok=True)


@settings(max_examples=300)
@given(t_c=gas, rh=st.floats(-0.1, 1.1), p_pa=st.floats(5e4, 17e5), which=st.sampled_from(THREE))
def test_arrays_of_air_are_scalars(t_c: float, rh: float, p_pa: float, which: tuple[Callable, Callable]) -> None:
    """The same to 1e-9, and NaN exactly where the scalar raises, in and out of range."""
    same(*which, t_c, rh, p_pa)


@settings(max_examples=300)
@given(e_pa=vapour, p_pa=st.floats(5e4, 17e5), which=st.sampled_from(TWO))
def test_arrays_of_vapour_are_scalars(e_pa: float, p_pa: float, which: tuple[Callable, Callable]) -> None:
    """The same to 1e-9, also in the gap at 0 C."""
    same(*which, e_pa, p_pa)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(("law", "array"), [*THREE, *TWO])
def test_no_number_in_no_number_out(law: Callable[..., float], array: Callable, bad: float) -> None:
    """Not a number or infinite in any one place: the scalar refuses, the array gives NaN there and only there."""
    good = [-5.0, 0.5, ATMOSPHERE] if (law, array) in THREE else [400.0, ATMOSPHERE]
    for place in range(len(good)):
        spoilt = [*good[:place], bad, *good[place + 1 :]]
        with pytest.raises(air.OutOfRange):
            law(*spoilt)
        found = array(*np.array([good, spoilt, good]).T)
        assert np.isnan(found).tolist() == [False, True, False]


@given(t_c=st.floats(-99.0, 99.0), rh=st.floats(0.02, 0.9), p_pa=st.floats(air.LOWEST_PA, 15e5))
def test_vapour_pressure_rises_with_each_input(t_c: float, rh: float, p_pa: float) -> None:
    """Warmer, more humid, and, by the enhancement factor, at a higher pressure; but not across 0 C, see below."""
    if air.saturation_pressure_water_pa(t_c + 0.5) < 0.9 * p_pa and not -0.5 <= t_c < 0.0:
        here = air.vapour_pressure_pa(t_c, rh, p_pa)
        assert air.vapour_pressure_pa(t_c + 0.5, rh, p_pa) > here
        assert air.vapour_pressure_pa(t_c, rh + 0.05, p_pa) > here
        assert air.vapour_pressure_pa(t_c, rh, p_pa + 5e4) > here


@given(p_pa=pressure)
def test_the_step_at_zero_is_small(p_pa: float) -> None:
    """Between the references over supercooled and warm water saturation steps by less than 0.25 %, never down."""
    below, above = (air.vapour_pressure_pa(t, 1.0, p_pa) for t in (-1e-9, 0.0))
    assert 1.0 <= above / below < 1.0025


@given(e_pa=st.floats(-8.0, 9.0).map(math.exp), p_pa=st.floats(1e5, 14e5))
def test_the_same_vapour_pressure_is_a_lower_point_at_a_higher_pressure(e_pa: float, p_pa: float) -> None:
    """The factor rises with pressure, so less heat is needed; it stands still only in the gap at 0 C."""
    for law in (air.dew_point_from_vapour_pressure_c, air.frost_point_from_vapour_pressure_c):
        low, high = (scalar_or_nan(law, e_pa, each) for each in (p_pa, p_pa * 1.1))
        assert high < low or low == 0.0 or math.isnan(low) or math.isnan(high)


@given(e_pa=st.floats(-8.0, 6.4).map(math.exp), p_pa=pressure)
def test_more_vapour_is_a_higher_frost_point(e_pa: float, p_pa: float) -> None:
    """And the frost point is above the dew point of the same air."""
    low, high = (scalar_or_nan(air.frost_point_from_vapour_pressure_c, each, p_pa) for each in (e_pa, e_pa * 1.01))
    assert high > low or high == 0.0 or math.isnan(low) or math.isnan(high)
    dew = scalar_or_nan(air.dew_point_from_vapour_pressure_c, e_pa, p_pa)
    assert dew < low or math.isnan(low) or math.isnan(dew)


@given(t_c=st.floats(-5.0, 60.0), rh=st.floats(0.2, 1.0), p_pa=st.floats(air.LOWEST_PA, 110e3))
def test_wet_bulb_there_and_back(t_c: float, rh: float, p_pa: float) -> None:
    """Humidity to thermodynamic wet bulb to vapour pressure, within 1e-6 of it, where the bulb is not iced."""
    wet_c = scalar_or_nan(wet_bulb.wet_bulb_c, t_c, rh, p_pa)
    if wet_c > 0.01 and wet_c < t_c - 1e-3:
        e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet_c, p_pa)
        assert e_pa == pytest.approx(air.vapour_pressure_pa(t_c, rh, p_pa), rel=1e-6)


@pytest.mark.parametrize("module", ["psychrometrics", "compressed_air", "wet_bulb", "water_path", "flow"])
def test_no_heavy_library_is_imported_by_the_physics(module: str) -> None:
    """Neither numpy nor CoolProp, also not once a point has been computed."""
    work = f"import sys, gateway.{module}; from gateway import psychrometrics as a; a.dew_point_c(20, .5, 101325)"
    code = f"{work}; sys.exit(len({{'numpy', 'CoolProp'}} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
