"""What one message costs `dewgate run` above a bare subscriber, in process CPU, draining the same backlog.

CPU and not messages a second: on a shared machine only CPU within one run can be compared.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gateway import tree
from gateway.adapters.journal import open_reader
from tests.broker import Mosquitto
from tests.faults.kill_run import GATEWAY, make_session, prepare, start, stored
from tests.sites import SENSORS, TRAIN_SENSORS

BARE = "bare-subscriber"
BROKER = "max_queued_messages 1000000\nmax_inflight_messages 1000\npersistence false"
WRITTEN = {"%RH": 50.0, "hPa": 1013.0, "bar": 7.0, "Cel": 20.0}
PATIENCE_S = 300.0
CHUNK = 20_000  # the library numbers at most 65,535 messages at a time


class Cost(NamedTuple):
    """Process CPU a message [µs], of `run` and of the bare subscriber in the same run."""

    gateway_us: float
    bare_us: float

    @property
    def over_bare_us(self) -> float:
        """What decoding, conditions, limits, journal, tree and history take."""
        return self.gateway_us - self.bare_us

    @property
    def over_bare(self) -> float:
        """The same as a part of the bare subscriber's, which is how slow the machine is with a socket."""
        return self.over_bare_us / self.bare_us


def cost(count: int) -> Cost:
    """Drain count messages by both."""
    with tempfile.TemporaryDirectory() as folder:
        home, broker = Path(folder) / "home", Mosquitto(Path(folder), BROKER)
        try:
            prepare(home)
            for client_id in (BARE, GATEWAY):
                make_session(broker.port, client_id)
            preload(broker.port, count)
            bare = _bare_us(broker.port, count)
            return Cost(_gateway_us(home, broker, count), bare)
        finally:
            broker.stop()


def messages(count: int, from_ms: int) -> list[tuple[str, bytes]]:
    """Return timed messages, no two of one sensor at the same time, spread over all sensors in turn."""
    sensors = SENSORS + TRAIN_SENSORS
    made = []
    for number in range(count):
        sensor = sensors[number % len(sensors)]
        value = WRITTEN[sensor.unit] + number % 97 / 1000
        record = {
            "n": sensor.id,
            "u": sensor.unit,
            "v": value,
            "t": (from_ms + number // len(sensors)) / 1000,
        }
        made.append((f"dewgate/test/{sensor.topic}", json.dumps([record]).encode()))
    return made


def preload(port: int, count: int) -> None:
    """Publish messages timed from now on, and wait until the broker has them."""
    client = paho.Client(CallbackAPIVersion.VERSION2, "preload", protocol=paho.MQTTv311)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    made = messages(count, time.time_ns() // 1_000_000)
    for at in range(0, count, CHUNK):
        sent = [client.publish(topic, payload, 1) for topic, payload in made[at : at + CHUNK]]
        for each in sent:
            each.wait_for_publish(PATIENCE_S)
    client.disconnect()
    client.loop_stop()


def _bare_us(port: int, count: int) -> float:
    command = [sys.executable, "-m", "tests.bench.bare_subscriber", str(port), BARE, str(count)]
    return float(subprocess.run(command, check=True, stdout=subprocess.PIPE, timeout=PATIENCE_S).stdout)


def _gateway_us(home: Path, broker: Mosquitto, count: int) -> float:
    """Drain with the real program. The broker is held until the program has started: imports do not count."""
    broker.process.send_signal(signal.SIGSTOP)
    run = start(home, broker.port)
    try:
        before = _settled_cpu_s(run.pid)
        last = _last_entry(home) + count
        broker.process.send_signal(signal.SIGCONT)
        _until_entry(home, last, run)
        spent = _cpu_s(run.pid) - before
    finally:
        broker.process.send_signal(signal.SIGCONT)
        run.send_signal(signal.SIGTERM)
        run.wait(60)
    kept = sum(stored(home).values())
    if kept != count:
        raise RuntimeError(f"the journal holds {kept} of {count} messages")
    return spent / count * 1e6


def _settled_cpu_s(pid: int) -> float:
    """Return the CPU a program has used once it has started and waits."""
    before = -1.0
    for _ in range(60):
        time.sleep(1.0)
        now = _cpu_s(pid)
        if now - before < 0.03:
            return now
        before = now
    raise RuntimeError("dewgate run does not come to rest")


def _cpu_s(pid: int) -> float:
    user, system = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def _last_entry(home: Path) -> int:
    hot, sealed = "SELECT max(seq) FROM entries", "SELECT max(first_seq) FROM sealed"
    with closing(open_reader(home / "journal.db")) as reader:
        (last,), (block,) = reader.execute(hot).fetchone(), reader.execute(sealed).fetchone()
    return max(last or 0, block + tree.SEAL - 1 if block else 0)


def _until_entry(home: Path, last: int, run: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while _last_entry(home) < last:
        if run.poll() is not None or time.monotonic() > deadline:
            raise RuntimeError(f"dewgate run stopped at entry {_last_entry(home)} of {last}")
        time.sleep(0.1)
