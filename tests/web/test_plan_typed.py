"""The sliders say a plan file that the plan's own reader takes, at every end of every slider."""

from __future__ import annotations

import pytest

from gateway.plan_file import load
from gateway.web.plan_page import answer
from gateway.web.plan_typed import DRYERS, SLIDERS, SWITCHES, plan_text, typed
from gateway.web.taste import Taste

HOT = "Water falls out in"
SI, US = Taste(), Taste("en", "°F", "psi", "cfm", "gal")


@pytest.mark.parametrize("units", [SI, US, Taste("es", "°C", "psi", "cfm", "L")])
@pytest.mark.parametrize("dryer", DRYERS)
def test_the_beginning_is_a_plan_with_every_dryer(units: Taste, dryer: str) -> None:
    """Words and picture; the chosen dryer is in the train, the others are not."""
    said = typed({"dryer": dryer}, units)
    kinds = [recipe.kind for recipe in load(plan_text(said)).recipes]
    assert kinds == [
        "aftercooler", "separator", "receiver", "coalescing filter", *([dryer] if dryer != "none" else []),
        "regulator", "pot", "hose",
    ]  # fmt: skip
    found = answer(said)
    assert found.sentence.startswith(HOT) and "<svg" in found.svg and found.sentence[:40] in found.words


@pytest.mark.parametrize("units", [SI, US, Taste("es", "°C", "psi", "cfm", "L")])
def test_every_end_of_every_slider_is_answered(units: Taste) -> None:
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
    said = typed({"air": "warm", "rh": "nan", "wear": "900", "dryer": "hope", "altitude": "-5"}, SI)
    assert (said.figures["air"], said.figures["rh"]) == (35.0, 80.0)
    assert (said.figures["wear"], said.figures["altitude"], said.dryer) == (40.0, 0.0, "deliquescent dryer")


def test_a_piece_that_is_switched_off_is_left_out() -> None:
    """A form sends only what is on; an address without a form has all."""
    assert typed({}, SI).pieces == frozenset(SWITCHES)
    said = typed({"set": "1", "aftercooler": "on", "dryer": "none", "hoods": "0"}, SI)
    plan = load(plan_text(said))
    assert [recipe.kind for recipe in plan.recipes] == ["aftercooler", "pot", "hose"]
    assert plan.loads == ()


def test_a_train_without_treatment_wets_the_pot_and_a_desert_does_not() -> None:
    """The same physics as `dewgate plan`: hot humid air with nothing but the pot, and 40 °C at 5 %RH."""
    bare = {"set": "1", "dryer": "none"}
    assert "pot" in answer(typed(bare, SI)).sentence.partition("Pot and hose")[0]
    dry = answer(typed(bare | {"air": "40", "rh": "5"}, SI)).sentence
    assert dry.startswith("By this model no water falls out anywhere")


def test_what_cannot_be_worked_out_is_said_in_the_reader_s_units() -> None:
    """Saturated air of 50 °C at 14 bar and 120 °C: a dew point beyond the physics."""
    hot = {"air": "50", "rh": "100", "line_p": "14", "discharge": "120"}
    found = answer(typed(hot, SI))
    assert found.svg == "" and found.sentence == "Not worked out: dew point (°C) is 116.4, allowed is -100 to 100"
    hot |= {"air": "120", "line_p": "200", "discharge": "250"}
    assert answer(typed(hot, US)).sentence.startswith("Not worked out: dew point (°F) is 237")


def test_every_figure_is_in_the_unit_its_reader_chose() -> None:
    """Celsius with psi, cfm and gallons: each slider, and each figure of the answer."""
    mixed = Taste("en", "°C", "psi", "cfm", "gal")
    ends = {each.name: each.range(mixed).unit for each in SLIDERS}
    assert (ends["air"], ends["line_p"], ends["fad"], ends["hose_loss"], ends["bore"]) == (
        "°C", "psig", "cfm", "psi", "mm",
    )  # fmt: skip
    words = answer(typed({}, mixed)).words.replace("(dry, 68 °F", "")  # what a standard cubic foot refers to
    assert all(unit in words for unit in (" °C", " psig", " scfm", " gal/h"))
    assert not any(unit in words for unit in ("°F", "bar(g)", "m³/min", " l/h", " L/h"))
