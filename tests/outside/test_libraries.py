"""Second implementations on a dense grid through 0 C: CoolProp 8.0.0 and PsychroLib 2.5.0.

Their known differences are asserted, not hidden:

* both give the frost point below 0 C under the name of dew point;
* both take humidity over ice for gas below 0 C, where the trade's sensors and WMO-No. 8 have it over water;
* PsychroLib has no enhancement factor.

Grid: gas -40 to +60 C by 0.5 K, 5 to 100 %RH, 0.7, 1.01325, 8 and 13 bar absolute.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI

from gateway import psychrometrics as air

ZERO_C = 273.15
ATMOSPHERE = 101_325.0
PRESSURES = (7e4, ATMOSPHERE, 8e5, 13e5)
GAS_C = np.arange(-40.0, 60.25, 0.5)
SHARES = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
GOAL_K = 0.002
# This near to 0 C a point may be on either side of the step between the references over water and over ice.
NEAR_K = 0.05

Row = tuple[float, float, float]


@cache
def coolprop(p_pa: float) -> list[Row]:
    """(gas C, share over the library's phase, its "dew point" C), the whole grid."""
    found = []
    for rh in SHARES:
        points = HAPropsSI("D", "T", GAS_C + ZERO_C, "P", p_pa, "R", rh) - ZERO_C
        found += [(t, rh, d) for t, d in zip(GAS_C.tolist(), points.tolist(), strict=True)]
    return found


def psychrolib_point_c(t_c: float, rh: float) -> float:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return float(psychrolib.GetTDewPointFromRelHum(t_c, rh))


def split(p_pa: float) -> tuple[list[Row], list[Row], list[Row]]:
    """(gas above 0 with dew, gas above 0 with frost, gas below 0) rows of the grid."""
    every = coolprop(p_pa)
    dew = [row for row in every if row[0] > 0.0 and row[2] > NEAR_K]
    frost = [row for row in every if row[0] > 0.0 and row[2] < -NEAR_K]
    cold = [row for row in every if row[0] < 0.0]
    assert len(dew) > 600
    assert len(frost) > 150
    assert len(cold) == 80 * len(SHARES)
    return dew, frost, cold


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_coolprop_has_our_dew_point_above_zero_and_our_frost_point_below(p_pa: float) -> None:
    """Within 2 mK; its value below 0 C is our frost point and above our dew point by a tenth of itself."""
    dew, frost, _ = split(p_pa)
    for t, rh, theirs in dew:
        assert air.dew_point_c(t, rh, p_pa) == pytest.approx(theirs, abs=GOAL_K)
    for t, rh, theirs in frost:
        assert air.frost_point_c(t, rh, p_pa) == pytest.approx(theirs, abs=GOAL_K)
        if theirs < -1.0:
            assert 1.08 < air.dew_point_c(t, rh, p_pa) / theirs < 1.25


@pytest.mark.parametrize("p_pa", PRESSURES)
def test_coolprop_takes_humidity_over_ice_below_zero(p_pa: float) -> None:
    """Given over ice ours is within 2 mK; given over water it is higher, by 6 to 13 % of the gas's frost."""
    _, _, cold = split(p_pa)
    for t, rh, theirs in cold:
        e_pa = air.vapour_pressure_from_rh_ice_pa(t, rh, p_pa)
        assert air.frost_point_from_vapour_pressure_c(e_pa, p_pa) == pytest.approx(theirs, abs=GOAL_K)
    apart = [(air.frost_point_c(t, rh, p_pa) - theirs) / -t for t, rh, theirs in cold if t <= -10.0 and rh <= 0.9]
    assert 0.055 < min(apart)
    assert max(apart) < 0.125


@pytest.mark.parametrize(
    ("p_pa", "low", "high"),
    [(7e4, -0.026, 0.002), (ATMOSPHERE, -0.027, 0.002), (8e5, -0.001, 0.094), (13e5, -0.001, 0.178)],
)
def test_psychrolib_dew_point_lacks_only_the_factor(p_pa: float, low: float, high: float) -> None:
    """PsychroLib's is the same at any pressure: 0.03 K off at one atmosphere, to 0.18 K at 13 bar."""
    dew, _, _ = split(p_pa)
    apart = [psychrolib_point_c(t, rh) - air.dew_point_c(t, rh, p_pa) for t, rh, _ in dew]
    assert low < min(apart)
    assert max(apart) < high
    assert max(map(abs, apart)) > 0.9 * max(-low, high)


@pytest.mark.parametrize(("p_pa", "worst"), [(7e4, 0.019), (ATMOSPHERE, 0.017), (8e5, 0.110), (13e5, 0.185)])
def test_psychrolib_gives_frost_points_and_humidity_over_ice_too(p_pa: float, worst: float) -> None:
    """Below 0 C its dew point is our frost point, and its humidity is ours over ice, less the factor."""
    _, frost, cold = split(p_pa)
    warm_gas = [psychrolib_point_c(t, rh) - air.frost_point_c(t, rh, p_pa) for t, rh, _ in frost]
    assert max(map(abs, warm_gas)) < worst
    for t, rh, _ in cold:
        e_pa = air.vapour_pressure_from_rh_ice_pa(t, rh, p_pa)
        ours = air.frost_point_from_vapour_pressure_c(e_pa, p_pa)
        assert psychrolib_point_c(t, rh) == pytest.approx(ours, abs=worst)


@pytest.mark.parametrize(("p_pa", "low", "high"), [(ATMOSPHERE, 0.0041, 0.0062), (8e5, 0.022, 0.028)])
def test_psychrolib_saturated_humidity_ratio_is_low(p_pa: float, low: float, high: float) -> None:
    """3 to 50 C: 0.42 to 0.62 % low at one atmosphere, 2.2 to 2.8 % at 8 bar absolute."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    short = [
        1 - psychrolib.GetSatHumRatio(t, p_pa) / air.humidity_ratio(air.vapour_pressure_pa(t, 1.0, p_pa), p_pa)
        for t in np.arange(3.0, 50.1, 0.5).tolist()
    ]
    assert low < min(short)
    assert max(short) < high
    assert max(short) > 0.98 * high
