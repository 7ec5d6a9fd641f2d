"""The least a subscriber can do: paho, MQTT 3.1.1, QoS 1, acknowledged by hand. Prints CPU in µs per message.

What `dewgate run` costs above this is its own; what both cost is the library's.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion


def drain(port: int, client_id: str, count: int) -> float:
    """Receive and acknowledge `count` messages of a waiting session; return process CPU seconds."""
    seen = 0

    def on_message(client: paho.Client, _user: Any, message: paho.MQTTMessage) -> None:
        nonlocal seen
        client.ack(message.mid, message.qos)
        seen += 1
        if seen == count:
            client.disconnect()

    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id,
        clean_session=False,
        protocol=paho.MQTTv311,
        manual_ack=True,
    )
    client.on_message = on_message
    before = time.process_time()
    client.connect("127.0.0.1", port)
    client.loop_forever(retry_first_connection=False)
    if seen != count:
        raise RuntimeError(f"the broker handed over {seen} of {count} messages")
    return time.process_time() - before


if __name__ == "__main__":
    wanted = int(sys.argv[3])
    print(drain(int(sys.argv[1]), sys.argv[2], wanted) / wanted * 1e6)
