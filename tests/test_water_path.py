"""Mass and heat through each piece and through whole trains: nothing lost, nothing above saturation."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.pieces import (
    AdsorptionDryer,
    Aftercooler,
    Bypass,
    Compressor,
    Hose,
    Pot,
    Receiver,
    RefrigeratedDryer,
    Regulator,
    SaltBed,
    Separator,
)
from gateway.psychrometrics import OutOfRange, humidity_ratio, vapour_pressure_pa
from gateway.water_path import Air, Passage, Piece, adiabatic, intake, saturated_ratio, settled, walk

ATM = 101_325.0
LINE = 800_000.0
KG_S = 0.2
CLOSE = pytest.approx


def saturated_air(t_c: float, p_pa: float, dry: float = KG_S, liquid: float = 0.0) -> Air:
    """Saturated air with so much liquid beside it."""
    return Air(t_c, p_pa, dry, saturated_ratio(t_c, p_pa) * dry, liquid)


def pieces(cooling_c: float, wall_c: float) -> list[Piece]:
    """One of every piece, in an order a yard could build."""
    return [
        Compressor("screw", LINE, 93.0),
        Aftercooler("cooler", cooling_c, 8.0, 10_000.0),
        Separator("separator", 0.95, 5_000.0),
        Receiver("wet tank", cooling_c, 0.5, 0.8),
        Separator("coalescer", 0.99, 10_000.0, kind="coalescing filter"),
        RefrigeratedDryer("chiller", 3.0, max(cooling_c - 5.0, 3.0), 0.98, 10_000.0),
        Bypass("bypass", 0.1, (SaltBed("salt", 0.5, 0.2, 5_000.0), Separator("after", 0.9, kind="after-filter"))),
        AdsorptionDryer("adsorber", -20.0, 4.0, 0.15, 5_000.0),
        Regulator("regulator", 700_000.0),
        Pot("pot", wall_c, 0.9, 5_000.0),
        Hose("hose", wall_c, 0.8, 60_000.0),
    ]


def water_in(p: Passage) -> float:
    return p.inlet.water_kg_per_s


def water_out(p: Passage) -> float:
    s = p.step
    return s.outlet.water_kg_per_s + s.drained_kg_per_s + s.taken_kg_per_s + s.left_kg_per_s


weather = st.tuples(st.floats(-30.0, 48.0), st.floats(0.03, 1.0), st.floats(60_000.0, 105_000.0))


@settings(max_examples=60, deadline=None)
@given(weather, st.floats(-25.0, 45.0))
def test_no_water_or_air_is_lost_and_no_gas_is_above_saturation(
    air: tuple[float, float, float], wall: float
) -> None:
    """In every piece of a long train, whatever the weather: balance to 1e-9, liquid never negative."""
    way = walk(intake(*air, KG_S), pieces(air[0], wall))
    assert way[0].inlet.vapour_kg_per_s > 0.0
    for passage in way:
        out = passage.outlet
        assert water_out(passage) == CLOSE(water_in(passage), rel=1e-9)
        assert out.dry_kg_per_s + passage.step.purged_kg_per_s == CLOSE(passage.inlet.dry_kg_per_s, rel=1e-9)
        ratio = saturated_ratio(out.temperature_c, out.pressure_pa)
        assert out.vapour_kg_per_s <= ratio * out.dry_kg_per_s * (1.0 + 1e-9)
        amounts = (out.liquid_kg_per_s, passage.drained_kg_per_h, passage.taken_kg_per_h, passage.left_kg_per_h)
        assert min(amounts) >= -1e-15
        formed = out.liquid_kg_per_s - passage.inlet.liquid_kg_per_s
        formed += passage.step.drained_kg_per_s + passage.step.left_kg_per_s
        assert passage.formed_kg_per_h / 3600.0 == CLOSE(formed, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(weather, st.floats(-25.0, 45.0))
def test_double_flow_doubles_every_amount(air: tuple[float, float, float], wall: float) -> None:
    """Temperatures and margins stay, kilograms an hour double."""
    one = walk(intake(*air, KG_S), pieces(air[0], wall))
    two = walk(intake(*air, 2.0 * KG_S), pieces(air[0], wall))
    for a, b in zip(one, two, strict=True):
        assert b.outlet.temperature_c == CLOSE(a.outlet.temperature_c, abs=1e-9)
        assert b.drained_kg_per_h == CLOSE(2.0 * a.drained_kg_per_h, rel=1e-9, abs=1e-12)
        assert b.left_kg_per_h == CLOSE(2.0 * a.left_kg_per_h, rel=1e-9, abs=1e-12)
        assert b.heat_w == CLOSE(2.0 * a.heat_w, rel=1e-9, abs=1e-6)
        assert b.margin_k is None or b.margin_k == CLOSE(a.margin_k, abs=1e-9)


# Full enthalpies of humid air and water by CoolProp (RP-1485, IAPWS-95), solved by halving; a hand balance with
# one latent heat gives 45.0 / 32.1 and 47.4 / 27.0.
@pytest.mark.parametrize(
    ("equilibrium_rh", "outlet_c", "pdp_c"), [(0.50, 44.90, 32.03), (0.33, 47.18, 26.83), (1.0, 40.0, 40.0)]
)
def test_salt_bed_adiabatic_at_8_bar_from_saturated_40_c(
    equilibrium_rh: float, outlet_c: float, pdp_c: float
) -> None:
    """8 K below the inlet and 13 K below the outlet at 50 %; 13 and 20 K at 33 %; spent salt takes none."""
    outlet = SaltBed("bed", equilibrium_rh).through(saturated_air(40.0, LINE)).outlet
    assert outlet.temperature_c == CLOSE(outlet_c, abs=0.1)
    assert outlet.point[0] == CLOSE(pdp_c, abs=0.1)


@given(st.floats(5.0, 60.0), st.floats(0.1, 0.9), st.floats(0.0, 1.0), st.floats(0.02, 1.0))
def test_energy_closes_at_the_bed(t_c: float, equilibrium_rh: float, shell_loss: float, inlet_rh: float) -> None:
    """Enthalpy in = gas out + brine out + what the shell lost, to 1e-9 of what came in."""
    gas = intake(t_c, inlet_rh, LINE, KG_S)
    step = SaltBed("bed", equilibrium_rh, shell_loss).through(gas)
    brine_w = step.taken_kg_per_s * 4186.0 * step.outlet.temperature_c
    assert step.outlet.enthalpy_w + brine_w + step.heat_w == CLOSE(gas.enthalpy_w, rel=1e-9)
    latent = 2_501_000.0 - 2326.0 * step.outlet.temperature_c
    assert step.heat_w == CLOSE(shell_loss * step.taken_kg_per_s * latent, abs=1e-9)
    if inlet_rh <= equilibrium_rh:
        assert step.taken_kg_per_s == CLOSE(0.0, abs=1e-15)
        assert step.outlet.temperature_c == CLOSE(t_c, abs=1e-9)
    else:
        assert 0.0 < step.taken_kg_per_s and step.outlet.temperature_c >= t_c


def test_a_bed_whose_shell_loses_all_heat_leaves_at_the_inlet_temperature() -> None:
    """Then suppression below inlet and outlet are one: RH_eq of the inlet temperature."""
    outlet = SaltBed("bed", 0.5, shell_loss=1.0).through(saturated_air(40.0, LINE)).outlet
    assert outlet.temperature_c == CLOSE(40.0, abs=0.2)  # the gas also cools the vapour's own heat
    assert 40.0 - outlet.point[0] == CLOSE(12.7, abs=0.3)


def test_liquid_that_reaches_the_bed_runs_off_with_the_brine() -> None:
    """It does not count as vapour taken from the air."""
    dry = SaltBed("bed", 0.5).through(saturated_air(40.0, LINE))
    wet = SaltBed("bed", 0.5).through(saturated_air(40.0, LINE, liquid=0.001))
    assert wet.drained_kg_per_s == CLOSE(0.001)
    assert wet.taken_kg_per_s == CLOSE(dry.taken_kg_per_s)


def test_aftercooler_that_breathes_housing_air_cools_only_to_that() -> None:
    """8 K above the air it draws: 20 K of warm housing leave 20 K more."""
    hot = Compressor("screw", LINE, 93.0).through(intake(30.0, 0.7, ATM, KG_S)).outlet
    free = Aftercooler("cooler", 30.0, 8.0).through(hot)
    boxed = Aftercooler("cooler", 50.0, 8.0).through(hot)
    assert (free.outlet.temperature_c, boxed.outlet.temperature_c) == (38.0, 58.0)
    assert free.outlet.liquid_kg_per_s > 2.0 * boxed.outlet.liquid_kg_per_s
    assert free.heat_w == CLOSE(hot.enthalpy_w - free.outlet.enthalpy_w, rel=1e-12)


def test_an_aftercooler_never_warms() -> None:
    """Air already below the approach passes as it is."""
    assert Aftercooler("cooler", 30.0, 8.0).through(saturated_air(20.0, LINE)).outlet.temperature_c == 20.0


def test_separator_takes_its_share_of_the_liquid_only() -> None:
    """95 % of 2 g/s; the vapour stays."""
    air = saturated_air(40.0, LINE, liquid=0.002)
    step = Separator("sep", 0.95).through(air)
    assert step.drained_kg_per_s == CLOSE(0.0019)
    assert step.outlet.liquid_kg_per_s == CLOSE(0.0001)
    assert step.outlet.vapour_kg_per_s == CLOSE(air.vapour_kg_per_s, rel=1e-12)


def test_pressure_drop_evaporates_carried_liquid_and_cools_the_air() -> None:
    """After the regulator liquid evaporates until the air is saturated again, adiabatically."""
    air = saturated_air(40.0, LINE, liquid=0.002)
    outlet = Regulator("reg", 500_000.0).through(air).outlet
    assert outlet.enthalpy_w == CLOSE(air.enthalpy_w, rel=1e-9)
    assert outlet.temperature_c < 40.0
    assert outlet.vapour_kg_per_s > air.vapour_kg_per_s
    assert outlet.point[0] == CLOSE(outlet.temperature_c, abs=1e-3)  # the fit's own inverse
    assert Regulator("reg", 900_000.0).through(air).outlet.pressure_pa == LINE


def test_adiabatic_energy_holds_through_the_step_at_0_c() -> None:
    """Where the outlet lands at 0 °C the two saturations differ a little: no energy may be lost there."""
    for start_c in (0.5, 1.0, 1.5, 2.0, 3.0, 5.0):
        air = saturated_air(start_c, LINE, liquid=0.003)
        for p_pa in (700_000.0, 500_000.0, 300_000.0, 150_000.0):
            outlet = adiabatic(air, p_pa, air.enthalpy_w)
            assert outlet.enthalpy_w == CLOSE(air.enthalpy_w, rel=1e-9, abs=1e-7)
            assert outlet.water_kg_per_s == CLOSE(air.water_kg_per_s, rel=1e-12)
            assert outlet.liquid_kg_per_s > 0.0


def test_refrigerated_dryer_leaves_its_dew_point_and_warms_again() -> None:
    """Drained whole, the leaving dew point is the dryer's; drained by half, mist evaporates in the warm outlet."""
    air = saturated_air(35.0, LINE)
    whole = RefrigeratedDryer("chiller", 3.0, 25.0, 1.0).through(air)
    half = RefrigeratedDryer("chiller", 3.0, 25.0, 0.5).through(air)
    assert whole.outlet.point == (CLOSE(3.0, abs=0.01), False)
    assert whole.outlet.temperature_c == 25.0
    assert half.outlet.point[0] > 15.0
    assert half.drained_kg_per_s == CLOSE(whole.drained_kg_per_s / 2.0)


def test_refrigerated_dryer_heat_closes() -> None:
    """Heat given off is what came in less what leaves with gas and drain at 3 °C."""
    air = saturated_air(35.0, LINE)
    step = RefrigeratedDryer("chiller", 3.0, 25.0, 1.0).through(air)
    drain_w = step.drained_kg_per_s * 4186.0 * 3.0
    assert step.heat_w == CLOSE(air.enthalpy_w - step.outlet.enthalpy_w - drain_w, rel=1e-9)
    assert step.heat_w > 0.0


def test_adsorption_dryer_takes_to_its_dew_point_and_blows_off_its_purge() -> None:
    """A frost point of -40 °C; 15 % of the dry air is gone; drier air is not made wetter."""
    step = AdsorptionDryer("ads", -40.0, 5.0, 0.15).through(saturated_air(35.0, LINE, liquid=0.001))
    assert step.outlet.point == (CLOSE(-40.0, abs=0.01), True)
    assert step.outlet.dry_kg_per_s == CLOSE(0.85 * KG_S)
    assert step.left_kg_per_s == 0.001
    dry = intake(20.0, 0.0005, LINE, KG_S)
    assert AdsorptionDryer("ads", -20.0, 5.0).through(dry).outlet.vapour_kg_per_s == CLOSE(dry.vapour_kg_per_s)


def test_bypass_mixes_what_went_past_with_what_was_dried() -> None:
    """Half past a bed of spent salt changes nothing; half past a good one lies between."""
    air = saturated_air(40.0, LINE)
    whole = SaltBed("bed", 0.5).through(air).outlet
    spent = Bypass("bypass", 0.5, (SaltBed("bed", 1.0),)).through(air).outlet
    mixed = Bypass("bypass", 0.5, (SaltBed("bed", 0.5),)).through(air).outlet
    assert spent.vapour_kg_per_s == CLOSE(air.vapour_kg_per_s, rel=1e-12)
    assert mixed.vapour_kg_per_s == CLOSE((air.vapour_kg_per_s + whole.vapour_kg_per_s) / 2.0, rel=1e-9)
    assert mixed.temperature_c == CLOSE((40.0 + whole.temperature_c) / 2.0, abs=0.05)
    assert Bypass("bypass", 1.0, (SaltBed("bed", 0.5),)).through(air).outlet == air


def test_pot_keeps_what_falls_out_and_hose_carries_it_on() -> None:
    """Saturated air 15 K above the wall: water in the abrasive; in the hose it goes to the steel."""
    air = saturated_air(35.0, 700_000.0)
    (pot,) = walk(air, [Pot("pot", 20.0)])
    (hose,) = walk(air, [Hose("hose", 20.0)])
    fallen = air.vapour_kg_per_s - saturated_ratio(20.0, 700_000.0) * KG_S
    assert pot.left_kg_per_h == CLOSE(3600.0 * fallen)
    assert (pot.carried_kg_per_h, hose.left_kg_per_h) == (0.0, 0.0)
    assert hose.carried_kg_per_h == CLOSE(3600.0 * fallen)
    assert pot.gap_k == CLOSE(-15.0, abs=0.01)


def test_margin_is_the_worst_wall_downstream_as_far_as_the_next_dryer() -> None:
    """Leaving vapour against each wall at its own pressure: cold pot behind a regulator, warmer hose."""
    bed = SaltBed("salt", 0.5)
    way = walk(saturated_air(40.0, LINE), [bed, Regulator("reg", 600_000.0), Pot("pot", 28.0), Hose("hose", 33.0)])
    expected = 28.0 - replace(way[0].outlet, pressure_pa=600_000.0).point[0]
    assert way[0].margin_k == CLOSE(expected, abs=1e-9)
    assert way[3].margin_k is None
    before = walk(saturated_air(40.0, LINE), [Separator("sep", 0.9), bed, Pot("pot", 20.0)])
    assert before[0].margin_k is None


def test_desert_intake_yields_water_only_when_moist_enough() -> None:
    """40 °C: 10 % RH gives no water in a pot at 40 °C, 15 % gives 0.7 kg/h (375 cfm, 8 bar)."""
    flow = 375 * 0.028316846592 / 60.0
    for rh, expected in ((0.10, 0.0), (0.15, 0.7)):
        air = intake(40.0, rh, ATM, 1.0)
        dry = (ATM - air.vapour_pressure_pa) * flow / (287.042 * 313.15)
        way = walk(intake(40.0, rh, ATM, dry), [Compressor("screw", LINE, 93.0), Pot("pot", 40.0)])
        assert way[1].left_kg_per_h == CLOSE(expected, abs=0.05)


def test_frost_side_of_a_cold_pot() -> None:
    """Below 0 °C the point is the frost point and what falls out is counted as liquid."""
    (pot,) = walk(saturated_air(5.0, 600_000.0), [Pot("pot", -8.0)])
    assert pot.frost is False
    assert pot.gap_k == CLOSE(-13.0, abs=0.01)
    assert pot.outlet.point == (CLOSE(-8.0, abs=0.01), True)


def test_settled_above_boiling_holds_everything() -> None:
    """At 250 °C no pressure here makes water fall out; at 120 °C and 1 atm neither."""
    air = saturated_air(40.0, LINE, liquid=0.01)
    assert settled(air, 250.0, LINE).liquid_kg_per_s == 0.0
    assert settled(air, 120.0, ATM).liquid_kg_per_s == 0.0


@pytest.mark.parametrize(
    ("piece", "words"),
    [
        (Separator("sep", 1.2), "efficiency of sep is 1.2, allowed is 0 to 1"),
        (Receiver("tank", 20.0, -0.1, 1.0), "contact of tank"),
        (RefrigeratedDryer("chiller", -5.0, 20.0, 1.0), "pressure dew point of chiller"),
        (Aftercooler("cooler", 20.0, -1.0), "approach of cooler"),
        (Hose("hose", 20.0, 1.0, 900_000.0), "pressure drop of hose"),
        (SaltBed("bed", 1.5), "equilibrium RH of bed"),
        (Compressor("screw", 100_000.0, 90.0), "compressor outlet pressure"),
        (Bypass("by", 2.0, ()), "share of by"),
        (AdsorptionDryer("ads", -40.0, 0.0, 1.5), "purge of ads"),
    ],
)
def test_impossible_figures_are_named(piece: Piece, words: str) -> None:
    """What, where and the allowed range."""
    with pytest.raises(OutOfRange, match=words):
        piece.through(saturated_air(30.0, LINE))


def test_intake_needs_air() -> None:
    """No flow is no train."""
    with pytest.raises(OutOfRange, match="dry air"):
        intake(20.0, 0.5, ATM, 0.0)


@pytest.mark.parametrize(
    ("piece", "gone_c"),
    [
        (Receiver("tank", 20.0, 0.5, 0.8), 27.5),
        (Pot("pot", 20.0, 0.5), 27.5),
        (AdsorptionDryer("ads", -40.0, 5.0, 0.15), 40.0),
        (Aftercooler("cooler", 20.0, 5.0), 25.0),
    ],
)
def test_heat_closes(piece: Piece, gone_c: float) -> None:
    """Heat in = gas out + water and purge gone at the outlet's temperature + heat to the surroundings."""
    air = saturated_air(35.0, LINE, liquid=0.001)
    step = piece.through(air)
    assert step.outlet.temperature_c == CLOSE(gone_c)
    water = step.drained_kg_per_s + step.taken_kg_per_s + step.left_kg_per_s
    gone_w = (water * 4186.0 + step.purged_kg_per_s * 1006.0) * gone_c
    assert step.heat_w == CLOSE(air.enthalpy_w - step.outlet.enthalpy_w - gone_w, rel=1e-9)


def test_a_bed_that_would_warm_beyond_all_measure_is_refused() -> None:
    """120 C with 90 % and a brine of 20 %: the heat balance does not close within 60 K, so there is no answer."""
    gas = Air(
        120.0,
        8e5,
        0.1,
        0.1 * humidity_ratio(vapour_pressure_pa(120.0, 0.9, 8e5), 8e5),
    )
    with pytest.raises(OutOfRange, match="inlet of salt dryer"):
        SaltBed("salt dryer", 0.2).through(gas)
