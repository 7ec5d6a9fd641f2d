"""Who may say other than before, and until when what was said is kept."""

from __future__ import annotations

import pytest

from alerts.measured import Validity
from gateway.flow_state import Newest, State
from gateway.hearing import Hearing
from gateway.sensor_sense import NOBODY, Watch
from tests.sites import T0, site

PATIENCE_MS = 60_000
WATCH = Watch.of(site())
TRAIN = ["dryer-t", "dryer-rh", "line-p"]


@pytest.fixture
def heard() -> Hearing:
    """Three sensors of a salt dryer's outlet, heard at T0 and asked for once."""
    state = State(judged_ms=T0 + 1000)
    values = {"dryer-t": 30.0, "dryer-rh": 0.6, "line-p": 690_000.0}
    state.newest = {name: Newest(value, T0, T0, PATIENCE_MS) for name, value in values.items()}
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
    for name in ("dryer-t", "line-p"):
        say(heard, name, heard.state.newest[name].value, T0 + 500)
        assert heard.anew() == [each for each in TRAIN if each in (name, "dryer-rh")]
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


def test_before_there_is_a_jobsite_nobody_is_heard() -> None:
    nobody = Hearing(State(), NOBODY)
    assert (nobody.anew(), nobody.next_ms(), dict(nobody.suspicions())) == ([], None, {})
