"""Compressed air: pressure dew point, what it becomes at another pressure, how much water and air flow.

Vapour pressures come from `psychrometrics` and hold the enhancement factor, so conversions between pressures
do too. Pressures are absolute in Pa; a gauge reading becomes absolute once, with the station's barometer.
"""

from __future__ import annotations

from math import sqrt

from gateway.psychrometrics import (
    ZERO_C,
    OutOfRange,
    condensation_point_c,
    dew_point_from_vapour_pressure_c,
    enhancement_factor_ice,
    humidity_ratio,
    saturation_pressure_ice_pa,
    vapour_pressure_pa,
)

# Gas constant of dry air, J/(kg K) (ASHRAE Handbook Fundamentals 2017, chapter 1).
DRY_AIR_GAS_CONSTANT = 287.042

# Choked flow of a perfect gas, ratio of specific heats 1.4 and R = 287.04 J/(kg K): sqrt(1.4 / R) (2 / 2.4)^3,
# and the highest ratio of outlet to inlet pressure that stays choked, (2 / 2.4)^3.5.
CHOKED_COEFFICIENT = 0.0404155
CRITICAL_RATIO = 0.528282

# ISO 8573-1:2010, table 2: highest pressure dew point [C] of humidity classes 1 to 6.
HUMIDITY_CLASSES = ((1, -70.0), (2, -40.0), (3, -20.0), (4, 3.0), (5, 7.0), (6, 10.0))


def absolute_pressure_pa(gauge_pa: float, station_pressure_pa: float) -> float:
    """Absolute pressure [Pa] from gauge pressure and the station's own barometer, not the sea-level value.

    Valid station 0.5..1.1 bar, result above 0. Raises: OutOfRange.
    """
    if not 50_000.0 <= station_pressure_pa <= 110_000.0:
        raise OutOfRange("station pressure (Pa)", station_pressure_pa, "50000 to 110000")
    total = gauge_pa + station_pressure_pa
    if not total > 0.0:
        raise OutOfRange("absolute pressure (Pa)", total, "above 0")
    return total


def standard_atmosphere_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere [Pa]. Valid -500..+5000 m. Raises: OutOfRange.

    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3.
    """
    if not -500.0 <= altitude_m <= 5000.0:
        raise OutOfRange("altitude (m)", altitude_m, "-500 to 5000")
    return float(101_325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.2559)


def pressure_dew_point_c(
    t_c: float, rh: float, line_pressure_pa: float, at_pressure_pa: float | None = None
) -> tuple[float, bool]:
    """(pressure dew point [C], whether it is a frost point) from a humidity probe in the line.

    rh is 0..1 over water. at_pressure_pa restates the point at another pressure, such as a rating's;
    None keeps the line's. Valid gas -100..+200 C, 0.55..16 bar, result -100..+100 C. Raises: OutOfRange.
    Source: WMO-No. 8, Annex 4.B, with the enhancement factor of ASHRAE RP-1485.
    """
    e_pa = vapour_pressure_pa(t_c, rh, line_pressure_pa)
    return _restated(e_pa, line_pressure_pa, line_pressure_pa if at_pressure_pa is None else at_pressure_pa)


def _restated(e_pa: float, from_pa: float, to_pa: float) -> tuple[float, bool]:
    """Condensation point at to_pa: the mole fraction stays, so the partial pressure follows the total."""
    return condensation_point_c(e_pa * to_pa / from_pa, to_pa)


def _saturated_pa(point_c: float, p_pa: float, frost: bool) -> float:
    """Real partial pressure [Pa] of air whose dew or frost point is point_c."""
    if frost:
        return enhancement_factor_ice(point_c, p_pa) * saturation_pressure_ice_pa(point_c)
    return vapour_pressure_pa(point_c, 1.0, p_pa)


def at_pressure_c(point_c: float, from_pa: float, to_pa: float, frost: bool | None = None) -> tuple[float, bool]:
    """(point [C] at to_pa, whether it is a frost point) of air whose point is point_c at from_pa.

    frost says what point_c is; None takes a value below 0 C as a frost point. The result is a frost point
    wherever the dew point would be below 0 C. Valid -100..+100 C, 0.55..16 bar. Raises: OutOfRange, also when
    expansion or compression leads out of it. Source: constant mole fraction; f of ASHRAE RP-1485.
    """
    is_frost = point_c < 0.0 if frost is None else frost
    return _restated(_saturated_pa(point_c, from_pa, is_frost), from_pa, to_pa)


def at_pressure_over_water_c(point_c: float, from_pa: float, to_pa: float) -> float:
    """As `at_pressure_c` with dew points over water on both sides, also below 0 C [C].

    For comparing with charts that never speak of frost; a frost point is several kelvin higher.
    Valid -100..+100 C, 0.55..16 bar. Raises: OutOfRange. Source: Hardy 1998 below 0 C.
    """
    e_pa = _saturated_pa(point_c, from_pa, frost=False)
    return dew_point_from_vapour_pressure_c(e_pa * to_pa / from_pa, to_pa)


def atmospheric_equivalent_c(
    pdp_c: float, line_pressure_pa: float, station_pressure_pa: float, frost: bool | None = None
) -> tuple[float, bool]:
    """(point [C], whether it is a frost point) of line air let down to the station's pressure.

    Valid and raises as `at_pressure_c`.
    """
    return at_pressure_c(pdp_c, line_pressure_pa, station_pressure_pa, frost)


def iso_8573_humidity_class(pdp_c: float) -> str:
    """The indicated humidity class in words: indicated, since class limits hold at stated conditions only.

    pdp_c: pressure dew point [C], finite. Raises: OutOfRange. Source: ISO 8573-1:2010, table 2, whose classes
    7 to 9 are about liquid water and do not follow from a dew point.
    """
    if not abs(pdp_c) < 274.0:
        raise OutOfRange("pressure dew point (C)", pdp_c, "a finite temperature")
    for name, highest in HUMIDITY_CLASSES:
        if pdp_c <= highest:
            return f"indicated humidity class {name}"
    return "no indicated humidity class (wetter than class 6)"


def ppmv_dry(e_pa: float, p_pa: float) -> float:
    """Water vapour in parts per million of dry air, by volume.

    Valid 0 < e_pa < p_pa. Raises: OutOfRange. Source: Dalton, e / (p - e).
    """
    if not 0.0 < e_pa < p_pa:
        raise OutOfRange("vapour pressure (Pa)", e_pa, f"above 0, below the total pressure {p_pa:.6g}")
    return 1e6 * e_pa / (p_pa - e_pa)


def dry_air_kg_per_s(flow_m3_per_s: float, t_c: float, e_pa: float, p_pa: float) -> float:
    """Dry air [kg/s] in a flow of moist air [m3/s] measured at t_c, e_pa and p_pa (free air at the intake).

    Valid flow 0 or more, 0 < e_pa < p_pa, 0.55..16 bar. Raises: OutOfRange. Source: (p - e) V / (R T); an
    ideal gas, within 0.1 % at one atmosphere.
    """
    if not flow_m3_per_s >= 0.0:
        raise OutOfRange("air flow (m3/s)", flow_m3_per_s, "0 or more")
    if not -100.0 <= t_c <= 200.0:
        raise OutOfRange("temperature (C)", t_c, "-100 to 200")
    humidity_ratio(e_pa, p_pa)  # refuses impossible pairs of pressures
    return (p_pa - e_pa) * flow_m3_per_s / (DRY_AIR_GAS_CONSTANT * (t_c + ZERO_C))


def water_kg_per_h(humidity_ratio_kg_per_kg: float, dry_air_kg_per_s: float) -> float:
    """Water vapour carried [kg/h] at a humidity ratio [kg/kg] by a flow of dry air [kg/s], both 0 or more.

    Raises: OutOfRange.
    """
    for what, value in (
        ("humidity ratio (kg/kg)", humidity_ratio_kg_per_kg),
        ("dry air (kg/s)", dry_air_kg_per_s),
    ):
        if not value >= 0.0:
            raise OutOfRange(what, value, "0 or more")
    return humidity_ratio_kg_per_kg * dry_air_kg_per_s * 3600.0


def choked_nozzle_kg_per_s(
    bore_area_m2: float, p_pa: float, t_c: float, station_pressure_pa: float, discharge: float = 1.0
) -> float:
    """Air through a choked nozzle [kg/s] from absolute pressure and gas temperature just upstream of it.

    discharge: effective coefficient, about 0.77..0.85 with abrasive and 0.95..0.98 with air only (common
    practice). Valid above the critical pressure ratio, gas -50..+200 C. Raises: OutOfRange.
    Source: isentropic flow of a perfect gas, ratio of heats 1.4: C A p sqrt(1.4 / (R T)) (2 / 2.4)^3.
    """
    if not bore_area_m2 > 0.0:
        raise OutOfRange("bore area (m2)", bore_area_m2, "above 0")
    if not 0.0 < discharge <= 1.0:
        raise OutOfRange("discharge coefficient", discharge, "above 0, up to 1")
    if not -50.0 <= t_c <= 200.0:
        raise OutOfRange("temperature (C)", t_c, "-50 to 200")
    lowest = station_pressure_pa / CRITICAL_RATIO
    if not p_pa >= lowest:
        raise OutOfRange("nozzle pressure (Pa)", p_pa, f"at least {lowest:.0f} for choked flow")
    return discharge * bore_area_m2 * p_pa * CHOKED_COEFFICIENT / sqrt(t_c + ZERO_C)
