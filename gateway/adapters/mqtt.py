"""The one door to the broker: MQTT 3.1.1, QoS 1, persistent session, acknowledged only after the commit.

The broker keeps the backlog. paho's thread only puts messages on a deque and stops reading while 1,000 are
not yet committed. After every connect the client publishes a marker to itself; until it comes back a message
may have waited at the broker for any length of time.
"""

from __future__ import annotations

import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from secrets import token_hex
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from gateway.adapters.address import Address
from gateway.adapters.broker_check import Watch
from gateway.adapters.link import Link
from gateway.entry import Arrival

UNCOMMITTED = 1000
READ_AHEAD = 65_536
PUBLISH, PUBACK, DUP, RETAIN = 0x30, 0x40, 0x08, 0x01
_UP_TO_QOS_1 = 0xF4  # of a packet's first byte: its kind, and the bit that is set from QoS 2 on
_PUBACK = struct.Struct(">BBH")
MARKER = "dewgate-marker"
LEAVING_S = 0.2  # for the end of paho's thread; what is acknowledged is on its way long before


class _ReadingAhead(paho.Client):
    """paho's client, with one system call for as many packets as have come instead of three for each.

    Only receiving differs: the stream is read in large pieces, and the messages that lie whole in a piece go
    straight to their taker, past the library's assembling of packets, its log and topic filters. What else
    arrives is handled by the library. The names are private ones of the pinned version; tests/flow would not
    pass without them.
    """

    _ahead, _at = b"", 0

    def __init__(self, client_id: str, take: Callable[[Arrival], None]) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2, client_id, clean_session=False, protocol=paho.MQTTv311, manual_ack=True
        )
        self._take = take

    def _create_socket(self) -> Any:
        self._ahead, self._at = b"", 0  # what the last connection had left belongs to nobody now
        return super()._create_socket()

    def _sock_recv(self, bufsize: int) -> bytes:
        if self._at == len(self._ahead):
            self._ahead, self._at = super()._sock_recv(READ_AHEAD), 0
        piece = self._ahead[self._at : self._at + bufsize]
        self._at += len(piece)
        return piece

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        rc = super().loop_read(max_packets)
        while not rc and self._at < len(self._ahead) and self._sock is not None:
            if self._in_packet["command"] or not self._take_whole():
                rc = super().loop_read(max_packets)
        return rc

    def _take_whole(self) -> bool:
        """Take the messages that lie whole before us, up to the first packet that is none or is not whole."""
        ahead, begin = self._ahead, self._at
        while self._at + 2 < len(ahead) and ahead[self._at] & _UP_TO_QOS_1 == PUBLISH:
            start, size = self._at + 2, ahead[self._at + 1]
            if size > 127:  # lengths of three bytes and more are the library's
                start, size = start + 1, size - 128 + 128 * ahead[start]
            packet = ahead[start : start + size]
            if len(packet) < size or size > 16_383 or not self._take_message(ahead[self._at], packet):
                break
            self._at = start + size
        with self._msgtime_mutex:
            self._last_bytes_received = time.monotonic()
        return self._at > begin

    def _take_message(self, command: int, packet: bytes) -> bool:
        """Hand over a message of QoS 0 or 1; False where it ends before what it says is in it."""
        end = 2 + int.from_bytes(packet[:2], "big")
        start = end + (command & 2)  # at QoS 1 its number lies between
        if start > len(packet):
            return False
        topic, packet_id = packet[2:end].decode("utf-8", "replace"), int.from_bytes(packet[end:start], "big")
        self._take(Arrival(topic, packet[start:], packet_id, command & DUP > 0, command & RETAIN > 0))
        return True

    def _handle_publish(self) -> MQTTErrorCode:
        command = self._in_packet["command"]
        if command & _UP_TO_QOS_1 != PUBLISH:
            return super()._handle_publish()
        known = self._take_message(command, bytes(self._in_packet["packet"]))
        return MQTTErrorCode.MQTT_ERR_SUCCESS if known else MQTTErrorCode.MQTT_ERR_PROTOCOL


class Broker:
    """A subscription to one jobsite's topics."""

    def __init__(
        self, at: Address, client_id: str, topics: list[str], wake: threading.Event, no_more: Sequence[str] = ()
    ) -> None:
        """Args: no_more: topics that are subscribed to no longer, see `outlived`."""
        self._no_more = list(no_more)
        self.arrivals: deque[Arrival] = deque()
        self._wake, self._topics, self._marker_topic = wake, topics, f"{MARKER}/{client_id}"
        self._marker, self._live = b"", False
        # Each number has one thread that changes it, so only waiting for room needs the lock.
        self._received, self._committed, self._room = 0, 0, threading.Condition()
        self._stopping = False
        self._link = Link(str(at))
        self._watch = Watch(at, client_id, self._link, lambda: self._live, lambda: self._received)
        client = _ReadingAhead(client_id, self._on_message)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = lambda *_: self._link.lost(time.monotonic(), time.time())
        client.max_inflight_messages_set(UNCOMMITTED)
        client.reconnect_delay_set(1, 15)
        at.dress(client)
        client.connect_async(at.host, at.port, keepalive=30)
        self.client = client

    def start(self) -> None:
        """Start paho's own thread; it reconnects by itself."""
        self._link.missed(time.monotonic(), time.time())
        self.client.loop_start()
        self._watch.start()

    def trouble(self) -> tuple[str, ...]:
        """Return what stands between the gateway and the broker, in sentences."""
        return self._watch.lines()

    def standing(self) -> tuple[str, str]:
        """Return what is said of the broker's health: its class and the words."""
        return self._watch.standing()

    def absences(self) -> list[tuple[float, float]]:
        """Return the absences of the broker that have ended since this was last asked, monotonic seconds."""
        return self._watch.absences()

    def stop(self) -> None:
        """Leave the broker; what is not acknowledged stays there."""
        with self._room:
            self._stopping = True
            self._room.notify_all()
        self.client.disconnect()
        # Between two tries to connect paho's thread sleeps for a second; it then ends by itself.
        ending = threading.Thread(target=self.client.loop_stop, name="leaving", daemon=True)
        ending.start()
        ending.join(LEAVING_S)
        self._watch.stop()

    def committed(self, arrivals: list[Arrival]) -> None:
        """Acknowledge messages whose entries are on disk, in the order they came."""
        # An identifier of an earlier connection now belongs to another message, or to none.
        ids = [arrival.packet_id for arrival in arrivals if arrival.token is self._marker]
        if ids:
            # One packet and one system call instead of two for each message.
            packet = b"".join(_PUBACK.pack(PUBACK, 2, each) for each in ids)
            self.client._packet_queue(PUBACK, packet, 0, 0)  # noqa: SLF001
        with self._room:
            self._committed += len(arrivals)
            self._room.notify_all()

    def _on_connect(self, client: paho.Client, _user: Any, flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._link.refused(str(reason), time.monotonic(), time.time())
            return
        self._link.opened(time.monotonic(), time.time(), flags.session_present)
        self._live, self._marker = False, token_hex(8).encode()
        if self._no_more:
            client.unsubscribe(self._no_more)
        # The marker goes out when the subscription stands, behind everything that waited.
        client.subscribe([(topic, 1) for topic in (*self._topics, self._marker_topic)])

    def _on_subscribe(self, client: paho.Client, _user: Any, _mid: int, reasons: list[Any], _p: Any) -> None:
        of_sensors = [topic for topic, reason in zip(self._topics, reasons, strict=False) if reason.is_failure]
        of_ours = [self._marker_topic] if reasons[-1].is_failure else []
        self._link.answered(of_sensors + of_ours, len(of_sensors) == len(self._topics))
        client.publish(self._marker_topic, self._marker, qos=1)

    def _on_message(self, arrival: Arrival) -> None:
        if arrival.topic == self._marker_topic:
            self._live = self._live or arrival.payload == self._marker
            self.client.ack(arrival.packet_id, 1)
            return
        arrival.before_marker = not self._live
        arrival.token = self._marker if arrival.packet_id else None
        self.arrivals.append(arrival)
        self._received += 1
        if not self._wake.is_set():
            self._wake.set()
        if self._received - self._committed >= UNCOMMITTED:
            self._wait_for_room()

    def _wait_for_room(self) -> None:
        with self._room:
            while self._received - self._committed >= UNCOMMITTED and not self._stopping:
                self._room.wait(1.0)


def outlived(path: Path, topics: Sequence[str]) -> list[str]:
    """Return what was subscribed to once and is not among these topics: a session keeps it until it is taken back.

    path: where all that was ever subscribed to is kept, a line each. Without it nothing is taken back.
    """
    before: set[str] = set()
    with suppress(OSError, UnicodeDecodeError):
        before = set(path.read_text(encoding="utf-8").splitlines())
        if before.issuperset(topics):
            return sorted(before.difference(topics))
    with suppress(OSError):
        part = path.with_suffix(".part")
        part.write_text("".join(f"{each}\n" for each in sorted(before.union(topics))), encoding="utf-8")
        part.replace(path)
    return sorted(before.difference(topics))
