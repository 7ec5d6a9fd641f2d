"""A day of measured weather through a real broker: the gateway's dew points against two outside judges.

Weather: station Payerne, June 2016, as carried by pvlib 0.11.2 (BSRN). Judges: CoolProp 8.0.0 at the station's own
pressure, and the dew points the station reported itself (SYNOP).
"""

from __future__ import annotations

import dataclasses
import json
import signal
import statistics
import subprocess
import sys
import time
from contextlib import closing
from copy import copy
from pathlib import Path

import pytest
from CoolProp.CoolProp import HAPropsSI

from alerts.measured import Quantity
from gateway.adapters.journal import entries_after, open_reader
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from simulators import feed
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare, start
from tests.sites import sensor, site

DAY_S, FACTOR = 86_400, 960
MINUTE_MS = 60_000
EPOCH = "2016-06-01T00:00:00+00:00"


def put_in_force(home: Path) -> None:
    """A jobsite with the feed's sensors, speaking every minute, and no limit."""
    plain = site()
    sensors = (
        *[dataclasses.replace(s, interval_s=60.0) for s in plain.sensors[:3]],
        dataclasses.replace(sensor("steel", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact"), interval_s=60.0),
    )
    weather = dataclasses.replace(plain, id="payerne", sensors=sensors, trains=(), altitude_m=491.0)
    prepare(home, weather)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Play a day through the broker into the real program and return its home."""
    folder = tmp_path_factory.mktemp("day")
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker")
    put_in_force(folder / "home")
    lapse = f"{FACTOR},{EPOCH},{time.time() + 2:.3f}"
    running = start(folder / "home", broker.port, "--time-lapse", lapse)
    command = [sys.executable, "-m", "simulators.feed", "--broker", f"127.0.0.1:{broker.port}"]
    subprocess.run([*command, "--time-lapse", lapse, "--days", "1"], check=True, timeout=200)
    time.sleep(2)
    running.send_signal(signal.SIGTERM)
    assert running.wait(15) == 0
    broker.stop()
    return folder / "home"


Minute = tuple[float, float, float, float]  # air °C, RH, Pa, the gateway's dew or frost point °C


@pytest.fixture(scope="module")
def by_minute(home: Path) -> dict[int, Minute]:
    """Fold the journal again; what was judged is the newest readings as they stood before the entry."""
    flow, found = Flow(), {}
    with closing(open_reader(home / "journal.db")) as reader:
        for each in entries_after(reader, 0):
            # The flow changes its own state in place.
            before = [copy(flow.state.newest.get(name)) for name in ("air-t", "air-rh", "baro")]
            judged_ms, offset_ms = flow.state.judged_ms, flow.state.offset_ms
            flow.advance([each], Outcomes())
            stood = [n for n in before if n is not None]
            at = flow.conditions.get(("A", Quantity.DEW_POINT_MARGIN))
            if len(stood) < 3 or at is None or flow.state.judged_ms == judged_ms:
                continue
            if at[0].point_c is not None and len({n.measured_ms for n in stood}) == 1:
                t, rh, p = (n.value for n in stood)
                found[stood[0].measured_ms + offset_ms] = (t, rh, p, at[0].point_c)
    return found


def test_the_whole_day_arrives_and_is_judged(by_minute: dict[int, Minute]) -> None:
    """Nearly every minute of the day has a dew point; a few may fall between two looks at this speed."""
    assert len(by_minute) > 1300


def test_dew_points_are_those_of_coolprop(by_minute: dict[int, Minute]) -> None:
    """|gateway - CoolProp| <= 0.02 K above 0 °C, all minutes."""
    worst = 0.0
    for t, rh, p, point in by_minute.values():
        judge = HAPropsSI("D", "T", t + 273.15, "R", rh, "P", p) - 273.15
        if judge > 0:
            worst = max(worst, abs(point - judge))
    assert 0 < worst <= 0.02


def test_dew_points_are_those_the_station_reported(by_minute: dict[int, Minute]) -> None:
    """The 10 m channel was found 0.34 K above the station's own reports; within 1 K in the median of a day."""
    differences = []
    for report in feed.synop():
        at = round(report.time.timestamp() * 1000)
        near = [by_minute[at + k * MINUTE_MS] for k in range(-5, 6) if at + k * MINUTE_MS in by_minute]
        differences += [near[0][3] - report.dew_c] if near else []
    assert len(differences) >= 4
    assert abs(statistics.median(differences) - 0.34) < 0.66


def test_a_silent_limit_is_no_limit(home: Path) -> None:
    """A whole day without a stated limit brings no alarm of one; silent sensors are faults."""
    with closing(open_reader(home / "journal.db")) as reader:
        events = [json.loads(row[0]) for row in reader.execute("SELECT event FROM events")]
        told = reader.execute("SELECT count(*) FROM outbox").fetchone()
    assert {event["number"][:2] for event in events} == {"K-"} and told == (0,)
    faults = {event["limit"] for event in events if event["change"] == "fault"}
    assert faults == {
        "gateway clock set",
        *(f"sensor {name} silent" for name in ("air-t", "air-rh", "baro", "steel")),
    }
