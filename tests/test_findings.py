"""Findings: the short form of their bench, what they say, what they must not say, and what moves nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from math import log, sqrt

import pytest

from alerts.measured import Measured, Validity, unknown
from gateway.finding_words import KINDS
from gateway.findings import LEARN, Change, Watched, moved, take, told
from gateway.jobsite import Accuracy, Jobsite, Piece, Point, Train
from gateway.observability import FAULTS, SAID, seen_as, sentences
from gateway.payload import canonical
from gateway.train_features import Minute, Told, Water, heat_k, minute, transfer_units
from gateway.train_look import Gas
from simulators.faults import SENSOR_FAULTS, START_S, Failure, minutes
from tests.bench.findings import (
    FIGURES,
    PLANT,
    SETS,
    case,
    climates,
    healthy_week,
    play,
    reader,
    rows,
    site,
)

ALL = site("every piece", 60.0)
TRAIN = ALL.trains[0]
COAST, PLATEAU = climates()["coast"], climates()["plateau"]


@pytest.mark.parametrize("kind", sorted(FIGURES["faults"]))
def test_a_complete_fault_is_named_within_half_an_hour(kind: str) -> None:
    """The strongest of each kind, every piece with its sensors, in thin air."""
    failure, rated_c = case(PLATEAU, kind, FIGURES["faults"][kind][-1])
    said = [
        key
        for now_s, key in play(site("every piece", rated_c), rows(PLATEAU, failure, 0))
        if now_s >= failure.onset_s - 600.0
    ]
    kinds = {key.rpartition(" ")[0] for key in said}
    assert kinds & set(seen_as(TRAIN, kind)), said
    assert kinds <= {*seen_as(TRAIN, kind), "hot inlet", "receiver drain"}


@pytest.mark.parametrize("sensors", SETS)
def test_a_healthy_week_brings_no_finding(sensors: str) -> None:
    """Seven working days with cold mornings, pauses, weather, a train at rest between, a small nozzle first."""
    assert healthy_week(sensors, COAST, 0 if sensors == "dryer outlet only" else 1) == []


def test_a_cooler_s_figure_has_its_flow_taken_out_where_it_is_measured() -> None:
    """With 0.71 of the air the transfer units rise by an eighth; by the meter they stay. Silent: none."""

    def cooling(at: Jobsite, share: float) -> float:
        plant = replace(PLANT, share=share, blasting_min=1e6)
        *_, (_, row) = minutes(plant, COAST, Failure(), 0, START_S, 60)
        return minute(at, at.trains[0], reader(row)).figures["cooling cooler"].value

    assert cooling(ALL, 0.71) / cooling(ALL, 1.0) == pytest.approx(1.0, abs=0.05)
    few = site("inlet and outlet", 60.0)
    assert cooling(few, 0.71) / cooling(few, 1.0) > 1.1
    _, row = rows(COAST, Failure(), 0)[30]
    read = reader(row)
    silent = minute(ALL, TRAIN, lambda name: unknown("silent", 0) if name == "flow" else read(name))
    assert "cooling cooler" not in silent.figures and "approach cooler" in silent.figures


def test_the_least_move_of_a_cooler_is_its_gas_by_kelvin() -> None:
    """1.5 K of the gas: as much of the units as if the gas were 1.5 K hotter, whatever the approach."""
    _, row = rows(COAST, Failure(), 0)[30]
    hotter = {name: (row[name] or 0.0) + 1.5 * name.endswith(("cooler-t", "sep-t", "recv-t")) for name in row}
    now, then = (minute(ALL, TRAIN, reader(each)).figures["cooling cooler"] for each in (row, hotter))
    assert then.floor < now.value - then.value < 1.05 * now.floor  # the slope falls as the gas stands higher


def test_without_a_flow_meter_a_nozzle_one_size_larger_is_no_fault_of_the_cooler() -> None:
    """(6/5)² of the air leaves 1.44 to -0.4 of the units: 1.1570 - 1 of what they are now, beside the 1.5 K."""
    _, row = rows(COAST, Failure(), 0)[30]
    blind = replace(TRAIN, pieces=tuple(replace(p, outlet=replace(p.outlet, flow="")) for p in TRAIN.pieces))
    metered = minute(ALL, TRAIN, reader(row)).figures["cooling cooler"]
    told = minute(replace(ALL, trains=(blind,)), blind, reader(row)).figures["cooling cooler"]
    kelvin = metered.floor / metered.value * told.value
    assert told.floor == pytest.approx(sqrt(kelvin**2 + (0.1570 * told.value) ** 2), rel=1e-3)
    for train, said in ((blind, True), (TRAIN, False), (site("dryer outlet only", 60.0).trains[0], False)):
        assert any("a nozzle one size larger" in each for each in sentences(train)) is said


def test_a_pause_neither_ends_a_finding_nor_calls_it_otherwise() -> None:
    """Metal that has cooled while the pot was filled looks better for a while: one finding over two hours."""
    for sensors, name in (("inlet and outlet", "coast"), ("every piece", "inland")):
        failure, rated_c = case(climates()[name], "spent", 0.7)
        found = [
            key
            for _, key in play(
                site(sensors, rated_c + 30.0), minutes(PLANT, climates()[name], failure, 0, START_S, 325)
            )
        ]
        assert len(found) == 1, found


def test_an_inlet_above_its_rating_is_one_finding_over_a_pause() -> None:
    """It comes back below for the twenty minutes in which the metal warms: that is no end of it."""
    watched, hot, cool = Watched(), {"hot dryer": Told(2.0, 1.0)}, {"hot dryer": Told(0.0, 1.0)}
    ran(TRAIN, 60, hot, watched)
    for n in range(10):
        take(watched, TRAIN, Minute(False, {}, {}), n)
    changes = [c for n in range(40) for c in take(watched, TRAIN, Minute(True, cool if n < 22 else hot, {}), n)]
    assert changes == []
    assert list(watched.open) == ["hot inlet dryer"]


def test_what_stands_at_a_piece_is_not_renamed_before_the_metal_is_warm_again() -> None:
    """For 25 minutes after a pause; another piece's finding begins all the same."""
    shut, wetter = {"outlet_rh dryer": Told(0.5, 0.06)}, {"outlet_rh dryer": Told(0.7, 0.06)}
    watched = ran(TRAIN, 100, shut)
    ran(TRAIN, 40, wetter, watched)
    assert list(watched.open) == ["bed, bypass or sensor dryer"]
    for n in range(10):
        take(watched, TRAIN, Minute(False, {}, {}), n)
    ran(TRAIN, 25, {**shut, "position bypass": Told(0.6, 0.05)}, watched)
    assert sorted(watched.open) == ["bed, bypass or sensor dryer", "bypass open bypass"]
    ran(TRAIN, 25, {**shut, "position bypass": Told(0.0, 0.05)}, watched)
    assert watched.open == {}


def test_every_fault_tried_is_one_that_is_thought_of() -> None:
    """The bench and the observability table speak of the same faults; each that is seen has its words."""
    assert set(FIGURES["faults"]) == set(FAULTS)
    assert set(SENSOR_FAULTS) <= set(FAULTS)
    for sensors in SETS:
        for fault in FAULTS:
            assert set(seen_as(site(sensors, 60.0).trains[0], fault)) <= set(KINDS)


def test_what_these_sensors_cannot_see() -> None:
    """With the dryer's outlet alone the cooler, the drains and the element leave no trace."""
    alone = site("dryer outlet only", 60.0).trains[0]
    unseen = {fault for fault in FAULTS if not seen_as(alone, fault)}
    assert unseen >= {"fins", "fan", "housing", "element", "separator_drain", "receiver_drain", "hot_day", "choke"}
    assert seen_as(alone, "spent") == seen_as(alone, "bypass") == ("bed, bypass or sensor",)
    assert seen_as(TRAIN, "bypass") == ("bypass open",)


def test_a_keeper_is_told_what_the_sensors_cannot_see() -> None:
    """`dewgate check` says it before anything has failed; a train with every sensor has nothing unseen."""
    alone = " ".join(sentences(site("dryer outlet only", 60.0).trains[0]))
    assert "cannot be seen with these sensors: dirt on the cooler's fins, the cooler's fan" in alone
    assert "looks the same with these sensors: spent salt, a way past the salt, an open bypass" in alone
    assert not any("cannot be seen" in each for each in sentences(TRAIN))
    assert set(SAID) == set(FAULTS)
    assert sentences(Train("T9", "bare", ("A",), "deck", ())) == []


def ran(
    train: Train, minutes: int, figures: dict[str, Told], watched: Watched | None = None, **more: object
) -> Watched:
    watched = watched or Watched()
    for n in range(minutes):
        take(watched, train, Minute(True, figures, {}, **more), 60_000 * n)  # type: ignore[arg-type]
    return watched


def test_silence_and_standstill_neither_begin_nor_end_a_finding() -> None:
    """An open bypass stays a finding while its sensor is silent and while no air flows."""
    shut, opened = {"position bypass": Told(0.0, 0.05)}, {"position bypass": Told(0.6, 0.05)}
    watched = ran(TRAIN, 100, shut)
    ran(TRAIN, 20, opened, watched)
    assert list(watched.open) == ["bypass open bypass"]
    ran(TRAIN, 60, {}, watched)
    for n in range(60):
        assert take(watched, TRAIN, Minute(False, {}, {}), n) == []
        assert take(watched, TRAIN, Minute(None, {}, {}), n) == []
    assert list(watched.open) == ["bypass open bypass"]
    ran(TRAIN, 60, shut, watched)
    assert watched.open == {}


def test_the_first_hour_is_the_measure() -> None:
    """Nothing is said before the measure is full; afterwards the same level is a finding."""
    watched = ran(TRAIN, 20 + LEARN, {"level recv": Told(0.2, 0.06)})
    assert moved(watched) == {}
    ran(TRAIN, 20, {"level recv": Told(0.5, 0.06)}, watched)
    assert list(watched.open) == ["receiver drain recv"]
    (finding,) = told(watched, TRAIN)
    assert finding.evidence == "level 50%, was 20%, its first hour being the measure"
    assert finding.confidence == "high"


def test_an_outlet_that_says_nothing_of_its_bed_is_not_learnt() -> None:
    """Air that arrives as dry as a bed leaves it would make a poor bed the measure of all later ones."""
    watched = ran(TRAIN, 120, {"outlet_rh dryer": Told(0.3, 0.06)}, came_rh=0.35)
    assert watched.trends["outlet_rh dryer"].count == 0
    ran(TRAIN, 120, {"outlet_rh dryer": Told(0.5, 0.06)}, watched, came_rh=0.8)
    assert watched.trends["outlet_rh dryer"].base == pytest.approx(0.5)


def test_a_drain_that_has_stopped_is_told_by_the_water_due() -> None:
    """One opening for each 0.5 kg; then none while as much water falls out."""
    watched, count = Watched(), 0.0
    for n in range(100):
        count += n % 2
        take(watched, TRAIN, Minute(True, {}, {"sep": Water(0.25, count)}), n)
    assert watched.open == {}
    for n in range(15):
        take(watched, TRAIN, Minute(True, {}, {"sep": Water(0.25, count)}), 100 + n)
    assert list(watched.open) == ["separator drain sep"]


def test_little_water_of_much_vapour_is_not_counted_on() -> None:
    """As the day warms less of the vapour falls out; what the probes may be off is then most of it."""
    for u, wanted in ((0.0, ["separator drain sep"]), (0.05, [])):
        watched, count = Watched(), 0.0
        for n in range(100):
            count += n % 2
            take(watched, TRAIN, Minute(True, {}, {"sep": Water(0.25, count, 0.5, u)}), n)
        for n in range(60):  # 0.1 of 1.4 kg falls: of twice the vapour a fifteenth instead of a half
            count += n % 25 == 0
            take(watched, TRAIN, Minute(True, {}, {"sep": Water(0.1, count, 1.4, u)}), 100 + n)
        assert list(watched.open) == wanted


def test_the_state_is_bounded_and_survives_a_checkpoint() -> None:
    """A week leaves a few kilobytes; the bytes read back to the same state and the same next change."""
    watched = Watched()
    for n in range(3000):
        take(
            watched,
            TRAIN,
            Minute(True, {f"level p{k}": Told(n % 7, 0.06) for k in range(12)}, {"s": Water(1.0, n)}),
            n,
        )
    body = canonical.checkpoint(watched)
    assert len(body) < 6000
    again = canonical.from_checkpoint(body, Watched)
    assert again == watched


def test_transfer_units_of_dry_gas_are_a_logarithm() -> None:
    """Dry: ln((90 - 30) / (40 - 30)). Wet gas asks for more, since its water's heat must leave too."""
    gas = Gas(TRAIN.pieces[2], 40.0, 8e5, None)
    assert transfer_units(gas, 30.0, None, 90.0) == pytest.approx(log(6.0), rel=1e-12)
    assert transfer_units(gas, 30.0, 0.001, 90.0) == pytest.approx(log(6.0), rel=1e-12)
    # By CoolProp's humid air and 3,000 steps, heat of vaporisation 2.501e6 - 2.37e3 T J/kg, cp 1006: 3.2528.
    assert transfer_units(gas, 30.0, 0.03, 90.0) == pytest.approx(3.2528, rel=2e-3)


def test_the_heat_of_what_is_taken_up() -> None:
    """1 g/kg condensed at 40 °C: 2.406 kJ/g (ASHRAE steam tables, from memory) over 1.006 kJ/(kg K): 2.39 K."""
    assert heat_k(0.001, 40.0) == pytest.approx(2.39, abs=0.02)


def test_a_bypass_and_spent_salt_keep_the_heat_a_lying_probe_does_not() -> None:
    """The same rise of the outlet's humidity, told apart by the warming that goes with the water taken."""
    for kind, wanted in (("spent", "bed"), ("sensor_dryer_rh", "outlet sensor")):
        failure = Failure(kind, {"spent": 0.8, "sensor_dryer_rh": 0.3}[kind], START_S + 205 * 60.0)
        keys = {key for _, key in play(ALL, rows(COAST, failure, 0))}
        assert keys == {f"{wanted} dryer"}


def test_salt_that_is_spent_slowly_is_told_before_it_is_gone() -> None:
    """Over four hours from 50 to 100 %: said while the bed still takes out most, not when all is at rest again."""
    slow = Failure("spent", 1.0, START_S + 390 * 60.0, ramp_s=4 * 3600.0)
    found = [(now, key) for now, key in play(ALL, minutes(PLANT, COAST, slow, 1, START_S, 390))]
    assert {key for _, key in found} == {"bed dryer"}
    assert (found[0][0] - START_S) / 60.0 < 150.0 + 75.0  # by then it holds 66 %


def gauged(half_pa: float, *more: str) -> Jobsite:
    """The train with the gauges at the separator, and more, of this accuracy; 0 = not stated."""
    accuracy, mine = Accuracy(half_pa or None), {"cooler-p", "sep-p", *more}
    at = [replace(s, accuracy=accuracy) if s.id in mine else s for s in ALL.sensors]
    return replace(ALL, sensors=tuple(at))


def test_poor_gauges_at_a_smaller_nozzle_block_no_element() -> None:
    """Two gauges 0.1 bar off against each other: at half the flow that counts four times, and is no element."""
    for half_pa, wanted in ((10_000.0, set()), (0.0, set()), (1_000.0, {"element blocked sep"})):
        watched, at = Watched(), gauged(half_pa)
        found: set[str] = set()
        for share in (1.0, 0.5):
            plant = replace(PLANT, share=share, blasting_min=1e6)
            for now_s, row in minutes(plant, COAST, Failure(), 3, START_S, 100):
                off = {**row, "sep-p": (row["sep-p"] or 0.0) - 0.1}
                found |= {c.key for c in take(watched, TRAIN, minute(at, TRAIN, reader(off)), round(now_s))}
        assert found == wanted, half_pa


def test_the_least_move_of_a_difference_is_never_below_what_its_gauges_are_unsure_of() -> None:
    """Two gauges of 0.4 bar, rectangular: 0.4 √2 / √3 bar; of 0.05 bar: our 5 and 12 kPa."""
    _, row = rows(COAST, Failure(), 0)[30]
    usual, poor = (minute(at, TRAIN, reader(row)).figures for at in (ALL, gauged(40_000.0, "pot-p", "blast-p")))
    assert poor["element sep"].floor / usual["element sep"].floor == pytest.approx(40_000 * sqrt(2 / 3) / 5_000)
    assert usual["choke pot"].floor == 12_000
    assert poor["choke pot"].floor == pytest.approx(40_000 * sqrt(2 / 3))


def test_an_element_that_blocks_is_told_at_a_smaller_nozzle_too() -> None:
    """Seven times the loss coefficient, half an hour into a day with three quarters of the air."""
    watched = Watched()
    for plant, failure, start_s in (
        (PLANT, Failure(), START_S),
        (replace(PLANT, share=0.75), Failure("element", 7.0, START_S + 26 * 3600.0), START_S + 86_400.0),
    ):
        for now_s, row in minutes(plant, COAST, failure, 3, start_s, 160):
            take(watched, TRAIN, minute(ALL, TRAIN, reader(row)), round(now_s))
    assert list(watched.open) == ["element blocked sep"]


def test_no_air_no_figures() -> None:
    """Vented, unknown and flowing are told apart; a bound is no value."""
    _, row = rows(COAST, Failure(), 0)[30]
    read = reader(row)
    assert minute(ALL, TRAIN, read).flowing is True
    assert minute(ALL, TRAIN, reader({**row, "pot-p": 0.0})) == Minute(False, {}, {})
    assert minute(ALL, TRAIN, reader({**row, "flow": 0.0})).flowing is False

    def silent(name: str) -> Measured:
        return unknown("silent", 0) if name == "pot-p" else read(name)

    assert minute(ALL, TRAIN, silent).flowing is None

    few = site("dryer outlet only", 60.0).trains[0]  # no flow meter that says otherwise
    hose = replace(few, pieces=(*few.pieces, Piece("hose", "hose", "hose", Point(pressure="blast-p"))))
    shut = {**row, "blast-p": 0.0}  # the line and the pot are under pressure, nobody holds the nozzle open
    assert minute(ALL, hose, read).flowing is True
    assert minute(ALL, hose, reader(shut)).flowing is False

    def bound(name: str) -> Measured:
        said = read(name)
        return said._replace(validity=Validity.BOUND) if name == "dryer-rh" else said

    assert "outlet_rh dryer" not in minute(ALL, TRAIN, bound).figures
    assert "outlet_rh dryer" in minute(ALL, TRAIN, read).figures


def test_nobody_is_told_to_work_on_pressure() -> None:
    """No sentence says open, drain or adjust as an order; none calls air clean or safe, or speaks of breathing."""
    for kind in KINDS.values():
        words = f"{kind.title} {kind.check} {kind.also}".lower()
        assert not re.search(r"\b(clean|safe|breathing)\b", words)
        orders = re.findall(r"(?:^|[.;] )(\w+)", kind.check.lower())
        assert not set(orders) & {"open", "drain", "adjust", "drains", "turn", "close"}
        if "look at the element" in words or "crust" in words:
            assert "isolate, lock, bleed line and pot to zero, verify" in words


def test_changes_name_their_finding_once() -> None:
    """A finding begins once and ends once."""
    watched, seen = Watched(), list[Change]()
    for n in range(300):
        x = 0.6 if 120 < n < 200 else 0.0
        seen += take(watched, TRAIN, Minute(True, {"position bypass": Told(x, 0.05)}, {}), n)
    assert [(each.key, each.began) for each in seen] == [
        ("bypass open bypass", True),
        ("bypass open bypass", False),
    ]


def test_the_bench_runs_a_train_that_was_told_of_its_climate() -> None:
    """The simulated plant is the one written down before tuning."""
    assert PLANT.flow_kg_per_s == FIGURES["train"]["flow_kg_per_s"]
    assert replace(PLANT).blasts(START_S + 60.0)
    assert not PLANT.blasts(START_S + 55 * 60.0)
