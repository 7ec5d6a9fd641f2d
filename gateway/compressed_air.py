"""Compressed air: pressure dew point, what it becomes at another pressure, how much water and air flow.

Vapour pressures come from `psychrometrics` and hold the enhancement factor, so conversions between pressures
do too. Pressures are absolute in Pa; a gauge reading becomes absolute once, with the station's barometer.
Volumes of air mean nothing without their state: free air is that of the intake, others are named.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf, log, pi, sqrt
from typing import NamedTuple

from alerts.measured import UNITS
from gateway.psychrometrics import (
    HIGHEST_PA,
    LOWEST_PA,
    MASS_RATIO,
    ZERO_C,
    OutOfRange,
    condensation_point_c,
    dew_point_from_vapour_pressure_c,
    humidity_ratio,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)

# Gas constant of dry air, J/(kg K) (ASHRAE Handbook Fundamentals 2017, chapter 1).
DRY_AIR_GAS_CONSTANT = 287.042

PSI_PA = UNITS["psi"].factor


class ReferenceState(NamedTuple):
    """A state to which a volume of air is restated: pressure [Pa], temperature [C], humidity [0..1], source."""

    pressure_pa: float
    t_c: float
    rh: float
    source: str


REFERENCE_STATES = {
    "ISO 8573-1": ReferenceState(1e5, 20.0, 0.0, "ISO 8573-1:2010, reference conditions: 1 bar, 20 °C, dry"),
    "ISO 8778": ReferenceState(1e5, 20.0, 0.65, "ISO 8778, from memory: 1 bar, 20 °C, 65 %RH"),
    "scf 60 °F": ReferenceState(14.696 * PSI_PA, 140 / 9, 0.0, "14.696 psia, 60 °F, dry; the convention varies"),
    "scf 68 °F": ReferenceState(
        14.696 * PSI_PA, 20.0, 0.0, "14.696 psia, 68 °F; used with 36 %RH or dry, here dry; the convention varies"
    ),
}
FREE_AIR = "free air"

# Heat capacity of dry air as an ideal gas, J/(kg K): c0 + c1 T + c2 T^2 + c3 T^3, T in K. Fitted by least squares
# to CoolProp's ideal-gas cp of air (Lemmon et al. 2000), 220..900 K, worst 0.1 %.
AIR_HEAT = (1042.9807, -0.33972872, 8.1729447e-4, -3.8215081e-7)
HOTTEST_DISCHARGE_K = 900.0

# Choked flow of a perfect gas, ratio of specific heats 1.4 and R = 287.04 J/(kg K): sqrt(1.4 / R) (2 / 2.4)^3,
# and the highest ratio of outlet to inlet pressure that stays choked, (2 / 2.4)^3.5.
CHOKED_COEFFICIENT = 0.0404155
CRITICAL_RATIO = 0.528282

# ISO 8573-1:2010, table 2: highest pressure dew point [C] of humidity classes 1 to 6, and highest liquid water
# [kg/m3] of classes 7 to 9.
HUMIDITY_CLASSES = ((1, -70.0), (2, -40.0), (3, -20.0), (4, 3.0), (5, 7.0), (6, 10.0))
LIQUID_CLASSES = ((7, 0.5e-3), (8, 5e-3), (9, 10e-3))

# Effective coefficients of a blast nozzle with abrasive, from a trade chart (common practice).
CHART_LOW, CHART_HIGH = 0.77, 0.85

# Roughness and couplings of a hose are not known: the loss is this share higher or lower (common practice).
HOSE_SPREAD = 0.30


def _demand(what: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high or value == inf:
        raise OutOfRange(what, value, f"{low:.7g} or more, finite" if high == inf else f"{low:.7g} to {high:.7g}")


def _demand_above_0(what: str, value: float) -> None:
    if not 0.0 < value < inf:
        raise OutOfRange(what, value, "above 0, finite")


def absolute_pressure_pa(gauge_pa: float, station_pressure_pa: float) -> float:
    """Absolute pressure [Pa] from gauge pressure and the station's own barometer, not the sea-level value.

    Valid station 0.5..1.1 bar, result above 0. Raises: OutOfRange.
    """
    _demand("station pressure (Pa)", station_pressure_pa, 50_000.0, 110_000.0)
    total = gauge_pa + station_pressure_pa
    _demand_above_0("absolute pressure (Pa)", total)
    return total


def standard_atmosphere_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere [Pa]. Valid -500..+5000 m. Raises: OutOfRange.

    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3.
    """
    _demand("altitude (m)", altitude_m, -500.0, 5000.0)
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
    to_pa = line_pressure_pa if at_pressure_pa is None else at_pressure_pa
    return condensation_point_at(e_pa, line_pressure_pa, to_pa)


def condensation_point_at(e_pa: float, from_pa: float, at_pa: float) -> tuple[float, bool]:
    """(dew or frost point [C], whether it is a frost point) at at_pa of vapour whose pressure is e_pa at from_pa.

    The share of vapour stays, so its partial pressure follows the total (Dalton). Valid and raises as
    `psychrometrics.condensation_point_c`.
    """
    return condensation_point_c(e_pa * at_pa / from_pa, at_pa)


def at_pressure_c(point_c: float, from_pa: float, to_pa: float, frost: bool | None = None) -> tuple[float, bool]:
    """(point [C] at to_pa, whether it is a frost point) of air whose point is point_c at from_pa.

    frost says what point_c is; None takes a value below 0 C as a frost point. The result is a frost point
    wherever the dew point would be below 0 C. Valid -100..+100 C, 0.55..16 bar. Raises: OutOfRange, also when
    expansion or compression leads out of it. Source: constant mole fraction; f of ASHRAE RP-1485.
    """
    is_frost = point_c < 0.0 if frost is None else frost
    return condensation_point_at(saturated_vapour_pressure_pa(point_c, from_pa, is_frost), from_pa, to_pa)


def at_pressure_over_water_c(point_c: float, from_pa: float, to_pa: float) -> float:
    """As `at_pressure_c` with dew points over water on both sides, also below 0 C [C].

    For comparing with charts that never speak of frost; a frost point is several kelvin higher.
    Valid -100..+100 C, 0.55..16 bar. Raises: OutOfRange. Source: Hardy 1998 below 0 C.
    """
    e_pa = saturated_vapour_pressure_pa(point_c, from_pa, frost=False)
    return dew_point_from_vapour_pressure_c(e_pa * to_pa / from_pa, to_pa)


def atmospheric_equivalent_c(
    pdp_c: float, line_pressure_pa: float, station_pressure_pa: float, frost: bool | None = None
) -> tuple[float, bool]:
    """(point [C], whether it is a frost point) of line air let down to the station's pressure.

    Valid and raises as `at_pressure_c`.
    """
    return at_pressure_c(pdp_c, line_pressure_pa, station_pressure_pa, frost)


def iso_8573_humidity_class(
    pdp_c: float, pressure_pa: float | None = None, station_pressure_pa: float | None = None
) -> str:
    """The indicated humidity class in words: indicated, since class limits hold at stated conditions only.

    pdp_c: pressure dew point [C], finite, at the absolute pressure pressure_pa, which the words name: in bar(g)
    if the station's pressure is given too, in bar(a) if not, "the line's pressure" without either. The reference
    is 7 bar(e) unless agreed otherwise: restate with `at_pressure_c` first. Raises: OutOfRange.
    Source: ISO 8573-1:2010, table 2, whose classes 7 to 9 are about liquid water, see `modelled_liquid_class`.
    """
    if not abs(pdp_c) < 274.0:
        raise OutOfRange("pressure dew point (C)", pdp_c, "a finite temperature")
    basis = _pressure_words(pressure_pa, station_pressure_pa)
    for name, highest in HUMIDITY_CLASSES:
        if pdp_c <= highest:
            return f"indicated humidity class {name} at {basis}"
    return f"no indicated humidity class (wetter than class 6) at {basis}"


def _pressure_words(pressure_pa: float | None, station_pressure_pa: float | None) -> str:
    if pressure_pa is None:
        return "the line's pressure"
    _demand_above_0("absolute pressure (Pa)", pressure_pa)
    if station_pressure_pa is None:
        return f"{pressure_pa / 1e5:.1f} bar(a)"
    _demand("station pressure (Pa)", station_pressure_pa, 50_000.0, 110_000.0)
    return f"{(pressure_pa - station_pressure_pa) / 1e5:.1f} bar(g)"


def modelled_liquid_class(liquid_kg_per_m3_at_reference: float, pressure_basis: str) -> str:
    """The class of liquid water in words, modelled: it is computed, not measured as ISO 8573-9 asks.

    liquid_kg_per_m3_at_reference: liquid only, never vapour, per m3 of air at 1 bar, 20 C, dry ("ISO 8573-1");
    0 or more. pressure_basis: words for the line's pressure, such as "7.0 bar(g)". Raises: OutOfRange.
    Source: ISO 8573-1:2010, table 2, classes 7, 8, 9 and X: 0.5, 5, 10 g/m3 and above.
    """
    _demand("liquid water (kg/m3)", liquid_kg_per_m3_at_reference, 0.0, inf)
    found = (str(name) for name, highest in LIQUID_CLASSES if liquid_kg_per_m3_at_reference <= highest)
    return f"modelled liquid class {next(found, 'X')} at {pressure_basis}"


def ppmv_dry(e_pa: float, p_pa: float) -> float:
    """Water vapour in parts per million of dry air, by volume [1e-6].

    Valid 0 < e_pa < p_pa, 0.55..16 bar. Raises: OutOfRange. Source: Dalton, e / (p - e).
    """
    return 1e6 * humidity_ratio(e_pa, p_pa) / MASS_RATIO


def dry_air_kg_per_s(flow_m3_per_s: float, t_c: float, e_pa: float, p_pa: float) -> float:
    """Dry air [kg/s] in a flow of moist air [m3/s] measured at t_c, e_pa and p_pa (free air at the intake).

    Valid flow 0 or more, 0 < e_pa < p_pa, 0.55..16 bar. Raises: OutOfRange. Source: (p - e) V / (R T); an
    ideal gas, within 0.1 % at one atmosphere.
    """
    _demand("air flow (m3/s)", flow_m3_per_s, 0.0, inf)
    _demand("temperature (C)", t_c, -100.0, 200.0)
    humidity_ratio(e_pa, p_pa)  # refuses impossible pairs of pressures
    return _dry_air_density(t_c, p_pa - e_pa) * flow_m3_per_s


def _dry_air_density(t_c: float, dry_pa: float) -> float:
    """Density [kg/m3] of dry air as an ideal gas."""
    return dry_pa / (DRY_AIR_GAS_CONSTANT * (t_c + ZERO_C))


def reference_dry_air_kg_per_m3(reference: str) -> float:
    """Dry air in one m3 at a reference state, a key of `REFERENCE_STATES` [kg/m3].

    Raises: OutOfRange for a name that is not one. Source: (p - e) / (R T); within 0.1 % of a real gas.
    """
    if reference not in REFERENCE_STATES:
        raise OutOfRange("reference state", reference, ", ".join(REFERENCE_STATES))
    state = REFERENCE_STATES[reference]
    e_pa = vapour_pressure_pa(state.t_c, state.rh, state.pressure_pa) if state.rh else 0.0
    return _dry_air_density(state.t_c, state.pressure_pa - e_pa)


def moisture_kg_per_m3_at_reference(e_pa: float, p_pa: float, reference: str) -> float:
    """Water vapour per m3 of the same air restated at a reference state [kg/m3].

    e_pa, p_pa: vapour and total pressure of the air, 0 < e_pa < p_pa, 0.55..16 bar absolute. The m3 is that of
    the reference's own air: its dry air counts, for "ISO 8778" less than the whole volume. reference: a key of
    `REFERENCE_STATES`. Raises: OutOfRange. Source: humidity ratio times dry air per m3.
    """
    return humidity_ratio(e_pa, p_pa) * reference_dry_air_kg_per_m3(reference)


def dry_air_from_flow_kg_per_s(
    flow_m3_per_s: float, basis: str, intake_t_c: float, intake_e_pa: float, intake_p_pa: float
) -> float:
    """Dry air [kg/s] in a stated flow [m3/s], 0 or more.

    basis: "free air", the flow as it enters the intake, or a key of `REFERENCE_STATES`, where the intake no
    longer matters but must still be possible. Valid intake as `dry_air_kg_per_s`. Raises: OutOfRange, also for an
    unknown basis. Source: as there.
    """
    free_air = dry_air_kg_per_s(flow_m3_per_s, intake_t_c, intake_e_pa, intake_p_pa)
    if basis == FREE_AIR:
        return free_air
    if basis not in REFERENCE_STATES:
        raise OutOfRange("basis of the flow", basis, ", ".join((FREE_AIR, *REFERENCE_STATES)))
    return flow_m3_per_s * reference_dry_air_kg_per_m3(basis)


def water_kg_per_h(humidity_ratio_kg_per_kg: float, dry_air_kg_per_s: float) -> float:
    """Water vapour carried [kg/h] at a humidity ratio [kg/kg] by a flow of dry air [kg/s], both 0 or more.

    Raises: OutOfRange.
    """
    _demand("humidity ratio (kg/kg)", humidity_ratio_kg_per_kg, 0.0, inf)
    _demand("dry air (kg/s)", dry_air_kg_per_s, 0.0, inf)
    return humidity_ratio_kg_per_kg * dry_air_kg_per_s * 3600.0


def discharge_temperature_c(
    inlet_c: float, inlet_pa: float, outlet_pa: float, isentropic_efficiency: float = 1.0
) -> float:
    """Temperature [C] of air leaving one uncooled stage of compression.

    Not for oil-flooded screws: their discharge follows the oil circuit (about 200 F, common practice) and is
    entered. Several stages are called one by one, each with its own inlet. Valid inlet -50..+60 C, both pressures
    0.55..16 bar absolute, the outlet not below the inlet, efficiency above 0 to 1, result to 627 C; within 2 K of
    CoolProp's real air at an intake of 0.55..1.1 bar. Raises: OutOfRange.
    Source: entropy s(T) - R ln p constant, enthalpy rise over the efficiency, with cp of `AIR_HEAT` (ours).
    """
    _demand("inlet temperature (C)", inlet_c, -50.0, 60.0)
    _demand("inlet pressure (Pa)", inlet_pa, LOWEST_PA, HIGHEST_PA)
    _demand("outlet pressure (Pa)", outlet_pa, inlet_pa, HIGHEST_PA)
    if not 0.0 < isentropic_efficiency <= 1.0:
        raise OutOfRange("isentropic efficiency", isentropic_efficiency, "above 0, up to 1")
    inlet_k = inlet_c + ZERO_C
    ideal_k = _temperature_k(_entropy, _entropy(inlet_k) + DRY_AIR_GAS_CONSTANT * log(outlet_pa / inlet_pa))
    before = _enthalpy(inlet_k)
    after = before + (_enthalpy(ideal_k) - before) / isentropic_efficiency
    if after > _enthalpy(HOTTEST_DISCHARGE_K):
        hottest = HOTTEST_DISCHARGE_K - ZERO_C
        raise OutOfRange("isentropic efficiency", isentropic_efficiency, f"higher, for at most {hottest:.0f} C")
    return _temperature_k(_enthalpy, after) - ZERO_C


def _entropy(t_k: float) -> float:
    """Entropy of air at constant pressure, the integral of cp/T [J/(kg K)], to a constant."""
    c0, c1, c2, c3 = AIR_HEAT
    return c0 * log(t_k) + t_k * (c1 + t_k * (c2 / 2.0 + t_k * c3 / 3.0))


def _enthalpy(t_k: float) -> float:
    """Enthalpy of air, the integral of cp [J/kg], to a constant."""
    c0, c1, c2, c3 = AIR_HEAT
    return t_k * (c0 + t_k * (c1 / 2.0 + t_k * (c2 / 3.0 + t_k * c3 / 4.0)))


def _temperature_k(rising: Callable[[float], float], wanted: float) -> float:
    """Temperature [K] at which a quantity that rises with it has the wanted value, by bisection."""
    low, high = 200.0, HOTTEST_DISCHARGE_K
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        low, high = (middle, high) if rising(middle) < wanted else (low, middle)
    return (low + high) / 2.0


def choked_nozzle_kg_per_s(
    bore_area_m2: float, p_pa: float, t_c: float, station_pressure_pa: float, discharge: float = 1.0
) -> float:
    """Air through a choked nozzle [kg/s] from absolute pressure and gas temperature just upstream of it.

    discharge: effective coefficient, about 0.77..0.85 with abrasive and 0.95..0.98 with air only (common
    practice). Valid above the critical pressure ratio, gas -50..+200 C. Raises: OutOfRange.
    Source: isentropic flow of a perfect gas, ratio of heats 1.4: C A p sqrt(1.4 / (R T)) (2 / 2.4)^3.
    """
    _demand_above_0("bore area (m2)", bore_area_m2)
    if not 0.0 < discharge <= 1.0:
        raise OutOfRange("discharge coefficient", discharge, "above 0, up to 1")
    _demand("temperature (C)", t_c, -50.0, 200.0)
    _demand("station pressure (Pa)", station_pressure_pa, 50_000.0, 110_000.0)
    lowest = station_pressure_pa / CRITICAL_RATIO
    if not lowest <= p_pa < inf:
        raise OutOfRange("nozzle pressure (Pa)", p_pa, f"at least {lowest:.0f} for choked flow")
    return discharge * bore_area_m2 * p_pa * CHOKED_COEFFICIENT / sqrt(t_c + ZERO_C)


def nozzle_chart_band_kg_per_s(
    bore_m: float, p_pa: float, t_c: float, station_pressure_pa: float
) -> tuple[float, float]:
    """(low, high) air through a blast nozzle with abrasive [kg/s]: the choked flow times 0.77 and 0.85.

    bore_m: the bore as it is now, see `worn_bore_m`. Valid and raises as `choked_nozzle_kg_per_s`.
    Source: a trade chart taken while blasting, 1/8 to 1/2 in, 50 to 125 psi gauge; common practice.
    """
    _demand_above_0("bore (m)", bore_m)
    low, high = (
        choked_nozzle_kg_per_s(pi / 4.0 * bore_m**2, p_pa, t_c, station_pressure_pa, discharge)
        for discharge in (CHART_LOW, CHART_HIGH)
    )
    return low, high


def worn_bore_m(bore_m: float, wear_share: float) -> float:
    """Bore of a worn nozzle [m]; wear_share is the growth of its diameter, 0..1, so 0.1 is 10 % wider.

    The flow grows with the square: 10 % of bore are 21 % of air. Raises: OutOfRange. Source: geometry.
    """
    _demand_above_0("bore (m)", bore_m)
    _demand("wear (share of the bore)", wear_share, 0.0, 1.0)
    return bore_m * (1.0 + wear_share)


def hose_loss_pa(
    flow_free_air_m3_per_s: float, length_m: float, bore_m: float, pressure_pa: float, abrasive: bool = False
) -> tuple[float, float, float]:
    """(low, middle, high) loss of pressure along a hose [Pa]; low and high are 30 % from the middle.

    Roughness and couplings are not known, hence the band. abrasive doubles all three (common practice, no
    source). pressure_pa: absolute, at the inlet. Valid flow 0 or more, length 0 or more, bore above 0, the high
    loss below pressure_pa. Raises: OutOfRange. Source: compressed-air handbooks, from memory:
    bar = 450 q^1.85 L / (d^5 p) with q in l/s of free air, L in m, d in mm, p in bar absolute.
    """
    _demand("air flow (m3/s)", flow_free_air_m3_per_s, 0.0, inf)
    _demand("hose length (m)", length_m, 0.0, inf)
    _demand_above_0("hose bore (m)", bore_m)
    _demand_above_0("absolute pressure (Pa)", pressure_pa)
    per_bar = 450.0 * (1e3 * flow_free_air_m3_per_s) ** 1.85 * length_m / (1e3 * bore_m) ** 5
    middle = 1e5 * per_bar / (pressure_pa / 1e5) * (2.0 if abrasive else 1.0)
    low, high = middle * (1.0 - HOSE_SPREAD), middle * (1.0 + HOSE_SPREAD)
    if not high < pressure_pa:
        raise OutOfRange("loss of the hose (Pa)", high, f"below the pressure at its inlet {pressure_pa:.6g}")
    return low, middle, high


def productivity_loss_share(pressure_drop_pa: float) -> float:
    """Share of blasting work lost to a drop of pressure at the nozzle [0..1]: 1.5 % per psi.

    A rule of thumb, common practice without a source or test data: show it under that label, never as a computed
    loss. Valid drop 0 to 459,000 Pa, where the share is 1. Raises: OutOfRange.
    """
    _demand("drop of pressure (Pa)", pressure_drop_pa, 0.0, PSI_PA / 0.015)
    return 0.015 * pressure_drop_pa / PSI_PA
