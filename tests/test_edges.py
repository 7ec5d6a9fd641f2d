"""The second connection, against a real Mosquitto: what an edge node sees of its host, and the host of it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from gateway.adapters.address import Address
from gateway.adapters.edges import EdgeNodes
from gateway.entry import Arrival
from gateway.payload.sparkplug_wire import read
from tests.broker import Mosquitto
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN, MESSAGES
from tests.test_mqtt import publisher, until

STATE = "spBv1.0/STATE/gateway"


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path)
    yield broker
    broker.process.kill()
    broker.process.wait(10)


@pytest.fixture
def node(mosquitto: Mosquitto) -> Iterator[paho.Client]:
    """An edge node that keeps what it hears of its host."""
    client = publisher(mosquitto.port)
    client.heard = []
    client.on_message = lambda _c, _u, message: client.heard.append((message.topic, message.payload))
    client.subscribe([("spBv1.0/STATE/#", 1), ("spBv1.0/site/NCMD/pump", 0)])
    until(client.is_connected)
    yield client
    client.disconnect()
    client.loop_stop()


@pytest.fixture
def edges(mosquitto: Mosquitto) -> Iterator[EdgeNodes]:
    made = EdgeNodes(
        Address("127.0.0.1", mosquitto.port), "gateway", [("site", "pump"), ("site", "pump")], threading.Event()
    )
    made.start()
    yield made
    made.stop()


def states(node: paho.Client) -> list[tuple[bool, int]]:
    found = [json.loads(payload) for topic, payload in node.heard if topic == STATE]
    return [(each["online"], each["timestamp"]) for each in found]


def test_the_host_says_when_it_is_there_and_when_it_goes(node: paho.Client, edges: EdgeNodes) -> None:
    """host-topic-phid-birth-payload, -death-payload: one timestamp for birth and death of a connection."""
    until(lambda: len(states(node)) == 1)
    edges.stop()
    until(lambda: len(states(node)) == 2)
    (there, born), (gone, died) = states(node)
    assert there and not gone and born == died


def test_messages_come_in_order_after_the_word_of_the_connection(node: paho.Client, edges: EdgeNodes) -> None:
    """Births, data and deaths of the bound node only; commands and other nodes are not asked for."""
    until(lambda: len(states(node)) == 1)
    for name in (
        BORN,
        DEVICE_BORN,
        "by alias seq 2",
        "rebirth request",
        "device death seq 2",
        "node death bdSeq 0",
    ):
        node.publish(MESSAGES[name].topic, MESSAGES[name].payload)
    node.publish("spBv1.0/site/NDATA/other", b"x").wait_for_publish(5)
    until(lambda: len(edges.waiting) >= 6)
    first, *rest = edges.waiting
    assert first == "connected to the broker anew"
    assert [each.topic.split("/")[2] for each in rest if isinstance(each, Arrival)] == [
        "NBIRTH", "DBIRTH", "DDATA", "DDEATH", "NDEATH",
    ]  # fmt: skip
    assert rest[2] == Arrival("spBv1.0/site/DDATA/pump/wall", MESSAGES["by alias seq 2"].payload)


def test_a_rebirth_is_asked_for_in_the_words_of_the_specification(node: paho.Client, edges: EdgeNodes) -> None:
    """'Node Control/Rebirth' = true on the node's own command topic."""
    until(lambda: len(states(node)) == 1)
    (kept,) = edges.ask([(("site", "pump"), "sequence gap")])
    assert kept == {"what": "rebirth asked for", "group": "site", "node": "pump", "why": "sequence gap"}
    until(lambda: any(topic == "spBv1.0/site/NCMD/pump" for topic, _ in node.heard))
    payload = read(dict(node.heard)["spBv1.0/site/NCMD/pump"])
    (metric,) = payload.metrics
    assert metric.name == "Node Control/Rebirth"


def test_a_lost_connection_is_told_and_begun_again(
    mosquitto: Mosquitto, node: paho.Client, edges: EdgeNodes
) -> None:
    """With a new timestamp; what was published meanwhile is not there."""
    until(lambda: len(states(node)) == 1)
    assert edges._client._sock is not None
    edges._client._sock.close()
    until(lambda: list(edges.waiting).count("connected to the broker anew") == 2)
    assert list(edges.waiting)[:2] == ["connected to the broker anew", "connection to the broker lost"]
    until(lambda: [there for there, _ in states(node)][-1] and len(states(node)) >= 2)
    assert states(node)[-1][1] > states(node)[0][1]
