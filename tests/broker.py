"""A real Mosquitto with the shipped settings, on a free port."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gateway.adapters.mqtt import MARKER

SHIPPED = Path(__file__).parent.parent / "deploy" / "mosquitto.conf"


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Mosquitto:
    """The broker as shipped, or as `whole` says, with only port and folder changed; `extra` lines come last."""

    def __init__(self, folder: Path, extra: str = "", whole: str = "") -> None:
        self.port, self.folder = free_port(), folder
        text = (
            (whole or SHIPPED.read_text())
            .replace("/var/lib/mosquitto/", f"{folder}/")
            .replace("1883", str(self.port))
        )
        if extra:
            keys = {line.split()[0] for line in extra.splitlines()}
            text = "\n".join(line for line in text.splitlines() if line.split(" ")[0] not in keys)
        (folder / "mosquitto.conf").write_text(f"{text}\n{extra}\nuser root\n")
        self.start()

    def start(self) -> None:
        """Start and wait until it listens. Raises when it is not installed: a missing service is an error."""
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin")
        if program is None:
            raise RuntimeError("mosquitto is not installed: apt install mosquitto")
        command = [program, "-c", str(self.folder / "mosquitto.conf")]
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise RuntimeError("mosquitto did not start")

    def stop(self) -> None:
        """Stop it."""
        self.process.terminate()
        self.process.wait(10)


def settings() -> dict[str, str]:
    """Return the shipped settings by name."""
    return dict(re.findall(r"^(\w+) (.+)$", SHIPPED.read_text(), re.MULTILINE))


@contextmanager
def until_live(port: int) -> Iterator[None]:
    """Go on only when the program started inside has its subscription, which it says to itself by a marker."""
    ready, heard = threading.Event(), threading.Event()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda *_: heard.set()
    client.connect("127.0.0.1", port)
    client.subscribe(f"{MARKER}/#")
    client.loop_start()
    try:
        assert ready.wait(30), "no subscription"
        yield
        assert heard.wait(30), "the program has not subscribed within 30 s"
    finally:
        client.disconnect()
        client.loop_stop()
