"""`dewgate plan` as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gateway.__main__ import main

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
HOT = PLANS / "hot-humid.toml"


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


@pytest.mark.parametrize("name", ["hot-humid", "desert", "freezing"])
def test_every_shipped_plan_runs_in_both_units(capsys: pytest.CaptureFixture[str], name: str) -> None:
    """°F, psig and gallons a day in one, no °C left in it but ISO's own pressure."""
    us = said(capsys, str(PLANS / f"{name}.toml"), "--units", "us")
    assert "gal/day" in us
    assert "°C" not in us
    assert "l/h" in said(capsys, str(PLANS / f"{name}.toml"))


def test_with_and_without(capsys: pytest.CaptureFixture[str]) -> None:
    """The pot gets water without the salt dryer and none with it."""
    rows = {line[:28].strip(): line.split() for line in said(capsys, str(HOT)).splitlines() if "without " in line}
    assert float(rows["without salt dryer"][-6]) > 0.1
    assert float(rows["without wet tank"][-6]) == 0.0


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
