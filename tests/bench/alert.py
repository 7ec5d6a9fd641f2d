"""From the second in which an alarm is judged ripe to be told until a local server has the message, real programs.

`run`, `deliver` and Mosquitto, at 200 messages a second; twenty areas whose steel goes outside its limit and comes
back by turns. The seconds in which alarms of one cause gather are part of the judgement, not of the way.
"""

from __future__ import annotations

import itertools
import json
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import paho.mqtt.client as paho

from alerts.alarm import Change
from gateway.adapters import landmarks
from gateway.adapters.journal import open_reader
from gateway.jobsite import Area, Jobsite, Person, SteelSpot
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare, start
from tests.faults.real import until
from tests.sites import SENSORS, margin_limit, pack, site

AREAS, RATE, TURN_S = 20, 200, 24
AIR = {"air-t": 20.0, "air-rh": 50.0, "baro": 1013.0}  # dew point 9.3 °C, so 12.3 °C is the limit of the steel
DRY_C, WET_C = 12.9, 11.9


class _Phone(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Taker)
        self.taken: list[tuple[str, int]] = []


class _Taker(BaseHTTPRequestHandler):
    server: _Phone

    def do_POST(self) -> None:
        said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.taken.append((said["title"], time.time_ns() // 1_000_000))
        self.send_response(200)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Say nothing."""


def jobsite() -> Jobsite:
    """Return the test jobsite with twenty areas, each with a limit of its own that acts at once."""
    steels = [replace(SENSORS[3], id=f"steel-{n}", label=f"steel {n}", topic=f"steel-{n}") for n in range(AREAS)]
    areas = tuple(
        Area(f"P{n}", f"panel {n}", ("deck",), (SteelSpot(f"steel-{n}", "coldest"),)) for n in range(AREAS)
    )
    limits = [
        margin_limit(id=f"m{n}", area=f"P{n}", priority="high", advice=f"Stop blasting panel {n}", activities=(),
                     on_delay_s=0.0, off_delay_s=0.0, deadband=0.1)
        for n in range(AREAS)
    ]  # fmt: skip
    whole = site(*limits)
    people = (Person("lead", "site lead", ("phone",), ("high",)),)
    return replace(whole, sensors=(*whole.sensors, *steels), areas=areas, trains=(), people=people)


def alert_p99_s(seconds: float) -> float:
    """Return the 99th percentile [s] over all messages told within a time."""
    phone = _Phone()
    threading.Thread(target=phone.serve_forever, args=(0.05,), daemon=True).start()
    with tempfile.TemporaryDirectory() as folder:
        home, broker = Path(folder) / "home", Mosquitto(Path(folder))
        prepare(home, jobsite())
        contacts = Path(folder) / "contacts.toml"
        contacts.touch(mode=0o600)
        contacts.write_text(f'[channels]\nphone = "json://127.0.0.1:{phone.server_port}/"\n')
        command = [sys.executable, "-m", "gateway", "deliver", "--home", str(home), "--contacts", str(contacts)]
        running = [start(home, broker.port), subprocess.Popen(command)]
        try:
            time.sleep(3)  # a reading before the session is there would be lost
            _publish(broker.port, seconds)
            until(lambda: len(phone.taken) >= _told(home), "every message")
        finally:
            for each in running:
                each.send_signal(signal.SIGTERM)
                each.wait(30)
            broker.stop()
            phone.shutdown()
        waits = _waits_s(home, phone.taken)
    print(
        f"# alert {len(waits)} messages: median {waits[len(waits) // 2]:.2f} s, worst {waits[-1]:.2f} s",
        file=sys.stderr,
    )
    return waits[min(len(waits) - 1, int(0.99 * len(waits)))]


def _publish(port: int, seconds: float) -> None:
    """Publish all sensors in turn; each steel is outside for half of its turn, and they do not go together."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "publisher", protocol=paho.MQTTv311)
    client.connect("127.0.0.1", port)
    client.loop_start()
    names = itertools.cycle([*AIR, *(f"steel-{n}" for n in range(AREAS))])
    began = time.time()
    for number in range(round(seconds * RATE)):
        name, now = next(names), began + number / RATE
        phase = (now - began) / TURN_S - int(name[6:]) / AREAS if name.startswith("steel") else 0.0
        value = AIR.get(name, WET_C if phase > 0 and phase % 1 < 0.5 else DRY_C)
        client.publish(f"dewgate/test/{name}", pack(name, value, round(1000 * now)), qos=1)
        time.sleep(max(0.0, now + 1 / RATE - time.time()))
    client.disconnect()
    client.loop_stop()


def _told(home: Path) -> int:
    with closing(open_reader(home / "journal.db")) as reader:
        return int(reader.execute("SELECT count(*) FROM outbox").fetchone()[0])


def _waits_s(home: Path, taken: list[tuple[str, int]]) -> list[float]:
    """Return for each message the time from the judged second that told it to the server, smallest first."""
    with closing(open_reader(home / "journal.db")) as reader:
        clocks = landmarks.clocks(reader)
        rows = reader.execute("SELECT event_number, title, created_utc_ms FROM outbox ORDER BY id").fetchall()
        events = [json.loads(body) for (body,) in reader.execute("SELECT event FROM events ORDER BY id")]
    told = [(each["number"], clocks.utc_ms(each["core_ms"])) for each in events if each["change"] == Change.TOLD]
    waits = []
    for number, title, created_ms in rows:
        judged_ms = max(at for name, at in told if name == number and at <= created_ms)
        words = title.removeprefix(number).strip()
        received = [at for said, at in taken if said.startswith(f"{number} #") and said.endswith(words)]
        waits.append((min(at for at in received if at >= judged_ms) - judged_ms) / 1000)
    return sorted(waits)
