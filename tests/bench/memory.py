"""Resident memory of `dewgate run` with its board, after messages have come and the board was read."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

from tests.bench.ingest import preload
from tests.broker import Mosquitto, free_port
from tests.faults.kill_run import prepare


def run_rss_mb() -> float:
    """Return MB (10^6 bytes) resident after the board has been fetched 20 times."""
    with tempfile.TemporaryDirectory() as folder:
        home, broker, page = Path(folder) / "home", Mosquitto(Path(folder)), free_port()
        prepare(home)
        command = [sys.executable, "-m", "gateway", "run", "--home", str(home)]
        command += ["--broker", f"127.0.0.1:{broker.port}", "--page", f"127.0.0.1:{page}", "--open-if-simulated"]
        run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _use(broker.port, page)
            return _rss_mb(run.pid)
        finally:
            run.send_signal(signal.SIGTERM)
            run.wait(30)
            broker.stop()


def _use(port: int, page: int) -> None:
    _fetch(page, 30)
    preload(port, 800)
    time.sleep(2.0)
    for _ in range(20):
        _fetch(page, 1)


def _fetch(page: int, tries: int) -> None:
    for left in reversed(range(tries)):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{page}/", timeout=10) as answer:
                answer.read()
                return
        except (urllib.error.URLError, ConnectionError):
            if not left:
                raise
            time.sleep(0.5)


def _rss_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    if found is None:
        raise RuntimeError("dewgate run is gone")
    return int(found[1]) * 1024 / 1e6
