"""Sources and edge nodes with the real program and a real broker: heard, asked again, another jobsite followed."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from gateway import entry, history_command
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Kind
from gateway.jobsite import Edge, EdgeValue, Source, SourceValue
from gateway.payload.canonical import config_set
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare, start
from tests.sites import site
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN, MESSAGES
from tests.test_mqtt import publisher, until

PUMP = Edge("site", "pump", (EdgeValue("baro", "baro"), EdgeValue("dryer-t", "steel", "wall")))
LOOP = Source("loop", "plant/steel", "number", (SourceValue("steel"),))


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path)
    yield broker
    broker.process.kill()
    broker.process.wait(10)


@pytest.fixture
def home(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Path]:
    folder = tmp_path / "home"
    prepare(folder, replace(site(), edges=(PUMP,)))
    run: subprocess.Popen[bytes] = start(folder, mosquitto.port)
    yield folder
    run.send_signal(signal.SIGTERM)
    assert run.wait(20) == 0


def kept(home: Path) -> list[tuple[Kind, bytes]]:
    with closing(open_reader(home / "journal.db")) as reader:
        return [(kind, body) for kind, _, body in map(entry.unpack, entries_after(reader, 0))]


def topics(home: Path) -> Counter[str]:
    return Counter(entry.message_of(body).topic for kind, body in kept(home) if kind is Kind.MESSAGE)


def sessions(home: Path) -> list[str]:
    return [json.loads(body)["what"] for kind, body in kept(home) if kind is Kind.EDGE_SESSION]


def test_an_edge_node_is_heard_asked_and_heard_again(home: Path, mosquitto: Mosquitto) -> None:
    """Connected, asked for its birth, born, a gap, asked again half a minute later: all is in the journal."""
    node = publisher(mosquitto.port)
    asked: list[bytes] = []
    node.on_message = lambda _c, _u, message: asked.append(message.payload)
    node.subscribe("spBv1.0/site/NCMD/pump")
    until(lambda: "rebirth asked for" in sessions(home))
    assert sessions(home)[0] == "connected to the broker anew"
    for name in (BORN, DEVICE_BORN, "by alias seq 2"):
        node.publish(MESSAGES[name].topic, MESSAGES[name].payload).wait_for_publish(5)
    until(lambda: topics(home)["spBv1.0/site/DDATA/pump/wall"] == 1)
    node.publish(MESSAGES["by alias seq 4"].topic, MESSAGES["by alias seq 4"].payload).wait_for_publish(5)
    until(lambda: sessions(home).count("rebirth asked for") == 2, 60)
    node.disconnect()
    node.loop_stop()
    assert history_command.run("replay", ["--home", str(home)], "") == 0


def test_another_jobsite_is_subscribed_to_without_a_new_start(home: Path, mosquitto: Mosquitto) -> None:
    """A source that the new jobsite names is heard, and no more once it is gone; nothing has to be restarted."""
    new = config_set(replace(site(), sources=(LOOP,)), "keeper", "a new probe")
    (home / "inbox" / "1.config.part").write_bytes(new)
    (home / "inbox" / "1.config.part").rename(home / "inbox" / "1.config")
    until(lambda: not (home / "inbox" / "1.config").exists())
    time.sleep(1.0)
    node = publisher(mosquitto.port)
    node.publish("plant/steel", b"19.5", 1).wait_for_publish(5)
    until(lambda: topics(home)["plant/steel"] == 1)
    (home / "inbox" / "2.config").write_bytes(config_set(site(), "keeper", "it is gone"))
    until(lambda: not (home / "inbox" / "2.config").exists())
    time.sleep(1.0)
    for topic, payload in (("plant/steel", b"19.6"), ("dewgate/test/steel", b'[{"n":"steel","v":19.7}]')):
        node.publish(topic, payload, 1).wait_for_publish(5)
    until(lambda: topics(home)["dewgate/test/steel"] == 1)
    assert not any(kind is Kind.REJECTION for kind, _ in kept(home))
    node.disconnect()
    node.loop_stop()
