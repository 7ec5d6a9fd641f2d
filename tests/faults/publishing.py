"""A thread that publishes at QoS 1 and knows what the broker has acknowledged: that must not be lost."""

from __future__ import annotations

import threading
import time
from collections import deque

import paho.mqtt.client as paho


class Publishing(threading.Thread):
    """Kept by whoever publishes: what is under way by its packet id, what was acknowledged, when to stop."""

    def __init__(self, *, daemon: bool = False) -> None:
        super().__init__(daemon=daemon)
        self.done = threading.Event()
        self.sent: dict[int, bytes] = {}
        self.acknowledged: list[bytes] = []
        self._answered: deque[int] = deque()

    def _client(self, client_id: str) -> paho.Client:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id, protocol=paho.MQTTv311)
        client.on_publish = lambda _c, _u, mid, _r, _p: self._answered.append(mid)
        client.max_inflight_messages_set(200)
        return client

    def _publish(self, client: paho.Client, topic: str, payload: bytes) -> None:
        self.sent[client.publish(topic, payload, qos=1).mid] = payload
        self._note_answers()

    def _leave(self, client: paho.Client, tenths_s: int) -> None:
        """Wait for the last answers, so many tenths of a second at most."""
        for _ in range(tenths_s):
            self._note_answers()
            if not self.sent:
                break
            time.sleep(0.1)
        client.disconnect()
        client.loop_stop()

    def _note_answers(self) -> None:
        """Here and not in the callback: an answer can come before `publish` has said which number it has."""
        while self._answered:
            self.acknowledged.append(self.sent.pop(self._answered.popleft()))
