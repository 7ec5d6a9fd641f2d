"""Every figure a person reads of a plan is in the units chosen: remarks, assumptions, refusals."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gateway.plan import Plan, run, without
from gateway.plan_file import load
from gateway.plan_need import doubts
from gateway.plan_remarks import remarks
from gateway.plan_units import UNITS, restated
from gateway.plan_words import taken

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
SI, US = UNITS["si"], UNITS["us"]


def plan(name: str) -> Plan:
    return load((PLANS / f"{name}.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("scale", "inside", "says"),
    [
        ("temperature", 100.0, "212.0 °F"),
        ("difference", 5.0, "9.0 Δ°F"),
        ("gauge", 689_475.7, "100 psig"),
        ("pressure_drop", 68_947.57, "10.0 psi"),
        ("absolute", 101_325.0, "14.7 psi absolute"),
        ("station", 101_325.0, "29.92 inHg"),
        ("altitude", 304.8, "1000 ft"),
        ("water", 3.785412, "1.00 gal/h"),
        ("amount", 37.85412, "10 gal"),
        # 100 scfm of dry air at 14.696 psi and 68 °F: 2.8317 m³/min of 101,325 Pa / (287.05 x 293.15) kg/m³.
        ("flow", 2.831685 / 60.0 * 101_325.0 / (287.05 * 293.15), "100 scfm"),
    ],
)
def test_us_units_by_hand(scale: str, inside: float, says: str) -> None:
    """1 gal 3.785 l, 1 psi 6,894.757 Pa, 1 atm 29.92 inHg, 1 ft 0.3048 m."""
    assert getattr(US, scale)(inside) == says


def test_little_water_is_not_shown_as_none_nor_below_nothing() -> None:
    """0.002 l/h is not 0.00; a rounded negative zero has no sign."""
    assert SI.water.little(0.002) == "under 0.01 l/h"
    assert SI.water.little(0.006) == "0.01 l/h"
    assert SI.water.little(0.0) == "none"
    assert SI.water.number(-0.001) == "0.00"


def test_what_is_pointed_at_in_both_units() -> None:
    """Ice, liquid in the salt, a salt fed too hot, a train that ends low, a wall nobody stated."""
    freezing = plan("freezing")
    for remark in ("aftercooler: ice may block", "wet tank: ice may block"):
        assert remark in remarks(freezing, run(freezing), US)
    hot = plan("desert-day")
    fed = remarks(hot, run(hot), US)[0]
    assert fed.startswith("salt dryer is fed at 114.8 °F, above the 113.0 °F entered for it")
    assert remarks(hot, run(hot), SI)[0].startswith("salt dryer is fed at 46.0 °C, above the 45.0 °C")
    assert "at 9.3 Δ°F or more water falls out in it" in remarks(hot, run(hot), US)[-1]
    low = replace(
        hot,
        recipes=tuple(
            replace(r, figures={"outlet_gauge_pa": 5e5}) if r.kind == "regulator" else r for r in hot.recipes
        ),
    )
    assert remarks(low, run(low), US)[-1] == "the train ends at 66 psig, the nozzle was planned at 90 psig"
    assert remarks(low, run(low), SI)[-1] == "the train ends at 4.6 bar(g), the nozzle was planned at 6.2 bar(g)"


def test_drains_in_frost_and_water_in_the_oil_are_pointed_at() -> None:
    """Below freezing only; a discharge of 80 °C is 5.7 K above the 74.3 °C that its air has as dew point."""
    freezing = plan("freezing")
    frost = "separator, wet tank, coalescing filter: drains in air below 32.0 °F may freeze"
    assert any(remark.startswith(frost) for remark in remarks(freezing, run(freezing), US))
    hot = plan("hot-humid")
    assert not any("drains in air" in remark or "its oil" in remark for remark in remarks(hot, run(hot), SI))
    cool = replace(hot, source=replace(hot.source, discharge_c=80.0))
    (oil,) = (remark for remark in remarks(cool, run(cool), SI) if "its oil" in remark)
    assert oil.startswith("compressor: its discharge is 5.")
    assert "K above the dew point there; below 10.0 K (suggestion" in oil


def test_liquid_into_the_salt_is_pointed_at_in_both_units() -> None:
    """Nine litres, two and a half gallons an hour."""
    wet = plan("hot-humid")
    for label in ("separator", "wet tank", "coalescing filter"):
        wet = without(wet, label)
    said = {units: remarks(wet, run(wet), UNITS[units])[0] for units in UNITS}
    assert said["si"].startswith("salt dryer gets 9.42 l/h of liquid, which dissolves its salt")
    assert said["us"].startswith("salt dryer gets 2.49 gal/h of liquid")


def test_a_dryer_without_its_highest_inlet_is_not_taken_for_fit() -> None:
    """Nobody said what it can take: not known, and said."""
    text = (PLANS / "hot-humid.toml").read_text(encoding="utf-8").replace('highest_inlet = "45 °C"\n', "")
    silent = load(text)
    assert remarks(silent, run(silent), US)[0] == (
        "salt dryer is fed at 102.1 °F; whether it can take that is not known, its highest inlet is not stated"
    )


def test_no_wall_is_called_assumed_that_was_stated() -> None:
    """The desert night states it."""
    night = plan("desert-night")
    assert not any("taken as" in remark for remark in remarks(night, run(night), SI))


def test_assumptions_in_feet_psi_and_fahrenheit() -> None:
    """600 m is 1,969 ft; 0.1 bar is 1.5 psi; a salt's 40 °C is 104 °F."""
    text = (PLANS / "desert-day.toml").read_text(encoding="utf-8")
    text = text.replace('equilibrium_humidity = "50 %RH"', 'salt = "magnesium chloride"')
    said = [taken(each, US) for each in load(text).assumed]
    assert "station pressure of the standard atmosphere at 1969 ft" in said
    assert "loss 1.5 psi (common practice, no source)" in said
    assert "pot wall below air 0.0 Δ°F (ours: pot as warm as the air)" in said
    assert "31.6 %RH over its brine (Greenspan 1977, at 104.0 °F)" in said
    assert "loss 0.1 bar (common practice, no source)" in [taken(each, SI) for each in load(text).assumed]


@pytest.mark.parametrize(
    ("words", "us"),
    [
        ("total pressure (Pa) is 10100, allowed is 55000 to 1.6e+06",
         "total pressure (psi absolute) is 1.465, allowed is 7.977 to 232.1"),
        ("my.toml:3: temperature (C) is -101, allowed is -100 to 200",
         "my.toml:3: temperature (°F) is -149.8, allowed is -148 to 392"),
        ("approach of cooler 2 (K) is -5, allowed is 0 or more",
         "approach of cooler 2 (Δ°F) is -9, allowed is 0 or more"),
        ("pressure drop of pot (Pa) is 1e+06, allowed is 0 to 700000",
         "pressure drop of pot (psi) is 145, allowed is 0 to 101.5"),
        ("relative humidity (fraction) is 1.2, allowed is above 0, up to 1",
         "relative humidity (%) is 120, allowed is above 0, up to 100"),
        ("isentropic efficiency is 0.2, allowed is higher, for at most 627 C",
         "isentropic efficiency is 0.2, allowed is higher, for at most 1160.6 °F"),
        ("relative_humidity_% missing", "relative_humidity_% missing"),
    ],
)  # fmt: skip
def test_refusals_of_the_physics_in_us_units(words: str, us: str) -> None:
    """Value and range are both turned, names are not."""
    assert restated(words, US) == us


def test_a_bypass_that_is_all_open_leaves_its_pieces_unreached() -> None:
    """No figure is made up for them, and none is missing."""
    text = (PLANS / "desert-day.toml").read_text(encoding="utf-8")
    at = text.index('[[piece]]\nkind = "deliquescent dryer"')
    bypass = '[[piece]]\nkind = "bypass"\nopen = "100 %"\naround = ["salt dryer"]\n\n'
    past = load(text[:at] + bypass + text[at:])
    assert doubts(past, run(past)) == []
    assert not any("salt dryer" in remark for remark in remarks(past, run(past), SI))
    assert run(past).passages[-1].outlet == run(without(plan("desert-day"), "salt dryer")).passages[-1].outlet
