"""The second connection, to Sparkplug B edge nodes: their rules want a clean session, so nothing waits for us.

What is sent while we are away is lost, and QoS 0 data may be lost at any time; both show as a session that begins
anew or as a gap in the numbers, which the flow turns into "unknown" and a request for a rebirth. So this queue may
let its oldest messages go when the writer cannot follow: a gap says so.
Source: Sparkplug Specification 3.0.0, message-flow-phid-sparkplug-clean-session-311, host-topic-phid-*.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gateway.adapters.address import Address
from gateway.entry import Arrival
from gateway.jobsite import Jobsite
from gateway.payload.sparkplug_wire import filters, host_state, rebirth_request, rebirth_topic, state_topic

WAITING = 20_000


class EdgeNodes:
    """A subscription to some edge nodes. `waiting` holds messages and, as texts, what became of the connection."""

    def __init__(
        self, at: Address, client_id: str, edges: Iterable[tuple[str, str]], wake: threading.Event
    ) -> None:
        self.waiting: deque[Arrival | str] = deque(maxlen=WAITING)
        self._wake, self._state_topic, self._born_ms = wake, state_topic(client_id), 0
        self._topics = [(topic, 1) for edge in sorted(set(edges)) for topic in filters(*edge)]
        client = paho.Client(
            CallbackAPIVersion.VERSION2, f"{client_id}-edges", clean_session=True, protocol=paho.MQTTv311
        )
        client.on_pre_connect, client.on_connect = self._on_pre_connect, self._on_connect
        client.on_subscribe, client.on_message = self._on_subscribe, self._on_message
        client.on_disconnect = lambda *_: self._put("connection to the broker lost")
        client.reconnect_delay_set(1, 15)
        at.dress(client)
        client.connect_async(at.host, at.port, keepalive=30)
        self._client = client

    def start(self) -> None:
        """Start paho's own thread; it reconnects by itself."""
        self._client.loop_start()

    def stop(self) -> None:
        """Say that this host is gone, and leave."""
        if self._client.is_connected():
            gone = self._client.publish(self._state_topic, host_state(self._born_ms, online=False), 1, retain=True)
            gone.wait_for_publish(2.0)
        self._client.disconnect()
        self._client.loop_stop()

    def taken(self, most: int) -> list[Arrival | str]:
        """Take out what waits, the oldest first."""
        return [self.waiting.popleft() for _ in range(min(most, len(self.waiting)))]

    def ask(self, wanted: Iterable[tuple[tuple[str, str], str]]) -> list[dict[str, str]]:
        """Ask edge nodes to be born again; return what the journal keeps of each request."""
        asked = []
        for (group, node), why in wanted:
            self._client.publish(rebirth_topic(group, node), rebirth_request(time.time_ns() // 1_000_000), 0)
            asked.append({"what": "rebirth asked for", "group": group, "node": node, "why": why})
        return asked

    def _put(self, what: Arrival | str) -> None:
        self.waiting.append(what)
        self._wake.set()

    def _on_pre_connect(self, client: paho.Client, _user: Any) -> None:
        # Birth and Will of a host carry one timestamp, new for each connection (host-topic-phid-birth-payload).
        self._born_ms = time.time_ns() // 1_000_000
        client.will_set(self._state_topic, host_state(self._born_ms, online=False), 1, retain=True)

    def _on_connect(self, client: paho.Client, _u: Any, _f: Any, reason: Any, _p: Any) -> None:
        if reason.is_failure:
            return
        self._put("connected to the broker anew")
        client.subscribe(self._topics)

    def _on_subscribe(self, client: paho.Client, *_: Any) -> None:
        client.publish(self._state_topic, host_state(self._born_ms, online=True), 1, retain=True)

    def _on_message(self, _c: paho.Client, _u: Any, message: paho.MQTTMessage) -> None:
        try:
            self._put(Arrival(message.topic, bytes(message.payload), retain=message.retain))
        except UnicodeDecodeError:  # no edge node's topic that we asked for
            return


def open_edges(site: Jobsite, at: Address, client_id: str, wake: threading.Event) -> EdgeNodes | None:
    """Connect to the edge nodes a jobsite names; None where it names none."""
    if not site.edges:
        return None
    made = EdgeNodes(at, client_id, [(edge.group, edge.node) for edge in site.edges], wake)
    made.start()
    return made
