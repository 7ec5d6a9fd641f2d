"""The water of a train: by mass against CoolProp, measured or modelled, never dry where it is not known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from alerts.measured import Measured, Validity, unknown
from gateway.jobsite import Piece
from gateway.web.water_values import Step, Water, water
from tests.sites import site

PA = 101_325.0
SAID = {
    "air-t": 30.0, "air-rh": 0.7, "baro": PA, "dryer-t": 35.0, "dryer-rh": 0.4, "line-p": 700_000.0,
    "pot-skin": 5.0,
}  # fmt: skip
FLOW = 10 / 60


def walked(stated: float = FLOW, **changes: float | None) -> Water:
    said: dict[str, float | None] = SAID | {name.replace("_", "-"): value for name, value in changes.items()}

    def read(name: str) -> Measured:
        value = said.get(name)
        return unknown(f"{name}: silent", 0) if value is None else Measured(value, None, 0, Validity.GOOD)

    one = site()
    return water(one, one.trains[0], read, stated)


def ratio(t_c: float, rh: float, p_pa: float) -> float:
    return float(HAPropsSI("W", "T", t_c + 273.15, "R", rh, "P", p_pa))


def test_litres_an_hour_are_those_of_coolprop() -> None:
    """Entering, left before the dryer's outlet, falling out at a cold pot: within 0.5 %."""
    found = walked()
    dry = FLOW / HAPropsSI("Vda", "T", 303.15, "R", 0.7, "P", PA)
    came, left = ratio(30.0, 0.7, PA), ratio(35.0, 0.4, 700_000.0 + PA)
    kept = ratio(5.0, 1.0, 700_000.0 + PA)
    intake, dryer, pot = found.steps
    assert found.entering_kg_per_h == pytest.approx(came * dry * 3600, rel=0.005)
    assert (intake.how, dryer.how, pot.how) == ("measured", "measured", "modelled")
    assert dryer.left_kg_per_h == pytest.approx((came - left) * dry * 3600, rel=0.005)
    assert pot.left_kg_per_h == pytest.approx((left - kept) * dry * 3600, rel=0.01)
    assert [each.vapour_g_per_kg for each in found.steps] == [
        pytest.approx(1000 * each, rel=0.005) for each in (came, left, kept)
    ]
    assert not found.flow_measured and found.flow_m3_per_s == pytest.approx(FLOW)


def test_a_warm_pot_gets_nothing_and_a_warm_flow_is_in_proportion() -> None:
    """Nothing falls out where the wall is above the dew point; twice the air is twice the water."""
    assert walked(pot_skin=30.0).steps[-1] == Step(
        "pot", "modelled", pytest.approx(walked().steps[1].vapour_g_per_kg), 0.0, "nothing falls out at this wall"
    )
    one, two = walked(), walked(2 * FLOW)
    assert two.steps[1].left_kg_per_h == pytest.approx(2 * (one.steps[1].left_kg_per_h or 0.0))


def test_what_is_not_known_is_said_and_never_dry() -> None:
    """Intake, outlet, wall: each alone; and a train that is not under pressure."""
    assert walked(air_rh=None).entering_kg_per_h is None
    assert walked(air_rh=None).steps == (Step("intake", "not known", None, None, "the air at deck is not known"),)
    outlet = walked(dryer_rh=None).steps[1]
    assert (outlet.how, outlet.left_kg_per_h) == ("not known", None)
    pot = walked(pot_skin=None).steps[-1]
    assert (pot.place, pot.how, pot.left_kg_per_h) == ("pot", "not known", None)
    assert [each.how for each in walked(line_p=1000.0).steps] == ["not running"]
    assert walked(line_p=None).steps[-1].how == "not known"


def test_saturated_air_may_carry_what_no_probe_sees_and_rising_vapour_is_odd() -> None:
    """Both are said in words, with the figure."""
    assert "liquid may go on" in walked(dryer_rh=1.0, dryer_t=20.0).steps[1].words
    odd = walked(dryer_rh=0.9, dryer_t=90.0).steps[1]
    assert "one of the two sensors is wrong" in odd.words and (odd.left_kg_per_h or 0.0) < 0.0


def test_a_flow_sensor_takes_the_place_of_what_is_stated() -> None:
    """The stated flow is then not used."""
    one = site()
    dryer, pot = one.trains[0].pieces
    flow = replace(one.sensors[0], id="flow", quantity="air_flow", unit="m3/min", basis="free air")
    fitted: Piece = replace(dryer, outlet=replace(dryer.outlet, flow="flow"))
    other = replace(one, sensors=(*one.sensors, flow), trains=(replace(one.trains[0], pieces=(fitted, pot)),))
    said = SAID | {"flow": 5 / 60}
    found = water(other, other.trains[0], lambda name: Measured(said[name], None, 0, Validity.GOOD), 99.0)
    assert found.flow_measured and found.flow_m3_per_s == pytest.approx(5 / 60)
    assert found.entering_kg_per_h == pytest.approx(walked(5 / 60).entering_kg_per_h or 0.0)
