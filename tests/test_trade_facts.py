"""What people of the trade say about water in blast air, as direction and size checks, each with its case.

All are common practice, no source; the physics must agree with them where the stated case holds.
Case unless said otherwise: 375 cfm of free air, 30 °C and 70 % RH at one atmosphere, oil-flooded screw at
8 bar absolute and 93 °C, pot wall at the temperature of the air outside.
"""

from __future__ import annotations

import pytest

from gateway.compressed_air import dry_air_kg_per_s
from gateway.pieces import Aftercooler, Compressor, Hose, Pot, Receiver, SaltBed, Separator
from gateway.psychrometrics import vapour_pressure_pa
from gateway.water_path import Passage, Piece, intake, walk

ATM, LINE = 101_325.0, 800_000.0
CFM_M3_S = 0.028316846592 / 60.0
FAHRENHEIT_20_K = 20.0 / 1.8


def run(pieces: list[Piece], t_c: float = 30.0, rh: float = 0.7) -> dict[str, Passage]:
    """Walk the case's air through the screw and these pieces; passages by label."""
    dry = dry_air_kg_per_s(375 * CFM_M3_S, t_c, vapour_pressure_pa(t_c, rh, ATM), ATM)
    way = walk(intake(t_c, rh, ATM, dry), [Compressor("screw", LINE, 93.0), *pieces])
    return {passage.label: passage for passage in way}


def intake_water(way: dict[str, Passage]) -> float:
    """Water drawn in [kg/h]."""
    return way["screw"].inlet.water_kg_per_s * 3600.0


def test_a_separator_alone_leaves_the_vapour_which_condenses_in_the_cooler_pot() -> None:
    """At 93 °C nothing is liquid, so there is nothing to separate; the pot at 30 °C gets most of the water."""
    way = run([Separator("separator", 0.99), Pot("pot", 30.0)])
    assert way["separator"].drained_kg_per_h == 0.0
    assert way["pot"].left_kg_per_h > 0.7 * intake_water(way)
    # Even behind a cooler: a perfect separator takes every drop and the pot, 8 K colder, is still wet.
    way = run([Aftercooler("cooler", 30.0, 8.0), Separator("separator", 1.0), Pot("pot", 30.0)])
    assert way["cooler"].carried_kg_per_h > 9.0
    assert way["separator"].carried_kg_per_h == 0.0
    assert way["pot"].left_kg_per_h > 1.0


@pytest.mark.parametrize("approach_k", [0.0, 2.0, 8.0])
def test_an_aftercooler_that_breathes_housing_air_leaves_water_for_the_pot_whatever_its_size(
    approach_k: float,
) -> None:
    """Housing air 20 K warmer than outside: even an endless cooler (approach 0) leaves 5 kg/h for the pot."""
    way = run([Aftercooler("cooler", 50.0, approach_k), Separator("separator", 1.0), Pot("pot", 30.0)])
    assert way["pot"].left_kg_per_h > 4.0
    outside = run([Aftercooler("cooler", 30.0, 0.0), Separator("separator", 1.0), Pot("pot", 30.0)])
    assert outside["pot"].left_kg_per_h == pytest.approx(0.0, abs=1e-9)


def test_cooling_to_within_20_f_ahead_of_a_receiver_removes_most_of_the_liquid() -> None:
    """Of what would be liquid by the time the air is as cold as outside, more than 70 % is drained there."""
    way = run([Aftercooler("cooler", 30.0, FAHRENHEIT_20_K), Receiver("tank", 30.0, 0.0, 1.0), Pot("pot", 30.0)])
    drained, rest = way["tank"].drained_kg_per_h, way["pot"].left_kg_per_h
    assert 0.70 < drained / (drained + rest) < 0.95
    # And another 20 °F on saturated air takes out about half of what it still holds.
    colder = run(
        [Aftercooler("cooler", 30.0 - FAHRENHEIT_20_K, FAHRENHEIT_20_K), Receiver("tank", 30.0, 0.0, 1.0)]
    )
    held, held_colder = (w["tank"].outlet.vapour_kg_per_s for w in (way, colder))
    assert 0.40 < 1.0 - held_colder / held < 0.55


@pytest.mark.parametrize("approach_k", [12.0, 15.0, 20.0, 25.0])
def test_a_salt_bed_after_the_cooler_takes_a_further_share_of_the_intake_water(approach_k: float) -> None:
    """12 to 19 % of the intake water for a bed of 50 % behind a poor cooler; behind a good one less."""
    way = run([Aftercooler("cooler", 30.0, approach_k), Separator("separator", 1.0), SaltBed("bed", 0.5)])
    assert 0.115 < way["bed"].taken_kg_per_h / intake_water(way) < 0.19
    good = run([Aftercooler("cooler", 30.0, 3.0), Separator("separator", 1.0), SaltBed("bed", 0.5)])
    assert good["bed"].taken_kg_per_h / intake_water(good) == pytest.approx(0.083, abs=0.002)


@pytest.mark.parametrize("equilibrium_rh", [0.33, 0.5, 0.75])
def test_a_salt_bed_keeps_the_pot_dry_exactly_when_its_suppression_beats_approach_and_warming(
    equilibrium_rh: float,
) -> None:
    """Pot at line pressure and outside temperature: dry iff approach + warming < suppression below outlet."""
    dry_ones = 0
    for approach_k in (0.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0):
        bed, pot = SaltBed("bed", equilibrium_rh), Pot("pot", 30.0)
        way = run([Aftercooler("cooler", 30.0, approach_k), Separator("separator", 1.0), bed, pot])
        out = way["bed"].outlet
        suppression_k = out.temperature_c - out.point[0]
        warming_k = out.temperature_c - way["bed"].inlet.temperature_c
        dry = way["pot"].left_kg_per_h == 0.0
        assert dry == (approach_k + warming_k < suppression_k)
        dry_ones += dry
    assert 0 < dry_ones < 11


def test_desert_air_yields_water_once_intake_and_pot_allow() -> None:
    """40 °C: 10 % RH gives none in cooler or pot at 40 °C; 15 % 0.7 kg/h; a pot at 15 °C is wet at 10 %."""
    train: list[Piece] = [Aftercooler("cooler", 40.0, 8.0), Separator("separator", 1.0), Pot("pot", 40.0)]
    driest = run(train, 40.0, 0.10)
    assert (driest["cooler"].carried_kg_per_h, driest["pot"].left_kg_per_h) == (0.0, 0.0)
    assert run(train, 40.0, 0.15)["pot"].left_kg_per_h == pytest.approx(0.7, abs=0.1)
    cold_pot: list[Piece] = [Aftercooler("cooler", 40.0, 8.0), Separator("separator", 1.0), Pot("pot", 15.0)]
    assert run(cold_pot, 40.0, 0.10)["pot"].left_kg_per_h > 1.0


def test_throttling_into_the_hose_dries_the_air_a_little() -> None:
    """Less pressure, lower dew point: saturated 35 °C at 8 bar is 30.0 °C at 6 and 26.9 °C at 5 bar absolute."""
    way = run([Aftercooler("cooler", 35.0, 0.0), Separator("separator", 1.0), Hose("hose", 60.0, 1.0, 200_000.0)])
    assert way["hose"].outlet.point[0] == pytest.approx(30.0, abs=0.05)
    lower = run(
        [Aftercooler("cooler", 35.0, 0.0), Separator("separator", 1.0), Hose("hose", 60.0, 1.0, 300_000.0)]
    )
    assert lower["hose"].outlet.point[0] == pytest.approx(26.9, abs=0.05)
