"""A pot's gauge that fails at zero is not a vented pot where air flows or stands under pressure behind it."""

from __future__ import annotations

import dataclasses

import pytest

from alerts.limits import Limit, Verdict
from alerts.measured import Quantity
from gateway import sensor_gauges
from gateway.jobsite import Jobsite, Piece, Point, Train
from gateway.sensor_gauges import Witness
from gateway.train_state import Doing
from tests.sites import margin_limit, sensor, site
from tests.test_flow import Day, values

POT = margin_limit(
    id="pot", quantity=Quantity.CONDENSATION_MARGIN, threshold=0.0, area="", train="T1", piece="pot",
    activities=("blasting",), unknown_delay_s=120.0, advice="Stop blasting area A",
)  # fmt: skip
AT_REST = {"dryer-t": 30.0, "dryer-rh": 30.0, "line-p": 7.0, "pot-skin": 30.0, "pot-p": 0.0, "hose-p": 0.0,
           "flow": 0.0, "blast-p": 0.0}  # fmt: skip


def gauged(*limits: Limit) -> Jobsite:
    """A train with gauges at the line, the pot, its blast line and the hose, and a meter at the dryer."""
    made = site(*limits)
    gauges = [
        sensor(name, Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge") for name in ("pot-p", "hose-p", "blast-p")
    ]
    meter = sensor("flow", Quantity.AIR_FLOW, "m3/min", 0.01, "free air")
    pieces = (
        Piece("dryer", "salt dryer", "deliquescent dryer", Point("dryer-t", "dryer-rh", "line-p", flow="flow")),
        Piece("pot", "pot", "pot", Point(pressure="pot-p"), wall="pot-skin", blast_line="blast-p"),
        Piece("hose", "hose", "hose", Point(pressure="hose-p")),
    )
    trains = (dataclasses.replace(made.trains[0], pieces=pieces),)
    return dataclasses.replace(made, sensors=(*made.sensors, *gauges, meter), trains=trains)


def hear(day: Day, seconds: int, **changes: float) -> None:
    """Everything speaks; what is named says so, at rest the pot is vented on a line under pressure."""
    said = values() | AT_REST | {name.replace("_", "-"): value for name, value in changes.items()}
    for _ in range(seconds // 10):
        day.now += 10_000
        for name, value in said.items():
            day.send(name, value)
    out = day.flow.tick(day.now + 1000)
    day.out.events += out.events


@pytest.fixture
def day() -> Day:
    return Day(at=gauged(POT))


def test_a_vented_pot_on_a_line_under_pressure_is_vented(day: Day) -> None:
    """The usual refill: nothing contradicts, nothing is judged."""
    hear(day, 300)
    assert day.flow.state.trains["T1"].doing is Doing.VENTED
    assert day.flow.judged["pot"].judgement.verdict is Verdict.NOT_RUNNING
    assert day.changes() == []


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("hose_p", 5.5, "pot-p: reads 0.0 bar while hose-p reads 5.5 bar: one of them is wrong"),
        ("flow", 4.0, "pot-p: reads 0.0 bar while flow reads 4.0 m³/min: one of them is wrong"),
    ],
)
def test_what_is_behind_it_or_flows_makes_it_unknown_and_the_train_judged(
    day: Day, name: str, value: float, words: str
) -> None:
    """Neither vented nor dry: unknown, with both sensors named, and an alarm after the delay for unknown."""
    hear(day, 60)
    hear(day, 300, **{name: value})
    assert day.flow.read("pot-p").reason == words
    assert day.flow.state.trains["T1"].doing is Doing.FLOWING
    said = day.flow.judged["pot"].judgement
    assert (said.verdict, said.reason) == (Verdict.UNKNOWN, words)
    assert ("A-1", "unknown") in day.changes()
    hear(day, 60)
    assert day.flow.state.trains["T1"].doing is Doing.VENTED, "the hose is at rest: it was a vented pot after all"


def test_a_blast_line_under_pressure_is_no_vented_pot_though_nothing_flows(day: Day) -> None:
    """The hose is shut: the train stands under pressure, which is not judged, and nobody reads "vented"."""
    hear(day, 60, blast_p=6.0)
    assert (
        day.flow.read("pot-p").reason == "pot-p: reads 0.0 bar while blast-p reads 6.0 bar: one of them is wrong"
    )
    assert day.flow.state.trains["T1"].doing is Doing.STANDING


@pytest.mark.parametrize(
    "changes", [{"hose_p": 0.1, "blast_p": 0.1, "flow": 1.0}, {"pot_p": 5.0, "hose_p": 4.5, "flow": 4.0}],
    ids=["leaks", "a pot that reads"],
)  # fmt: skip
def test_leaks_and_a_gauge_that_reads_contradict_nothing(day: Day, changes: dict[str, float]) -> None:
    """Below 0.2 bar and 0.02 m³/s (1.2 m³/min) nothing runs."""
    hear(day, 60, **changes)
    assert day.flow.read("pot-p").value is not None


def test_a_witness_that_is_silent_says_nothing(day: Day) -> None:
    """The hose's gauge spoke of pressure and then no more: an hour later it is no evidence against the pot's."""
    hear(day, 60, hose_p=5.5)
    said = values() | AT_REST
    del said["hose-p"]
    for _ in range(12):
        day.now += 10_000
        for name, value in said.items():
            day.send(name, value)
    day.flow.tick(day.now + 1000)
    assert day.flow.read("pot-p").value == 0.0


def test_a_meter_that_several_trains_share_is_no_witness() -> None:
    """The other train's pot may be the one that blasts."""
    made = gauged()
    (train,) = made.trains
    other: Train = dataclasses.replace(train, id="T2", pieces=(train.pieces[0],))
    both = dataclasses.replace(made, trains=(train, other))
    assert sensor_gauges.witnesses(made)["pot-p"] == Witness(("blast-p", "hose-p"), ("flow",))
    assert sensor_gauges.witnesses(both)["pot-p"] == Witness(("blast-p", "hose-p"), ())
    assert "line-p" not in sensor_gauges.witnesses(both), "nothing stands behind it and no meter is its own"
