"""A small box in a trailer, whole: sensors, a broker across a network that can be cut, `run`, `deliver`, a phone.

As root the broker stands in a network namespace of its own, speaks TLS, and the link between it and `run` can be
pulled out; the home lies on a small disk that can be filled. Without root the broker is held instead, and no disk
is filled; `faults` says what was done.
"""

from __future__ import annotations

import dataclasses
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Self

from alerts.measured import Quantity
from gateway import sensor_login
from gateway.adapters.address import Address
from gateway.clock import TimeLapse
from gateway.jobsite import Area, Jobsite, SteelSpot
from tests.broker import SHIPPED, Mosquitto, free_port
from tests.faults.publishing import Publishing
from tests.sites import margin_limit, pack, sensor, site

DEPLOY = SHIPPED.parent
EVERY_S = 10.0  # of the site's time, each channel
AREAS = "BCDEFGHI"
CYCLE_S, FALLS_S, RISES_S, RAMP_S = 2400.0, 480.0, 1140.0, 180.0
"""The steel of area A is dry for eight minutes, cools within three, is wet for eight, warms up, is dry again."""
DRY_C, WET_C, SURELY_WET_C = 20.0, 9.0, 10.0
"""The air's dew point is 7.3 °C (15 °C, 60 %; Hardy 1998) and the limit 3 K above it."""
STEADY = {
    "air-t": 15.0, "air-rh": 60.0, "baro": 1005.0,
    "dryer-t": 25.0, "dryer-rh": 20.0, "line-p": 6.9, "pot-skin": 24.0,
}  # fmt: skip
TITLE, UNKNOWN = "Stop blasting area A", "Unknown: area A"


def jobsite() -> Jobsite:
    """Nine areas, 24 channels."""
    plain = site()
    spots = {f"steel-{area}{n}": area for area in AREAS for n in (1, 2)}
    steel = tuple(sensor(name, Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact") for name in spots)
    areas = tuple(
        Area(area, f"shell {area}", ("deck",), tuple(SteelSpot(f"steel-{area}{n}", "coldest") for n in (1, 2)))
        for area in AREAS
    )
    limits = tuple(
        dataclasses.replace(margin_limit(), id=f"margin-{area}", area=area, advice=f"Stop blasting area {area}")
        for area in ("A", *AREAS)
    )
    return dataclasses.replace(
        plain, sensors=(*plain.sensors, *steel), areas=(*plain.areas, *areas), limits=limits
    )


class Sensors(Publishing):
    """All channels, in the site's time; remembers what the broker acknowledged, and when the steel got wet."""

    def __init__(self, to: Address, lapse: TimeLapse, seed: int) -> None:
        super().__init__(daemon=True)
        self.to, self.lapse, self.chance = to, lapse, random.Random(seed)
        self.names = [each.id for each in jobsite().sensors]
        self.wet_s: list[float] = []  # by the wall clock, the first surely wet reading of each time
        self.wet_ms: list[int] = []  # the same by the site's time
        self._is_wet = False

    def run(self) -> None:
        client = self._client("sensors")
        self.to.dress(client)
        client.reconnect_delay_set(1, 1)
        client.connect(self.to.host, self.to.port)
        client.loop_start()
        pause_s = EVERY_S / len(self.names) / self.lapse.factor
        began, number = time.monotonic(), 0
        while not self.done.is_set():
            name = self.names[number % len(self.names)]
            number += 1
            self._publish(client, f"dewgate/test/{name}", pack(name, self._value(name), self.lapse.wall_ms()))
            time.sleep(max(0.0, began + number * pause_s - time.monotonic()))
        self._leave(client, 200)

    def _value(self, name: str) -> float:
        noise = self.chance.gauss(0, 0.02)
        if name != "steel":
            return round(STEADY.get(name, DRY_C) + noise, 3)
        at_s = (self.lapse.wall_ms() - self.lapse.epoch_ms) / 1000 % CYCLE_S
        cooled = min(max((at_s - FALLS_S) / RAMP_S, 0.0), 1.0) - min(max((at_s - RISES_S) / RAMP_S, 0.0), 1.0)
        value = DRY_C - (DRY_C - WET_C) * cooled + noise
        if value < SURELY_WET_C and not self._is_wet and at_s < RISES_S:
            self.wet_s.append(time.time())
            self.wet_ms.append(self.lapse.wall_ms())
        self._is_wet = FALLS_S < at_s < RISES_S and (self._is_wet or value < SURELY_WET_C)
        return round(value, 3)


class Phone:
    """A webhook: takes every message, with the moment it came."""

    def __init__(self) -> None:
        self.taken: list[tuple[float, str]] = []
        phone = self

        class Door(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                phone.taken.append((time.time(), said["title"]))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Door)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def contacts(self, path: Path) -> Path:
        """Write a contacts file that leads here."""
        address = f"json://127.0.0.1:{self.server.server_port}/phone"
        path.write_text(f'[channels]\nlead-phone = "{address}"\nkeeper-phone = "{address}"\n')
        path.chmod(0o600)
        return path


class CutBroker(Mosquitto):
    """The broker for the network as shipped, in its own namespace: one link for `run`, one for the sensors."""

    def __init__(self, folder: Path) -> None:
        self.space = f"soak{os.getpid()}"
        self.links = [f"sk{os.getpid()}r", f"sk{os.getpid()}s"]
        self.hosts = [f"10.213.{n}.2" for n in (1, 2)]
        self.secrets = folder / "secrets"
        self.secrets.mkdir()
        made = [str(DEPLOY / "make-certificates.sh"), str(self.secrets), *self.hosts]
        subprocess.run(made, check=True, capture_output=True)
        self.password = folder / "broker.password"
        self.password.write_text(sensor_login.add(self.secrets, sensor_login.GATEWAY_NAME, "test"))
        self.password.chmod(0o600)
        _ip("netns", "add", self.space)
        _ip("-n", self.space, "link", "set", "lo", "up")
        for n, link in enumerate(self.links, 1):
            _ip("link", "add", link, "type", "veth", "peer", "name", f"net{n}", "netns", self.space)
            for space, name, host in (([], link, 1), (["-n", self.space], f"net{n}", 2)):
                _ip(*space, "address", "add", f"10.213.{n}.{host}/24", "dev", name)
                _ip(*space, "link", "set", name, "up")
        text = (DEPLOY / "mosquitto-network.conf").read_text()
        super().__init__(folder, whole=text.replace("/etc/mosquitto/dewgate", str(self.secrets)))

    def start(self) -> None:
        """Start it in its namespace and wait until it listens there."""
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin")
        command = ["ip", "netns", "exec", self.space, str(program), "-c", str(self.folder / "mosquitto.conf")]
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(1.0)
        if self.process.poll() is not None:
            raise RuntimeError("mosquitto did not start in its namespace")

    def address(self, link: int) -> Address:
        """How it is reached over a link: 0 for `run`, 1 for sensors."""
        name, ca = sensor_login.GATEWAY_NAME, str(self.secrets / "ca.crt")
        return Address(self.hosts[link], 8883, name, self.password.read_text(), ca)

    def cut(self, seconds: float) -> None:
        """Pull the cable of `run` out for a while; connections stay open and hear nothing."""
        _ip("link", "set", self.links[0], "down")
        time.sleep(seconds)
        _ip("link", "set", self.links[0], "up")

    def remove(self) -> None:
        """Take the namespace away, and its links with it."""
        self.stop()
        _ip("netns", "delete", self.space)


class HeldBroker(Mosquitto):
    """Without root: the broker of one machine; a cut is a broker that is held."""

    def address(self, link: int) -> Address:
        """How it is reached."""
        return Address("127.0.0.1", self.port)

    def cut(self, seconds: float) -> None:
        """Let it answer nothing for a while."""
        self.process.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self.process.send_signal(signal.SIGCONT)

    def remove(self) -> None:
        """Stop it."""
        self.stop()


def _ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True)


@contextmanager
def broker_in(folder: Path) -> Iterator[CutBroker | HeldBroker]:
    """The broker this user can have."""
    broker = CutBroker(folder) if os.geteuid() == 0 else HeldBroker(folder)
    try:
        yield broker
    finally:
        broker.remove()


class Programs:
    """`run` on a clock that can be stepped, with its page, and `deliver`."""

    def __init__(
        self, home: Path, folder: Path, broker: CutBroker | HeldBroker, lapse: str, contacts: Path
    ) -> None:
        self.home, self.contacts, self.page = home, contacts, free_port()
        self.clock, self.log = folder / "clock", folder / "said.log"
        at = broker.address(0)
        self.words = ["--home", str(home), "--broker", str(at), "--time-lapse", lapse]
        self.words += ["--page", f"127.0.0.1:{self.page}", "--open-if-simulated"]
        if at.ca:
            self.words += ["--broker-ca", at.ca, "--broker-user", at.user]
            self.words += ["--broker-password-file", str(folder / "broker.password")]
        self.run = self.deliver = None

    def __enter__(self) -> Self:
        self.start_run()
        self.start_deliver()
        return self

    def __exit__(self, *_: object) -> None:
        for each in (self.run, self.deliver):
            each.terminate()
            each.wait(30)

    def start_run(self) -> None:
        """Start `run`, also after a kill."""
        self.run = self._start("tests.faults.stepped", str(self.clock), "run", *self.words)

    def start_deliver(self) -> None:
        """Start `deliver`, also after a kill."""
        words = ["deliver", "--home", str(self.home), "--contacts", str(self.contacts)]
        self.deliver = self._start("gateway", *words)

    def _start(self, module: str, *words: str) -> subprocess.Popen[bytes]:
        with self.log.open("ab") as out:
            return subprocess.Popen([sys.executable, "-m", module, *words], stdout=out, stderr=out)
