"""The demonstration: broker, gateway, deliveries and a simulated jobsite, all on this machine.

Everything is real but the jobsite: messages go through a broker, the journal is a file, the alert goes out
over HTTP to a receiver in this process that stands in for a phone. Ctrl-C stops it all.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

DEPLOY = Path(__file__).parent.parent / "deploy"
EPOCH = "2026-06-10T21:30:00+00:00"  # half past four in the afternoon on the simulated site
SAY = """
  Board (simulated jobsite, one minute of yours is {factor:g} of the site's):

      {address}

  In about two minutes the steel comes close to the dew point, then goes outside the limit: an alert
  arrives below and can be acknowledged on the board. A minute later the salt dryer fails.
  Ctrl-C stops everything.
"""


class Phone(BaseHTTPRequestHandler):
    """Stands in for the site lead's phone: prints what arrives."""

    def do_POST(self) -> None:
        """Print title and text of one alert."""
        alert: dict[str, Any] = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        print(f"\n  [phone] {alert['title']}\n          {alert['message']}", flush=True)
        self.send_response(200)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the name the library calls it by
        """Say nothing of requests."""


def free_port(wanted: int = 0) -> int:
    """Return the wanted port if nobody has it, else any free one."""
    with socket.socket() as probe:
        try:
            probe.bind(("127.0.0.1", wanted))
        except OSError:
            probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def start_broker(folder: Path, port: int, embedded: bool) -> subprocess.Popen[bytes]:
    """Start Mosquitto if it is installed, else the embedded broker of the demo extra."""
    quiet = subprocess.DEVNULL
    mosquitto = (
        None
        if embedded
        else shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    )
    if mosquitto is None:
        print("demo broker: does not survive a restart")
        embedded_broker = [sys.executable, "-m", "simulators.embedded_broker", str(port)]
        return subprocess.Popen(embedded_broker, stdout=quiet, stderr=quiet)  # it tells of every message
    conf = (DEPLOY / "mosquitto.conf").read_text()
    conf = conf.replace("/var/lib/mosquitto/", f"{folder}/").replace("listener 1883", f"listener {port}")
    (folder / "mosquitto.conf").write_text(conf + "user root\n")
    return subprocess.Popen([mosquitto, "-c", str(folder / "mosquitto.conf")], stdout=quiet, stderr=quiet)


def wait_for(port: int, seconds: float = 15) -> None:
    """Wait until somebody listens. Raises TimeoutError."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise TimeoutError(f"nothing listens on port {port} after {seconds:g} s")


def commands(home: Path, broker: int, page: int, lapse: str, contacts: Path) -> list[list[str]]:
    """Return the programs of the demonstration in the order they start."""
    gateway = [sys.executable, "-m", "gateway"]
    return [
        [*gateway, "run", "--home", str(home), "--broker", f"127.0.0.1:{broker}",
         "--page", f"127.0.0.1:{page}", "--time-lapse", lapse, "--open-if-simulated"],
        [*gateway, "deliver", "--home", str(home), "--contacts", str(contacts), "--link", f"http://127.0.0.1:{page}"],
        [sys.executable, "-m", "simulators.publish", "--broker", f"127.0.0.1:{broker}", "--time-lapse", lapse],
    ]  # fmt: skip


def start_phone(folder: Path) -> Path:
    """Start the receiver; return the contacts file that leads to it."""
    phone = ThreadingHTTPServer(("127.0.0.1", 0), Phone)
    threading.Thread(target=phone.serve_forever, daemon=True).start()
    contacts = folder / "contacts.toml"
    contacts.touch(mode=0o600)
    address = f"json://127.0.0.1:{phone.server_port}/"
    contacts.write_text(f'[channels]\nlead-phone = "{address}"\nkeeper-phone = "{address}"\n')
    return contacts


def main() -> int:
    """Start everything, wait for Ctrl-C or for a part to end, stop everything."""
    parser = argparse.ArgumentParser(prog="dewgate demo", description=__doc__)
    parser.add_argument("--factor", type=float, default=60.0, help="minutes on the site for one of yours")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop by itself after so long")
    parser.add_argument("--page-port", type=int, default=8080, help="port of the board, if it is free")
    parser.add_argument("--embedded-broker", action="store_true", help="even where Mosquitto is installed")
    args = parser.parse_args()
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    with tempfile.TemporaryDirectory(prefix="dewgate-demo-") as folder:
        return play(Path(folder), args, stop)


def play(folder: Path, args: argparse.Namespace, stop: threading.Event) -> int:
    """Run the demonstration in a folder of its own."""
    home, broker, page = folder / "home", free_port(), free_port(args.page_port)
    lapse = f"{args.factor:g},{EPOCH},{time.time():.3f}"
    apply = [sys.executable, "-m", "gateway", "apply", str(DEPLOY / "demo.toml"), "--home", str(home),
             "--who", "demo", "--why", "demonstration", "--time-lapse", lapse]  # fmt: skip
    subprocess.run(apply, check=True, stdout=subprocess.DEVNULL)
    running = [start_broker(folder, broker, args.embedded_broker)]
    try:
        wait_for(broker)
        for command in commands(home, broker, page, lapse, start_phone(folder)):
            running += [subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True)]
        wait_for(page)
        print(SAY.format(factor=args.factor, address=f"http://127.0.0.1:{page}/"), flush=True)
        return watch(running, stop, args.seconds)
    finally:
        for each in reversed(running):
            each.terminate()
        for each in running:
            each.wait(10)


def watch(running: list[subprocess.Popen[bytes]], stop: threading.Event, seconds: float) -> int:
    """Wait; a part that ends by itself ends the demonstration with an error."""
    end = time.monotonic() + seconds
    while time.monotonic() < end and not stop.wait(0.5):
        for each in running:
            if each.poll() is not None:
                print(f"demo: {each.args!r} ended with {each.returncode}", file=sys.stderr)
                return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
