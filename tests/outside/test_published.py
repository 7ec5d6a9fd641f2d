"""Moist air against published tables and worked examples; sources and tolerances stand in tests/tables/*.csv.

Rows a table prints and the product refuses: saturated air at 150 C in one atmosphere (476 kPa of vapour do not fit
into 101 kPa; pure saturation there is answered), and an iced psychrometer bulb of -10.1 C (bulbs end at -10 C).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from gateway import compressed_air as line
from gateway import psychrometrics as air
from gateway import wet_bulb
from tests import tables
from tests.tables import rows

ATMOSPHERE, LINE = 101_325.0, 801_325.0
ZERO_C = 273.15
INCH_OF_MERCURY_PA = 3386.389


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32.0


def pure_pa(t_c: float) -> float:
    """Saturation pressure without air: over ice below 0 C."""
    return (air.saturation_pressure_ice_pa if t_c < 0 else air.saturation_pressure_water_pa)(t_c)


def saturated_pa(t_c: float, p_pa: float) -> float:
    return air.saturated_vapour_pressure_pa(t_c, p_pa, frost=t_c < 0)


def humidity_at_steel(steel_f: float, spread_f: float) -> float:
    e_pa = air.saturated_vapour_pressure_pa(celsius(steel_f - spread_f), ATMOSPHERE, frost=False)
    return 100.0 * air.relative_humidity(celsius(steel_f), e_pa, ATMOSPHERE)


def absolute_humidity(t_c: float) -> float:
    return 1e3 * air.absolute_humidity_kg_per_m3(t_c, saturated_pa(t_c, ATMOSPHERE), ATMOSPHERE)


def ideal_absolute_humidity(t_c: float) -> float:
    """As handbooks do it, without the enhancement factor."""
    return 1e3 * air.absolute_humidity_kg_per_m3(t_c, pure_pa(t_c), ATMOSPHERE)


def ideal_equivalent(pdp_c: float) -> float:
    """As charts do it: the pure pressure in proportion, then back by bisection."""
    e_pa, low, high = pure_pa(pdp_c) * ATMOSPHERE / LINE, -100.0, 100.0
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        low, high = (middle, high) if pure_pa(middle) < e_pa else (low, middle)
    return low


def from_thermodynamic_bulb(t_c: float, wet_c: float, p_pa: float) -> float:
    e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(t_c, wet_c, p_pa)
    return 100.0 * air.relative_humidity(t_c, e_pa, p_pa)


TABLES: list[tuple[str, int, Callable[..., float]]] = [
    ("printed_dew_point", 8, lambda t_c, percent: air.dew_point_c(t_c, percent / 100, ATMOSPHERE)),
    ("humidity_at_steel_of_spread", 36, humidity_at_steel),
    ("sublimation_pressure", 4, lambda t_k: air.saturation_pressure_ice_pa(t_k - ZERO_C)),
    ("enhancement_factor_rp1485", 40, lambda t_c, p_pa: saturated_pa(t_c, p_pa) / pure_pa(t_c)),
    ("compressed_from_atmosphere", 11, lambda t_c: line.at_pressure_c(t_c, ATMOSPHERE, LINE)[0]),
    ("atmospheric_equivalent_charts", 11, ideal_equivalent),
    ("pressure_dew_point_rp1485", 5, lambda t_c, percent: line.pressure_dew_point_c(t_c, percent / 100, LINE)[0]),
    ("absolute_humidity", 16, absolute_humidity),
    ("absolute_humidity_handbooks", 6, ideal_absolute_humidity),
    ("saturation_pressure_fao", 2, lambda t_c: air.saturation_pressure_water_pa(t_c) / 1e3),
    (
        "class_limit_water",
        6,
        lambda t_c: 1e3 * line.moisture_kg_per_m3_at_reference(saturated_pa(t_c, 8e5), 8e5, "ISO 8573-1"),
    ),
    ("psychrometer_other_coefficients", 12, lambda *bulbs: 100.0 * wet_bulb.psychrometer_rh(*bulbs)),
    ("thermodynamic_wet_bulb", 6, from_thermodynamic_bulb),
]
ROWS = [pytest.param(law, *row, id=f"{name}-{row[0]}") for name, count, law in TABLES for row in rows(name, count)]

# Met in tests/test_psychrometrics.py and tests/test_compressed_air.py.
MET_ELSEWHERE = {
    "saturation_pressure_water": 14, "saturation_pressure_ice": 10, "saturation_pressure_ashrae": 8,
    "sublimation_pressure_r14": 1, "dew_point": 29, "frost_point": 7, "enhancement_factor": 40,
    "saturated_humidity_ratio": 7, "atmospheric_equivalent": 15, "pressure_dew_point": 6,
}  # fmt: skip


@pytest.mark.parametrize(("law", "inputs", "expected", "tolerance"), ROWS)
def test_every_row_is_met(
    law: Callable[..., float], inputs: list[float], expected: float, tolerance: float
) -> None:
    assert law(*inputs) == pytest.approx(expected, abs=tolerance)


def test_no_row_is_lost() -> None:
    """137 reference rows elsewhere and those of this file; a table nobody runs is found here."""
    counts = {name: count for name, count, _ in TABLES} | MET_ELSEWHERE
    folder = Path(tables.__file__).parent
    lines = {name: (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines() for name in counts}
    found = {name: len(list(csv.DictReader(x for x in text if x[0] != "#"))) for name, text in lines.items()}
    assert found == counts
    assert sum(MET_ELSEWHERE.values()) == 137
    tests = "".join(p.read_text(encoding="utf-8") for p in folder.parent.rglob("test_*.py"))
    assert [p.stem for p in folder.glob("*.csv") if f'("{p.stem}", ' not in tests and p.stem not in found] == []


def test_what_lies_outside_the_range_is_refused() -> None:
    """The two rows of the docstring: one for the total pressure, one for the bulb."""
    assert air.saturation_pressure_water_pa(150.0) == pytest.approx(476_101.4, rel=3e-4)
    with pytest.raises(air.OutOfRange, match="below the total pressure"):
        air.vapour_pressure_pa(150.0, 1.0, ATMOSPHERE)
    with pytest.raises(air.OutOfRange, match=r"wet bulb \(C\) is -10\.1"):
        wet_bulb.psychrometer_rh(celsius(20.0), celsius(13.8), 25 * INCH_OF_MERCURY_PA)


@pytest.mark.parametrize("law", [air.saturation_pressure_water_pa, air.saturation_pressure_ice_pa])
def test_triple_point(law: Callable[[float], float]) -> None:
    """611.657 Pa at 0.01 C (Guildner 1976), water and ice; both fits are asked at 0 C, 0.01 K below."""
    slope = 44.4 if law is air.saturation_pressure_water_pa else 50.3
    assert law(0.0) + 0.01 * slope == pytest.approx(611.657, abs=0.02)


@pytest.mark.parametrize(
    ("t_c", "ratio"), [(-5.0, 1.0499), (-10.0, 1.1025), (-20.0, 1.2165), (-30.0, 1.343), (-40.0, 1.4825)]
)
def test_water_over_ice(t_c: float, ratio: float) -> None:
    """Supercooled water over ice (Hardy 1998), within 0.05 %."""
    found = air.saturation_pressure_water_pa(t_c) / air.saturation_pressure_ice_pa(t_c)
    assert found == pytest.approx(ratio, rel=5e-4)


# Sonntag 1994, ln e = a/T + b + c T + d T^2 + k ln T, Pa.
SONNTAG_WATER = (-6096.9385, 21.2409642, -2.711193e-2, 1.673952e-5, 2.433502)
SONNTAG_ICE = (-6024.5282, 29.32707, 1.0613868e-2, -1.3198825e-5, -0.49382577)


def sonntag_pa(t_c: float, coefficients: tuple[float, ...]) -> float:
    a, b, c, d, k = coefficients
    t = t_c + ZERO_C
    return math.exp(a / t + b + c * t + d * t * t + k * math.log(t))


def test_sonntag_agrees() -> None:
    """A third family of equations: 80 ppm over water to 60 C, 0.1 % over ice to -60 C, 0.2 % to -80 C."""
    for t in range(1, 61):
        assert air.saturation_pressure_water_pa(t) == pytest.approx(sonntag_pa(t, SONNTAG_WATER), rel=8e-5)
    for t in range(-80, 0):
        close = pytest.approx(sonntag_pa(t, SONNTAG_ICE), rel=1e-3 if t >= -60 else 2e-3)
        assert air.saturation_pressure_ice_pa(t) == close


@pytest.mark.parametrize(
    ("constants", "ppm"),
    [
        # WMO-No. 8, Annex 4.B (from memory)
        ((611.2, 17.62, 243.12), {5: -954, 20: -2874, 30: -3119, 50: -550, 60: 2349, 80: 11_270}),
        # the pair used with ISO 8502-4 (clause text not verified)
        ((610.78, 17.08085, 234.175), {5: 367, 15: 1196, 25: 890, 40: -498, 60: -2252}),
    ],
)
def test_short_formulas_are_off_by_the_known_amount(
    constants: tuple[float, float, float], ppm: dict[int, int]
) -> None:
    """Magnus forms against ours, in ppm, with their sign: within 25 ppm of the known difference."""
    a, b, c = constants
    for t, expected in ppm.items():
        off = a * math.exp(b * t / (c + t)) / air.saturation_pressure_water_pa(t) - 1.0
        assert 1e6 * off == pytest.approx(expected, abs=25)


def magnus_dew_point_c(t_c: float, rh: float, b: float = 17.08085, c: float = 234.175) -> float:
    x = math.log(rh) + b * t_c / (c + t_c)
    return c * x / (b - x)


def test_magnus_dew_points_stay_within_their_known_error() -> None:
    """0 to 50 C, 20 to 100 %: 0.06 K above 0 C of dew point and 0.15 K below, for 17.08085 / 234.175.

    Of the 0.06 K, 0.016 K are the enhancement factor, which the short formula leaves out.
    """
    worst = {True: 0.0, False: 0.0}
    for t in range(51):
        for percent in range(20, 101):
            ours = air.dew_point_c(t, percent / 100, ATMOSPHERE)
            off = abs(magnus_dew_point_c(t, percent / 100) - ours)
            worst[ours >= 0.0] = max(worst[ours >= 0.0], off)
    assert worst == {True: pytest.approx(0.060, abs=0.003), False: pytest.approx(0.148, abs=0.004)}


def test_the_rule_of_a_fifth_is_no_dew_point() -> None:
    """T - (100 - RH)/5 is wrong by 2.4 K above 50 % and by 1.0 K above 80 %, 0 to 40 C."""
    for lowest, expected in ((50, 2.4), (80, 1.0)):
        worst = max(
            abs(t - (100 - percent) / 5 - air.dew_point_c(t, percent / 100, ATMOSPHERE))
            for t in range(41)
            for percent in range(lowest, 101)
        )
        assert worst == pytest.approx(expected, abs=0.15)


def test_printed_misprint_is_not_reproduced() -> None:
    """30 C and 65 % is 22.70 C; a widespread table prints 23.7."""
    assert air.dew_point_c(30.0, 0.65, ATMOSPHERE) == pytest.approx(22.70, abs=0.01)


@pytest.mark.parametrize(("spread_f", "printed"), [(5, (82, 86)), (15, (54, 62)), (20, (43, 51)), (25, (34, 42))])
def test_printed_bands_of_the_spread_fit(spread_f: float, printed: tuple[int, int]) -> None:
    """Trade table (NACE 6A192/SSPC-TR 3), steel at 40 to 90 F: its ends are met within 2 %RH."""
    found = humidity_at_steel(40, spread_f), humidity_at_steel(90, spread_f)
    assert found == pytest.approx(printed, abs=2.0)


def test_a_printed_band_that_is_wrong_is_not_reproduced() -> None:
    """For 10 F the same table prints 74 to 80 %; the physics gives 67 to 73 %."""
    assert humidity_at_steel(90, 10) < 74


@pytest.mark.parametrize(
    ("t_c", "percent", "steel_c", "dew_c", "margin_k", "at_steel"),
    [
        (20, 80, 18.0, 16.45, 1.55, 90.6),
        (20, 80, 19.5, 16.45, 3.05, 82.5),
        (30, 70, 26.5, 23.93, 2.57, 85.8),
        (10, 85, 9.0, 7.60, 1.40, 90.9),
    ],
)
def test_worked_margins(
    t_c: float, percent: float, steel_c: float, dew_c: float, margin_k: float, at_steel: float
) -> None:
    """Dew point and margin to 0.01 K and humidity at the steel to 0.1 % (Hardy 1998, computed)."""
    dew = air.dew_point_c(t_c, percent / 100, ATMOSPHERE)
    e_pa = air.vapour_pressure_pa(t_c, percent / 100, ATMOSPHERE)
    assert dew == pytest.approx(dew_c, abs=0.01)
    assert steel_c - dew == pytest.approx(margin_k, abs=0.01)
    assert 100 * air.relative_humidity(steel_c, e_pa, ATMOSPHERE) == pytest.approx(at_steel, abs=0.1)


# Psychrometers


def test_a_bulb_in_still_air_reads_damper_air() -> None:
    """Unventilated 20/15 C: 55.6 %, 3 % below the ventilated formula (common practice, no source)."""
    assert 100 * wet_bulb.psychrometer_rh(20.0, 15.0, ATMOSPHERE, ventilated=False) == pytest.approx(55.6, abs=0.1)


def test_fao_56_example_4() -> None:
    """25.6/19.5 C at 87.9 kPa: actual vapour pressure 1.91 kPa (from memory), within 1 %."""
    rh = wet_bulb.psychrometer_rh(25.6, 19.5, 87_900.0)
    assert air.vapour_pressure_pa(25.6, rh, 87_900.0) / 1e3 == pytest.approx(1.91, rel=0.01)


def test_ashrae_example_1() -> None:
    """Fundamentals 2017, chapter 1: 40 C, thermodynamic wet bulb 20 C, 101.325 kPa, read off the chart.

    W 0.0065, dew point 7 C, 14 %, h 56.7 kJ/kg, v 0.896 m3/kg. The dew point of the chart's own W is 7.6 C, so
    its 7 C is good to 0.6 K only.
    """
    e_pa = wet_bulb.vapour_pressure_from_wet_bulb_pa(40.0, 20.0, ATMOSPHERE)
    ratio = air.humidity_ratio(e_pa, ATMOSPHERE)
    assert ratio == pytest.approx(0.0065, rel=0.01)
    assert air.dew_point_from_vapour_pressure_c(e_pa, ATMOSPHERE) == pytest.approx(7.0, abs=0.6)
    assert 100 * air.relative_humidity(40.0, e_pa, ATMOSPHERE) == pytest.approx(14.0, abs=0.5)
    assert wet_bulb.enthalpy_j_per_kg(40.0, ratio) / 1e3 == pytest.approx(56.7, abs=0.3)
    assert wet_bulb.enthalpy_j_per_kg(40.0, 0.006452) / 1e3 == pytest.approx(56.86, abs=0.06)  # CoolProp's
    assert 1.0 / line.dry_air_kg_per_s(1.0, 40.0, e_pa, ATMOSPHERE) == pytest.approx(0.896, abs=0.001)


def ferrel_pa(t_f: float, wet_f: float, inches: float, ice: bool) -> float:
    """Ferrel's psychrometer equation with our vapour pressures: e' - 0.000367 p (t - t') (1 + (t' - 32)/1571)."""
    law = air.saturation_pressure_ice_pa if ice else air.saturation_pressure_water_pa
    fall = 0.000367 * inches * INCH_OF_MERCURY_PA * (t_f - wet_f)
    return law(celsius(wet_f)) - fall * (1.0 + (wet_f - 32.0) / 1571.0)


@pytest.mark.parametrize(
    ("t_f", "depression_f", "inches", "printed_f"),
    [
        (110, 49, 23, 22), (110, 50, 23, 17), (108, 49, 23, 14),
        (80, 32.5, 23, 6), (77, 32.5, 23, -15), (20, 6.2, 25, -12),
    ],
)  # fmt: skip
def test_us_weather_bureau_table(t_f: float, depression_f: float, inches: float, printed_f: float) -> None:
    """Psychrometric tables of the US Weather Bureau: within 3 F, since below 10 %RH 1 % of e is several F.

    Entries below freezing are frost points.
    """
    wet_f = t_f - depression_f
    e_pa = ferrel_pa(t_f, wet_f, inches, ice=wet_f < 32)
    point = air.frost_point_from_vapour_pressure_c(e_pa, inches * INCH_OF_MERCURY_PA)
    assert fahrenheit(point) == pytest.approx(printed_f, abs=3.0)


@pytest.mark.parametrize(("t_f", "depression_f"), [(110, 49), (110, 50), (108, 49), (80, 32.5), (77, 32.5)])
def test_our_psychrometer_is_within_half_a_per_cent_of_ferrel(t_f: float, depression_f: float) -> None:
    """The hardest rows of that table, 2 to 5 %RH, in humidity."""
    wet_f, p_pa = t_f - depression_f, 23 * INCH_OF_MERCURY_PA
    theirs = ferrel_pa(t_f, wet_f, 23, ice=False) / air.saturation_pressure_water_pa(celsius(t_f))
    ours = wet_bulb.psychrometer_rh(celsius(t_f), celsius(wet_f), p_pa)
    assert 100 * ours == pytest.approx(100 * theirs, abs=0.5)


@pytest.mark.parametrize(("t_f", "wet_f", "printed_f"), [(47, 44, 41), (61.5, 55.5, 51)])
def test_ward_1899(t_f: float, wet_f: float, printed_f: float) -> None:
    """Old tables above freezing at sea level, printed to 1 F."""
    rh = wet_bulb.psychrometer_rh(celsius(t_f), celsius(wet_f), ATMOSPHERE)
    assert fahrenheit(air.dew_point_c(celsius(t_f), rh, ATMOSPHERE)) == pytest.approx(printed_f, abs=0.5)


# Compressed air


@pytest.mark.parametrize(("inputs", "ideal", "tolerance"), rows("atmospheric_equivalent_charts", 11))
def test_charts_without_the_factor_are_a_quarter_kelvin_low(
    inputs: list[float], ideal: float, tolerance: float
) -> None:
    """A real point at the atmosphere is 0.2 to 0.4 K above what a chart of ideal gas prints."""
    real, _ = line.atmospheric_equivalent_c(*inputs, LINE, ATMOSPHERE)
    assert 0.2 < real - ideal < 0.4


@pytest.mark.parametrize(("t_c", "rh", "over_water"), [(25.0, 0.05, -17.27), (20.0, 0.02, -30.92)])
def test_humidity_in_the_line_over_water(t_c: float, rh: float, over_water: float) -> None:
    """The supercooled dew point is 2 to 3 K below the frost point that is reported; chart values, no factor."""
    assert air.dew_point_c(t_c, rh, LINE) == pytest.approx(over_water, abs=0.15)
    assert line.pressure_dew_point_c(t_c, rh, LINE)[0] > over_water + 1.5


def test_one_per_cent_of_humidity_is_several_kelvin_in_dry_air() -> None:
    """2 %RH at 20 C in the line: 1 % either way moves the frost point by 4 to 7 K."""
    low, middle, high = (line.pressure_dew_point_c(20.0, rh, LINE)[0] for rh in (0.01, 0.02, 0.03))
    assert middle - low == pytest.approx(6.6, abs=0.1)
    assert high - middle == pytest.approx(4.0, abs=0.1)


@pytest.mark.parametrize(
    ("liquid_g", "name"), [(0.0, "7"), (0.5, "7"), (0.51, "8"), (5.0, "8"), (5.1, "9"), (10.0, "9"), (10.1, "X")]
)
def test_liquid_classes(liquid_g: float, name: str) -> None:
    """ISO 8573-1:2010, table 2: classes 7, 8, 9 end at 0.5, 5, 10 g/m3, X is above."""
    found = line.modelled_liquid_class(liquid_g / 1e3, "7.0 bar(g)")
    assert found == f"modelled liquid class {name} at 7.0 bar(g)"


def test_vapour_of_class_4_exceeds_the_liquid_of_class_7() -> None:
    """+3 C at 8 bar carries 0.72 g/m3 of vapour: adding vapour to the liquid would spoil class 7 (0.5 g/m3)."""
    carried = line.moisture_kg_per_m3_at_reference(saturated_pa(3.0, 8e5), 8e5, "ISO 8573-1")
    assert carried > dict(line.LIQUID_CLASSES)[7]


@pytest.mark.parametrize(
    ("reference", "density"), [("ISO 8573-1", 1.18882), ("scf 68 °F", 1.20458), ("scf 60 °F", 1.22317)]
)
def test_dry_air_density_of_the_references(reference: str, density: float) -> None:
    """CoolProp's real air (computed), within 0.1 %: 1 bar 20 C, 1 atm 20 C, and 1 atm 15.56 C."""
    assert line.reference_dry_air_kg_per_m3(reference) == pytest.approx(density, rel=1e-3)


@pytest.mark.parametrize(("altitude_m", "expected"), [(1500, 84_556), (2000, 79_495)])
def test_standard_atmosphere_between_the_printed_heights(altitude_m: float, expected: float) -> None:
    """ASHRAE Fundamentals 2017, chapter 1, equation 3 (computed), within 1 Pa."""
    assert line.standard_atmosphere_pa(altitude_m) == pytest.approx(expected, abs=1)
