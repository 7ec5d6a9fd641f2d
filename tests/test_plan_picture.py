"""The picture of a plan: one scale, hatching, words for every colour, nothing drawn through words."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from gateway.__main__ import main
from gateway.plan import Need, Plan, run, without
from gateway.plan_file import load
from gateway.plan_picture import picture
from gateway.plan_units import UNITS

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
HOT = PLANS / "hot-humid.toml"
CLOSE = pytest.approx
TAG = "{http://www.w3.org/2000/svg}"


def plan(name: str = "hot-humid") -> Plan:
    return load((PLANS / f"{name}.toml").read_text(encoding="utf-8"))


def drawn(made: Plan, units: str = "si") -> ET.Element:
    return ET.fromstring(picture(made, run(made), UNITS[units]))  # noqa: S314  our own text


def lines(made: Plan, units: str = "si") -> list[str]:
    return [e.text or "" for e in drawn(made, units).iter(f"{TAG}text")]


def bars(made: Plan) -> dict[str, tuple[str, float, float]]:
    """Class, left and width of each bar of the picture, by its row's name."""
    root = drawn(made)
    names = [e.text for e in root.iter(f"{TAG}text") if e.get("class") == "name"][1:]
    rects = [(e.get("class", ""), float(e.get("x", 0)), float(e.get("width", 0))) for e in root.iter(f"{TAG}rect")]
    return dict(zip([str(name) for name in names], rects, strict=True))


def test_bars_follow_one_scale_and_wet_ones_are_hatched() -> None:
    """Widths stand as the gaps do; a wet pot is red and hatched, a cooler at its work grey and hatched."""
    found = bars(plan())
    gaps = {p.label: p.gap_k for p in run(plan()).passages if p.gap_k is not None}
    assert set(found) == set(gaps)
    per_k = found["aftercooler"][2] / abs(gaps["aftercooler"])
    for label, (_, __, width) in found.items():
        assert width == CLOSE(abs(gaps[label]) * per_k, abs=0.15)
    assert (found["aftercooler"][0], found["pot"][0]) == ("taken", "clear")
    assert bars(without(plan(), "salt dryer"))["pot"][0] == "wet"


def test_numbers_of_the_scale_stand_where_they_belong() -> None:
    """The wall of 35 °C lies half-way between the marks of 30 and 40; the marks of °F are round in °F."""
    root = drawn(plan())
    at = {e.text: float(e.get("x", 0)) for e in root.iter(f"{TAG}text") if (e.text or "").isdigit()}
    wall = next(float(e.get("x1", 0)) for e in root.iter(f"{TAG}line") if e.get("class") == "wall")
    assert wall == CLOSE((at["30"] + at["40"]) / 2, abs=0.1)
    assert [text for text in lines(plan(), "us") if text.isdigit()] == ["100", "120", "140", "160", "180"]
    assert "80 °F" in lines(plan(), "us")


def test_a_row_says_what_becomes_of_its_water() -> None:
    """Formed, drained, taken up, stays and carried on, as the table says it."""
    bare = lines(without(plan(), "salt dryer"))
    for words in (
        "9.42 l/h formed, 9.42 l/h carried on",
        "separator: 8.95 l/h drained, 0.45 l/h carried on",
        "0.52 l/h formed, 0.93 l/h drained, 0.05 l/h carried on",
        "0.21 l/h formed, 0.21 l/h stays",
    ):
        assert words in bare
    assert "salt dryer: 0.79 l/h taken up" in lines(plan())
    assert "2.49 gal/h formed, 2.49 gal/h carried on" in lines(plan(), "us")


@pytest.mark.parametrize("name", ["hot-humid", "freezing", "desert-day", "desert-night"])
@pytest.mark.parametrize("units", ["si", "us"])
def test_no_line_runs_through_words_and_no_words_over_words(name: str, units: str) -> None:
    """A line of words keeps 11 above its foot and 3 below it; marks and bars stay out of there."""
    root = drawn(plan(name), units)
    feet = sorted({float(e.get("y", 0)) for e in root.iter(f"{TAG}text")})
    assert all(b - a >= 14.0 for a, b in pairwise(feet))
    for line in (e for e in root.iter(f"{TAG}line") if e.get("class") in ("scale", "wall")):
        top, bottom = float(line.get("y1", 0)), float(line.get("y2", 0))
        assert not any(top < foot + 3.0 and bottom > foot - 11.0 for foot in feet)
    height = float(str(root.get("viewBox")).split()[3])
    assert feet[-1] < height


def test_long_words_are_broken() -> None:
    """A label of a hundred letters stays inside a phone's width."""
    long = replace(plan(), label="A bridge of our own " * 6)
    assert max(len(line) for line in lines(long)) <= 54


def test_what_is_not_known_is_dashed_and_said() -> None:
    """A salt fed above what was entered for it: no green, whatever the model says."""
    hot = plan("desert-day")
    found = bars(hot)
    assert (found["pot"][0], found["hose"][0]) == ("doubt", "doubt")
    assert "wall 5.2 K above the dew point, not known" in lines(hot)
    assert found["aftercooler"][0] == "cold"
    assert "wall 5.5 K below the dew point, none falls out" in lines(hot)


def test_liquid_carried_into_a_pot_with_a_warm_wall_is_not_green() -> None:
    """The wall is clear of the dew point and water still stays in the pot."""
    hot = plan()
    kept = tuple(r for r in hot.recipes if r.kind in ("aftercooler", "pot"))
    cool = tuple(replace(r, figures={**r.figures, "contact": 0.0}) if r.kind == "pot" else r for r in kept)
    warm = replace(hot.weather, pot_wall_below_air_k=-20.0)
    wet = replace(hot, recipes=cool, weather=warm, need=Need(3.0, "ours 4.2"))
    assert bars(wet)["pot"][0] == "wet"


def test_ice_and_frost_points_are_said() -> None:
    """Below freezing the point is a frost point and ice may block."""
    assert "wall 28.0 K below the dew point, ice may block" in lines(plan("freezing"))
    assert "frost point -9.5 °C, wall -5.0 °C" in lines(plan("freezing"))


def test_air_that_a_wet_pot_let_go_is_at_its_dew_point() -> None:
    """Not "0.0 above"."""
    assert "wall at the dew point" in lines(without(plan(), "salt dryer"))


def test_the_picture_says_what_it_is_and_escapes_labels() -> None:
    """A label cannot break out; the same plan gives the same picture."""
    hot = load(HOT.read_text(encoding="utf-8").replace('"wet tank"', '"tank <b>&"'))
    made = picture(hot, run(hot), UNITS["us"])
    assert "tank &lt;b&gt;&amp;" in made
    assert "<b>" not in made
    assert "Advisory only." in lines(hot)
    assert "simulated weather, modelled train" in lines(hot)
    assert "modelled, not measured" in lines(replace(hot, simulated=False))
    assert made == picture(hot, run(hot), UNITS["us"])


def test_the_committed_picture_is_that_of_the_shipped_plan(tmp_path: Path) -> None:
    """Drawn again by the command, it is the same text."""
    made = tmp_path / "made.svg"
    assert main(["plan", str(HOT), "--svg", str(made)]) == 0
    committed = PLANS.parent / "pictures" / "plan-hot-humid.svg"
    assert made.read_text(encoding="utf-8") == committed.read_text(encoding="utf-8")
    assert main(["plan", str(HOT), "--svg", str(made), "--hours", str(made)]) == 2
