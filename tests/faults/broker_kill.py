"""Kill the broker at random instants under load, with the shipped settings and the gateway away.

Prints `bench broker_kill_gap <seconds> s goal <=10`: from the oldest acknowledged message that was lost to the
kill, the longest of all tries. Fails above the save interval and SLACK_S, which the broker takes to save.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as paho

from tests.broker import Mosquitto, settings
from tests.faults.kill_run import make_session

READER, SLACK_S, QUIET_S = "away", 1.0, 1.0


class Load(threading.Thread):
    """Publishes numbers at a steady rate until the broker is gone; remembers when each was acknowledged."""

    def __init__(self, port: int, first: int, rate: float) -> None:
        super().__init__(daemon=True)
        self.port, self.number, self.rate, self.done = port, first, rate, threading.Event()
        self.acknowledged: dict[int, float] = {}

    def run(self) -> None:
        sent: dict[int, int] = {}
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, "load", protocol=paho.MQTTv311)

        def note(_c: object, _u: object, mid: int, _r: object, _p: object) -> None:
            self.acknowledged[sent.pop(mid)] = time.monotonic()

        client.on_publish = note
        client.connect("127.0.0.1", self.port)
        began, first = time.monotonic(), self.number
        while not self.done.is_set():
            while self.number - first < (time.monotonic() - began) * self.rate:
                self.number += 1
                mid = client.publish("dewgate/test/load", b"%d" % self.number, 1).mid
                sent[mid] = self.number
            if client.loop(0.002) != paho.MQTT_ERR_SUCCESS:
                return


def drained(port: int) -> set[int]:
    """Take everything that waits for the reader that was away."""
    found: set[int] = set()
    seen_s = [time.monotonic()]

    def take(_c: object, _u: object, message: paho.MQTTMessage) -> None:
        found.add(int(message.payload))
        seen_s[0] = time.monotonic()

    client = paho.Client(paho.CallbackAPIVersion.VERSION2, READER, clean_session=False, protocol=paho.MQTTv311)
    client.on_message = take
    client.connect("127.0.0.1", port)
    while time.monotonic() - seen_s[0] < QUIET_S:
        client.loop(0.1)
    client.disconnect()
    client.loop(0.1)
    return found


def one_try(broker: Mosquitto, first: int, rate: float, load_s: float) -> tuple[int, int, int, float]:
    """Load, kill, start, drain; return the last number, counts acknowledged and lost, and the stretch in s."""
    load = Load(broker.port, first, rate)
    load.start()
    time.sleep(load_s)
    broker.process.kill()
    killed_s = time.monotonic()
    broker.process.wait()
    load.done.set()
    load.join(10)
    broker.start()
    found = drained(broker.port)
    lost = [number for number in load.acknowledged if number not in found]
    stretch_s = killed_s - min((load.acknowledged[each] for each in lost), default=killed_s)
    return load.number, len(load.acknowledged), len(lost), stretch_s


def main() -> int:
    """Run the fault; return 1 when more was lost than the settings promise."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=10)
    parser.add_argument("--rate", type=float, default=500.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    chance, number, worst_s = random.Random(args.seed), 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        broker = Mosquitto(Path(folder))
        make_session(broker.port, READER)
        broker.stop()  # a session is on the broker's disk after its first save, here as on a site
        broker.start()
        for attempt in range(1, args.tries + 1):
            load_s = chance.uniform(2.0, 22.0)
            number, acknowledged, lost, stretch_s = one_try(broker, number, args.rate, load_s)
            worst_s = max(worst_s, stretch_s)
            print(
                f"# kill {attempt} after {load_s:.1f} s: {acknowledged} acknowledged, {lost} lost, "
                f"the oldest {stretch_s:.2f} s before it",
                flush=True,
            )
        broker.stop()
    print(f"bench broker_kill_gap {worst_s:.1f} s goal <=10")
    bound_s = float(settings()["autosave_interval"]) + SLACK_S
    if worst_s > bound_s:
        print(f"more than the {bound_s:g} s that the shipped settings allow was lost", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
