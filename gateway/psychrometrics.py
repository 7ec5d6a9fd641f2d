"""Moist air: vapour pressure, dew and frost point, humidity, from ambient to compressed air.

Every pressure of water vapour here is the real partial pressure e = x_w * p, so it holds the enhancement
factor f. Relative humidity is 0..1 over liquid water, also below 0 C (WMO-No. 8, Annex 4.B). Temperatures
are in C, pressures absolute in Pa.

The numbers come from a fitted surface, `psychrometrics_surface.json`, made by `tests/make_surface.py`:
CoolProp (IAPWS-95, IAPWS R14-08, ASHRAE RP-1485) at 0 C and above and over ice, Hardy 1998 over supercooled
water, extrapolated below -50 C. Points are within 2 mK of these. At 0 C the two differ in f, by 0.004 K at
one atmosphere and 0.03 K at 16 bar (0.05 K against ice): a vapour pressure in that gap has dew point 0.

Range: points -100..+100 C, gas -100..+200 C, 0.55..16 bar absolute, saturated vapour below total pressure.
Scalars need only the standard library. Arrays import numpy when called and give NaN out of range.
"""

from __future__ import annotations

import json
from importlib.resources import files
from math import exp, inf, log
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    Column = NDArray[np.float64]
    Law = Callable[..., Column]

Number = TypeVar("Number", float, "NDArray[np.float64]")
Factor = tuple[tuple[float, ...], ...]

LOWEST_PA, HIGHEST_PA = 55_000.0, 1_600_000.0
COLDEST_C, HOTTEST_GAS_C, HIGHEST_POINT_C = -100.0, 200.0, 100.0
ZERO_C = 273.15
# Rounding of the fit: air saturated at exactly an end of the range must still have its point.
FIT_K = 0.001
# The fit over hot water takes over here, where the warm one is still good.
SEAM_C = 100.0

# Molar mass of water over that of dry air (ASHRAE Handbook Fundamentals 2017, chapter 1, equation 20).
MASS_RATIO = 0.621945
# Gas constant of water vapour, J/(kg K) (ASHRAE Handbook Fundamentals 2017, chapter 1, table of constants).
WATER_GAS_CONSTANT = 461.524

# Below this no fitted phase can give a dew point of 0 C or more: it is under the triple-point pressure.
_SURELY_SUPERCOOLED_PA = 611.0


class OutOfRange(ValueError):
    """An input or a result lies where the equations do not hold."""

    def __init__(self, what: str, value: float | str, allowed: str) -> None:
        shown = value if isinstance(value, str) else f"{value:.6g}"
        super().__init__(f"{what} is {shown}, allowed is {allowed}")


class Phase(NamedTuple):
    """Fitted coefficients of one phase: axes and polynomials, temperature to e and back."""

    axis: tuple[float, float, float]
    ln_saturation: tuple[float, ...]
    ln_factor: Factor
    inverse_axis: tuple[float, float, float]
    temperature: tuple[float, ...]
    inverse_factor_axis: tuple[float, float]
    inverse_ln_factor: Factor


def _phase(fit: dict[str, Any]) -> Phase:
    """One phase as the fitting script wrote it."""
    there, back = fit["forward"], fit["inverse"]
    parts = (
        there["axis"], there["ln_saturation"], map(tuple, there["ln_factor"]),
        back["axis"], back["temperature"], back["factor_axis"], map(tuple, back["ln_factor"]),
    )  # fmt: skip
    return Phase(*map(tuple, parts))


_FIT = json.loads(files(__package__).joinpath("psychrometrics_surface.json").read_text(encoding="utf-8"))
WARM, HOT = _phase(_FIT["warm_water"]), _phase(_FIT["hot_water"])
SUPERCOOLED, ICE = _phase(_FIT["supercooled_water"]), _phase(_FIT["ice"])


def _sextic(u: Number, c: tuple[float, ...]) -> Number:
    """Polynomial of degree 6, lowest power first, by Horner's rule."""
    c0, c1, c2, c3, c4, c5, c6 = c
    return c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * (c5 + u * c6)))))


def _ln_factor(u: Number, p: Number, share: Number, c: Factor) -> Number:
    """ln f = share * (A(u) + p B(u) + p^2 C(u)), share = 1 - e/p, because f is 1 in pure steam."""
    (a0, a1, a2, a3, a4), (b0, b1, b2, b3, b4, b5), (d0, d1, d2, d3) = c
    a = a0 + u * (a1 + u * (a2 + u * (a3 + u * a4)))
    b = b0 + u * (b1 + u * (b2 + u * (b3 + u * (b4 + u * b5))))
    return share * (a + p * (b + p * (d0 + u * (d1 + u * (d2 + u * d3)))))


def _saturation(t: float, phase: Phase) -> float:
    """ln e, the log of the pure saturation pressure."""
    shift, scale, offset = phase.axis
    return _sextic(scale / (t + shift) - offset, phase.ln_saturation)


def _saturated_ln_e(t: float, p: float, phase: Phase) -> float:
    """ln of the saturated partial pressure f * e."""
    shift, scale, offset = phase.axis
    u = scale / (t + shift) - offset
    ln_e = _sextic(u, phase.ln_saturation)
    e = exp(ln_e)
    if e >= p:
        raise OutOfRange("saturation vapour pressure (Pa)", e, f"below the total pressure {p:.6g} Pa")
    return ln_e + _ln_factor(u, p, 1.0 - e / p, phase.ln_factor)


def _point(ln_e: float, e: float, p: float, phase: Phase) -> float:
    """Temperature at which air of partial pressure e is saturated."""
    shift, scale, offset = phase.inverse_axis
    factor_scale, factor_offset = phase.inverse_factor_axis
    ln_f = _ln_factor(factor_scale * ln_e - factor_offset, p, 1.0 - e / p, phase.inverse_ln_factor)
    return _sextic(scale / (shift - ln_e + ln_f) - offset, phase.temperature)


def _water_phase(t: float) -> Phase:
    if t < 0.0:
        return SUPERCOOLED
    return WARM if t < SEAM_C else HOT


def _check_pressure(p_pa: float) -> None:
    if not LOWEST_PA <= p_pa <= HIGHEST_PA:
        raise OutOfRange("total pressure (Pa)", p_pa, f"{LOWEST_PA:.0f} to {HIGHEST_PA:.0f}")


def _check_air(t_c: float, rh: float, p_pa: float) -> None:
    _check_gas(t_c, p_pa)
    if not 0.0 < rh <= 1.0:
        raise OutOfRange("relative humidity (fraction)", rh, "above 0, up to 1")


def _check_gas(t_c: float, p_pa: float) -> None:
    if not COLDEST_C <= t_c <= HOTTEST_GAS_C:
        raise OutOfRange("temperature (C)", t_c, f"{COLDEST_C:.0f} to {HOTTEST_GAS_C:.0f}")
    _check_pressure(p_pa)


def _check_ice(t_c: float) -> None:
    if not COLDEST_C <= t_c <= 0.0:
        raise OutOfRange("temperature over ice (C)", t_c, f"{COLDEST_C:.0f} to 0")


def _check_vapour(e_pa: float, p_pa: float) -> None:
    _check_pressure(p_pa)
    if not 0.0 < e_pa < p_pa:
        raise OutOfRange("vapour pressure (Pa)", e_pa, f"above 0, below the total pressure {p_pa:.6g}")


def saturation_pressure_water_pa(t_c: float) -> float:
    """Vapour pressure over pure liquid water, without air [Pa]. Valid -100..+200 C, supercooled below 0 C.

    Raises: OutOfRange. Source: IAPWS-95 at 0 C and above; Hardy 1998 below.
    """
    if not COLDEST_C <= t_c <= HOTTEST_GAS_C:
        raise OutOfRange("temperature (C)", t_c, f"{COLDEST_C:.0f} to {HOTTEST_GAS_C:.0f}")
    return exp(_saturation(t_c, _water_phase(t_c)))


def saturation_pressure_ice_pa(t_c: float) -> float:
    """Vapour pressure over pure ice, without air [Pa]. Valid -100..0 C.

    Raises: OutOfRange. Source: IAPWS R14-08(2011), equation 6.
    """
    _check_ice(t_c)
    return exp(_saturation(t_c, ICE))


def enhancement_factor_water(t_c: float, p_pa: float) -> float:
    """Factor f by which air at p_pa raises the saturated vapour pressure over water [1].

    Valid -100..+200 C (extrapolated below -50 C), 0.55..16 bar absolute. Raises: OutOfRange.
    Source: ASHRAE RP-1485 by CoolProp at 0 C and above; Hardy 1998 below.
    """
    _check_gas(t_c, p_pa)
    return saturated_vapour_pressure_pa(t_c, p_pa, frost=False) / saturation_pressure_water_pa(t_c)


def enhancement_factor_ice(t_c: float, p_pa: float) -> float:
    """Factor f by which air at p_pa raises the saturated vapour pressure over ice [1].

    Valid -100..0 C, 0.55..16 bar absolute. Raises: OutOfRange. Source: ASHRAE RP-1485 by CoolProp.
    """
    return saturated_vapour_pressure_pa(t_c, p_pa, frost=True) / saturation_pressure_ice_pa(t_c)


def saturated_vapour_pressure_pa(point_c: float, p_pa: float, frost: bool) -> float:
    """Real partial pressure f e [Pa] of air whose dew point (frost False) or frost point (True) is point_c.

    Valid dew -100..+200 C, frost -100..0 C, 0.55..16 bar absolute, saturation below p_pa. Raises: OutOfRange.
    Source: IAPWS-95, Hardy 1998 below 0 C, IAPWS R14-08(2011) over ice; f of ASHRAE RP-1485 and Hardy 1998.
    """
    if frost:
        _check_ice(point_c)
        _check_pressure(p_pa)
        return exp(_saturated_ln_e(point_c, p_pa, ICE))
    _check_gas(point_c, p_pa)
    return exp(_saturated_ln_e(point_c, p_pa, _water_phase(point_c)))


def vapour_pressure_pa(t_c: float, rh: float, p_pa: float) -> float:
    """Real partial pressure of water vapour, x_w * p [Pa], from gas temperature and humidity over water.

    Valid -100..+200 C, rh above 0 to 1, 0.55..16 bar absolute, saturation below p_pa. Raises: OutOfRange.
    Source: e = rh f(t, p) e_w(t), WMO-No. 8, Annex 4.B, with f and e_w of this module.
    """
    _check_air(t_c, rh, p_pa)
    return rh * exp(_saturated_ln_e(t_c, p_pa, _water_phase(t_c)))


def vapour_pressure_from_rh_ice_pa(t_c: float, rh_ice: float, p_pa: float) -> float:
    """Real partial pressure of water vapour [Pa] from humidity over ice, a fraction.

    Valid -100..0 C, 0.55..16 bar absolute, rh_ice above 0 up to saturation over water, which is above 1.
    Raises: OutOfRange. Source: e = rh_ice f(t, p) e_i(t), as `saturated_vapour_pressure_pa`.
    """
    ice = saturated_vapour_pressure_pa(t_c, p_pa, frost=True)
    highest = max(1.0, saturated_vapour_pressure_pa(t_c, p_pa, frost=False) / ice)
    if not 0.0 < rh_ice <= highest:
        raise OutOfRange("relative humidity over ice (fraction)", rh_ice, f"above 0, up to {highest:.6g}")
    return rh_ice * ice


def vapour_pressure_from_humidity_ratio_pa(humidity_ratio: float, p_pa: float) -> float:
    """Real partial pressure of water vapour [Pa] from the mass of vapour per mass of dry air [kg/kg].

    Valid ratio above 0, finite, 0.55..16 bar absolute. Raises: OutOfRange. Source: `humidity_ratio`, inverted.
    """
    _check_pressure(p_pa)
    if not 0.0 < humidity_ratio < inf:
        raise OutOfRange("humidity ratio (kg/kg)", humidity_ratio, "above 0, finite")
    return p_pa * humidity_ratio / (MASS_RATIO + humidity_ratio)


def vapour_pressure_from_absolute_humidity_pa(
    absolute_humidity_kg_per_m3: float, t_c: float, p_pa: float
) -> float:
    """Real partial pressure of water vapour [Pa] from the mass of vapour per volume of moist air [kg/m3].

    Valid gas -100..+200 C, 0.55..16 bar absolute, result above 0 and below p_pa; as close as
    `absolute_humidity_kg_per_m3`, of which it is the inverse. Raises: OutOfRange. Source: as there.
    """
    _check_gas(t_c, p_pa)
    e_pa = absolute_humidity_kg_per_m3 * WATER_GAS_CONSTANT * (t_c + ZERO_C)
    _check_vapour(e_pa, p_pa)
    return e_pa


def dew_point_c(t_c: float, rh: float, p_pa: float) -> float:
    """Dew point over liquid water, supercooled below 0 C [C], from temperature and humidity of one probe.

    Valid as `vapour_pressure_pa`, result -100..+100 C. Raises: OutOfRange. Source: as there, inverted.
    """
    _check_air(t_c, rh, p_pa)
    ln_e = _saturated_ln_e(t_c, p_pa, _water_phase(t_c)) + log(rh)
    return _dew_point(ln_e, exp(ln_e), p_pa)


def frost_point_c(t_c: float, rh: float, p_pa: float) -> float:
    """Frost point over ice [C]; rh is over water. Valid as `dew_point_c`, result -100..0 C.

    Raises: OutOfRange, also where the air is too moist for frost. Source: ASHRAE RP-1485 by CoolProp.
    """
    return frost_point_from_vapour_pressure_c(vapour_pressure_pa(t_c, rh, p_pa), p_pa)


def _dew_point(ln_e: float, e: float, p: float) -> float:
    if e > _SURELY_SUPERCOOLED_PA:
        point = _point(ln_e, e, p, WARM)
        if 0.0 <= point <= HIGHEST_POINT_C + FIT_K:
            return point
        if point > HIGHEST_POINT_C:
            raise OutOfRange("dew point (C)", point, f"{COLDEST_C:.0f} to {HIGHEST_POINT_C:.0f}")
    point = _point(ln_e, e, p, SUPERCOOLED)
    if point < COLDEST_C - FIT_K:
        raise OutOfRange("dew point (C)", point, f"{COLDEST_C:.0f} to {HIGHEST_POINT_C:.0f}")
    return min(point, 0.0)


def dew_point_from_vapour_pressure_c(e_pa: float, p_pa: float) -> float:
    """Dew point over liquid water [C] of air at p_pa with partial pressure e_pa [Pa].

    Valid 0.55..16 bar absolute, result -100..+100 C. Raises: OutOfRange. Source: as `dew_point_c`.
    """
    _check_vapour(e_pa, p_pa)
    return _dew_point(log(e_pa), e_pa, p_pa)


def frost_point_from_vapour_pressure_c(e_pa: float, p_pa: float) -> float:
    """Frost point over ice [C] of air at p_pa with partial pressure e_pa [Pa].

    Valid 0.55..16 bar absolute, result -100..0 C. Raises: OutOfRange. Source: as `frost_point_c`.
    """
    _check_vapour(e_pa, p_pa)
    point = _point(log(e_pa), e_pa, p_pa, ICE)
    if not COLDEST_C - FIT_K <= point <= FIT_K:
        raise OutOfRange("frost point (C)", point, f"{COLDEST_C:.0f} to 0")
    return min(point, 0.0)


def condensation_point_c(e_pa: float, p_pa: float) -> tuple[float, bool]:
    """(temperature [C] at which water leaves the air, whether as frost): frost point where dew < 0 C.

    Below 0 C the frost point is the higher of the two, so ice forms first on a cold wall.
    Valid 0.55..16 bar absolute, result -100..+100 C. Raises: OutOfRange.
    """
    _check_vapour(e_pa, p_pa)
    if e_pa > _SURELY_SUPERCOOLED_PA:
        dew = _dew_point(log(e_pa), e_pa, p_pa)
        if dew >= 0.0:
            return dew, False
    return frost_point_from_vapour_pressure_c(e_pa, p_pa), True


def relative_humidity(t_c: float, e_pa: float, p_pa: float) -> float:
    """Relative humidity over water, fraction [1]; above 1 the air is supersaturated or the inputs disagree.

    Valid gas -100..+200 C, 0.55..16 bar absolute. Raises: OutOfRange. Source: `vapour_pressure_pa`, inverted.
    """
    _check_gas(t_c, p_pa)
    _check_vapour(e_pa, p_pa)
    return e_pa / exp(_saturated_ln_e(t_c, p_pa, _water_phase(t_c)))


def relative_humidity_ice(t_c: float, e_pa: float, p_pa: float) -> float:
    """Relative humidity over ice, fraction [1]; above 1 between saturation over ice and over water.

    Valid -100..0 C, 0 < e_pa < p_pa, 0.55..16 bar absolute. Raises: OutOfRange.
    Source: `vapour_pressure_from_rh_ice_pa`, inverted.
    """
    _check_vapour(e_pa, p_pa)
    return e_pa / saturated_vapour_pressure_pa(t_c, p_pa, frost=True)


def humidity_ratio(e_pa: float, p_pa: float) -> float:
    """Mass of water vapour per mass of dry air [kg/kg].

    Valid 0 < e_pa < p_pa, 0.55..16 bar absolute. Raises: OutOfRange.
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 20.
    """
    _check_vapour(e_pa, p_pa)
    return MASS_RATIO * e_pa / (p_pa - e_pa)


def absolute_humidity_kg_per_m3(t_c: float, e_pa: float, p_pa: float) -> float:
    """Mass of water vapour per volume of moist air [kg/m3], as an ideal gas.

    Valid gas -100..+200 C, 0.55..16 bar absolute; within 0.2 % of CoolProp at ambient
    conditions, 1.5 % at 16 bar and -20 C, 2.5 % in hot air near pure steam.
    Raises: OutOfRange. Source: e / (R_w T).
    """
    _check_gas(t_c, p_pa)
    _check_vapour(e_pa, p_pa)
    return e_pa / (WATER_GAS_CONSTANT * (t_c + ZERO_C))


# The array forms below use the same polynomials piece by piece, so they agree with the scalars to 1e-9 K.


def _broadcast(*values: ArrayLike) -> list[Column]:
    import numpy as np

    return [np.array(a, dtype=np.float64, ndmin=1) for a in np.broadcast_arrays(*values)]


def _holds(p: Column) -> NDArray[np.bool_]:
    return (p >= LOWEST_PA) & (p <= HIGHEST_PA)


def _by_phase(pieces: list[tuple[NDArray[np.bool_], Phase]], law: Law, *columns: Column) -> Column:
    """law(*columns, phase) on each piece; NaN where no piece applies."""
    import numpy as np

    result = np.full_like(columns[0], np.nan)
    for where, phase in pieces:
        if where.any():
            # Computing the whole column and choosing is quicker than gathering a scattered piece of it.
            result = np.where(where, law(*columns, phase), result)
    return result


def _saturated_ln_e_array(t: Column, p: Column, phase: Phase) -> Column:
    """As `_saturated_ln_e`, NaN where saturation is not below the total pressure."""
    import numpy as np

    shift, scale, offset = phase.axis
    u = scale / (t + shift) - offset
    ln_e = _sextic(u, phase.ln_saturation)
    share = 1.0 - np.exp(ln_e) / p
    return np.where(share > 0.0, ln_e + _ln_factor(u, p, share, phase.ln_factor), np.nan)


def _point_array(ln_e: Column, e: Column, p: Column, phase: Phase) -> Column:
    """As `_point`."""
    shift, scale, offset = phase.inverse_axis
    factor_scale, factor_offset = phase.inverse_factor_axis
    ln_f = _ln_factor(factor_scale * ln_e - factor_offset, p, 1.0 - e / p, phase.inverse_ln_factor)
    return _sextic(scale / (shift - ln_e + ln_f) - offset, phase.temperature)


def _ln_vapour_array(t: Column, rh: Column, p: Column) -> Column:
    """ln of the partial pressure, NaN where `vapour_pressure_pa` would raise."""
    import numpy as np

    good = (t <= HOTTEST_GAS_C) & (t >= COLDEST_C) & (rh > 0.0) & (rh <= 1.0) & _holds(p)
    cold, hot = t < 0.0, t >= SEAM_C
    pieces = [(good & ~cold & ~hot, WARM), (good & cold, SUPERCOOLED), (good & hot, HOT)]
    with np.errstate(all="ignore"):
        return _by_phase(pieces, _saturated_ln_e_array, t, p) + np.log(rh)


def _dew_point_array(ln_e: Column, p: Column) -> Column:
    """As `_dew_point`, NaN out of range."""
    import numpy as np

    e = np.exp(ln_e)
    warm, cold = e > _SURELY_SUPERCOOLED_PA, e <= _SURELY_SUPERCOOLED_PA
    with np.errstate(all="ignore"):
        point = _by_phase([(warm, WARM), (cold, SUPERCOOLED)], _point_array, ln_e, e, p)
    gap = warm & (point < 0.0)
    if gap.any():
        point[gap] = np.minimum(_point_array(ln_e[gap], e[gap], p[gap], SUPERCOOLED), 0.0)
    return _nan_outside(point, COLDEST_C, HIGHEST_POINT_C)


def _nan_outside(point: Column, low: float, high: float) -> Column:
    import numpy as np

    return np.where((point >= low - FIT_K) & (point <= high + FIT_K), point, np.nan)


def _frost_point_array(ln_e: Column, p: Column) -> Column:
    """As `frost_point_from_vapour_pressure_c`, NaN out of range."""
    import numpy as np

    e = np.exp(ln_e)
    with np.errstate(all="ignore"):
        point = _by_phase([(e < 1.1 * _SURELY_SUPERCOOLED_PA, ICE)], _point_array, ln_e, e, p)
    return np.minimum(_nan_outside(point, COLDEST_C, 0.0), 0.0)


def _ln_checked_array(e: Column, p: Column) -> Column:
    """ln e, NaN where `_check_vapour` would raise."""
    import numpy as np

    good = (e > 0.0) & (e < p) & _holds(p)
    with np.errstate(all="ignore"):
        return np.where(good, np.log(e), np.nan)


def vapour_pressure_array_pa(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike) -> Column:
    """`vapour_pressure_pa` for arrays that broadcast together; NaN where the scalar would raise."""
    import numpy as np

    return np.exp(_ln_vapour_array(*_broadcast(t_c, rh, p_pa)))


def dew_point_array_c(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike) -> Column:
    """`dew_point_c` for arrays that broadcast together; NaN where the scalar would raise."""
    t, humidity, p = _broadcast(t_c, rh, p_pa)
    return _dew_point_array(_ln_vapour_array(t, humidity, p), p)


def frost_point_array_c(t_c: ArrayLike, rh: ArrayLike, p_pa: ArrayLike) -> Column:
    """`frost_point_c` for arrays that broadcast together; NaN where the scalar would raise."""
    t, humidity, p = _broadcast(t_c, rh, p_pa)
    return _frost_point_array(_ln_vapour_array(t, humidity, p), p)


def dew_point_from_vapour_pressure_array_c(e_pa: ArrayLike, p_pa: ArrayLike) -> Column:
    """`dew_point_from_vapour_pressure_c` for arrays; NaN where the scalar would raise."""
    e, p = _broadcast(e_pa, p_pa)
    return _dew_point_array(_ln_checked_array(e, p), p)


def frost_point_from_vapour_pressure_array_c(e_pa: ArrayLike, p_pa: ArrayLike) -> Column:
    """`frost_point_from_vapour_pressure_c` for arrays; NaN where the scalar would raise."""
    e, p = _broadcast(e_pa, p_pa)
    return _frost_point_array(_ln_checked_array(e, p), p)


def condensation_point_array_c(e_pa: ArrayLike, p_pa: ArrayLike) -> tuple[Column, NDArray[np.bool_]]:
    """`condensation_point_c` for arrays: (temperatures, whether as frost); NaN and False out of range."""
    import numpy as np

    dew = dew_point_from_vapour_pressure_array_c(e_pa, p_pa)
    frost = frost_point_from_vapour_pressure_array_c(e_pa, p_pa)
    wet = dew >= 0.0
    return np.where(wet, dew, frost), ~wet & np.isfinite(frost)
