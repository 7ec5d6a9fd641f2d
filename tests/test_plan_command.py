"""`dewgate plan` as a person runs it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.__main__ import main
from gateway.plan import Need, Plan, without
from gateway.plan import run as walk_plan
from gateway.plan_file import load
from gateway.plan_need import meets_need, pot_margin_k, water_in_pot_and_hose_kg_per_h
from gateway.plan_units import UNITS
from gateway.plan_words import text

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
HOT = PLANS / "hot-humid.toml"
SHIPPED = ["hot-humid", "desert-day", "desert-night", "freezing"]
SI_ONLY = re.compile(r"°C|\bK\b|\bbar\b|hPa|\bPa\b|\bl/h|\bm\b|m³|\bl\b|\bC\b")


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["plan", *words]) == 0
    return capsys.readouterr().out


def test_words_come_first_and_the_caution_last(capsys: pytest.CaptureFixture[str]) -> None:
    """Where water falls out, in a sentence; what was assumed; advisory only."""
    lines = said(capsys, str(HOT)).splitlines()
    assert lines[0].startswith("Hot humid day (simulated): 35.0 °C, 80 %RH")
    assert lines[1].startswith("Water falls out in: aftercooler 9.4")
    assert "No limit set: the plan says where water falls out, not whether that is acceptable." in lines
    assert "Assumed, because it was not stated:" in lines
    assert lines[-1].startswith("Advisory only")
    assert max(len(line) for line in lines) <= 100


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_plan_runs_in_both_units(capsys: pytest.CaptureFixture[str], name: str) -> None:
    """°F, psig, gallons an hour, inHg and feet in one and no SI unit anywhere in it; the other way round too."""
    us = said(capsys, str(PLANS / f"{name}.toml"), "--units", "us")
    for unit in ("°F", "Δ°F", "psig", "psi ", "gal/h", "inHg", " ft"):
        assert unit in us
    assert SI_ONLY.findall(us) == []
    si = said(capsys, str(PLANS / f"{name}.toml"))
    assert re.findall(r"°F|psi|gal|inHg|\bft\b|cfm", si) == []


def test_with_and_without(capsys: pytest.CaptureFixture[str]) -> None:
    """The pot gets water without the salt dryer and none with it."""
    rows = {line[:28].strip(): line.split() for line in said(capsys, str(HOT)).splitlines() if "without " in line}
    assert float(rows["without salt dryer"][3]) > 0.1
    assert rows["without wet tank"][3] == "none"
    hot = load(HOT.read_text(encoding="utf-8"))
    bare = without(hot, "salt dryer")
    assert "Liquid into a dryer spoils" in text(hot, walk_plan(hot), UNITS["si"])
    assert "Liquid into a dryer spoils" not in text(bare, walk_plan(bare), UNITS["si"])


def test_json_has_units_in_its_keys_and_balances(capsys: pytest.CaptureFixture[str]) -> None:
    """A machine reads the same figures."""
    made = json.loads(said(capsys, str(HOT), "--json"))
    assert made["simulated"] is True
    assert made["need"] is None
    assert made["pot_margin_k"] == pytest.approx(5.7, abs=0.2)
    assert [piece["kind"] for piece in made["pieces"]][:2] == ["compressor", "aftercooler"]
    cooler = made["pieces"][1]
    assert cooler["gap_k"] == pytest.approx(cooler["wall_c"] - cooler["condensation_point_c"])
    assert {key for key in cooler if isinstance(cooler[key], float)} == {
        "inlet_c", "outlet_c", "inlet_pa", "outlet_pa", "condensation_point_c", "wall_c", "gap_k",
        "condensation_margin_k", "formed_kg_per_h", "drained_kg_per_h", "taken_kg_per_h", "carried_kg_per_h",
        "left_kg_per_h", "heat_w",
    }  # fmt: skip


def test_a_need_is_judged_by_its_clause(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Met and not met, modelled, with where it is written."""
    for margin, word in (("3 K", "met"), ("9 K", "not met")):
        file = tmp_path / "plan.toml"
        file.write_text(f'{HOT.read_text()}\n[need]\npot_margin = "{margin}"\nclause = "ours 4.2"\n')
        assert f"(ours 4.2): {word}, modelled." in said(capsys, str(file))


def test_refusals(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A wrong file, a missing file, a state outside the physics: code 2 and words."""
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(HOT.read_text().replace('"35 °C"', '"35 K"'))
    assert main(["plan", str(wrong)]) == 2
    assert "wrong.toml:7: weather: air_temperature" in capsys.readouterr().err
    assert main(["plan", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err
    wrong.write_text(HOT.read_text().replace('"110 psig"', '"300 psig"'))
    assert main(["plan", str(wrong)]) == 2
    assert "total pressure" in capsys.readouterr().err


def wet_pot_far_from_its_dew_point() -> Plan:
    """A pot 20 K warmer than the air: its wall is clear of the dew point while liquid is carried into it."""
    hot = load(HOT.read_text(encoding="utf-8"))
    pieces = tuple(r for r in hot.recipes if r.kind in ("aftercooler", "pot"))
    warm = replace(hot.weather, pot_wall_below_air_k=-20.0)
    return replace(hot, recipes=pieces, weather=warm, need=Need(3.0, "ours 4.2"))


def test_a_need_is_not_met_by_a_pot_that_gets_liquid() -> None:
    """However far the wall is from the dew point, water that is carried in is water in the pot."""
    wet = wet_pot_far_from_its_dew_point()
    cool = replace(wet, recipes=tuple(replace(r, figures={**r.figures, "contact": 0.0}) for r in wet.recipes))
    result = walk_plan(cool)
    margin = pot_margin_k(result)
    assert margin is not None
    assert margin > 3.0
    assert water_in_pot_and_hose_kg_per_h(result) > 1.0
    assert meets_need(cool, result) is False
    assert "not met, modelled; liquid is carried into pot or hose." in text(cool, result, UNITS["si"])


def test_a_need_without_a_pot_is_not_known() -> None:
    """Neither met nor "no limit set"."""
    hot = load(HOT.read_text(encoding="utf-8"))
    bare = replace(hot, need=Need(3.0, "ours 4.2"), recipes=hot.recipes[:2])
    result = walk_plan(bare)
    assert meets_need(bare, result) is None
    assert "Pot margin of 3.0 K (ours 4.2): not known, the plan has no pot or hose." in text(
        bare, result, UNITS["si"]
    )


def test_no_liquid_class_where_no_liquid_is_modelled(capsys: pytest.CaptureFixture[str]) -> None:
    """Class 7 begins at 0, which would read as if there were some."""
    assert "no liquid modelled" in " ".join(said(capsys, str(HOT)).split())


def test_what_is_not_known_is_not_called_dry(capsys: pytest.CaptureFixture[str]) -> None:
    """A salt above its highest inlet: the sentence, the need and every row with and without say so."""
    words = " ".join(said(capsys, str(PLANS / "desert-day.toml")).split())
    assert "Pot and hose: not known, since salt dryer is fed at 46.0 °C, above the 45.0 °C entered for" in words
    assert "None falls out in pot and hose" not in words
    assert "all pieces not known not known" in words
    assert "without separator not known not known" in words
    assert "without aftercooler 0.4" in words
    made = json.loads(said(capsys, str(PLANS / "desert-day.toml"), "--json"))
    (doubt,) = made["doubts"]
    assert doubt.startswith("salt dryer is fed at 4")
    day = replace(load((PLANS / "desert-day.toml").read_text(encoding="utf-8")), need=Need(3.0, "ours 4.2"))
    assert "(ours 4.2): not known, see above." in text(day, walk_plan(day), UNITS["si"])


def test_too_little_air_is_said_and_not_called_dry() -> None:
    """340 scfm for two nozzles of 186 and a hood of 18: the pressure falls to where nobody worked out."""
    hot = load(HOT.read_text(encoding="utf-8"))
    two = replace(hot, nozzles=hot.nozzles * 2)
    words = " ".join(text(two, walk_plan(two), UNITS["us"]).split())
    assert "The compressor is short by 13 %: the pressure at the nozzle will fall." in words
    assert "so it does not hold as it stands." in words
    assert "Air wanted: 39" in words
    assert "None falls out in pot and hose" not in words


def test_a_train_without_a_pot_does_not_speak_of_one() -> None:
    """What leaves the train, and what reaches the steel is not known."""
    hot = load(HOT.read_text(encoding="utf-8"))
    bare = replace(hot, recipes=hot.recipes[:3])
    words = " ".join(text(bare, walk_plan(bare), UNITS["si"]).split())
    assert "What leaves the train: air of" in words
    assert "What reaches the pot" not in words
    assert "The plan has no pot or hose: what reaches the steel is not known." in words


def test_the_points_below_freezing_are_frost_points(capsys: pytest.CaptureFixture[str]) -> None:
    """In the sentence, and explained under the table; what evaporates again is explained too."""
    words = " ".join(said(capsys, str(PLANS / "freezing.toml"), "--units", "us").split())
    assert "8.1 Δ°F above the frost point of what reaches it" in words
    assert "<0.01" in words
    assert "'ice': a frost point, below 32 °F the higher of the two." in words
    hot = said(capsys, str(HOT))
    assert "Formed below 0: liquid that evaporates again." in hot
    assert "'ice'" not in hot
    assert "Modelled for a steady hour, every piece working as entered." in hot


def test_refusals_are_in_the_units_chosen(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A line pressure beyond the physics, in psi and in bar."""
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(HOT.read_text().replace('"110 psig"', '"300 psig"'))
    assert main(["plan", str(wrong), "--units", "us"]) == 2
    assert "total pressure (psi absolute) is 314.7, allowed is 7.977 to 232.1" in capsys.readouterr().err
    assert main(["plan", str(wrong)]) == 2
    assert "total pressure (bar absolute) is 21.7, allowed is 0.55 to 16" in capsys.readouterr().err


def test_a_wall_below_the_dew_point_is_never_said_to_get_nothing() -> None:
    """The air as a whole keeps its vapour, at the wall it does not; no amount is invented."""
    hot = load((PLANS / "hot-humid.toml").read_text(encoding="utf-8"), "hot-humid.toml")
    figures = {"pot": {"contact": 0.0}, "hose": {"contact": 0.0}}
    recipes = tuple(
        replace(each, figures={**each.figures, **figures.get(each.kind, {})})
        for each in hot.recipes
        if each.kind in ("aftercooler", "separator", "coalescing filter", "pot", "hose")
    )
    cold = replace(hot, recipes=recipes, weather=replace(hot.weather, pot_wall_below_air_k=1.0))
    said = " ".join(text(cold, walk_plan(cold), UNITS["si"]).split())
    assert "Pot and hose get none" not in said
    assert "Water falls out on the walls of pot or hose" in said and "how much is not modelled" in said
