"""A measured month through the whole flow: the humidity sensor that is truly biased is found, an honest one not.

Weather: station Payerne, June 2016, as carried by pvlib 0.11.2 (BSRN): all 30 days, every fifth minute. The 2 m
probe reads about 1 K of dew point above the 10 m probe at all hours. Beside the 10 m probe stands a simulated
twin: the same air with an offset of half its stated accuracy and honest noise. The 30 m probe is no healthy one:
in humid hours it reads up to 10 % more vapour than the one at 10 m, in dry hours the same.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import pytest

from alerts.measured import Quantity
from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Area, Jobsite, Sensor, Station
from gateway.payload import canonical
from simulators import feed
from tests.sites import T0, sensor, site

EVERY_MIN = 5
PROBES = ("low", "mast", "twin", "top")


def _probe(name: str) -> list[Sensor]:
    made = [
        sensor(f"{name}-t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air"),
        sensor(f"{name}-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"),
    ]
    return [replace(each, topic=name, interval_s=60.0 * EVERY_MIN) for each in made]


def payerne() -> Jobsite:
    """Four probes outside at one place; pressure as measured; nothing but air."""
    baro = replace(
        sensor("baro", Quantity.STATION_PRESSURE, "hPa", 100.0, "absolute"), interval_s=60.0 * EVERY_MIN
    )
    return replace(
        site(), altitude_m=491.0, trains=(), limits=(),
        sensors=(baro, *[each for name in PROBES for each in _probe(name)]),
        stations=tuple(Station(name, name, f"{name}-t", f"{name}-rh", "baro") for name in PROBES),
        areas=(Area("A", "mast", PROBES, ()),),
    )  # fmt: skip


def rows() -> Iterator[dict[str, tuple[float, float]]]:
    """Temperature [°C] and humidity [%RH] of each probe, every fifth minute; the file has them without a gap."""
    parts, chance = feed.sections(feed.month_file()), random.Random(1)
    columns = [list(feed.two_line_rows(parts[record])) for record in ("0100", "3010", "3030")]
    for number, (low, mast, top) in enumerate(zip(*columns, strict=True)):
        if number % EVERY_MIN:
            continue
        t, rh = float(mast[-2]), float(mast[-1])
        twin = (round(t + 0.15 + chance.gauss(0.0, 0.1), 1), round(rh + 1.0 + chance.gauss(0.0, 0.5), 1))
        yield {
            "low": (float(low[-3]), float(low[-2])), "mast": (t, rh), "twin": twin,
            "top": (float(top[-2]), float(top[-1])), "baro": (float(low[-1]), 0.0),
        }  # fmt: skip


def _send(flow: Flow, out: Outcomes, now: int, row: dict[str, tuple[float, float]]) -> None:
    for name in PROBES:
        t, rh = row[name]
        pack = [
            {"n": f"{name}-t", "v": t, "t": now / 1000},
            {"n": f"{name}-rh", "v": min(rh, 103.0), "t": now / 1000},
        ]
        flow.receive(Arrival(f"dewgate/test/{name}", json.dumps(pack).encode()), now, out)
    baro = [{"n": "baro", "v": row["baro"][0], "t": now / 1000}]
    flow.receive(Arrival("dewgate/test/baro", json.dumps(baro).encode()), now, out)


@dataclass
class Month:
    """What was said in a month: flags (mean of ln(e1/e2)) hour by hour, every word, and the flow at its end."""

    flow: Flow = field(default_factory=Flow)
    by_hour: list[dict[str, float]] = field(default_factory=list)
    said: set[str] = field(default_factory=set)


@pytest.fixture(scope="module")
def month() -> Month:
    """Fold the month."""
    made, out = Month(), Outcomes()
    put = entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(payerne(), "keeper", "test"))
    made.flow.advance([put], out)
    for number, row in enumerate(rows()):
        _send(made.flow, out, T0 + number * EVERY_MIN * 60_000, row)
        if (number + 1) % (60 // EVERY_MIN) == 0:
            pairs = made.flow.state.sense.pairs
            made.by_hour.append({key: pair.off for key, pair in pairs.items() if pair.off is not None})
            made.said |= {word for words in made.flow.suspicions().values() for word in words}
    return made


def test_the_whole_month_was_heard(month: Month) -> None:
    """30 days of 288 rows, five messages each; nothing refused, late or twice."""
    assert month.flow.state.counts == {"message": 30 * 288 * 5}
    assert len(month.by_hour) == 720


def test_the_biased_humidity_sensor_is_flagged_within_a_day_and_stays_flagged(month: Month) -> None:
    """2 m against 10 m: named within 24 h and at the end of each of the 30 days, by 6 to 11 % of vapour."""
    found = [hour.get("low-rh mast-rh") for hour in month.by_hour]
    assert any(off is not None for off in found[:24])
    daily = found[23::24]
    assert len(daily) == 30
    assert all(off is not None and 0.06 < off < 0.12 for off in daily)


def test_the_healthy_pair_is_never_flagged(month: Month) -> None:
    """The 10 m probe and its honest twin agree in every hour of the month, and were compared all along."""
    assert not any("mast-rh twin-rh" in hour for hour in month.by_hour)
    pair = month.flow.state.sense.pairs["mast-rh twin-rh"]
    assert len(pair.hours) >= 5
    assert -0.05 < sum(off for _, off, _ in pair.hours) / len(pair.hours) < 0.0


def test_no_real_channel_is_called_stuck_or_jumping(month: Month) -> None:
    """A month of nine healthy channels: pairs that disagree and long wet hours are all that is said."""
    words = {word for word in month.said if not word.startswith("vapour pressure")}
    assert words == {"may read up to 3 %RH high: it stood above 80 %RH for more than 60 h"}
