"""`dewgate sensors` and `dewgate watch` as a keeper runs them: a real Mosquitto, a real run, real commands."""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.config import to_toml
from gateway.entry import Kind
from tests.broker import Mosquitto
from tests.flow.test_run import Site, broker, now_ms, publish  # noqa: F401  fixture
from tests.sites import margin_limit, pack, site
from tests.test_heard_table import ANSWERS, answered

FILE = replace(site(margin_limit()), trains=())


def dewgate(*words: str | Path) -> str:
    command = [sys.executable, "-m", "gateway", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


class Reader:
    """A command that goes on, and its lines as they come."""

    def __init__(self, *words: str | Path) -> None:
        command = [sys.executable, "-m", "gateway", *map(str, words)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert self.process.stdout is not None
        self.out, self.text = self.process.stdout.fileno(), ""

    def until(self, words: str, seconds: float) -> str:
        """Return the line with these words, or fail when it does not come in time."""
        end = time.monotonic() + seconds
        while not (found := [line for line in self.text.splitlines() if words in line]):
            left = end - time.monotonic()
            assert left > 0, f"{words!r} did not come within {seconds} s: {self.text!r}"
            if select.select([self.out], [], [], left)[0]:
                self.text += os.read(self.out, 65536).decode()
        return found[0]

    def stop(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(5)


class Listening(Site):
    """A run that is surely subscribed: a barometer's reading without a time has come through."""

    def __init__(self, home: Path, broker: Mosquitto) -> None:  # noqa: F811
        super().__init__(home, broker)
        self.start()
        self.before = 0
        for _ in range(40):
            publish(broker, ("dewgate/test/baro", pack("baro", 1013)))
            time.sleep(0.5)
            self.before = sum(kind is Kind.MESSAGE for kind, _ in self.entries())
            if self.before:
                return
        raise RuntimeError("the run does not listen")

    def took(self, count: int) -> None:
        """Wait until so many more have come."""
        self.wait(self.before + count)


@pytest.fixture
def running(tmp_path: Path, broker: Mosquitto) -> Iterator[Listening]:  # noqa: F811
    made = Listening(tmp_path / "home", broker)
    yield made
    if made.process.poll() is None:
        made.stop(signal.SIGKILL)


@pytest.fixture
def watching(running: Listening) -> Iterator[Reader]:
    made = Reader("watch", "--home", running.home, "--minutes", "5")
    made.until("JOBSITE SET by keeper: test; 8 sensors", 10)
    yield made
    if made.process.poll() is None:
        made.process.kill()


def test_from_an_unknown_sensor_to_a_speaking_one(running: Listening, tmp_path: Path) -> None:
    """Plug in, `sensors`, paste, answer, `check`, `apply`: then the sensor is heard and nothing is unknown."""
    file = tmp_path / "site.toml"
    publish(running.broker, ("dewgate/test/door", pack("door", 18.5, now_ms(), "Cel")))
    running.took(1)
    said = dewgate("sensors", "--home", running.home).splitlines()
    assert "Not known to the jobsite: 1, ready to paste:" in said
    begin = said.index("[[sensors]]")
    assert said[begin - 1] == "# dewgate/test/door: heard once; example 18.5 Cel"
    table = answered(said[begin : said.index("", begin)], ANSWERS)
    file.write_text(f"{to_toml(FILE)}\n{table}\n")
    assert "9 sensors, 1 limits" in dewgate("check", file)
    dewgate("apply", file, "--home", running.home, "--who", "keeper", "--why", "a new sensor")
    publish(running.broker, ("dewgate/test/door", pack("door", 19.5, now_ms(), "Cel")))
    running.took(2)
    after = json.loads(dewgate("sensors", "--home", running.home, "--json"))
    door = next(each for each in after["sensors"] if each["id"] == "door")
    assert (1, 19.5, "Cel") == (door["times"], door["value"], door["unit"])
    assert after["unknown"] == []
    assert [("dewgate/test/door", "unknown sensor", 1)] == [
        (each["topic"], each["code"], each["times"]) for each in after["refused"]
    ]


def test_the_table_with_its_questions_open_is_refused_by_check(running: Listening, tmp_path: Path) -> None:
    """Nothing is guessed: each question left open is told as missing."""
    publish(running.broker, ("dewgate/test/door", pack("door", 18.5, now_ms(), "Cel")))
    running.took(1)
    said = dewgate("sensors", "--home", running.home).splitlines()
    begin = said.index("[[sensors]]")
    file = tmp_path / "site.toml"
    table = "\n".join(said[begin : said.index("", begin)])
    file.write_text(f"{to_toml(FILE)}\n{table}\n")
    command = [sys.executable, "-m", "gateway", "check", str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 1
    for key in ANSWERS.keys() - {"accuracy_means", "classified_area"}:
        assert key in done.stderr


def test_a_live_reading_is_shown_soon(running: Listening, watching: Reader) -> None:
    """Value with the sensor's unit and its lag; then a refusal, escaped; Ctrl-C ends it well."""
    publish(running.broker, ("dewgate/test/steel", pack("steel", 20.25, now_ms())))
    line = watching.until("20.25 Cel", 10.0)
    assert line.split()[1:4] == ["steel", "20.25", "Cel"]
    assert line.split()[4] == "lag"
    publish(running.broker, ("dewgate/test/door", b'[{"n":"door","u":"Cel","v":18.5}]'))
    assert "REFUSED unknown sensor" in watching.until("sent: door 18.5 Cel", 10.0)
    publish(running.broker, ("dewgate/test/steel", b"\x1b]0;hello\x07"))
    assert "\\x1b]0;hello\\x07" in watching.until("REFUSED not SenML", 10.0)
    assert "\x1b" not in watching.text
    assert watching.stop() == 0


def test_a_stop_is_seen_and_the_log_does_not_grow_behind_the_reader(running: Listening, watching: Reader) -> None:
    """The writer's log is taken back while watch runs: no transaction of the reader stays open."""
    publish(
        running.broker, *(("dewgate/test/steel", pack("steel", 20 + n / 1000, now_ms() + n)) for n in range(300))
    )
    watching.until("20.299 Cel", 10.0)
    assert running.stop() == 0
    watching.until("STOPPED: asked to stop", 10.0)
    log = running.home / "journal.db-wal"
    assert not log.exists() or log.stat().st_size == 0
    assert "NOT WRITTEN since" in dewgate("sensors", "--home", running.home)


def test_once_prints_the_last_minutes_and_ends(running: Listening) -> None:
    """`--rejects` leaves readings out, `--sensor` leaves others out."""
    publish(
        running.broker, ("dewgate/test/steel", pack("steel", 20, now_ms())), ("dewgate/test/steel", b"no"),
        ("dewgate/test/air-t", pack("air-t", 15, now_ms())),
    )  # fmt: skip
    running.took(3)
    home = ("--home", running.home)
    every = dewgate("watch", *home, "--once").splitlines()
    assert sum("  lag " in line for line in every) == 2
    rejects = dewgate("watch", *home, "--once", "--rejects")
    assert "REFUSED not SenML" in rejects and "  lag " not in rejects
    steel = dewgate("watch", *home, "--once", "--sensor", "steel")
    assert "20 Cel" in steel and "REFUSED" in steel and "15 Cel" not in steel
    assert "a dewgate is writing this journal" in dewgate("sensors", *home)
