"""The air of probes kept up to date: what is asked again, and what is left as it is."""

from __future__ import annotations

from typing import Any

import pytest

from alerts.measured import Measured, Validity, unknown
from gateway.jobsite import Point as Outlet
from gateway.probes import Elsewhere, Probe, absolute, at_outlet, at_station
from gateway.said import Channels
from gateway.uncertainty import weighted
from tests.sites import site

SAY = {
    "air-t": 22.0, "air-rh": 0.62, "baro": 101_325.0, "dryer-t": 40.0, "dryer-rh": 0.5, "line-p": 6e5,
    "steel": 1e5,
}  # fmt: skip


class Heard:
    """Channels of the test site that can be made to say something else."""

    def __init__(self) -> None:
        self.says = {name: Measured(value, 0.01, 10, Validity.GOOD) for name, value in SAY.items()}
        self.of = Channels(site(), self.says.__getitem__)
        self.of.renew(SAY)

    def say(self, name: str, **changes: Any) -> None:
        self.says[name] = self.says[name]._replace(**changes)
        self.of.renew([name])

    def station(self) -> Probe:
        return at_station(site().stations[0], self.of)

    def line(self) -> Probe:
        return at_outlet(Outlet("dryer-t", "dryer-rh", "line-p"), self.of["line-p"], self.of["baro"], self.of)


def test_a_probe_whose_sensors_say_the_same_is_as_it_was() -> None:
    """So nothing that is made from it has to be made again."""
    heard = Heard()
    probe = heard.station()
    before = probe.air, probe.point
    assert not probe.renew()
    assert (probe.air, probe.point) == before


@pytest.mark.parametrize("name", ["air-t", "air-rh", "baro"])
def test_another_value_makes_air_and_point_again(name: str) -> None:
    """As they are made from nothing."""
    heard = Heard()
    probe, before = heard.station(), heard.station().point
    value = heard.says[name].value
    assert value is not None
    heard.say(name, value=value * 0.99)
    assert probe.renew()
    fresh = heard.station()
    assert (probe.air, probe.point) == (fresh.air, fresh.point)
    assert probe.point.value_c != before.value_c


def test_silence_and_its_end_reach_the_point() -> None:
    """Unknown with its reason, and known again with the same numbers as before."""
    heard = Heard()
    probe = heard.station()
    before = probe.point
    heard.says["air-rh"] = unknown("air-rh: silent", 10)
    heard.of.renew(["air-rh"])
    assert probe.renew()
    assert probe.point.exact is None and probe.point.told.reason == "air-rh: silent"
    heard.says["air-rh"] = Measured(0.62, 0.01, 10, Validity.GOOD)
    heard.of.renew(["air-rh"])
    assert probe.renew()
    assert probe.point.exact == before.exact


def test_an_upper_bound_is_not_called_lopsided_and_a_value_is() -> None:
    """The same number with another flag is another point."""
    heard = Heard()
    heard.say("air-rh", value=0.02)
    probe = heard.station()
    assert probe.point.skew is not None
    heard.say("air-rh", validity=Validity.BOUND)
    assert probe.renew()
    assert probe.point.skew is None


def test_a_line_s_point_elsewhere_follows_its_probe_and_its_own_gauge() -> None:
    """At half the pressure the point is lower; the gauge's own words stand in front."""
    heard = Heard()
    probe = heard.line()
    there = Elsewhere(probe, heard.of["steel"], heard.of["baro"])  # a gauge at 1 bar
    assert set(there.names) == {"dryer-t", "dryer-rh", "line-p", "baro", "steel"}
    before = there.point.value_c
    assert before is not None and probe.point.value_c is not None and before < probe.point.value_c - 5.0
    assert not there.renew()
    heard.say("dryer-t", value=45.0)
    assert probe.renew() and there.renew()
    assert there.point.value_c is not None and there.point.value_c > before
    heard.say("steel", reason="steel: jumped")
    assert not probe.renew()
    assert there.renew() and there.point.told.reason == "steel: jumped"


def test_the_absolute_pressure_is_gauge_and_barometer() -> None:
    """Their sum with both their parts, as old as the older of them."""
    heard = Heard()
    heard.say("line-p", since_ms=40)
    gauge, baro = heard.of["line-p"], heard.of["baro"]
    p, said = absolute(gauge, baro)()
    assert p == weighted(701_325.0, (1.0, gauge.exact), (1.0, baro.exact))
    assert said.since_ms == 10


def test_a_line_is_made_from_every_sensor_of_its_outlet() -> None:
    """So that a word of any of them reaches its point."""
    of = Heard().of
    probe = at_outlet(Outlet("dryer-t", "dryer-rh", "line-p", "pot-skin"), of["line-p"], of["baro"], of)
    assert set(probe.names) == {"dryer-t", "dryer-rh", "line-p", "baro", "pot-skin"}
    assert set(Heard().station().names) == {"air-t", "air-rh", "baro"}


def test_a_transmitter_s_vapour_needs_the_accuracy_of_the_pressure_stated() -> None:
    """By the enhancement factor it depends on it, though too little to count."""
    heard = Heard()
    heard.says["pot-skin"] = Measured(10.0, 0.5, 10, Validity.GOOD)  # as a dew point
    heard.of.renew(["pot-skin"])
    probe = at_outlet(
        Outlet(pressure="line-p", pressure_dew_point="pot-skin"), heard.of["line-p"], heard.of["baro"], heard.of
    )
    assert probe.point.exact is not None and probe.point.exact.u == pytest.approx(0.5, rel=1e-3)
    heard.say("baro", u=None)
    assert probe.renew()
    assert probe.point.value_c == pytest.approx(10.0, abs=0.002) and probe.point.exact.u is None
