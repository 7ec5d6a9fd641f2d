"""The door to the broker, against a real Mosquitto: what comes is what was sent, in whatever pieces."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from gateway.adapters.address import Address
from gateway.adapters.mqtt import READ_AHEAD, UNCOMMITTED, Broker, _ReadingAhead, outlived
from gateway.entry import Arrival
from tests.broker import Mosquitto


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path)
    yield broker
    broker.process.kill()
    broker.process.wait(10)


@pytest.fixture
def ours(mosquitto: Mosquitto) -> Iterator[Broker]:
    broker = Broker(Address("127.0.0.1", mosquitto.port), "ours", ["dewgate/test/#"], threading.Event())
    broker.start()
    until(lambda: broker._live)
    yield broker
    broker.stop()


def until(holds: Callable[[], bool], seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < deadline, "it did not come about"
        time.sleep(0.01)


def publisher(port: int) -> paho.Client:
    client = paho.Client(CallbackAPIVersion.VERSION2, "theirs", protocol=paho.MQTTv311)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def send(port: int, *messages: tuple[str, bytes, int, bool]) -> None:
    client = publisher(port)
    for topic, payload, qos, retain in messages:
        client.publish(topic, payload, qos, retain).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def taken(broker: Broker, count: int) -> list[Arrival]:
    until(lambda: len(broker.arrivals) >= count)
    return [broker.arrivals.popleft() for _ in range(count)]


def test_what_was_sent_arrives_with_its_facts(mosquitto: Mosquitto, ours: Broker) -> None:
    """QoS 0 has no packet id and no acknowledgement; payloads of every size, also none and beyond one read."""
    payloads = [b"", b"x", bytes(range(256)) * 4, b"y" * 127, b"z" * (3 * READ_AHEAD)]
    send(mosquitto.port, *[("dewgate/test/a", p, qos, False) for p in payloads for qos in (0, 1)])
    got = taken(ours, 10)
    assert [a.payload for a in got] == [p for p in payloads for _ in (0, 1)]
    assert [bool(a.packet_id) for a in got] == [False, True] * 5
    assert [a.token is None for a in got] == [True, False] * 5
    assert {a.topic for a in got} == {"dewgate/test/a"}
    assert not any(a.dup or a.retain or a.before_marker for a in got)


def test_a_retained_message_says_that_it_is(mosquitto: Mosquitto) -> None:
    """It was there before the subscription, so it came before the marker, too."""
    send(mosquitto.port, ("dewgate/test/käse", b"1", 1, True))
    broker = Broker(Address("127.0.0.1", mosquitto.port), "later", ["dewgate/test/#"], threading.Event())
    broker.start()
    (got,) = taken(broker, 1)
    broker.stop()
    assert got.topic == "dewgate/test/käse" and got.retain and got.before_marker


def test_a_burst_comes_whole_in_order_and_stops_at_the_uncommitted(mosquitto: Mosquitto, ours: Broker) -> None:
    """5,000 messages; never more than 1,000 wait uncommitted, and each is acknowledged once it is committed."""
    client, got, most = publisher(mosquitto.port), list[Arrival](), 0
    for number in range(5000):
        client.publish("dewgate/test/n", str(number).encode(), 1)
    while len(got) < 5000:
        until(lambda: len(ours.arrivals) > 0)
        time.sleep(0.005)
        batch = [ours.arrivals.popleft() for _ in range(len(ours.arrivals))]
        most = max(most, len(batch))
        got += batch
        ours.committed(batch)
    client.disconnect()
    client.loop_stop()
    assert [int(a.payload) for a in got] == list(range(5000))
    assert most <= UNCOMMITTED


def test_what_was_not_acknowledged_comes_again_after_a_cut(mosquitto: Mosquitto, ours: Broker) -> None:
    """The connection is cut in the middle of a stream; nothing read ahead from the old one is taken for new."""
    client = publisher(mosquitto.port)
    for number in range(300):
        client.publish("dewgate/test/n", str(number).encode() * 50, 1).wait_for_publish(10)
    first = taken(ours, 100)
    ours.committed(first[:50])
    time.sleep(0.3)
    assert ours.client._sock is not None
    ours.client._sock.close()
    until(lambda: sum(a.dup for a in ours.arrivals) >= 250)
    client.disconnect()
    client.loop_stop()
    again = [a for a in ours.arrivals if a.dup]
    assert [int(a.payload[: len(a.payload) // 50]) for a in again] == list(range(50, 300))
    assert all(a.before_marker for a in again)


def test_bytes_that_are_no_message_are_a_fault_of_the_protocol() -> None:
    """A topic longer than its packet is not read on into the next; a topic that is no UTF-8 is still told."""
    taken_: list[Arrival] = []
    client = _ReadingAhead("unit", taken_.append)
    for packet, rc in (
        (b"\x00\x09short", MQTTErrorCode.MQTT_ERR_PROTOCOL),
        (b"", MQTTErrorCode.MQTT_ERR_PROTOCOL),
        (b"\x00\x02ab\x00", MQTTErrorCode.MQTT_ERR_PROTOCOL),
        (b"\x00\x02\xff\xfe\x01\x02p", MQTTErrorCode.MQTT_ERR_SUCCESS),
    ):
        client._in_packet["command"], client._in_packet["packet"] = 0x3B, bytearray(packet)
        assert client._handle_publish() == rc
    (only,) = taken_
    assert (only.topic, only.payload, only.packet_id) == ("\ufffd\ufffd", b"p", 0x0102)
    assert only.dup and only.retain


def packet(first: int, topic: bytes, payload: bytes, number: bytes = b"") -> bytes:
    """A PUBLISH packet of MQTT 3.1.1, 3.3, with its remaining length as 2.2.3 counts it."""
    body, length = len(topic).to_bytes(2, "big") + topic + number + payload, bytearray()
    left = len(body)
    while left > 127:
        length.append(left % 128 + 128)
        left //= 128
    return bytes([first, *length, left]) + body


def test_whole_messages_are_taken_as_they_lie_and_all_else_is_left() -> None:
    """Of a piece of the stream, up to what is not whole, not for us, or too long for two bytes of length."""
    long, longest = b"x" * 300, b"y" * 16_370
    taken_: list[Arrival] = []
    whole = [
        (packet(0x30, b"t", b"0"), ("t", b"0", 0, False, False)),
        (packet(0x3B, b"t", b"1", b"\x01\x02"), ("t", b"1", 0x0102, True, True)),
        (packet(0x32, b"long", long, b"\x00\x03"), ("long", long, 3, False, False)),
        (packet(0x33, b"t", longest, b"\x00\x04"), ("t", longest, 4, False, True)),
    ]
    rests = (
        b"",
        b"\x32",  # no length yet
        packet(0x32, b"t", b"1", b"\x00\x05")[:-1],
        packet(0x32, b"t", long, b"\x00\x05")[:2],
        packet(0x32, b"t", b"z" * 16_384, b"\x00\x05"),
        packet(0x34, b"t", b"exactly once", b"\x00\x05"),
        b"\x40\x02\x00\x05",  # an acknowledgement
        b"\x32\x05\x00\x09short",  # its topic is longer than itself
    )
    for rest in rests:
        taken_.clear()
        client = _ReadingAhead("unit", taken_.append)
        client._ahead, client._last_bytes_received = b"".join(each for each, _ in whole) + rest, 0.0
        assert client._take_whole() and client._ahead[client._at :] == rest
        found = [(each.topic, each.payload, each.packet_id, each.dup, each.retain) for each in taken_]
        assert found == [expected for _, expected in whole]
        assert client._last_bytes_received > 0
        assert not client._take_whole() and len(taken_) == len(whole)


def test_what_is_subscribed_to_no_more_does_not_come_any_more(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """The session outlives the program, and with it each subscription, until it is taken back."""

    def heard(*topics: str) -> set[str]:
        before = outlived(tmp_path / "subscribed", topics)
        broker = Broker(Address("127.0.0.1", mosquitto.port), "ours", list(topics), threading.Event(), before)
        broker.start()
        until(lambda: broker._live)
        send(mosquitto.port, *[(topic, b"x", 1, False) for topic in ("old/a", "dewgate/old/b", "dewgate/new/c")])
        until(lambda: bool(broker.arrivals) and broker.arrivals[-1].topic.endswith("/c"))
        broker.committed(list(broker.arrivals))
        time.sleep(0.1)  # the acknowledgements are on their way
        broker.stop()
        return {each.topic for each in broker.arrivals}

    assert heard("dewgate/old/#", "old/+", "dewgate/new/#") == {"old/a", "dewgate/old/b", "dewgate/new/c"}
    for _ in range(2):
        assert heard("dewgate/new/#") == {"dewgate/new/c"}
    assert heard("dewgate/new/#", "old/+") == {"old/a", "dewgate/new/c"}


def test_without_its_file_nothing_is_taken_back(tmp_path: Path) -> None:
    """A folder that cannot be written, or a file of other bytes, does not keep the gateway from listening."""
    assert outlived(tmp_path / "missing" / "subscribed", ["a"]) == []
    (tmp_path / "subscribed").write_bytes(b"\xff\xfe\n")
    assert outlived(tmp_path / "subscribed", ["a"]) == []
    assert outlived(tmp_path / "subscribed", ["b"]) == ["a"]
