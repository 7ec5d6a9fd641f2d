"""Moist air: vapour pressure, dew and frost point, humidity, from ambient to compressed air.

Every pressure of water vapour here is the real partial pressure e = x_w * p, so it holds the enhancement
factor f. Relative humidity is 0..1 over liquid water, also below 0 C (WMO-No. 8, Annex 4.B). Temperatures
are in C, pressures absolute in Pa.

The numbers come from a fitted surface, `psychrometrics_surface.json`, made by `tests/make_surface.py`:
CoolProp (IAPWS-95, IAPWS R14-08, ASHRAE RP-1485) at 0 C and above and over ice, Hardy 1998 over supercooled
water. At 0 C the two references differ in f: by 0.002 K at one atmosphere and by up to 0.05 K at 16 bar, so
a vapour pressure in that small gap has dew point 0. Hardy's f is published down to -50 C; below that it is
extrapolated.

Range: points -100..+100 C, gas -100..+200 C, 0.55..16 bar absolute, saturated vapour below total pressure.
Scalars need only the standard library. Arrays import numpy when called and give NaN out of range.
"""

from __future__ import annotations

import json
from importlib.resources import files
from math import exp, log
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")
Factor = tuple[tuple[float, ...], ...]

LOWEST_PA, HIGHEST_PA = 55_000.0, 1_600_000.0
COLDEST_C, HOTTEST_GAS_C, HIGHEST_POINT_C = -100.0, 200.0, 100.0
ZERO_C = 273.15
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

    def __init__(self, what: str, value: float, allowed: str) -> None:
        super().__init__(f"{what} is {value:.6g}, allowed is {allowed}")


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
WARM, HOT, SUPERCOOLED, ICE = (_phase(_FIT[name]) for name in ("warm_water", "hot_water", "supercooled_water", "ice"))


def _septic(u: Number, c: tuple[float, ...]) -> Number:
    """Polynomial of degree 6, lowest power first, by Horner's rule."""
    c0, c1, c2, c3, c4, c5, c6 = c
    return c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * (c5 + u * c6)))))


def _ln_factor(u: Number, p: Number, share: Number, c: Factor) -> Number:
    """ln f = share * (A(u) + p B(u) + p^2 C(u)), share = 1 - e/p, because f is 1 in pure steam."""
    (a0, a1, a2, a3, a4), (b0, b1, b2, b3, b4, b5), (d0, d1, d2, d3) = c
    a = a0 + u * (a1 + u * (a2 + u * (a3 + u * a4)))
    b = b0 + u * (b1 + u * (b2 + u * (b3 + u * (b4 + u * b5))))
    return share * (a + p * (b + p * (d0 + u * (d1 + u * (d2 + u * d3)))))


def _saturation(t: float, phase: Phase) -> tuple[float, float]:
    """(u, ln e): the reduced temperature and the log of the pure saturation pressure."""
    shift, scale, offset = phase.axis
    u = scale / (t + shift) - offset
    return u, _septic(u, phase.ln_saturation)


def _saturated_ln_e(t: float, p: float, phase: Phase) -> float:
    """ln of the saturated partial pressure f * e."""
    u, ln_e = _saturation(t, phase)
    e = exp(ln_e)
    if e >= p:
        raise OutOfRange("saturation vapour pressure (Pa)", e, f"below the total pressure {p:.6g} Pa")
    return ln_e + _ln_factor(u, p, 1.0 - e / p, phase.ln_factor)


def _point(ln_e: float, e: float, p: float, phase: Phase) -> float:
    """Temperature at which air of partial pressure e is saturated."""
    shift, scale, offset = phase.inverse_axis
    factor_scale, factor_offset = phase.inverse_factor_axis
    ln_f = _ln_factor(factor_scale * ln_e - factor_offset, p, 1.0 - e / p, phase.inverse_ln_factor)
    return _septic(scale / (shift - ln_e + ln_f) - offset, phase.temperature)


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
    return exp(_saturation(t_c, _water_phase(t_c))[1])


def saturation_pressure_ice_pa(t_c: float) -> float:
    """Vapour pressure over pure ice, without air [Pa]. Valid -100..0 C.

    Raises: OutOfRange. Source: IAPWS R14-08(2011), equation 6.
    """
    _check_ice(t_c)
    return exp(_saturation(t_c, ICE)[1])


def enhancement_factor_water(t_c: float, p_pa: float) -> float:
    """Factor f by which air at p_pa raises the saturated vapour pressure over water [1].

    Valid -100..+200 C (extrapolated below -50 C), 0.55..16 bar absolute. Raises: OutOfRange.
    Source: ASHRAE RP-1485 by CoolProp at 0 C and above; Hardy 1998 below.
    """
    _check_gas(t_c, p_pa)
    phase = _water_phase(t_c)
    return exp(_saturated_ln_e(t_c, p_pa, phase) - _saturation(t_c, phase)[1])


def enhancement_factor_ice(t_c: float, p_pa: float) -> float:
    """Factor f by which air at p_pa raises the saturated vapour pressure over ice [1].

    Valid -100..0 C, 0.55..16 bar absolute. Raises: OutOfRange. Source: ASHRAE RP-1485 by CoolProp.
    """
    _check_ice(t_c)
    _check_pressure(p_pa)
    return exp(_saturated_ln_e(t_c, p_pa, ICE) - _saturation(t_c, ICE)[1])


def vapour_pressure_pa(t_c: float, rh: float, p_pa: float) -> float:
    """Real partial pressure of water vapour, x_w * p [Pa], from gas temperature and humidity over water.

    Valid -100..+200 C, rh above 0 to 1, 0.55..16 bar absolute, saturation below p_pa. Raises: OutOfRange.
    Source: e = rh f(t, p) e_w(t), WMO-No. 8, Annex 4.B, with f and e_w of this module.
    """
    _check_air(t_c, rh, p_pa)
    return rh * exp(_saturated_ln_e(t_c, p_pa, _water_phase(t_c)))


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
        if 0.0 <= point <= HIGHEST_POINT_C:
            return point
        if point > HIGHEST_POINT_C:
            raise OutOfRange("dew point (C)", point, f"{COLDEST_C:.0f} to {HIGHEST_POINT_C:.0f}")
    point = _point(ln_e, e, p, SUPERCOOLED)
    if point < COLDEST_C:
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
    if not COLDEST_C <= point <= _ICE_TOP_C:
        raise OutOfRange("frost point (C)", point, f"{COLDEST_C:.0f} to 0")
    return min(point, 0.0)


# Rounding of the fit: air saturated over ice at exactly 0 C must still have a frost point.
_ICE_TOP_C = 0.0005


def condensation_point_c(e_pa: float, p_pa: float) -> tuple[float, bool]:
    """(temperature [C] at which water leaves the air, whether as frost): frost point where dew < 0 C.

    Below 0 C the frost point is the higher of the two, so ice forms first on a clean cold wall.
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

    Valid gas -100..+200 C, 0.55..16 bar absolute. Raises: OutOfRange. Source: inverse of `vapour_pressure_pa`.
    """
    _check_gas(t_c, p_pa)
    _check_vapour(e_pa, p_pa)
    return e_pa / exp(_saturated_ln_e(t_c, p_pa, _water_phase(t_c)))


def humidity_ratio(e_pa: float, p_pa: float) -> float:
    """Mass of water vapour per mass of dry air [kg/kg].

    Valid 0 < e_pa < p_pa, 0.55..16 bar absolute. Raises: OutOfRange.
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 20.
    """
    _check_vapour(e_pa, p_pa)
    return MASS_RATIO * e_pa / (p_pa - e_pa)


def absolute_humidity_kg_per_m3(t_c: float, e_pa: float, p_pa: float) -> float:
    """Mass of water vapour per volume of moist air [kg/m3], as an ideal gas.

    Valid gas -100..+200 C, 0.55..16 bar absolute; within 0.2 % of CoolProp at one atmosphere.
    Raises: OutOfRange. Source: e / (R_w T).
    """
    _check_gas(t_c, p_pa)
    _check_vapour(e_pa, p_pa)
    return e_pa / (WATER_GAS_CONSTANT * (t_c + ZERO_C))


# Psychrometer coefficient over a wetted, ventilated bulb, 1/K: A0 (1 + A1 t_w) (WMO-No. 8, Annex 4.B).
PSYCHROMETER_WATER = (6.53e-4, 9.44e-4)
PSYCHROMETER_ICE = 5.75e-4


def psychrometer_rh(t_c: float, wet_c: float, p_pa: float) -> float:
    """Relative humidity [1] from a ventilated (sling or aspirated) psychrometer, over water.

    This is not the thermodynamic wet bulb: the two differ by 0.2 to 0.6 % relative humidity. A bulb below
    0 C is taken as iced. Valid wet bulb -10..+60 C, 0.55..1.1 bar absolute, wet_c <= t_c.
    Raises: OutOfRange, also where the pair would need less than no water. Source: WMO-No. 8, Annex 4.B.
    """
    _check_wet_bulb(t_c, wet_c, p_pa)
    iced = wet_c < 0.0
    coefficient = PSYCHROMETER_ICE if iced else PSYCHROMETER_WATER[0] * (1.0 + PSYCHROMETER_WATER[1] * wet_c)
    saturated = exp(_saturated_ln_e(wet_c, p_pa, ICE if iced else WARM))
    e = saturated - coefficient * p_pa * (t_c - wet_c)
    if e <= 0.0:
        raise OutOfRange("wet bulb (C)", wet_c, f"higher, for dry air at {t_c:.6g}")
    return relative_humidity(t_c, e, p_pa)


def _check_wet_bulb(t_c: float, wet_c: float, p_pa: float) -> None:
    _check_gas(t_c, p_pa)
    if not -10.0 <= wet_c <= 60.0 or wet_c > t_c:
        raise OutOfRange("wet bulb (C)", wet_c, f"-10 to 60 and not above the air at {t_c:.6g}")
    if p_pa > 110_000.0:
        raise OutOfRange("total pressure for a psychrometer (Pa)", p_pa, f"{LOWEST_PA:.0f} to 110000")
