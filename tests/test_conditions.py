"""Conditions: margins of steel and of the air train, what stays unknown and why."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from CoolProp.CoolProp import HAPropsSI

from alerts.measured import Measured, Quantity, Validity, unknown
from gateway import psychrometrics
from gateway.conditions import Condition, Conditions, Workings, conditions
from gateway.jobsite import Area, Jobsite, Piece, Point, Sensor
from gateway.uncertainty import propagate
from gateway.water_path import Place, condensation_margin_k
from tests.bench.conditions import VALUES, a_jobsite
from tests.sites import sensor, site

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


def test_outside_the_range_of_the_physics_is_unknown_with_the_reason() -> None:
    """A pressure the physics does not cover gives no number."""
    said = pot({"line-p": (5e6, 5000.0)})
    assert said.value is None
    assert "range" in said.reason


def test_one_pressure_sensor_for_dryer_and_pot_is_counted_once() -> None:
    """The pot stands at the pressure its vapour was measured at: the sensor cancels but for the factor f.

    With a gauge good to 1 bar, u of the margin is that of temperature, humidity and wall within 2 %; taken twice
    as independent it would be half as large again.
    """
    coarse = pot({"line-p": (698_675.0, 100_000.0)})
    assert coarse.u is not None and coarse.u == pytest.approx(pot().u, rel=0.02)


def test_a_barometer_without_an_accuracy_reaches_every_value_of_the_line() -> None:
    """Gauge pressures stand on it: margin and pressure dew point are not stated either, their values stand."""
    bare = at({"baro": Measured(101_325.0, None, 0, Validity.GOOD)})
    for key in (("T1/pot", Quantity.CONDENSATION_MARGIN), ("T1/dryer", Quantity.PRESSURE_DEW_POINT)):
        assert bare[key][0].measured.u is None
        assert bare[key][0].measured.value == at()[key][0].measured.value


@pytest.mark.parametrize("missing", ["dryer-t", "dryer-rh", "line-p", "baro"])
def test_one_missing_input_makes_the_line_unknown_with_its_name(missing: str) -> None:
    """Pressure dew point and margin of the pot alike."""
    found = at({missing: None})
    for key in (("T1/dryer", Quantity.PRESSURE_DEW_POINT), ("T1/pot", Quantity.CONDENSATION_MARGIN)):
        assert found[key][0].measured.value is None
        assert found[key][0].measured.reason == f"{missing}: silent"


def test_two_pressure_sensors_keep_their_own_uncertainty() -> None:
    """The pot at a gauge of its own: the pressure's part is T_d's slope to ln e times u(p)/p, from both gauges."""
    plain = site()
    (train,) = plain.trains
    dryer, vessel = train.pieces
    own = replace(vessel, outlet=Point(pressure="pot-p"))
    two = replace(
        plain,
        trains=(replace(train, pieces=(dryer, own)),),
        sensors=(*plain.sensors, sensor("pot-p", Quantity.GAUGE_PRESSURE, "bar", 1e5, "gauge")),
    )

    def u_with(pascal: float) -> float:
        say = {**SAY, "line-p": (698_675.0, pascal), "pot-p": (698_675.0, pascal)}
        found = conditions(two, lambda name: Measured(say[name][0], say[name][1] / 3**0.5, 0, Validity.GOOD))
        return found["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured.u or 0.0

    apart = (u_with(100_000.0) ** 2 - u_with(1.0) ** 2) ** 0.5
    point, hotter = (HAPropsSI("D", "T", 313.15, "R", 0.5 * by, "P", 8e5) for by in (1.0, 1.01))
    per_ln = (hotter - point) / math.log(1.01)
    assert apart == pytest.approx(2**0.5 * per_ln * 100_000.0 / 3**0.5 / 8e5, rel=0.03)


def test_every_wall_ahead_counts_and_the_worst_speaks_for_each_piece() -> None:
    """Pot at 30, hose at 20 °C: the pot's margin is the hose's; the hose's own is the same number, not less."""
    plain = site()
    (train,) = plain.trains
    hose = Piece("hose", "hose", "hose", wall="steel")
    longer = replace(plain, trains=(replace(train, pieces=(*train.pieces, hose)),))
    say = {**SAY, "steel": (20.0, 0.5)}
    found = conditions(longer, lambda name: Measured(say[name][0], 0.1, 0, Validity.GOOD))
    at_dryer, at_pot, at_hose = (
        found[f"T1/{name}", Quantity.CONDENSATION_MARGIN][0] for name in ("dryer", "pot", "hose")
    )
    assert at_dryer.measured == at_pot.measured == at_hose.measured
    assert (at_dryer.temperature_c, at_pot.temperature_c, at_hose.temperature_c) == (None, 30.0, 20.0)
    assert at_pot.point_c == at_hose.point_c and at_dryer.point_c is None
    say["steel"] = (35.0, 0.5)
    found = conditions(longer, lambda name: Measured(say[name][0], 0.1, 0, Validity.GOOD))
    ahead = {name: found[f"T1/{name}", Quantity.CONDENSATION_MARGIN][0].measured.value for name in ("pot", "hose")}
    assert ahead["hose"] == pytest.approx((ahead["pot"] or 0) + 5.0, abs=1e-3)


def test_a_missing_wall_ahead_makes_the_margin_unknown_but_not_the_next() -> None:
    """What cannot be seen is unknown, not dry; behind it the hose is known again."""
    plain = site()
    (train,) = plain.trains
    hose = Piece("hose", "hose", "hose", wall="steel")
    longer = replace(plain, trains=(replace(train, pieces=(*train.pieces, hose)),))

    def read(name: str) -> Measured:
        return unknown("silent", 0) if name == "pot-skin" else Measured(SAY[name][0], 0.1, 0, Validity.GOOD)

    found = conditions(longer, read)
    assert found["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured == unknown("silent", 0)
    assert found["T1/hose", Quantity.CONDENSATION_MARGIN][0].measured.value is not None


def test_a_pressure_dew_point_of_very_dry_air_says_how_lopsided_it_is() -> None:
    """4 %RH of a sensor of ±2 % behind a dryer: the reason has both ends, u covers the farther one."""
    (condition,) = at({"dryer-rh": (0.04, 0.02)})["T1/dryer", Quantity.PRESSURE_DEW_POINT]
    said = condition.measured
    assert "uncertainty lopsided: condensation point " in said.reason
    assert said.u is not None and said.value is not None
    low = float(said.reason.split("condensation point ")[1].split(" to ")[0])
    assert said.value - 2 * said.u == pytest.approx(low, abs=0.06)


def test_every_margin_of_a_site_is_first_order_right() -> None:
    """Each margin and humidity at the steel of 40 sensors against the one formula with all its raw inputs."""
    made, say = a_jobsite(), {}
    for number, each in enumerate(made.sensors):
        say[each.id] = Measured(VALUES[each.quantity] * (1 + number / 10_000), each.u, 0, Validity.GOOD)
    found = conditions(made, say.__getitem__)

    def margin_of(ts: float, t: float, rh: float, p: float) -> float:
        return ts - psychrometrics.condensation_point_c(psychrometrics.vapour_pressure_pa(t, rh, p), p)[0]

    for number in range(4):
        for spot, condition in enumerate(found[f"A{number}", Quantity.DEW_POINT_MARGIN]):
            inputs = [say[n] for n in (f"steel{number}-{spot}", *(f"s{number}-{k}" for k in ("t", "rh", "p")))]
            values = [m.value or 0.0 for m in inputs]
            assert condition.measured.value == pytest.approx(margin_of(*values), abs=1e-4)
            assert condition.measured.u == pytest.approx(
                propagate(margin_of, values, [m.u for m in inputs]), abs=2e-4
            )


TRANSMITTER = replace(sensor("pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 2.0, "frost"), element="line")


def with_transmitter(point_c: float | None, basis: str = "frost", **changes: tuple[float, float]) -> Conditions:
    """The salt dryer's outlet with a dew-point transmitter instead of a humidity."""
    plain = site()
    (train,) = plain.trains
    dryer, pot_piece = train.pieces
    dryer = replace(dryer, outlet=Point("dryer-t", "", "line-p", "pdp"))
    fitted = replace(
        plain, sensors=(*plain.sensors, replace(TRANSMITTER, basis=basis)),
        trains=(replace(train, pieces=(dryer, pot_piece)),),
    )  # fmt: skip

    def read(name: str) -> Measured:
        if name == "pdp":
            return unknown("pdp: silent", 0) if point_c is None else Measured(point_c, 1.0, 0, Validity.GOOD)
        value, half_width = {**SAY, **changes}[name]
        return Measured(value, half_width / 3**0.5, 0, Validity.GOOD)

    return conditions(fitted, read)


def test_a_dew_point_transmitter_stands_for_the_vapour_of_its_line() -> None:
    """The same air by humidity and by its own dew point: the same points and margins downstream."""
    by_rh = at()
    (point,) = by_rh["T1/dryer", Quantity.PRESSURE_DEW_POINT]
    assert point.measured.value is not None
    found = with_transmitter(point.measured.value)
    (own,) = found["T1/dryer", Quantity.PRESSURE_DEW_POINT]
    assert own.measured.value == pytest.approx(point.measured.value, abs=0.002)
    assert own.measured.u == pytest.approx(1.0, rel=0.01)
    said = found["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert said.value == pytest.approx(pot().value, abs=0.003)
    # The pot's wall and the transmitter, by hand; pressure adds nothing where both stand at one gauge.
    assert said.u == pytest.approx(math.hypot(0.5 / 3**0.5, 1.0), rel=0.02)


def test_dew_and_frost_below_zero_are_not_the_same_vapour() -> None:
    """-20 °C over water is a frost point of -17.9 °C (Hardy 1998, computed): the margin is 2.1 K smaller."""
    frost = with_transmitter(-20.0)["T1/dryer", Quantity.PRESSURE_DEW_POINT][0].measured.value
    dew = with_transmitter(-20.0, "dew")["T1/dryer", Quantity.PRESSURE_DEW_POINT][0].measured.value
    assert frost == pytest.approx(-20.0, abs=0.002)
    assert dew == pytest.approx(-17.9, abs=0.15)


def test_a_silent_or_impossible_transmitter_leaves_the_train_unknown() -> None:
    """With its name, and with the physics' own words."""
    silent = with_transmitter(None)["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert silent.value is None and "pdp: silent" in silent.reason
    beyond = with_transmitter(-150.0)["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert beyond.value is None and "outside the range of the physics" in beyond.reason


def test_steel_minus_air_is_a_value_of_its_own_with_the_u_of_both() -> None:
    """Steel 15 °C in air of 20 °C: -5 K; two rectangles of 0.5 and 0.3 K, independent (JCGM 100:2008, 5.1.2)."""
    say = {**SAY, "steel": (15.0, 0.5), "air-t": (20.0, 0.3)}
    found = conditions(site(), lambda name: Measured(say[name][0], say[name][1] / 3**0.5, 0, Validity.GOOD))
    (at,) = found["A", Quantity.STEEL_MINUS_AIR]
    assert at.measured.value == -5.0
    assert at.measured.u == pytest.approx(math.hypot(0.5, 0.3) / 3**0.5, abs=5e-5)
    (silent,) = conditions(site(), lambda name: unknown(f"{name}: silent", 0))["A", Quantity.STEEL_MINUS_AIR]
    assert silent.measured.value is None and "silent" in silent.measured.reason


def test_pressures_behind_pieces_their_losses_and_the_choke_valve() -> None:
    """Receiver 7.0, pot 6.6, blast line 6.1 bar(g): 0.4 bar lost up to the pot, 0.5 bar over its choke valve."""
    pieces = (
        Piece("receiver", "receiver", "receiver", Point(pressure="line-p")),
        Piece("filter", "filter", "after-filter"),
        Piece("pot", "pot", "pot", Point(pressure="pot-p"), blast_line="blast-p"),
    )
    plain = site()
    gauges = tuple(replace(s, id=name) for s in plain.sensors if s.id == "line-p" for name in ("pot-p", "blast-p"))
    made = replace(plain, sensors=plain.sensors + gauges, trains=(replace(plain.trains[0], pieces=pieces),))
    bar = {"line-p": 7.0, "pot-p": 6.6, "blast-p": 6.1}

    def read(name: str) -> Measured:
        return Measured(bar[name] * 1e5 if name in bar else SAY[name][0], 100.0, 0, Validity.GOOD)

    found = conditions(made, read)

    def pa(piece: str, quantity: Quantity) -> float | None:
        (at,) = found[f"T1/{piece}", quantity]
        return at.measured.value

    assert pa("receiver", Quantity.GAUGE_PRESSURE) == 7e5
    assert pa("pot", Quantity.GAUGE_PRESSURE) == pytest.approx(6.6e5)
    assert pa("pot", Quantity.PRESSURE_LOSS) == pytest.approx(0.4e5)
    assert pa("pot", Quantity.POT_MINUS_LINE) == pytest.approx(0.5e5)
    assert ("T1/receiver", Quantity.PRESSURE_LOSS) not in found
    assert ("T1/filter", Quantity.GAUGE_PRESSURE) not in found
    assert found["T1/pot", Quantity.PRESSURE_LOSS][0].measured.u == pytest.approx(141.4, abs=0.1)


def fitted(pieces: tuple[Piece, ...], *more: Sensor, **say: tuple[float, float]) -> Conditions:
    """The test site with other pieces in its train, and sensors that say this."""
    plain = site()
    (train,) = plain.trains
    made = replace(plain, trains=(replace(train, pieces=pieces),), sensors=(*plain.sensors, *more))
    said = {**SAY, **say}
    return conditions(made, lambda name: Measured(said[name][0], said[name][1] / 3**0.5, 0, Validity.GOOD))


def test_a_wet_pot_is_not_dry_for_having_a_probe_of_its_own() -> None:
    """The pot's wall lies below the dew point that arrives: what leaves does not hide it."""
    (train,) = site().trains
    dryer, vessel = train.pieces
    sensors = (
        sensor("out-t", Quantity.GAS_TEMPERATURE, "Cel", 1.0, ""),
        sensor("out-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.01, ""),
    )
    say = {"pot-skin": (20.0, 0.3), "out-t": (20.0, 0.3), "out-rh": (0.99, 0.02)}
    own = replace(vessel, outlet=replace(vessel.outlet, temperature="out-t", relative_humidity="out-rh"))
    without = fitted((dryer, vessel), *sensors, **say)["T1/pot", Quantity.CONDENSATION_MARGIN][0]
    found = fitted((dryer, own), *sensors, **say)
    (margin,) = found["T1/pot", Quantity.CONDENSATION_MARGIN]
    assert without.measured.value is not None and without.measured.value < -5.0
    assert margin.measured.value == without.measured.value and margin.point_c == without.point_c
    assert found["T1/dryer", Quantity.CONDENSATION_MARGIN][0].measured.value == without.measured.value


def test_of_two_sources_of_vapour_the_wetter_is_believed() -> None:
    """A transmitter that says -40 C beside a humidity that makes some 30 C does not make a pot dry."""
    (train,) = site().trains
    dryer, vessel = train.pieces
    both = replace(dryer, outlet=replace(dryer.outlet, pressure_dew_point="pdp"))
    by_rh = at()["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    dry = fitted((both, vessel), TRANSMITTER, pdp=(-40.0, 1.0))["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert dry.value == pytest.approx(by_rh.value, abs=0.01)
    wetter = replace(TRANSMITTER, basis="dew")
    wet = fitted((both, vessel), wetter, pdp=(35.0, 1.0))["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert wet.value == pytest.approx(30.0 - 35.0, abs=0.2)


def test_of_two_sources_of_vapour_a_silent_one_is_not_believed() -> None:
    """The one that speaks stands for the vapour, whichever it is."""
    (train,) = site().trains
    dryer, vessel = train.pieces
    both = replace(dryer, outlet=replace(dryer.outlet, pressure_dew_point="pdp"))
    made = replace(site(), trains=(replace(train, pieces=(both, vessel)),), sensors=(*site().sensors, TRANSMITTER))
    said = {name: Measured(value, half / 3**0.5, 0, Validity.GOOD) for name, (value, half) in SAY.items()}
    said["pdp"] = unknown("pdp: silent", 0)
    by_rh = conditions(made, said.__getitem__)["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert by_rh.value is not None and by_rh == pot()
    said |= {"pdp": Measured(-40.0, 1.0, 0, Validity.GOOD), "dryer-rh": unknown("dryer-rh: silent", 0)}
    by_pdp = conditions(made, said.__getitem__)["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured
    assert by_pdp.value == pytest.approx(30.0 + 40.0, abs=0.01)


def test_behind_a_regulator_without_a_gauge_a_probe_says_nothing() -> None:
    """The gauge before it reads more than the probe stands in: its dew point would be too low by kelvins."""
    (train,) = site().trains
    dryer, vessel = train.pieces
    gauge = Piece("tank", "wet tank", "receiver", outlet=Point(pressure="line-p"))
    regulator = Piece("regulator", "regulator", "regulator")
    probe = replace(dryer, outlet=replace(dryer.outlet, pressure=""))
    found = fitted((gauge, regulator, probe, replace(vessel, outlet=Point())))
    assert not [key for key in found if key[1] in (Quantity.PRESSURE_DEW_POINT, Quantity.CONDENSATION_MARGIN)]
    before = fitted((gauge, probe, replace(vessel, outlet=Point())))
    assert before["T1/pot", Quantity.CONDENSATION_MARGIN][0].measured.value is not None


def made_by(name: str, **changes: object) -> list[tuple[str, Quantity]]:
    """The keys that are made again when one sensor of the test site says this after all have spoken."""
    said = {each: Measured(value, half / 3**0.5, 0, Validity.GOOD) for each, (value, half) in SAY.items()}
    made = Workings(site(), said.__getitem__)
    assert {key for key, _ in made.update(SAY)} == set(made.found)
    said[name] = replaced(said[name], changes)
    again = made.update([name])
    assert all(condition in made.found[key] for key, condition in again)
    assert strip(made.found) == strip(conditions(site(), said.__getitem__))
    return [key for key, _ in again]


def replaced(said: Measured, changes: dict[str, object]) -> Measured:
    return said._replace(**changes)  # type: ignore[arg-type]


def strip(found: Conditions) -> dict[tuple[str, Quantity], list[Condition]]:
    """Without since when."""
    return {key: [c._replace(measured=c.measured._replace(since_ms=0)) for c in at] for key, at in found.items()}


OF_STATION = ["dew_point_margin", "rh_at_steel"]
OF_TRAIN = ["pressure_dew_point", "condensation_margin", "condensation_margin"]


@pytest.mark.parametrize(
    ("name", "value", "made"),
    [
        ("steel", 25.0, [*OF_STATION, "steel_temperature", "steel_minus_air"]),
        ("air-t", 29.0, ["air_temperature", *OF_STATION, "steel_minus_air"]),
        ("air-rh", 0.69, ["relative_humidity", *OF_STATION]),
        ("baro", 100_000.0, ["dew_point_margin", "condensation_margin"]),  # the rest moves below 1e-4
        ("dryer-t", 41.0, OF_TRAIN), ("dryer-rh", 0.51, OF_TRAIN),
        ("line-p", 60_000.0, ["gauge_pressure", *OF_TRAIN]),
        ("pot-skin", 31.0, OF_TRAIN[1:]),
    ],
)  # fmt: skip
def test_only_what_a_sensor_is_part_of_is_made_again(name: str, value: float, made: list[str]) -> None:
    """In the order in which all are made, and as a site worked out from nothing has it."""
    assert [quantity.value for _, quantity in made_by(name, value=value, since_ms=9)] == made


def test_the_same_reading_again_makes_nothing_again() -> None:
    """And another flag, reason or accuracy makes what it made; what does not change by it is not told."""
    assert made_by("air-rh", since_ms=9) == []
    assert len(made_by("air-rh", reason="air-rh: check")) == 3
    assert len(made_by("air-rh", u=None)) == 3
    assert len(made_by("air-rh", value=1.0, validity=Validity.SATURATED, reason="saturated")) == 3


def a_whole_site() -> Jobsite:
    """The test site with wind, an area nothing measures, and a train of gauges, walls and two probes."""
    plain, sensors = site(), [sensor("wind", Quantity.WIND_SPEED, "m/s", 0.5, "mean")]
    pressures = ("tank-p", "pot-p", "blast-p")
    sensors += [sensor(name, Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge") for name in pressures]
    sensors += [sensor(name, Quantity.WALL_TEMPERATURE, "Cel", 0.5, "pipe skin") for name in ("skin-1", "skin-2")]
    sensors.append(sensor("out-t", Quantity.GAS_TEMPERATURE, "Cel", 0.3, "thermowell"))
    sensors.append(sensor("out-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"))
    pieces = (
        Piece("tank", "wet tank", "receiver", Point(pressure="tank-p"), "skin-1"),
        Piece("dryer", "dryer", "deliquescent dryer", Point("dryer-t", "dryer-rh", "line-p")),
        Piece("trap", "trap", "pot-inlet trap", wall="skin-2"),
        Piece("pot", "pot", "pot", Point("out-t", "out-rh", "pot-p"), "pot-skin", blast_line="blast-p"),
        Piece("hose", "hose", "hose", wall_station="deck"),
    )
    return replace(
        plain, sensors=(*plain.sensors, *sensors), trains=(replace(plain.trains[0], pieces=pieces),),
        stations=(replace(plain.stations[0], wind_speed="wind"),), areas=(*plain.areas, Area("B", "yard", (), ())),
    )  # fmt: skip


WHOLE = {
    **SAY, "wind": (4.0, 0.5), "tank-p": (7.2e5, 5e3), "pot-p": (6.5e5, 5e3), "blast-p": (6.2e5, 5e3),
    "skin-1": (35.0, 0.5), "skin-2": (28.0, 0.5), "out-t": (31.0, 0.3), "out-rh": (0.9, 0.02),
}  # fmt: skip
STEPS = (1.001, 0.97, None)


def whole(**changes: Measured) -> tuple[Workings, dict[str, Measured]]:
    said = {name: Measured(value, half / 3**0.5, 0, Validity.GOOD) for name, (value, half) in WHOLE.items()}
    said |= {name.replace("_", "-"): each for name, each in changes.items()}
    made = Workings(a_whole_site(), said.__getitem__)
    made.update(said)
    return made, said


def test_whatever_speaks_a_site_kept_up_to_date_is_as_one_made_from_nothing() -> None:
    """Sensor by sensor: a little more, clearly less, silent, and as before."""
    made, said = whole()
    assert len(made.found) == 7 + 2 + 12 and made.found["B", Quantity.AIR_TEMPERATURE] == []
    assert made.found["A", Quantity.WIND_SPEED][0].measured.value == 4.0
    for name, first in list(said.items()):
        for by in STEPS:
            said[name] = unknown(f"{name}: silent", 0) if by is None else first._replace(value=WHOLE[name][0] * by)
            made.update([name])
            assert strip(made.found) == strip(whole(**{name: said[name]})[0].found), (name, by)
        said[name] = first
        made.update([name])
    assert strip(made.found) == strip(whole()[0].found)


def test_the_ends_of_a_gap_are_those_of_the_worse_of_two_vapours() -> None:
    """Steel has both ends; a pot whose arriving air is not known shows no point, though its own probe speaks."""
    made, _ = whole()
    (steel,) = made.found["A", Quantity.DEW_POINT_MARGIN]
    assert steel.temperature_c == 26.5 and steel.point_c == pytest.approx(23.93, abs=0.01)
    (known,) = made.found["T1/pot", Quantity.CONDENSATION_MARGIN]
    assert known.point_c is not None and known.temperature_c == 30.0
    made, _ = whole(**{"dryer-rh": unknown("dryer-rh: silent", 0)})
    (blind,) = made.found["T1/pot", Quantity.CONDENSATION_MARGIN]
    assert blind.point_c is None and blind.measured.reason == "dryer-rh: silent"


def test_what_a_gauge_says_is_told_once() -> None:
    """The pot without a gauge of its own stands at the dryer's: one sensor, one reason."""
    said = pot({"line-p": Measured(698_675.0, 5000.0, 0, Validity.GOOD, "line-p: jumped")})
    assert said.reason == "line-p: jumped"
