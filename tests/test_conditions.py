"""Conditions: margins of steel and of the air train, what stays unknown and why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from CoolProp.CoolProp import HAPropsSI

from alerts.measured import Measured, Quantity, Validity, unknown
from gateway.conditions import Conditions, conditions, is_running
from gateway.jobsite import Piece
from gateway.water_path import Place, condensation_margin_k
from tests.sites import site

SAY = {
    "air-t": (30.0, 0.3), "air-rh": (0.70, 0.02), "baro": (101_325.0, 100.0), "steel": (26.5, 0.5),
    "dryer-t": (40.0, 0.3), "dryer-rh": (0.50, 0.02), "line-p": (698_675.0, 5000.0), "pot-skin": (30.0, 0.5),
}  # fmt: skip


def at(changes: dict[str, object] | None = None) -> Conditions:
    """Return the conditions with every sensor at its plain value but these."""

    def read(name: str) -> Measured:
        changed = (changes or {}).get(name, SAY[name])
        if changed is None:
            return unknown(f"{name}: silent", 0)
        if isinstance(changed, Measured):
            return changed
        value, half_width = changed  # type: ignore[misc]
        return Measured(value, half_width / 3**0.5, 0, Validity.GOOD)

    return conditions(site(), read)


def margin(changes: dict[str, object] | None = None) -> Measured:
    return at(changes)["A", Quantity.DEW_POINT_MARGIN][0].measured


def pot(changes: dict[str, object] | None = None) -> Measured:
    return at(changes)["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured


def test_the_steel_margin_is_the_published_one() -> None:
    """Air 30 °C/70 %, steel 26.5: dew point 23.93, margin 2.57, RH at the steel 85.8 % (Hardy 1998, computed)."""
    assert margin().value == pytest.approx(2.57, abs=0.01)
    assert at()["A", Quantity.RH_AT_STEEL][0].measured.value == pytest.approx(0.858, abs=0.001)


def test_below_zero_the_frost_point_decides() -> None:
    """At 5 °C/50 % the frost point -4.03 is higher than the dew point -4.55 and is the one used."""
    found = at({"air-t": (5.0, 0.3), "air-rh": (0.5, 0.02), "steel": (0.0, 0.5)})
    (condition,) = found["A", Quantity.DEW_POINT_MARGIN]
    assert condition.frost
    assert condition.measured.value == pytest.approx(4.03, abs=0.01)


@pytest.mark.parametrize("missing", ["air-t", "air-rh", "baro", "steel"])
def test_one_missing_input_makes_the_margin_unknown_with_its_name(missing: str) -> None:
    """No data in, no value out, and the reason says which sensor."""
    said = margin({missing: None})
    assert said.value is None
    assert missing in said.reason


def test_an_accuracy_not_stated_is_never_zero() -> None:
    """One sensor without a stated accuracy: the value stands, its uncertainty is not stated."""
    bare = Measured(26.5, None, 0, Validity.GOOD)
    assert margin({"steel": bare}).value == pytest.approx(2.57, abs=0.01)
    assert margin({"steel": bare}).u is None


def test_saturated_air_is_judged_wet() -> None:
    """A saturated humidity counts as 100 %: steel at air temperature has no margin, and the flag stays."""
    said = margin({"air-rh": Measured(1.0, 0.01, 0, Validity.SATURATED, "saturated"), "steel": (30.0, 0.5)})
    assert said.value == pytest.approx(0.0, abs=0.01)
    assert said.validity is Validity.SATURATED


def test_pressure_dew_point_at_the_line_is_coolprops() -> None:
    """8 bar(a), 40 °C, 50 %RH: within 5 mK of CoolProp at that pressure."""
    (condition,) = at()["T1/dryer", Quantity.PRESSURE_DEW_POINT]
    judge = HAPropsSI("D", "T", 313.15, "R", 0.5, "P", 800_000.0) - 273.15
    assert condition.measured.value == pytest.approx(judge, abs=0.005)


def test_the_pots_margin_uses_its_own_wall_and_pressure() -> None:
    """Saturated at 35 °C, 8 bar(a) the dew point is 30.0 °C at 6 and 26.9 at 5 bar(a)."""
    e = HAPropsSI("P_w", "T", 308.15, "R", 1.0, "P", 800_000.0)
    for pressure_pa, point_c in ((600_000.0, 30.0), (500_000.0, 26.9)):
        assert condensation_margin_k(e, 800_000.0, [Place("pot", 30.0, pressure_pa)]) == pytest.approx(
            30.0 - point_c, abs=0.06
        )
    assert pot({"pot-skin": (20.0, 0.5)}).value == pytest.approx((pot().value or 0) - 10.0, abs=1e-3)


def test_the_pots_margin_is_its_wall_minus_coolprops_dew_point() -> None:
    """At the dryer's own 8 bar(a) the pot's dew point is the pressure dew point: gauge made absolute, once."""
    judge = HAPropsSI("D", "T", 313.15, "R", 0.5, "P", 800_000.0) - 273.15
    assert pot().value == pytest.approx(30.0 - judge, abs=0.005)


def test_a_wall_meets_only_the_vapour_that_reaches_it() -> None:
    """The receiver's wet air ends at the dryer, where the vapour is measured anew: the pot is not its wall."""
    plain = site()
    (train,) = plain.trains
    receiver = Piece("receiver", "receiver", "receiver", train.pieces[0].outlet, wall="steel")
    wet = replace(plain, trains=(replace(train, pieces=(receiver, *train.pieces)),))
    say = {**SAY, "steel": (40.0, 0.5), "pot-skin": (5.0, 0.5)}
    found = conditions(wet, lambda name: Measured(say[name][0], 0.1, 0, Validity.GOOD))
    (at_receiver,) = found["T1/receiver", Quantity.CONDENSATION_MARGIN]
    assert at_receiver.measured.value is not None and at_receiver.measured.value > 0
    (at_pot,) = found["T1/pot", Quantity.CONDENSATION_MARGIN]
    assert at_pot.measured.value is not None and at_pot.measured.value < 0


def test_a_train_without_a_known_pressure_is_not_called_stopped() -> None:
    """Running is known only from a pressure: vented, running, or not known."""
    (train,) = site().trains
    for pressure, running in ((698_675.0, True), (5_000.0, False), (None, None)):
        reading = unknown("silent", 0) if pressure is None else Measured(pressure, 1.0, 0, Validity.GOOD)
        assert is_running(train, lambda _, said=reading: said) is running  # type: ignore[misc]


def test_outside_the_range_of_the_physics_is_unknown_with_the_reason() -> None:
    """A pressure the physics does not cover gives no number."""
    said = pot({"line-p": (5e6, 5000.0)})
    assert said.value is None
    assert "range" in said.reason
