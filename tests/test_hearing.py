"""Who may say other than before, and until when what was said is kept."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.measured import Quantity, Validity
from gateway import sensor_sense
from gateway.flow_state import Newest, State
from gateway.hearing import Hearing
from gateway.jobsite import Jobsite, Piece, Point
from gateway.sensor_sense import NOBODY, Sense, Watch
from tests.sites import T0, sensor, site

PATIENCE_MS = 60_000
WATCH = Watch.of(site())
TRAIN = ["dryer-t", "dryer-rh", "line-p"]
VALUES = {"dryer-t": 30.0, "dryer-rh": 0.6, "line-p": 690_000.0, "air-rh": 0.5}


@pytest.fixture
def heard() -> Hearing:
    """Three sensors of a salt dryer's outlet, heard at T0 and asked for once."""
    state = State(judged_ms=T0 + 1000)
    state.newest = {name: Newest(VALUES[name], T0, T0, PATIENCE_MS) for name in TRAIN}
    hearing = Hearing(state, WATCH)
    assert hearing.anew() == list(WATCH.sensors), "at first everybody, in the order of the jobsite"
    return hearing


def say(hearing: Hearing, name: str, value: float, at_ms: int) -> None:
    hearing.state.newest[name] = Newest(value, at_ms, at_ms, PATIENCE_MS)
    hearing.hear(name)


def test_who_said_nothing_is_not_asked_again(heard: Hearing) -> None:
    assert heard.anew() == []
    say(heard, "pot-skin", 20.0, T0 + 500)
    assert heard.anew() == ["pot-skin"]
    assert heard.anew() == []


def test_what_a_bed_is_judged_by_makes_its_humidity_heard_again(heard: Hearing) -> None:
    """Drier than salt can make it only while the gas is warm: the same humidity, another verdict."""
    for name in ("dryer-t", "line-p", "air-rh"):
        say(heard, name, VALUES[name], T0 + 500)
        assert heard.anew() == [each for each in WATCH.sensors if each in (name, "dryer-rh")]
    say(heard, "dryer-rh", 0.01, T0 + 600)
    say(heard, "air-t", 20.0, T0 + 600)
    assert heard.read("dryer-rh").validity is Validity.UNKNOWN
    del heard.state.newest["dryer-t"]
    heard.hear("dryer-t")
    assert heard.read("dryer-rh").validity is not Validity.UNKNOWN, "without its temperature nothing is held to it"


def test_silence_begins_one_millisecond_after_the_patience_and_is_told_each_second(heard: Hearing) -> None:
    heard.state.judged_ms = T0 + PATIENCE_MS
    assert (heard.anew(), heard.next_ms()) == ([], T0 + PATIENCE_MS + 1)
    assert heard.read("line-p").value == 690_000.0
    heard.state.judged_ms += 1000
    assert (heard.anew(), heard.next_ms()) == (TRAIN, None)
    assert heard.read("line-p").reason == "line-p: silent since 61 s"
    heard.state.judged_ms += 1000
    assert heard.anew() == TRAIN
    assert heard.read("line-p").reason == "line-p: silent since 62 s"
    say(heard, "line-p", 680_000.0, heard.state.judged_ms)
    assert heard.anew() == TRAIN
    assert heard.read("line-p").value == 680_000.0


def test_silence_of_one_makes_those_held_to_it_heard_again(heard: Hearing) -> None:
    later = T0 + PATIENCE_MS
    for name in ("dryer-rh", "line-p"):
        say(heard, name, heard.state.newest[name].value, later)
    heard.anew()
    heard.state.judged_ms = later + 1000
    assert heard.anew() == ["dryer-t", "dryer-rh"]


def test_another_start_hears_everybody_as_the_state_has_it(heard: Hearing) -> None:
    heard.read("line-p")
    heard.state.newest = {"dryer-t": Newest(25.0, T0, T0, PATIENCE_MS)}
    heard.begin()
    assert heard.anew() == list(WATCH.sensors)
    assert heard.read("line-p").reason == "line-p: no current reading yet"
    assert heard.next_ms() == T0 + PATIENCE_MS + 1


def gauged() -> Jobsite:
    """A salt dryer with both kinds of vapour sensor, a gauge at the pot, and one and a meter behind it."""
    plain = site()
    dryer, pot = plain.trains[0].pieces
    outlet = replace(dryer.outlet, pressure_dew_point="pdp")
    dew = Point("pot-t", pressure="pot-p", pressure_dew_point="pot-pdp")
    hose = Piece("hose", "hose", "hose", Point(pressure="hose-p", flow="meter"), wall_station="deck")
    pieces = (replace(dryer, outlet=outlet), replace(pot, outlet=dew), hose)
    more = (
        sensor("pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 2.0, "dew"),
        sensor("pot-t", Quantity.GAS_TEMPERATURE, "Cel", 0.3, "thermowell"),
        sensor("pot-pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 2.0, "dew"),
        sensor("pot-p", Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge"),
        sensor("hose-p", Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge"),
        sensor("meter", Quantity.AIR_FLOW, "m3/min", 0.01, "ISO 8778"),
    )
    return replace(plain, sensors=plain.sensors + more, trains=(replace(plain.trains[0], pieces=pieces),))


@given(st.lists(st.sampled_from((None, -40.0, 0.0, 0.01, 0.3, 7.0, 20.0, 45.0, 95_000.0, 7e5)), min_size=40))
def test_whoever_is_asked_about_a_sensor_is_known_to_be(said: list[float | None]) -> None:
    """Else what was said of it would be kept although it is no longer so."""
    watch = Watch.of(gauged())
    told = {name: {name} for name in watch.sensors}
    for name, others in sensor_sense.held_to(watch):
        told[name].update(others)
    values = dict(zip(watch.sensors, cycle(said)))
    assert watch.beds.keys() == {"dryer-rh", "pdp"} and watch.gauges and watch.gases
    for name in watch.sensors:
        asked: set[str] = set()

        def value(of: str, asked: set[str] = asked) -> float | None:
            asked.add(of)
            return values[of]

        sensor_sense.fault(Sense(), watch, name, value)
        assert asked <= told[name]


def test_before_there_is_a_jobsite_nobody_is_heard() -> None:
    nobody = Hearing(State(), NOBODY)
    assert (nobody.anew(), nobody.next_ms(), dict(nobody.suspicions())) == ([], None, {})
