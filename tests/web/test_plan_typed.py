"""The sliders say a plan file that the plan's own reader takes, at every end of every slider."""

from __future__ import annotations

import pytest

from gateway.plan_file import load
from gateway.web.plan_page import answer
from gateway.web.plan_typed import DRYERS, SLIDERS, SWITCHES, plan_text, typed

HOT = "Water falls out in"


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("dryer", DRYERS)
def test_the_beginning_is_a_plan_with_every_dryer(units: str, dryer: str) -> None:
    """Words and picture; the chosen dryer is in the train, the others are not."""
    said = typed({"dryer": dryer}, units)
    kinds = [recipe.kind for recipe in load(plan_text(said)).recipes]
    assert kinds == [
        "aftercooler", "separator", "receiver", "coalescing filter", *([dryer] if dryer != "none" else []),
        "regulator", "pot", "hose",
    ]  # fmt: skip
    found = answer(said)
    assert found.sentence.startswith(HOT) and "<svg" in found.svg and found.sentence[:40] in found.words


@pytest.mark.parametrize("units", ["si", "us"])
def test_every_end_of_every_slider_is_answered(units: str) -> None:
    """With a plan, or with why there is none; a slider's ends are read as they stand."""
    for slider in SLIDERS:
        allowed = slider.range(units)
        for value in (allowed.low, allowed.high):
            said = typed({slider.name: f"{value:g}"}, units)
            assert said.figures[slider.name] == pytest.approx(value)
            found = answer(said)
            assert found.svg or found.sentence.startswith("Not worked out: "), slider.name
            load(plan_text(said))


def test_what_an_address_gets_wrong_stands_where_it_begins() -> None:
    """Beyond its range, it stands at the end of it."""
    said = typed({"air": "warm", "rh": "nan", "wear": "900", "dryer": "hope", "altitude": "-5"}, "si")
    assert (said.figures["air"], said.figures["rh"]) == (35.0, 80.0)
    assert (said.figures["wear"], said.figures["altitude"], said.dryer) == (40.0, 0.0, "deliquescent dryer")


def test_a_piece_that_is_switched_off_is_left_out() -> None:
    """A form sends only what is on; an address without a form has all."""
    assert typed({}, "si").pieces == frozenset(SWITCHES)
    said = typed({"set": "1", "aftercooler": "on", "dryer": "none", "hoods": "0"}, "si")
    plan = load(plan_text(said))
    assert [recipe.kind for recipe in plan.recipes] == ["aftercooler", "pot", "hose"]
    assert plan.loads == ()


def test_a_train_without_treatment_wets_the_pot_and_a_desert_does_not() -> None:
    """The same physics as `dewgate plan`: hot humid air with nothing but the pot, and 40 °C at 5 %RH."""
    bare = {"set": "1", "dryer": "none"}
    assert "pot" in answer(typed(bare, "si")).sentence.partition("Pot and hose")[0]
    dry = answer(typed(bare | {"air": "40", "rh": "5"}, "si")).sentence
    assert dry.startswith("By this model no water falls out anywhere")


def test_what_cannot_be_worked_out_is_said_in_the_reader_s_units() -> None:
    """Saturated air of 50 °C at 14 bar and 120 °C: a dew point beyond the physics."""
    hot = {"air": "50", "rh": "100", "line_p": "14", "discharge": "120"}
    found = answer(typed(hot, "si"))
    assert found.svg == "" and found.sentence == "Not worked out: dew point (°C) is 116.4, allowed is -100 to 100"
    hot |= {"air": "120", "line_p": "200", "discharge": "250"}
    assert answer(typed(hot, "us")).sentence.startswith("Not worked out: dew point (°F) is 237")
