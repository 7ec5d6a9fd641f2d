"""Wet bulb: what a sling psychrometer reads, the thermodynamic wet bulb, and the enthalpy behind it.

The two wet bulbs are not the same: a psychrometer exchanges heat with the air around it, so its humidity is 0.2
to 0.6 % lower than that of the thermodynamic balance. Relative humidity is 0..1 over water, temperatures are in
C, pressures absolute in Pa. A bulb below 0 C is taken as iced.

Range: wet bulb -10..+60 C, not above the air, air to +200 C, 0.55..1.1 bar.
"""

from __future__ import annotations

from gateway.psychrometrics import (
    COLDEST_C,
    HOTTEST_GAS_C,
    LOWEST_PA,
    OutOfRange,
    humidity_ratio,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_from_humidity_ratio_pa,
    vapour_pressure_pa,
)

COLDEST_BULB_C, HOTTEST_BULB_C = -10.0, 60.0
HIGHEST_PA = 110_000.0

# Psychrometer coefficients of a ventilated bulb, 1/K: A0 (1 + A1 t_w) over water, one number over ice
# (WMO-No. 8, Annex 4.B; from memory).
VENTILATED_WATER = (6.53e-4, 9.44e-4)
VENTILATED_ICE = 5.75e-4
# A bulb in still air, 1/K: common practice, no source. Iced, it is divided by the ratio of the latent heats,
# since the coefficient goes with 1/L (ours).
STILL_WATER = 8.0e-4
STILL_ICE = STILL_WATER * 2501.0 / 2830.0

# Enthalpies, kJ/kg and kJ/(kg K) (ASHRAE Handbook Fundamentals 2017, chapter 1, equations 30, 33, 35).
DRY_AIR_HEAT, VAPOUR_HEAT, LATENT = 1.006, 1.86, 2501.0
# Of the balance at the bulb: latent heat, its fall with the bulb's temperature, heat capacity of water or ice.
_OVER_WATER = (LATENT, 2.326, 4.186)
_OVER_ICE = (2830.0, 0.24, 2.1)

# Rounding: saturated air must still have its wet bulb.
_ROUNDING = 1.0 + 1e-12


def enthalpy_j_per_kg(t_c: float, humidity_ratio: float) -> float:
    """Enthalpy of moist air [J per kg of dry air], 0 for dry air at 0 C and for liquid water at 0 C.

    Valid -100..+200 C, ratio 0..1 kg/kg. At 1 atm within 0.03 kJ/kg of CoolProp (HAPropsSI "Hda") from -40 to
    +20 C and 0.3 kJ/kg to +50 C, saturated; 1.9 kJ/kg high at 8 bar and 0 C, where a real gas differs.
    Raises: OutOfRange. Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 30.
    """
    if not COLDEST_C <= t_c <= HOTTEST_GAS_C:
        raise OutOfRange("temperature (C)", t_c, f"{COLDEST_C:.0f} to {HOTTEST_GAS_C:.0f}")
    if not 0.0 <= humidity_ratio <= 1.0:
        raise OutOfRange("humidity ratio (kg/kg)", humidity_ratio, "0 to 1")
    return 1000.0 * (DRY_AIR_HEAT * t_c + humidity_ratio * (LATENT + VAPOUR_HEAT * t_c))


def psychrometer_rh(t_c: float, wet_c: float, p_pa: float, ventilated: bool = True) -> float:
    """Relative humidity [1] over water from the two thermometers of a psychrometer.

    ventilated: whirled or aspirated; False is a sling read in still air, worth a few per cent of humidity
    only. Not for the thermodynamic wet bulb, see `vapour_pressure_from_wet_bulb_pa`.
    Valid wet bulb -10..+60 C, not above the air, 0.55..1.1 bar. Raises: OutOfRange, also where the pair would
    need less than no water. Source: WMO-No. 8, Annex 4.B; still air 8.0e-4 /K, common practice, no source.
    """
    _check_bulb(t_c, wet_c, p_pa)
    saturated = saturated_vapour_pressure_pa(wet_c, p_pa, frost=wet_c < 0.0)
    e_pa = saturated - _coefficient_per_k(wet_c, ventilated) * p_pa * (t_c - wet_c)
    if e_pa <= 0.0:
        raise OutOfRange("wet bulb (C)", wet_c, f"higher, for dry air at {t_c:.6g}")
    return relative_humidity(t_c, e_pa, p_pa)


def vapour_pressure_from_wet_bulb_pa(t_c: float, wet_c: float, p_pa: float) -> float:
    """Real partial pressure of water vapour [Pa] from the thermodynamic wet bulb, not a psychrometer's.

    Valid wet bulb -10..+60 C, not above the air, 0.55..1.1 bar. Raises: OutOfRange, also where the pair would
    need less than no water. Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equations 33 and 35.
    """
    _check_bulb(t_c, wet_c, p_pa)
    ratio = _ratio_of_bulb(t_c, wet_c, p_pa)
    if ratio <= 0.0:
        raise OutOfRange("wet bulb (C)", wet_c, f"higher, for dry air at {t_c:.6g}")
    return vapour_pressure_from_humidity_ratio_pa(ratio, p_pa)


def wet_bulb_c(t_c: float, rh: float, p_pa: float) -> float:
    """Thermodynamic wet bulb [C]; not what a sling psychrometer reads, see `psychrometer_rh`.

    Valid result -10..+60 C, gas to 100 C, 0.55..1.1 bar; within 0.05 K of CoolProp, except that a bulb within
    0.7 K of 0 C may be taken as wet here and as iced there. Raises: OutOfRange.
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equations 33 and 35, by bisection.
    """
    wanted = humidity_ratio(vapour_pressure_pa(t_c, rh, p_pa), p_pa)
    low, high = COLDEST_BULB_C, min(t_c, HOTTEST_BULB_C)
    _check_bulb(t_c, high, p_pa)
    if not _ratio_of_bulb(t_c, low, p_pa) <= wanted <= _ratio_of_bulb(t_c, high, p_pa) * _ROUNDING:
        raise OutOfRange("humidity ratio for a wet bulb (kg/kg)", wanted, "that of a wet bulb of -10 to 60 C")
    while high - low > 1e-9:
        middle = (low + high) / 2.0
        low, high = (middle, high) if _ratio_of_bulb(t_c, middle, p_pa) < wanted else (low, middle)
    return (low + high) / 2.0


def _check_bulb(t_c: float, wet_c: float, p_pa: float) -> None:
    if not COLDEST_C <= t_c <= HOTTEST_GAS_C:
        raise OutOfRange("temperature (C)", t_c, f"{COLDEST_C:.0f} to {HOTTEST_GAS_C:.0f}")
    if not COLDEST_BULB_C <= wet_c <= min(HOTTEST_BULB_C, t_c):
        raise OutOfRange("wet bulb (C)", wet_c, f"-10 to 60 and not above the air at {t_c:.6g}")
    if not LOWEST_PA <= p_pa <= HIGHEST_PA:
        raise OutOfRange("total pressure for a wet bulb (Pa)", p_pa, f"{LOWEST_PA:.0f} to {HIGHEST_PA:.0f}")


def _coefficient_per_k(wet_c: float, ventilated: bool) -> float:
    """Psychrometer coefficient [1/K] of a wet or iced bulb."""
    if not ventilated:
        return STILL_ICE if wet_c < 0.0 else STILL_WATER
    at_zero, slope = VENTILATED_WATER
    return VENTILATED_ICE if wet_c < 0.0 else at_zero * (1.0 + slope * wet_c)


def _ratio_of_bulb(t_c: float, wet_c: float, p_pa: float) -> float:
    """Humidity ratio [kg/kg] of air at t_c whose thermodynamic wet bulb is wet_c; below 0: no such air."""
    latent, slope, heat = _OVER_ICE if wet_c < 0.0 else _OVER_WATER
    saturated = humidity_ratio(saturated_vapour_pressure_pa(wet_c, p_pa, frost=wet_c < 0.0), p_pa)
    sensible = DRY_AIR_HEAT * (t_c - wet_c)
    return ((latent - slope * wet_c) * saturated - sensible) / (latent + VAPOUR_HEAT * t_c - heat * wet_c)
