"""The demonstration as a reader sees it: live, an alert on the phone, an acknowledgement, a clean end."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import free_port


class Demo:
    """A running demonstration and what it has printed."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.log = folder / "demo.log"
        self.page = f"http://127.0.0.1:{(port := free_port())}"
        command = [sys.executable, "-m", "simulators.demo", "--page-port", str(port), *options]
        self.process = subprocess.Popen(command, stdout=self.log.open("w"), stderr=subprocess.STDOUT)

    def wait_for(self, words: str, seconds: float) -> str:
        """Wait until the output holds these words."""
        end = time.monotonic() + seconds
        while words not in (text := self.log.read_text()):
            assert time.monotonic() < end and self.process.poll() is None, text
            time.sleep(0.3)
        return text

    def board(self) -> str:
        """Return the board's page."""
        with urllib.request.urlopen(f"{self.page}/", timeout=5) as answer:
            text: str = answer.read().decode()
            return text

    def wait_for_board(self, words: str, seconds: float) -> str:
        """Wait until the board shows these words."""
        end = time.monotonic() + seconds
        while words not in (text := self.board()):
            assert time.monotonic() < end, text
            time.sleep(0.5)
        return text

    def interrupt(self) -> int:
        """Press Ctrl-C."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(20)


@pytest.fixture(params=[(), ("--embedded-broker",)], ids=["mosquitto", "embedded broker"])
def demo(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Demo]:
    made = Demo(tmp_path, *request.param)
    yield made
    if made.process.poll() is None:
        made.process.kill()


def ours(page: str) -> list[str]:
    """Return the command lines still running that belong to a demonstration."""
    lines = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=True).stdout.splitlines()
    return [line for line in lines if "dewgate-demo-" in line]


def test_live_within_a_minute_and_ctrl_c_stops_everything(demo: Demo) -> None:
    """Gaps and a verdict stand on the board soon after the address; Ctrl-C leaves no process behind."""
    demo.wait_for("Board (simulated jobsite", 30)
    page = demo.wait_for_board("inside limits", 60)
    assert "SIMULATED" in page.upper()
    assert re.search(r"dew point \d+\.\d", page)
    assert demo.interrupt() == 0
    assert ours(demo.page) == []
    before, _, after = demo.log.read_text().partition("Board (simulated jobsite")
    assert len(before.splitlines()) < 12, "a reader must find the address"
    said = [line for line in after.splitlines() if line.startswith("dewgate")]
    assert len(said) < 12, "and the alerts"


@pytest.mark.timeout(400)
def test_the_steel_gets_wet_the_phone_is_told_and_the_dryer_fails(tmp_path: Path) -> None:
    """Within five minutes: a warning, an alert that says what to stop, and the pot alert, with numbers."""
    demo = Demo(tmp_path)
    demo.wait_for("Board (simulated jobsite", 30)
    demo.wait_for("#1 Close to limit: area A north shell", 200)
    text = demo.wait_for("#1 Stop blasting area A. Do not start the coat.", 200)
    assert "at least 3 K (demo specification 4.2 (simulated))" in text
    assert "Acknowledge A-" in demo.wait_for_board("unacknowledged", 10)
    demo.wait_for("#1 Stop blasting area A: water can fall out in the pot.", 150)
    assert demo.interrupt() == 0
