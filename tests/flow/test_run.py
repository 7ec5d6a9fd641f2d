"""The real program against a real Mosquitto: what comes in, what is believed, what survives."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from gateway import entry
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.replay import differences
from tests.broker import Mosquitto, settings, until_live
from tests.faults.kill_run import prepare, start
from tests.faults.real import until
from tests.sites import pack


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    (tmp_path / "broker").mkdir()
    made = Mosquitto(tmp_path / "broker")
    yield made
    made.stop()


class Site:
    """A home with the test jobsite in force, and hands on the running program."""

    def __init__(self, home: Path, broker: Mosquitto) -> None:
        self.home, self.broker = home, broker
        prepare(home)

    def start(self) -> None:
        self.process: subprocess.Popen[bytes] = start(self.home, self.broker.port)

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        return self.process.wait(15)

    def entries(self) -> list[tuple[Kind, bytes]]:
        with closing(open_reader(self.home / "journal.db")) as reader:
            return [(kind, body) for kind, _, body in map(entry.unpack, entries_after(reader, 0))]

    def flow(self) -> Flow:
        flow = Flow()
        with closing(open_reader(self.home / "journal.db")) as reader:
            flow.advance(entries_after(reader, 0), Outcomes())
        return flow

    def wait(self, count: int, seconds: float = 10) -> None:
        """Wait until so many messages, rejections and duplicates are in the journal."""
        kinds = (Kind.MESSAGE, Kind.REJECTION, Kind.DUPLICATE)
        end = time.monotonic() + seconds
        while sum(kind in kinds for kind, _ in self.entries()) < count:
            assert time.monotonic() < end, f"{count} messages expected, journal has {self.entries()}"
            time.sleep(0.1)


@pytest.fixture
def running(tmp_path: Path, broker: Mosquitto) -> Iterator[Site]:
    made = Site(tmp_path / "home", broker)
    with until_live(broker.port):
        made.start()
    yield made
    if made.process.poll() is None:
        made.stop(signal.SIGKILL)


def publish(broker: Mosquitto, *messages: tuple[str, bytes], retain: bool = False) -> None:
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    for topic, payload in messages:
        client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def test_garbage_is_journalled_and_counted_and_nothing_crashes(running: Site) -> None:
    """Each piece of garbage is a rejection with its reason; the readings among it arrive."""
    garbage = [b"hello", b'[{"n":"steel","v":NaN}]', b'[{"n":"steel","v":1e999}]', b" " * 1_048_576,
               pack("steel", 20, 3_786_912_000_000), pack("other", 1)]  # fmt: skip
    messages = [("dewgate/test/steel", each) for each in garbage]
    messages += [("dewgate/test/air-rh", pack("air-rh", 130)), ("dewgate/test/x/y", b"1")]
    publish(running.broker, *messages, ("dewgate/test/steel", pack("steel", 20, now_ms())))
    running.wait(len(messages) + 1)
    assert running.stop() == 0
    state = running.flow().state
    assert state.counts["rejected"] == len(messages) and state.counts["message"] == 1
    assert set(state.rejected) == {
        "not SenML", "too large", "bad time", "unknown sensor", "impossible value", "wrong topic",
    }  # fmt: skip


def test_a_retained_value_is_never_current(tmp_path: Path, broker: Mosquitto) -> None:
    """A value that lay at the broker is stored with its age unknown."""
    publish(broker, ("dewgate/test/steel", pack("steel", 20)), retain=True)
    made = Site(tmp_path / "home", broker)
    made.start()
    made.wait(1)
    made.stop()
    assert made.flow().state.counts == {"message": 1, "age unknown": 1}


def test_an_untimed_backlog_is_never_current_and_what_follows_is(running: Site) -> None:
    """Messages that waited at the broker while the gateway was away are stored, not judged."""
    running.stop()
    publish(running.broker, *[("dewgate/test/steel", pack("steel", 20 + n)) for n in range(5)])
    with until_live(running.broker.port):
        running.start()
    running.wait(5)
    publish(running.broker, ("dewgate/test/steel", pack("steel", 30)))
    running.wait(6)
    running.stop(signal.SIGKILL)  # a stop by hand would journal; the newest value must come from the entries
    state = running.flow().state
    assert state.counts["age unknown"] == 5
    assert state.newest["steel"].value == 30


def test_what_run_had_not_committed_comes_again(running: Site) -> None:
    """Killed in the middle of a backlog: everything is there once, and replay gives the same bytes."""
    running.stop()
    sent = [pack("steel", 20 + n / 1000, now_ms() - 30_000 + n) for n in range(3000)]
    publish(running.broker, *[("dewgate/test/steel", each) for each in sent])
    for _ in range(3):
        running.start()
        time.sleep(0.6)
        running.stop(signal.SIGKILL)
    running.start()
    found: list[bytes] = []
    for _ in range(100):
        found = [entry.message_of(body).payload for kind, body in running.entries() if kind is Kind.MESSAGE]
        if len(found) >= len(sent):
            break
        time.sleep(0.1)
    running.stop()
    assert sorted(found) == sorted(sent)
    with closing(open_reader(running.home / "journal.db")) as reader:
        assert differences(reader)[1] == []


def column(home: Path, query: str) -> list[Any]:
    with closing(open_reader(home / "journal.db")) as reader:
        return [row[0] for row in reader.execute(query)]


def events(home: Path, change: str = "") -> list[dict[str, Any]]:
    """The events in the journal, those of one change or all."""
    found = map(json.loads, column(home, "SELECT event FROM events"))
    return [each for each in found if change in ("", each["change"])]


def test_silence_alarms_and_the_outbox_holds_the_message(tmp_path: Path, broker: Mosquitto) -> None:
    """In simulated time: sensors that never speak are an alarm after the unknown delay, sent to the site lead."""
    made = Site(tmp_path / "home", broker)
    lapse = f"60,2030-01-01T00:00:00+00:00,{time.time()}"
    made.process = start(made.home, broker.port, "--time-lapse", lapse)
    until(lambda: len(events(made.home, "fault")) == 8 and events(made.home, "told") != [], "the alarms", 60)
    assert made.stop() == 0
    assert [e["change"] for e in events(made.home) if e["number"].startswith("A-")] == ["unknown", "told"]
    reasons = {each["reason"] for each in events(made.home, "fault")}
    assert reasons == {"nothing heard"}, "each sensor; nobody asked to know"
    assert column(made.home, "SELECT title FROM outbox") == ["A-1 Unknown: area A shell. Treat as outside limits."]


def test_the_shipped_broker_settings_are_the_ones_the_promises_need() -> None:
    """The broker's own default would drop all but a thousand waiting messages."""
    shipped = settings()
    assert int(shipped["max_queued_messages"]) >= 300_000
    assert (shipped["persistence"], shipped["autosave_on_changes"]) == ("true", "false")
    assert int(shipped["autosave_interval"]) <= 10
    assert 65_536 < int(shipped["message_size_limit"]) <= 2**20, "refused in words above 64 KiB, endless never"
