"""The simulated jobsite tells the story the demonstration needs, and the measured month is read whole."""

from __future__ import annotations

import ast
import asyncio
import json
import shutil
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path

import aiomqtt
import pytest

from simulators import air_train, feed, jobsite, publish, time_lapse
from simulators.scenario import SCENARIOS, Scenario
from simulators.sensors import Fault, Instrument, Sensor
from simulators.weather import Dusk, dew_point_c, saturation_pa

MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin")
EPOCH = datetime(2026, 6, 10, 16, 30, tzinfo=UTC)
PER_MINUTE = round(60 / jobsite.STEP_S)


@pytest.fixture(scope="module")
def evening() -> list[jobsite.Truth]:
    """Five simulated hours of the demonstration, a truth every 10 s."""
    return list(islice(jobsite.truths(SCENARIOS["dusk"]), 300 * PER_MINUTE + 1))


@pytest.fixture(scope="module")
def month() -> list[feed.Minute]:
    """The measured month."""
    return list(feed.month())


def first_minute(values: list[float], limit: float) -> float:
    """The first simulated minute in which a value is below the limit."""
    return next(i for i, v in enumerate(values) if v < limit) / PER_MINUTE


# The story


def test_all_is_well_at_the_start(evening: list[jobsite.Truth]) -> None:
    """In the first half hour (30 real seconds) the steel has 7 to 8.5 K and the pot about 6 K in hand."""
    first = evening[: 30 * PER_MINUTE]
    assert 7.5 < first[0].steel_margin_k < 8.5
    assert min(t.steel_margin_k for t in first) > 6.8
    assert 5.5 < min(t.pot_margin_k for t in first) < 9.0


def test_steel_passes_its_marks_on_time(evening: list[jobsite.Truth]) -> None:
    """3.7 K after about 2 real minutes, below 3.0 K after 2.5 to 3, and below from then on."""
    margins = [t.steel_margin_k for t in evening]
    assert 110 < first_minute(margins, 3.7) < 130
    crossing = first_minute(margins, 3.0)
    assert 150 < crossing < 180
    assert max(margins[round(crossing * PER_MINUTE) :]) < 3.0


def test_steel_margin_only_falls(evening: list[jobsite.Truth]) -> None:
    """From one 10 s step to the next the margin never rises, so that no limit is passed twice."""
    assert all(after <= before for before, after in pairwise(t.steel_margin_k for t in evening))


def test_steel_falls_below_the_air(evening: list[jobsite.Truth]) -> None:
    """The plate radiates to the sky: by night its coldest spot is 1 to 5 K below the air."""
    last = evening[-1]
    assert 1.0 < last.weather.air_c - last.walls.low_c < 5.0
    assert last.walls.low_c < last.walls.high_c


def test_spent_salt_wets_the_pot(evening: list[jobsite.Truth]) -> None:
    """The pot's margin is above 5 K until minute 180 and below 0 before minute 230, for good."""
    margins = [t.pot_margin_k for t in evening]
    assert min(margins[: 180 * PER_MINUTE]) > 5.0
    assert 190 < first_minute(margins, 0.0) < 230
    assert max(margins[230 * PER_MINUTE :]) < 0.0
    assert evening[-1].train.pot.liquid > 0.0


def test_steady_stays_well() -> None:
    """The scenario without events still has its margins after ten hours."""
    last = next(islice(jobsite.truths(SCENARIOS["steady"]), 600 * PER_MINUTE, None))
    assert last.steel_margin_k > 7.0
    assert last.pot_margin_k > 5.0


def test_readings_carry_the_story_through_noise() -> None:
    """The margins worked out from the published numbers alone pass the same marks."""
    rows = list(islice(jobsite.samples(SCENARIOS["dusk"]), 300 * PER_MINUTE))
    margins = [published_margin_k(row) for row in rows]
    assert margins[0] == pytest.approx(8.0, abs=0.5)
    assert 105 < first_minute(margins, 3.7) < 130
    assert 145 < first_minute(margins, 3.0) < 175
    assert max(margins[180 * PER_MINUTE :]) < 3.0


def published_margin_k(row: publish.Row) -> float:
    """Steel margin [K] from one row of readings."""
    air_c, rh, steel_c = row["air-t"], row["air-rh"], row["steel-low"]
    assert air_c is not None
    assert rh is not None
    assert steel_c is not None
    return steel_c - dew_point_c(rh / 100.0 * saturation_pa(air_c))


def test_sensor_ids_and_units() -> None:
    """The twelve sensors that the jobsite file lists, in their units."""
    assert jobsite.UNITS == {
        "air-t": "Cel", "air-rh": "%RH", "baro": "hPa", "steel-low": "Cel", "steel-high": "Cel",
        "recv-t": "Cel", "recv-rh": "%RH", "dryer-t": "Cel", "dryer-rh": "%RH",
        "line-p": "bar", "pot-p": "bar", "pot-skin": "Cel",
    }  # fmt: skip


def test_same_scenario_same_series() -> None:
    """Two plays of one scenario give the same readings."""
    first, second = (list(islice(jobsite.samples(SCENARIOS["dusk"]), 200)) for _ in range(2))
    assert first == second


# The physics


def test_dew_point_inverts_saturation() -> None:
    """Saturation and dew point undo each other."""
    for tenth in range(-200, 600):
        assert dew_point_c(saturation_pa(tenth / 10)) == pytest.approx(tenth / 10, abs=1e-9)


@pytest.mark.parametrize(("equilibrium_rh", "outlet_c", "dew_c"), [(0.50, 45.0, 32.1), (0.33, 47.4, 27.0)])
def test_salt_bed_worked_case(equilibrium_rh: float, outlet_c: float, dew_c: float) -> None:
    """Saturated 40 degC at 8 bar absolute through an adiabatic bed: a worked case, reckoned beforehand."""
    out = air_train.salt_dryer(air_train.Gas(40.0, saturation_pa(40.0), 8e5), equilibrium_rh)
    assert out.temperature_c == pytest.approx(outlet_c, abs=0.3)
    assert dew_point_c(out.vapour_pa) == pytest.approx(dew_c, abs=0.3)


def test_spent_salt_changes_nothing() -> None:
    """At RH_eq 1 saturated gas leaves as it came."""
    gas = air_train.Gas(25.0, saturation_pa(25.0), 8e5)
    out = air_train.salt_dryer(gas, 1.0)
    assert out.temperature_c == pytest.approx(25.0, abs=1e-6)
    assert out.vapour_pa == pytest.approx(gas.vapour_pa, rel=1e-6)


def test_dry_gas_passes_the_salt() -> None:
    """Gas below RH_eq gives the salt no water and is not warmed."""
    out = air_train.salt_dryer(air_train.Gas(30.0, 0.2 * saturation_pa(30.0), 8e5), 0.5)
    assert (out.temperature_c, out.vapour_pa) == (30.0, 0.2 * saturation_pa(30.0))


def test_cooling_keeps_the_water() -> None:
    """What leaves the vapour is carried as liquid: nothing is lost until it is drained."""
    hot = air_train.Gas(100.0, 10_000.0, 8e5)
    cold = air_train.cooled(hot, 25.0)
    assert cold.liquid > 0.0
    assert cold.vapour + cold.liquid == pytest.approx(hot.vapour)


# The instruments


def played(kind: str, steps: int = 5) -> list[float | None]:
    """Readings of a ramp (0, 10, 20 ...) with one fault from the third step to before the fifth."""
    assert kind in {"stuck", "silent", "drift"}
    fault = Fault("x", kind, 20.0, 40.0, drift_per_hour=3600.0)  # type: ignore[arg-type]
    sensor = Sensor(Instrument("x", "Cel", 0.0, 0.1), (fault,))
    return [sensor.read(10.0 * step, 10.0 * step, 10.0) for step in range(steps)]


def test_faults() -> None:
    """Stuck repeats, silent says nothing, drift adds; all end when they should."""
    assert played("stuck") == [0.0, 10.0, 10.0, 10.0, 40.0]
    assert played("silent") == [0.0, 10.0, None, None, 40.0]
    assert played("drift") == [0.0, 10.0, 20.0, 40.0, 40.0]


def test_lag_follows_slowly() -> None:
    """After one time constant a sensor shows 63 % of a step."""
    sensor = Sensor(Instrument("x", "Cel", 0.0, 0.001, lag_s=10.0))
    assert sensor.read(0.0, 0.0, 10.0) == 0.0
    assert sensor.read(1.0, 10.0, 10.0) == pytest.approx(0.632, abs=0.001)


# Time


def test_time_lapse() -> None:
    """At the anchor it is the epoch; one real second later, a minute more."""
    lapse = time_lapse.parse("60,2026-06-10T16:30:00Z,1764080000.0")
    assert lapse.simulated_s(1764080000.0) == EPOCH.timestamp()
    assert lapse.simulated_s(1764080001.0) == EPOCH.timestamp() + 60.0


def test_plain_clock() -> None:
    """Without a time-lapse, simulated time is the wall clock."""
    assert time_lapse.parse("").simulated_s(5e9) == pytest.approx(5e9)


@pytest.mark.parametrize("text", ["60", "0,2026-06-10T16:30:00Z,1", "60,2026-06-10T16:30:00,1", "a,b,c"])
def test_bad_time_lapse(text: str) -> None:
    """A time-lapse that cannot be meant is refused."""
    with pytest.raises(ValueError, match=r".+"):
        time_lapse.parse(text)


def test_pack_is_one_absolute_record() -> None:
    """One SenML record with name, unit, value and absolute time."""
    (record,) = json.loads(publish.pack("air-t", "Cel", 21.4, 1781109000.0))
    assert record == {"n": "air-t", "u": "Cel", "v": 21.4, "t": 1781109000.0}
    assert record["t"] >= 2**28  # RFC 8428, 4.5.3: below this a time would count as relative


# The measured month


def test_month_is_whole(month: list[feed.Minute]) -> None:
    """30 days of minutes, none missing, none twice."""
    assert len(month) == 43_200
    assert month[0].time == feed.START
    assert all(b.time - a.time == timedelta(minutes=1) for a, b in pairwise(month))


def test_fills_are_missing(month: list[feed.Minute]) -> None:
    """Fills become None: the first minute has air but no radiation, and 0.03 % of fluxes are missing."""
    assert (month[0].air_c, month[0].rh_percent, month[0].pressure_hpa) == (10.4, 88.6, 958.0)
    assert (month[0].shortwave_down, month[0].longwave_up) == (None, None)
    assert all(row.air_c is not None and 5.0 < row.air_c < 35.0 for row in month)
    missing = sum(row.longwave_down is None for row in month)
    assert missing / len(month) == pytest.approx(0.0003, abs=0.0001)


def test_a_fill_is_not_published(monkeypatch: pytest.MonkeyPatch, month: list[feed.Minute]) -> None:
    """A minute without an air temperature has None for that sensor, never a number."""
    gap = feed.Minute(month[1].time, None, feed.number("-99.9"), feed.number("-999"), None, None, None, None)
    monkeypatch.setattr(feed, "month", lambda _path=None: iter([month[0], gap]))
    second = list(feed.samples())[1]
    assert (second["air-t"], second["air-rh"], second["baro"]) == (None, None, None)


def test_synop_agrees_with_the_mast(month: list[feed.Minute]) -> None:
    """The dew point of the 10 m sensor lies within 1 K of the station's reports, 0.3 K above on average."""
    at = {row.time: row for row in month}
    above = [mast_dew_c(at[r.time]) - r.dew_c for r in feed.synop() if r.dew_c is not None]
    assert len(above) == 179
    assert statistics.mean(above) == pytest.approx(0.32, abs=0.1)
    assert statistics.stdev(above) < 1.0


def mast_dew_c(row: feed.Minute) -> float:
    """Dew point [degC] of the 10 m sensor."""
    assert row.air_c is not None
    assert row.rh_percent is not None
    return dew_point_c(row.rh_percent / 100.0 * saturation_pa(row.air_c))


def test_synop_line() -> None:
    """One line read by hand, and one with frost and a group 333 that must not count."""
    report = feed.report("01069 06610 80002 10094 20083 39578 40153 7//// 885// 333 81707 88640")
    assert report == feed.Synop(datetime(2016, 6, 1, 6, tzinfo=UTC), 9.4, 8.3, 2.0)
    frost = feed.report("01069 06610 800// 11012 333 20083")
    assert (frost.air_c, frost.dew_c, frost.wind_m_s) == (-1.2, None, None)


def test_plate_of_the_month(month: list[feed.Minute]) -> None:
    """The plate stays within what steel does in June, warm by day and below the air on clear nights."""
    plate = list(feed.plate_c(month, feed.synop()))
    assert min(plate) > 0.0
    assert max(plate) < 70.0
    below = [row.air_c - steel for row, steel in zip(month, plate, strict=True) if row.air_c is not None]
    assert 2.0 < max(below) < 10.0


def test_feed_starts_at_the_epochs_time_of_day() -> None:
    """An epoch at 16:30 starts with the row of 16:30, so that day and night agree with the clock."""
    assert feed.first_row(time_lapse.TimeLapse(60.0, EPOCH.timestamp(), 0.0)) == 16 * 60 + 30


# Import rule


@pytest.mark.parametrize("path", sorted(Path(jobsite.__file__).parent.glob("*.py")), ids=lambda p: p.name)
def test_simulators_share_nothing_with_the_gateway(path: Path) -> None:
    """Own physics: an error in the gateway cannot hide in its own simulator."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = {name for node in ast.walk(tree) for name in imported(node)}
    assert not {name for name in names if name.split(".")[0] in {"gateway", "alerts"}}


def imported(node: ast.AST) -> list[str]:
    """Names of the modules that one statement imports."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    return [node.module or ""] if isinstance(node, ast.ImportFrom) else []


# Against a real broker


@pytest.fixture
def broker() -> Iterator[int]:
    """A broker process on a free loopback port."""
    if MOSQUITTO is None:
        pytest.skip("mosquitto is not installed")
    port = free_port()
    with subprocess.Popen([MOSQUITTO, "-p", str(port)], stderr=subprocess.DEVNULL) as process:
        wait_for(port)
        yield port
        process.terminate()


def free_port() -> int:
    """A loopback port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(port: int) -> None:
    """Return when something listens on the port, within 5 s."""
    end = time.monotonic() + 5.0
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    pytest.fail("the broker did not start")


async def heard(port: int, count: int) -> list[tuple[str, int, bytes]]:
    """The first count messages under dewgate/: topic, QoS, payload."""
    got: list[tuple[str, int, bytes]] = []
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe("dewgate/#", qos=1)
        async for message in client.messages:
            got.append((str(message.topic), message.qos, bytes(message.payload)))
            if len(got) == count:
                break
    return got


@pytest.mark.parametrize(
    ("module", "units", "site"),
    [("publish", jobsite.UNITS, "saltmarsh"), ("feed", feed.UNITS, "payerne")],
)
def test_messages_at_a_broker(broker: int, module: str, units: dict[str, str], site: str) -> None:
    """Every sensor arrives on its topic, with QoS 1, in its unit and near the simulated time."""
    lapse = time_lapse.TimeLapse(60.0, EPOCH.timestamp(), time.time())
    text = f"60,2026-06-10T16:30:00Z,{lapse.anchor_s}"
    command = [
        sys.executable,
        "-m",
        f"simulators.{module}",
        "--broker",
        f"127.0.0.1:{broker}",
        "--time-lapse",
        text,
    ]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as process:
        messages = asyncio.run(asyncio.wait_for(heard(broker, 3 * len(units)), 20.0))
        process.terminate()
    assert {topic for topic, _, _ in messages} == {f"dewgate/{site}/{sensor}" for sensor in units}
    assert {qos for _, qos, _ in messages} == {1}
    for topic, _, payload in messages:
        (record,) = json.loads(payload)
        assert record["u"] == units[topic.rpartition("/")[2]]
        assert EPOCH.timestamp() <= record["t"] <= lapse.simulated_s(time.time())


def test_salt_goes_from_fresh_to_spent() -> None:
    """The salt goes from fresh to spent and no further."""
    story = Scenario("x", Dusk(), spending_s=100.0, spent_s=200.0)
    assert [story.equilibrium_rh(t) for t in (0.0, 100.0, 150.0, 200.0, 1e6)] == [0.5, 0.5, 0.75, 1.0, 1.0]
