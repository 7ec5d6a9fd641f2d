"""A year of weather through a simple train, worked a second time with a few lines of physics of the test's own.

Nothing of the gateway's physics is used: saturation by the Magnus formula (WMO-No. 8, Annex 4.B: 6.112 hPa, 17.62
and 243.12 °C over water, 22.46 and 272.62 °C over ice), ideal gas, a choked nozzle of an ideal gas with gamma 1.4
at 0.81 of its flow (the middle of the trade's nozzle chart, 0.77 to 0.85), and the water that each piece's air
cannot hold. The pot is as warm as the air by day and 6 K colder at night.

The Magnus formula lacks the enhancement of vapour in compressed air, about 3 % at 8 bar (Hardy 1998). It raises
what tank and pot can hold nearly alike, so gaps agree within 0.15 K; water in the pot, a small difference of the
two, within 2 % of the vapour that passes in each hour and 6 % over the year.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from importlib.util import find_spec
from math import exp, pi, sqrt
from pathlib import Path

import pytest

from gateway.plan import Plan
from gateway.plan_file import load
from gateway.plan_hours import Outcome, Year, work_out
from gateway.plan_weather import read

PLAN = """
[plan]
label = "A year by hand"
simulated = true
[weather]
air_temperature = "20 °C"
relative_humidity = "50 %RH"
station_pressure = "1013 hPa"
pot_wall_below_air = "0 K"
[compressor]
kind = "oil-flooded screw"
free_air_delivery = "600 cfm"
pressure = "110 psig"
discharge_temperature = "200 °F"
[[nozzle]]
bore = "3/8 in"
pressure = "75 psig"
[[piece]]
kind = "aftercooler"
approach = "8 K"
loss = "0 bar"
[[piece]]
kind = "separator"
efficiency = "90 %"
loss = "0 bar"
[[piece]]
kind = "receiver"
contact = "80 %"
drained = "95 %"
[[piece]]
kind = "regulator"
outlet_pressure = "80 psig"
[[piece]]
kind = "pot"
contact = "100 %"
loss = "0 bar"
"""
PSI, APPROACH_K, SEPARATED, CONTACT, DRAINED = 6894.757, 8.0, 0.90, 0.80, 0.95
NIGHT_K = 6.0


@dataclass(frozen=True)
class ByHand:
    """One hour worked by hand [kg/h, K]: water formed by label, water left in the pot, gap of its wall, vapour."""

    formed: dict[str, float]
    pot_kg_per_h: float
    gap_k: float
    vapour_at_pot_kg_per_h: float
    intake_kg_per_h: float


def saturation_pa(t_c: float) -> float:
    a, b = (22.46, 272.62) if t_c < 0.0 else (17.62, 243.12)
    return 611.2 * exp(a * t_c / (b + t_c))


def saturation_c(e_pa: float) -> float:
    """The temperature at which e_pa is saturation, by halving."""
    low, high = -90.0, 150.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if saturation_pa(middle) > e_pa else (middle, high)
    return low


def ratio(e_pa: float, p_pa: float) -> float:
    return 0.62198 * e_pa / (p_pa - e_pa)


def by_hand(t_c: float, rh: float, station_pa: float, pot_k: float) -> ByHand:
    line_pa, pot_pa, nozzle_pa = (psi * PSI + station_pa for psi in (110, 80, 75))
    choked = sqrt(1.4 / (287.05 * (t_c + 273.15))) * (2 / 2.4) ** 3
    dry_kg_per_h = 3600 * 0.81 * pi / 4 * 0.009525**2 * nozzle_pa * choked
    water = ratio(rh * 611.2 * exp(17.62 * t_c / (243.12 + t_c)), station_pa)  # RH is over water, also below 0 °C
    cooled_c = t_c + APPROACH_K
    tank_c, wall_c = cooled_c + CONTACT * (t_c - cooled_c), t_c - pot_k
    cooled = min(water, ratio(saturation_pa(cooled_c), line_pa))
    to_tank = cooled + (1 - SEPARATED) * (water - cooled)
    in_tank = min(to_tank, ratio(saturation_pa(tank_c), line_pa))
    # What the tank does not drain evaporates in the regulator: the air can hold more at less pressure.
    to_pot = in_tank + (1 - DRAINED) * (to_tank - in_tank)
    in_pot = min(to_pot, ratio(saturation_pa(wall_c), pot_pa))
    gap_k = wall_c - saturation_c(to_pot * pot_pa / (0.62198 + to_pot))
    shares = (water - cooled, cooled - in_tank, to_pot - in_pot, to_pot, water)
    cooler, tank, pot, vapour, intake = (dry_kg_per_h * share for share in shares)
    return ByHand({"aftercooler": cooler, "receiver": tank}, pot, gap_k, vapour, intake)


def weather_of_a_year() -> list[tuple[str, float, float, float, float]]:
    """Every nineteenth hour of TMY3 723170 (in pvlib): time, °C, rh, Pa, pot wall below the air."""
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    lines = (Path(spec.origin).parent / "data/723170TYA.CSV").read_text().splitlines()
    made = []
    for row in list(csv.DictReader(lines[1:]))[::19]:
        month, day, year = row["Date (MM/DD/YYYY)"].split("/")
        rh, hpa = float(row["RHum (%)"]) / 100, float(row["Pressure (mbar)"])
        time, pot_k = row["Time (HH:MM)"], NIGHT_K if not 7 <= int(row["Time (HH:MM)"][:2]) <= 19 else 0.0
        made.append((f"{year}-{month}-{day} {time}", float(row["Dry-bulb (C)"]), rh, 100 * hpa, pot_k))
    return made


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load(PLAN)


@pytest.fixture(scope="module")
def year(plan: Plan) -> Year:
    rows = "\n".join(f"{t},{c},{100 * rh:.0f},{pa / 100:.0f},{k}" for t, c, rh, pa, k in weather_of_a_year())
    text = f"time,air_temperature_C,relative_humidity_%,station_pressure_hPa,pot_wall_below_air_K\n{rows}\n"
    return work_out(plan, read(text, "year.csv"), lambda done, total: None)


@pytest.fixture(scope="module")
def pairs(year: Year) -> list[tuple[Outcome, ByHand]]:
    hands = [by_hand(*weather) for _, *weather in weather_of_a_year()]
    return list(zip(year.known, hands, strict=True))


def test_every_hour_of_the_year_is_there(pairs: list[tuple[Outcome, ByHand]]) -> None:
    """462 hours from well below freezing to above 30 °C, a good part of them wet and a good part dry."""
    temperatures = [o.hour.weather.air_temperature_c for o, _ in pairs if o.hour.weather]
    assert len(pairs) == 462
    assert min(temperatures) < -5.0
    assert max(temperatures) > 30.0
    assert 100 < sum(o.wet for o, _ in pairs) < 360


def test_water_in_the_pot_hour_by_hour(pairs: list[tuple[Outcome, ByHand]]) -> None:
    """Within 2 % of the vapour that reaches the pot, and 6 % of the year's sum."""
    for outcome, hand in pairs:
        assert outcome.water_kg_per_h == pytest.approx(
            hand.pot_kg_per_h, abs=0.02 * hand.vapour_at_pot_kg_per_h
        ), outcome.hour.time
    total = sum(o.water_kg_per_h or 0.0 for o, _ in pairs)
    assert total == pytest.approx(sum(hand.pot_kg_per_h for _, hand in pairs), rel=0.06)


def test_the_gap_of_the_pot_hour_by_hour(pairs: list[tuple[Outcome, ByHand]]) -> None:
    """Within 0.15 K."""
    for outcome, hand in pairs:
        assert outcome.margin_k == pytest.approx(hand.gap_k, abs=0.15), outcome.hour.time


def test_wet_and_dry_hours_are_the_same(pairs: list[tuple[Outcome, ByHand]]) -> None:
    """Wherever the gap by hand is farther from 0 than its tolerance."""
    clear = [(o, hand) for o, hand in pairs if abs(hand.gap_k) > 0.15]
    assert len(clear) > 450
    assert [o.wet for o, _ in clear] == [hand.gap_k < 0.0 for _, hand in clear]


def test_water_of_the_year_by_piece(year: Year, pairs: list[tuple[Outcome, ByHand]]) -> None:
    """Cooler and tank over all hours, within 0.5 % of the water drawn in."""
    drawn_in = sum(hand.intake_kg_per_h for _, hand in pairs)
    for label in ("aftercooler", "receiver"):
        by_hands = sum(max(hand.formed[label], 0.0) for _, hand in pairs)
        assert year.formed_kg[label] == pytest.approx(by_hands, abs=0.005 * drawn_in)
        assert by_hands > 0.03 * drawn_in


def test_the_check_would_see_a_fault(plan: Plan, pairs: list[tuple[Outcome, ByHand]]) -> None:
    """A receiver with three quarters of its contact would break the tolerance above."""
    hot = max(pairs, key=lambda pair: pair[1].pot_kg_per_h)
    weather = hot[0].hour.weather
    assert weather is not None
    tank = tuple(
        replace(r, figures={**r.figures, "contact": 0.6}) if r.kind == "receiver" else r for r in plan.recipes
    )
    changed = work_out(replace(plan, recipes=tank), [hot[0].hour], lambda done, total: None).known[0]
    assert abs((changed.water_kg_per_h or 0.0) - hot[1].pot_kg_per_h) > 0.02 * hot[1].vapour_at_pot_kg_per_h
