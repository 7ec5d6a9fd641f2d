"""The plan file: what it holds in the units used inside, and every mistake with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.plan import Assumption
from gateway.plan_file import load
from gateway.plan_reading import PlanErrors

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
GOOD = (PLANS / "hot-humid.toml").read_text(encoding="utf-8")
CLOSE = pytest.approx


def changed(old: str, new: str) -> str:
    """The good file with one thing changed."""
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_the_shipped_plans_are_read_in_the_units_used_inside() -> None:
    """35 °C, 80 %, 10 m; 375 cfm at 110 psig and 200 °F; a 3/8 in nozzle worn by 5 %."""
    plan = load(GOOD)
    assert (plan.label, plan.simulated) == ("Hot humid day", True)
    assert (plan.weather.air_temperature_c, plan.weather.rh) == (35.0, 0.8)
    assert plan.weather.station_pressure_pa == CLOSE(101_205.0, abs=1.0)
    assert plan.source.delivery_m3_per_s == CLOSE(0.176980, abs=1e-6)
    assert plan.source.line_gauge_pa == CLOSE(758_423.3, abs=0.1)
    assert plan.source.discharge_c == CLOSE(93.3333, abs=1e-3)
    (nozzle,) = plan.nozzles
    assert (nozzle.number, nozzle.wear_share) == (1, 0.05)
    assert nozzle.bore_m == CLOSE(9.525e-3)
    assert [load.label for load in plan.loads] == ["hoods"]
    assert [recipe.kind for recipe in plan.recipes] == [
        "aftercooler", "separator", "receiver", "coalescing filter",
        "deliquescent dryer", "regulator", "pot", "hose",
    ]  # fmt: skip
    assert plan.recipes[4].figures["equilibrium_rh"] == 0.5
    assert plan.need is None
    for other in ("desert-day.toml", "desert-night.toml", "freezing.toml"):
        assert load((PLANS / other).read_text(encoding="utf-8")).simulated


def test_what_is_not_stated_is_listed_with_its_why() -> None:
    """No silent default."""
    assumed = load(GOOD).assumed
    assert Assumption("wet tank", "contact {} (common practice, no source)", "share", 0.5, "contact") in assumed
    pot = "pot wall below air {} (ours: pot as warm as the air)"
    assert Assumption("weather", pot, "temperature difference", 0.0, "pot_wall_below_air") in assumed
    assert Assumption("hose", "wall as far below the air as the pot's (ours: under the same sky)") in assumed
    assert not any("efficiency" in each.what for each in assumed)  # stated for both separators


def test_other_ways_to_say_it() -> None:
    """Dew point for humidity, station pressure for altitude, a salt for its humidity, a computed discharge."""
    text = changed('relative_humidity = "80 %RH"', 'dew_point = "31.0 °C"')
    text = text.replace('altitude = "10 m"', 'station_pressure = "29.9 inHg"')
    text = text.replace('equilibrium_humidity = "50 %RH"', 'salt = "magnesium chloride"')
    text = text.replace('kind = "oil-flooded screw"', 'kind = "one-stage reciprocating"')
    text = text.replace('discharge_temperature = "200 °F"', 'isentropic_efficiency = "75 %"')
    plan = load(text)
    assert plan.weather.rh == CLOSE(0.7989, abs=1e-3)
    assert plan.weather.station_pressure_pa == CLOSE(101_253.0, abs=1.0)
    assert plan.recipes[4].figures["equilibrium_rh"] == CLOSE(0.316, abs=1e-3)
    assert (plan.source.discharge_c, plan.source.isentropic_efficiency) == (None, 0.75)


def test_a_need_has_its_clause() -> None:
    """The margin asked for and where that is written."""
    plan = load(GOOD + '\n[need]\npot_margin = "5 Δ°F"\nclause = "ours, 4.2"\n')
    assert plan.need is not None
    assert (plan.need.pot_margin_k, plan.need.clause) == (CLOSE(25 / 9), "ours, 4.2")


def test_a_bypass_holds_the_pieces_it_goes_around() -> None:
    """They follow it at once."""
    bypass = '[[piece]]\nkind = "bypass"\nopen = "10 %"\naround = ["salt dryer"]\n\n'
    at = GOOD.index('[[piece]]\nkind = "deliquescent dryer"')
    plan = load(GOOD[:at] + bypass + GOOD[at:])
    (found,) = [recipe for recipe in plan.recipes if recipe.kind == "bypass"]
    assert [inner.label for inner in found.around] == ["salt dryer"]
    assert found.figures["share"] == CLOSE(0.1)


@pytest.mark.parametrize(
    ("old", "new", "at", "says"),
    [
        ('"35 °C"', '"35"', "air_temperature", "a unit"),
        ('"35 °C"', '"35 K"', "air_temperature", "unknown unit 'K'"),
        ('"35 °C"', "35", "air_temperature", "write it as text with its unit"),
        ('"80 %RH"', '"180 %RH"', "relative_humidity", "between 0 % and 100 %"),
        ('"80 %RH"', '"0 %RH"', "[weather]", "relative humidity"),
        ('relative_humidity = "80 %RH"\n', "", "[weather]", "either relative_humidity or dew_point"),
        ('altitude = "10 m"\n', "", "[weather]", "either station_pressure or altitude"),
        ('"110 psig"', '"110 psi"', "pressure =", "unknown unit 'psi', did you mean 'psig'"),
        ('kind = "oil-flooded screw"', 'kind = "screw"', "kind =", "one of oil-flooded screw"),
        ('discharge_temperature = "200 °F"\n', "", "[compressor]", "the oil circuit sets it"),
        ('"3/8 in"', '"3/0 in"', "bore", "a fraction over nothing"),
        ('approach = "8 K"', 'aproach = "8 K"', "aproach", "'aproach' is not known here, did you mean 'approach'"),
        ('approach = "8 K"\n', "", '[[piece]]\nkind = "aftercooler"', "approach is missing"),
        ('kind = "receiver"', 'kind = "tank"', 'kind = "tank"', "kind 'tank' is not known here"),
        ('label = "wet tank"', 'label = "separator"', "[[piece]]", "two pieces are called 'separator'"),
        ('kind = "pot"', 'kind = "hood"', '[[piece]]\nkind = "hood"', "nothing about breathing air"),
        (
            'equilibrium_humidity = "50 %RH"\n',
            "",
            '[[piece]]\nkind = "deliquescent',
            "equilibrium_humidity or salt",
        ),
        (
            'equilibrium_humidity = "50 %RH"',
            'salt = "table salt"',
            "salt =",
            "salt 'table salt' is not known here",
        ),
        ('loss = "5 psi"\n', "", '[[piece]]\nkind = "hose"', "loss is missing"),
        ("[[hood]]", "[[hat]]", "[[hat]]", "table 'hat' is not known here"),
        ("[[nozzle]]", "[nozzle]", "[nozzle]", "'nozzle' is written [[nozzle]], once for each"),
        ("[[hood]]", "[hood]", "[hood]", "'hood' is written [[hood]]"),
        ("[weather]", "[[weather]]", "[[weather]]", "'weather' is written [weather], once"),
        (
            "simulated = true",
            "simulatd = true",
            "simulatd",
            "'simulatd' is not known here, did you mean 'simulated'",
        ),
        ("simulated = true", 'simulated = "yes"', "simulated =", "simulated is true or false"),
        ('altitude = "10 m"', 'altitude = "10 m"\npot_wall_below_air = "-2 K"', "pot_wall", "cannot be negative"),
        (
            '"200 °F"',
            '"200 °F"\nisentropic_efficiency = "75 %"',
            "isentropic",
            "does not belong to kind 'oil-flooded",
        ),
        ('wear = "5 %"', 'wear = "5 %"\nnumber = 0', "number", "a whole number from 1 to 100"),
        ('flow = "20 cfm"', 'flow = "-20 cfm"', "flow", "cannot be negative"),
    ],
)
def test_mistakes_have_their_line_and_what_to_write(old: str, new: str, at: str, says: str) -> None:
    """One mistake, one message."""
    text = changed(old, new)
    with pytest.raises(PlanErrors) as refused:
        load(text, "my.toml")
    message = str(refused.value)
    assert says in message
    assert f"my.toml:{line_of(text, at)}:" in message


def test_all_mistakes_are_told_at_once() -> None:
    """Two lines, two messages."""
    text = changed('"35 °C"', '"35 K"').replace('"110 psig"', '"110 psi"')
    with pytest.raises(PlanErrors) as refused:
        load(text)
    assert len(str(refused.value).splitlines()) == 2


def test_a_negative_need_is_refused() -> None:
    """A pot below its dew point cannot be what is asked for."""
    with pytest.raises(PlanErrors, match="cannot be negative"):
        load(GOOD + '\n[need]\npot_margin = "-5 K"\nclause = "ours"\n')


def test_a_discharge_does_not_belong_to_a_reciprocating_stage() -> None:
    """It is worked out there; one of the two figures would be dropped."""
    text = changed('kind = "oil-flooded screw"', 'kind = "one-stage reciprocating"')
    text = text.replace('"200 °F"', '"200 °F"\nisentropic_efficiency = "75 %"')
    with pytest.raises(
        PlanErrors, match="discharge_temperature does not belong to kind 'one-stage reciprocating'"
    ):
        load(text)


def test_a_bypass_around_nothing_and_a_broken_file_are_refused() -> None:
    """Words, not a traceback."""
    with pytest.raises(PlanErrors, match="right after it"):
        load(GOOD + '\n[[piece]]\nkind = "bypass"\nopen = "10 %"\naround = ["pot"]\n')
    with pytest.raises(PlanErrors, match="plan: "):
        load("[weather")
    with pytest.raises(PlanErrors, match=r"\[piece\] is missing"):
        load("[weather]\nair_temperature = '1 °C'\n")
    with pytest.raises(PlanErrors, match="clause is missing"):
        load(GOOD + '\n[need]\npot_margin = "3 K"\n')
