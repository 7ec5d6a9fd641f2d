"""`dewgate air` as a person runs it, against printed states and a second program."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest

from gateway.__main__ import main

CLOSE = pytest.approx


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """The JSON answer."""
    assert main(["air", *words, "--json"]) == 0
    made: dict[str, Any] = json.loads(capsys.readouterr().out)
    return made


def test_printed_example(capsys: pytest.CaptureFixture[str]) -> None:
    """ASHRAE Handbook Fundamentals 2017, chapter 1, example 1: 40 °C, wet bulb 20 °C, 101.325 kPa."""
    made = answer(capsys, "40C", "wb20C", "101.325kPa")
    assert made["humidity_ratio_kg_per_kg"] == CLOSE(0.0065, rel=0.01)
    assert made["dew_point_c"] == CLOSE(7.0, abs=0.6)  # its own W of 0.0065 has 7.5
    assert made["relative_humidity"] == CLOSE(0.14, abs=0.005)
    assert made["enthalpy_j_per_kg"] == CLOSE(56_700.0, abs=300.0)


def test_line_air(capsys: pytest.CaptureFixture[str]) -> None:
    """40 °C, 10 %RH at 8.01325 bar(a): 2.56 °C (Hardy 1998, over 0), let down -20.9 °C frost."""
    made = answer(capsys, "40C", "10%", "7bar(g)")
    assert made["pressure_pa"] == 801_325.0
    assert made["dew_point_c"] == CLOSE(2.559, abs=0.15)
    assert made["let_down_to_station_c"] == CLOSE(-20.86, abs=0.15)
    assert made["at_7_bar_gauge_c"] == CLOSE(made["dew_point_c"], abs=1e-6)
    assert made["indicated_humidity_class"] == "indicated humidity class 4 at 7.0 bar(g)"
    assert made["moisture_kg_per_m3_iso_8573_1"] == CLOSE(0.70e-3, abs=0.01e-3)


def test_the_class_is_told_at_7_bar_whatever_the_line(capsys: pytest.CaptureFixture[str]) -> None:
    """+3 °C measured at 6 bar(g) is +4.85 °C at 7 bar(g): class 5, not 4 (ISO 8573-1:2010)."""
    made = answer(capsys, "20C", "dp3C", "6bar(g)")
    assert made["at_7_bar_gauge_c"] == CLOSE(4.85, abs=0.05)
    assert made["indicated_humidity_class"] == "indicated humidity class 5 at 7.0 bar(g)"


def test_steel_in_the_open(capsys: pytest.CaptureFixture[str]) -> None:
    """30 °C, 70 %, steel 26.5 °C: margin 2.57 K and 85.8 %RH at the steel (worked with Hardy 1998)."""
    made = answer(capsys, "30C", "70%", "steel", "26.5C")
    assert made["dew_point_margin_k"] == CLOSE(2.57, abs=0.02)
    assert made["rh_at_steel"] == CLOSE(0.858, abs=0.001)
    assert made["steel_temperature_c"] == 26.5


def test_below_zero_both_points_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    """-5 °C, 80 %RH: dew point -7.911 and frost point -7.025 °C; over ice 84 %."""
    made = answer(capsys, "-5C", "80%")
    assert made["dew_point_c"] == CLOSE(-7.911, abs=0.1)
    assert made["frost_point_c"] == CLOSE(-7.025, abs=0.05)
    assert made["relative_humidity_ice"] == CLOSE(0.8 * 1.0499, abs=0.001)
    assert made["above_condensation_point_k"] == CLOSE(-5.0 - made["frost_point_c"])


def test_what_is_out_of_range_has_a_reason_and_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    """A wet bulb above 60 °C is not worked out."""
    made = answer(capsys, "90C", "60%")
    assert made["wet_bulb_c"] is None
    assert "wet bulb" in made["reasons"]["wet_bulb_c"]


def test_answers_come_in_the_units_typed(capsys: pytest.CaptureFixture[str]) -> None:
    """°F in, °F and Δ°F out, psig as psig; the caution stands last."""
    assert main(["air", "68F", "50%", "100psig"]) == 0
    said = capsys.readouterr().out
    assert "at 100 psig (7908.0 hPa absolute)" in said
    assert "pressure dew point                         48.64 °F" in said
    assert "19.36 Δ°F" in said
    assert " °C\n" not in said
    assert said.rstrip().splitlines()[-1].startswith("Advisory only")


def test_altitude_and_station(capsys: pytest.CaptureFixture[str]) -> None:
    """1500 m is 845.56 hPa in the standard atmosphere; a barometer in inches is one too."""
    assert answer(capsys, "20C", "50%", "--altitude", "1500m")["station_pressure_pa"] == CLOSE(84_556.0, abs=1.0)
    assert answer(capsys, "20C", "50%", "--station", "24.9inHg")["station_pressure_pa"] == CLOSE(84_321.0, abs=1.0)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["20C", "50%", "7bar"], "gauge or absolute"),
        (["20C", "50%", "--altitude", "high"], "--altitude high: a number with one of m, ft"),
        (["20C", "50%", "--station", "7psia"], "a barometer reads 500 to 1100 hPa"),
        (["20C", "50%", "--altitude", "9000m"], "altitude"),
        (["20C", "50%", "--altitude", "1m", "--station", "900hPa"], "leave one out"),
    ],
)
def test_refusals(capsys: pytest.CaptureFixture[str], words: list[str], says: str) -> None:
    """Exit code 2 and a sentence."""
    assert main(["air", *words]) == 2
    assert says in capsys.readouterr().err


def test_against_coolprop(capsys: pytest.CaptureFixture[str]) -> None:
    """The second program agrees where both speak of the same thing, also below 0 °C and in the line."""
    for words in (["30C", "60%"], ["-10C", "70%"], ["40C", "10%", "7bar(g)"]):
        made = answer(capsys, *words, "--against-coolprop")
        beside = made["coolprop"]
        assert len(beside) >= 4
        for key, value in beside.items():
            # Enthalpies are those of the ideal-gas formula; the rest is the fit.
            slack = {"enthalpy_j_per_kg": 2500.0, "wet_bulb_c": 0.06}.get(key, 3e-4 * abs(value) + 2e-3)
            out_of_range = key == "wet_bulb_c" and value < -10.0
            assert made[key] is None if out_of_range else made[key] == CLOSE(value, abs=slack), key


def test_a_missing_coolprop_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Not a traceback."""
    monkeypatch.setitem(sys.modules, "CoolProp.CoolProp", None)
    assert main(["air", "20C", "50%", "--against-coolprop"]) == 2
    assert "CoolProp is not installed" in capsys.readouterr().err


def test_the_command_loads_neither_numpy_nor_coolprop() -> None:
    """It must start at once."""
    script = (
        "import sys; from gateway.__main__ import main; main(['air', '-5C', '80%']); "
        "sys.exit(bool({'numpy', 'CoolProp', 'pydantic', 'fastapi'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert "frost point" in done.stdout


def test_the_gap_is_drawn_from_the_point_to_the_air(capsys: pytest.CaptureFixture[str]) -> None:
    """A longer bar is drier; the steel stands where its temperature is."""
    assert main(["air", "20C", "50%", "steel", "9.27C"]) == 0
    (drawn,) = [line for line in capsys.readouterr().out.splitlines() if "█" in line]
    cells = drawn.split()[1]
    assert len(cells) == 40
    assert cells.index("S") == cells.rindex("·", 0, 12) + 1
    assert drawn.endswith("S: steel")


def test_moist_air_and_the_edge_of_frost(capsys: pytest.CaptureFixture[str]) -> None:
    """95 % stays 95 %, its wet bulb near the air; at a dew point just above 0 °C nobody speaks of frost."""
    moist = answer(capsys, "20C", "95%")
    assert moist["relative_humidity"] == CLOSE(0.95, abs=1e-9)
    assert moist["wet_bulb_c"] == CLOSE(19.44, abs=0.03)  # CoolProp 8.0.0
    edge = answer(capsys, "0.2C", "dp0.1C")
    assert "frost_point_c" not in edge
    assert "relative_humidity_ice" not in edge


def test_options_may_stand_anywhere(capsys: pytest.CaptureFixture[str]) -> None:
    """Between the words, before them and after them: the same answer."""
    said = []
    for words in (["20C", "--altitude", "1600m", "50%"], ["--altitude", "1600m", "20C", "50%"]):
        assert main(["air", *words]) == 0
        said.append(capsys.readouterr().out)
    assert main(["air", "20C", "50%", "--altitude", "1600m"]) == 0
    assert said == [capsys.readouterr().out] * 2 and "835" in said[0]


def test_little_is_not_shown_as_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """Very dry air keeps three figures: 0.23 Pa at 8.01 bar are 0.29 ppm."""
    assert main(["air", "20C", "0.01%", "7barg"]) == 0
    said = capsys.readouterr().out
    assert "0.24 Pa" in said or "0.2 Pa" in said
    line = next(each for each in said.splitlines() if "water vapour by volume of dry air" in each)
    assert float(line.split()[-2]) == pytest.approx(0.3, abs=0.02)


def test_air_above_saturation_over_ice_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """At -5 C saturated over water is more than saturated over ice."""
    assert main(["air", "-5C", "100%"]) == 0
    assert "more than saturated: the air is above it by -0.5" in capsys.readouterr().out
