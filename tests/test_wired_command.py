"""The publisher as a process: a real Modbus server and serial line in front, a real Mosquitto behind."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from gateway import wired_command
from gateway.adapters.address import Address
from gateway.adapters.modbus import Door
from gateway.wired import Line, Place, Tcp, Wired, polls
from gateway.wired_command import LineReader, Publisher
from tests.broker import Mosquitto, free_port
from tests.faults.kill_run import prepare
from tests.test_wired import AIR
from tests.test_wired_door import SIZE, Devices, SerialLine, devices, line

__all__ = ["devices", "line"]  # fixtures

POINT = """
[[lines.points]]
sensor = "{sensor}"
device_id = {device}
table = "holding"
address = {address}
type = "{type}"
{more}
factor = "{factor}"
unit = "{unit}"
interval = "{interval}"
"""


def tcp(port: int, *points: str, timeout: str = "0.2 s", name: str = "a") -> str:
    head = f'[[lines]]\nid = "{name}"\nkind = "tcp"\nhost = "127.0.0.1"\nport = {port}\ntimeout = "{timeout}"\n'
    return head + "".join(points)


def point(sensor: str, address: int, kind: str = "int16", **changes: object) -> str:
    values = {"device": 3, "factor": "0.1", "unit": "Cel", "interval": "0.5 s", "more": ""} | changes
    return POINT.format(sensor=sensor, address=address, type=kind, **values)


HIGH, LOW = 'word_order = "high first"', 'word_order = "low first"'


class Heard:
    """A subscriber that keeps every pack under dewgate/."""

    def __init__(self, port: int) -> None:
        self.packs: list[tuple[str, dict[str, float]]] = []
        self.client = paho.Client(
            CallbackAPIVersion.VERSION2, "heard", clean_session=False, protocol=paho.MQTTv311
        )
        self.client.on_message = self._on_message
        self.client.on_connect = lambda client, *_: client.subscribe("dewgate/#", 1)
        self.client.reconnect_delay_set(1, 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        assert message.qos == 1 and not message.retain
        (record,) = json.loads(message.payload)
        self.packs.append((message.topic, record))

    def of(self, sensor: str) -> list[dict[str, float]]:
        return [record for topic, record in self.packs if topic == f"dewgate/test/{sensor}"]

    def stop(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    (tmp_path / "broker").mkdir()
    made = Mosquitto(tmp_path / "broker")
    yield made
    made.stop()


@pytest.fixture
def heard(broker: Mosquitto) -> Iterator[Heard]:
    made = Heard(broker.port)
    yield made
    made.stop()


class Program:
    """The running publisher; its stderr goes into a file."""

    def __init__(self, folder: Path, text: str, port: int) -> None:
        (folder / "w.toml").write_text(f'[jobsite]\nid = "test"\n{text}')
        self.said_file = folder / "said.txt"
        command = [sys.executable, "-m", "gateway.wired_command", str(folder / "w.toml")]
        with self.said_file.open("w") as said:
            self.process = subprocess.Popen([*command, "--broker", f"127.0.0.1:{port}"], stderr=said)

    def said(self, *words: str) -> list[str]:
        lines = self.said_file.read_text().splitlines()
        return [each for each in lines if all(word in each for word in words)]

    def stop(self) -> tuple[int, float]:
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(10), time.monotonic() - began


@pytest.fixture
def run(tmp_path: Path, broker: Mosquitto) -> Iterator[Callable[[str], Program]]:
    made: list[Program] = []

    def begin(text: str, port: int = 0) -> Program:
        made.append(Program(tmp_path, text, port or broker.port))
        return made[-1]

    yield begin
    for each in made:
        if each.process.poll() is None:
            each.process.kill()
            each.process.wait()


def until(what: Callable[[], object], seconds: float = 10) -> None:
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "did not come to pass"
        time.sleep(0.05)


def test_every_number_arrives_as_a_pack(run: Callable[..., Program], devices: Devices, heard: Heard) -> None:
    """int16 below zero, float32 in both word orders (21.5 is 0x41AC0000), a current; time, unit and promise."""
    devices.registers[3] = {0: 0xFFD8, 1: 0x41AC, 2: 0, 3: 0, 4: 0x41AC, 5: 12_345}
    began_s = time.time()
    program = run(tcp(
        devices.port, point("cold", 0), point("high", 1, "float32", more=HIGH, factor="1"),
        point("low", 3, "float32", more=LOW, factor="1"), point("loop", 5, "uint16", factor="0.001", unit="mA"),
    ))  # fmt: skip
    until(lambda: len(heard.packs) >= 8)
    first = dict(heard.packs[:4])
    assert {topic: record["v"] for topic, record in first.items()} == {
        "dewgate/test/cold": -4.0, "dewgate/test/high": 21.5, "dewgate/test/low": 21.5,
        "dewgate/test/loop": 12.345,
    }  # fmt: skip
    assert first["dewgate/test/loop"]["u"] == "mA" and first["dewgate/test/cold"]["n"] == "cold"
    assert all(record["ut"] == 1.5 and began_s - 1 < record["t"] < time.time() for record in first.values())
    assert set(devices.reads) == {(3, 3, 0, 6)}  # one read for all four
    code, seconds = program.stop()
    assert code == 0 and seconds < 2


def test_readings_keep_the_grid(run: Callable[..., Program], devices: Devices, heard: Heard) -> None:
    """Ten intervals later the time is ten intervals later, however long each read took."""
    devices.delay_s = 0.1
    run(tcp(devices.port, point("x", 0, interval="0.3 s")))
    until(lambda: len(heard.of("x")) > 10)
    times = [record["t"] for record in heard.of("x")]
    assert times[10] - times[0] == pytest.approx(3.0, abs=0.15)


def test_a_slow_device_skips_and_never_queues(run: Callable[..., Program], devices: Devices, heard: Heard) -> None:
    """An answer takes 0.25 s, the interval is 0.1 s: readings come on every third place of the grid."""
    devices.delay_s = 0.25
    run(tcp(devices.port, point("x", 0, interval="0.1 s"), timeout="1 s"))
    until(lambda: len(heard.of("x")) > 6)
    times = [record["t"] for record in heard.of("x")][:6]
    assert all(0.2 < later - sooner < 0.4 for sooner, later in pairwise(times))
    devices.delay_s = 0.0
    time.sleep(0.6)
    quick = len(devices.reads)
    time.sleep(1.0)
    assert len(devices.reads) - quick <= 11  # nothing was stored up


def test_faults_are_silent_and_said_once(run: Callable[..., Program], devices: Devices, heard: Heard) -> None:
    """Not valid, no number, refused and no answer: nothing is published, the neighbours are."""
    devices.registers[3] = {0: 32767, 1: 0x7FC0, 2: 0, 3: 215}
    devices.refusing = {4}
    text = tcp(
        devices.port, point("broken", 0, more="not_valid = [32767]"), point("nan", 1, "float32", more=HIGH),
        point("good", 3), point("refused", 4), point("mute", 0, device=9),
    )  # fmt: skip
    program = run(text)
    until(lambda: len(heard.of("good")) >= 4)
    assert {topic for topic, _ in heard.packs} == {"dewgate/test/good"}
    assert [record["v"] for record in heard.of("good")][:2] == [21.5, 21.5]
    for words in (
        ("device 3: the device sends 32767, which is not valid by the file", "1 sensor silent: broken"),
        ("device 3: the device sends nan, which is no number", "silent: nan"),
        ("device 3: the device refuses: illegal data address (code 2) since", "silent: refused"),
        ("device 9: no answer since", "silent: mute"),
    ):
        assert len(program.said("line a", *words)) == 1, program.said()
    devices.registers[3][0] = 199
    until(lambda: heard.of("broken"))
    assert heard.of("broken")[0]["v"] == 19.9
    until(lambda: program.said("line a, device 3: readings again at", ": broken"))


def test_a_server_that_goes_and_comes_back(run: Callable[..., Program], devices: Devices, heard: Heard) -> None:
    devices.registers[3] = {0: 1, 1: 2}
    program = run(tcp(devices.port, point("x", 0), point("y", 1)))
    until(lambda: heard.of("y"))
    devices.stop()
    until(lambda: program.said("line a, device 3: no connection to", "2 sensors silent: x, y"))
    gone_s = time.time()
    time.sleep(1.2)
    again = Devices(devices.port)
    again.registers[3] = {0: 3, 1: 4}
    until(lambda: [each for each in heard.of("y") if each["v"] == 0.4])
    assert not [each for each in heard.of("x") if gone_s + 0.1 < each["t"] < gone_s + 1.0]
    assert len(program.said("readings again", "x, y")) == 1
    again.stop()
    devices.__init__()  # type: ignore[misc]  # for the fixture to stop


def test_a_silent_device_leaves_the_line_to_the_others(
    run: Callable[..., Program], devices: Devices, heard: Heard
) -> None:
    """Eight mute devices with a timeout as long as the interval: the good one keeps more than half of its grid."""
    mute = [point(f"m{each}", 0, device=20 + each, interval="0.2 s") for each in range(8)]
    run(tcp(devices.port, point("good", 0, interval="0.2 s"), *mute))
    until(lambda: heard.of("good"))
    time.sleep(2.5)  # every mute one was asked once
    before = len(heard.of("good"))
    time.sleep(4)
    assert len(heard.of("good")) - before > 10  # 20 without the others; 2 if each were asked at its interval


def test_what_is_read_while_the_broker_is_away_arrives_later(
    run: Callable[..., Program], devices: Devices, heard: Heard, broker: Mosquitto
) -> None:
    """No reading is lost between two seconds before and two seconds after; each keeps its own time."""
    devices.registers[3] = {0: 7}
    program = run(tcp(devices.port, point("x", 0, interval="0.1 s")))
    until(lambda: len(heard.of("x")) > 5)
    broker.stop()
    until(lambda: program.said("connection lost; the last 20000 readings are kept"))
    time.sleep(3)
    broker.start()
    until(lambda: program.said("connected after", "0 readings dropped"), 20)
    time.sleep(3)
    assert program.stop()[0] == 0
    time.sleep(0.5)
    times = sorted({record["t"] for record in heard.of("x")})
    gaps = [later - sooner for sooner, later in pairwise(times)]
    assert times[-1] - times[0] > 6 and max(gaps) < 0.25
    assert not program.said("had not reached")


def test_it_ends_within_two_seconds_whatever_is_missing(run: Callable[..., Program], devices: Devices) -> None:
    """No broker, a silent device with a long timeout; what is lost is said."""
    devices.registers[3] = {0: 7}
    program = run(tcp(devices.port, point("x", 0, interval="0.1 s"), timeout="10 s")
                  + tcp(devices.port, point("m", 0, device=9), timeout="10 s", name="b"), free_port())  # fmt: skip
    until(lambda: len(devices.reads) > 5)
    code, seconds = program.stop()
    assert code == 0 and seconds < 2
    (lost,) = program.said("readings had not reached the broker")
    assert 3 < int(lost.split()[3]) < 30


def test_a_serial_line_is_published_too(run: Callable[..., Program], line: SerialLine, heard: Heard) -> None:
    line.registers |= {0: 213, 1: 0xFFFF}
    head = f'[[lines]]\nid = "s"\nkind = "rtu"\ndevice = "{line.path}"\nbaud = 19200\nparity = "even"\n'
    program = run(
        f'{head}stop_bits = 1\ntimeout = "0.2 s"\n' + point("x", 0) + point("y", 1) + point("z", 0, device=4)
    )
    until(lambda: heard.of("y"))
    assert (heard.of("x")[0]["v"], heard.of("y")[0]["v"]) == (21.3, -0.1)
    until(lambda: program.said("line s, device 4: no answer", "1 sensor silent: z"))
    assert program.stop()[0] == 0


def once(folder: Path, text: str) -> tuple[int, list[str]]:
    (folder / "w.toml").write_text(f'[jobsite]\nid = "test"\n{text}')
    command = [sys.executable, "-m", "gateway.wired_command", str(folder / "w.toml"), "--once"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
    assert done.stderr == ""
    return done.returncode, done.stdout.splitlines()


def test_once_prints_each_point_and_needs_no_broker(tmp_path: Path, devices: Devices) -> None:
    devices.registers[3] = {0: 213}
    good = point("x", 0)
    assert once(tmp_path, tcp(devices.port, good)) == (0, ["x: 21.3 Cel (raw 213, holding 0, device 3, line a)"])
    assert once(tmp_path, tcp(devices.port, good, point("far", SIZE), point("mute", 0, device=9))) == (1, [
        "x: 21.3 Cel (raw 213, holding 0, device 3, line a)",
        f"far: the device refuses: illegal data address (code 2) (holding {SIZE}, device 3, line a)",
        "mute: no answer (holding 0, device 9, line a)",
    ])  # fmt: skip


def test_a_wrong_file_or_address_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "w.toml").write_text("[jobsite]\n")
    assert wired_command.run("wired", [str(tmp_path / "w.toml")], "") == 1
    assert "w.toml:1: id is missing" in capsys.readouterr().err
    assert wired_command.run("wired", [str(tmp_path / "none.toml")], "") == 1
    (tmp_path / "w.toml").write_text('[jobsite]\nid = "test"\n' + tcp(1, point("a", 1)))
    assert wired_command.run("wired", [str(tmp_path / "w.toml"), "--broker", "1883"], "") == 1
    assert "host:port" in capsys.readouterr().err


def test_the_command_says_that_it_only_reads(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        wired_command.run("wired", ["--help"], "Advisory only.")
    words = " ".join(capsys.readouterr().out.split())
    assert "Reading only: nothing is ever written to a device; not part of any control loop." in words
    assert words.endswith("Advisory only.")


# -- parts that a process cannot show --------------------------------------------------------------------------

PLAN = Wired("test", (Line("a", Tcp("127.0.0.1", 1), 0.2, (AIR,)),))


def test_the_oldest_readings_are_dropped_and_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(wired_command, "WAITING", 3)
    made = Publisher(PLAN, Address("127.0.0.1", 1))
    for each in range(5):
        made._keep(("t", bytes([each])))
    assert [payload[0] for _, payload in made._waiting] == [2, 3, 4] and made._dropped == 2
    assert capsys.readouterr().err.splitlines() == [
        "dewgate wired: broker 127.0.0.1:1: 3 readings wait; from now on the oldest are dropped event=dropped"
    ]


def test_a_line_that_fails_unforeseen_ends_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is started again by whoever watches it; going on without a line would be silence without a word."""
    found: list[object] = []

    def fail(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Door, "read", fail)
    reader = LineReader("test", PLAN.lines[0], found.append)
    reader.start()
    reader.join(5)
    assert [type(each) for each in found] == [ZeroDivisionError]
    publisher = Publisher(PLAN, Address("127.0.0.1", 1))
    publisher._inbox.put(found[0])
    assert publisher._serve() is True


def test_a_silent_read_rests_only_where_others_answer() -> None:
    """Ten timeouts for each silent read of the line, at most a minute; none when all are silent."""
    points = [replace(AIR, sensor=f"s{each}", place=Place(each, "holding", 0)) for each in range(1, 41)]
    reader = LineReader("test", Line("a", Tcp("h", 502), 0.5, tuple(points)), lambda _: None)
    all_polls = dict.fromkeys(polls(reader._line), 0.0)
    silent = list(all_polls)
    reader._silent = set(silent[:2])
    assert reader._rest_s(silent[0], all_polls) == 10.0
    assert reader._rest_s(silent[2], all_polls) == 0.0
    reader._silent = set(silent[:30])
    assert reader._rest_s(silent[0], all_polls) == 60.0
    reader._silent = set(silent)
    assert reader._rest_s(silent[0], all_polls) == 0.0


# -- end to end ------------------------------------------------------------------------------------------------


class Board:
    """`dewgate run` with the test jobsite, and its page."""

    def __init__(self, home: Path, port: int) -> None:
        prepare(home)
        self.page = f"127.0.0.1:{free_port()}"
        command = [sys.executable, "-m", "gateway", "run", "--home", str(home), "--broker", f"127.0.0.1:{port}"]
        self.process = subprocess.Popen(
            [*command, "--page", self.page, "--open-if-simulated"], stdout=subprocess.DEVNULL
        )

    def text(self) -> str:
        try:
            with urllib.request.urlopen(f"http://{self.page}/", timeout=5) as answer:
                return str(answer.read().decode())
        except OSError:
            return ""  # not yet listening

    def steel(self) -> str:
        """The margin at the steel with what is written below it, tags taken off."""
        found = re.search(r"<article class=\"gap(?:(?!</article>).)*?steel.*?</article>", self.text(), re.DOTALL)
        return " ".join(re.sub(r"<[^>]*>", " ", found[0]).split()) if found else ""


def test_a_jobsite_fed_by_wires_shows_its_gap_and_knows_when_it_does_not(
    tmp_path: Path, run: Callable[..., Program], devices: Devices, broker: Mosquitto
) -> None:
    """20 °C and 50 %RH dew at 9.3 °C; steel at 15 °C stands 5.7 K above. A broken wire makes it unknown.

    The dew point: Hardy 1998, as tests of the physics have it; the promise of the next reading counts from a
    minute on, so it takes a minute until silence is told.
    """
    board = Board(tmp_path / "home", broker.port)
    try:
        until(board.text)
        devices.registers[3] = {0: 200, 1: 500, 2: 10_130, 3: 150}
        run(tcp(
            devices.port, point("air-t", 0), point("air-rh", 1, "uint16", unit="%RH"),
            point("baro", 2, "uint16", unit="hPa"), point("steel", 3, more="not_valid = [32767]"),
        ))  # fmt: skip
        until(lambda: "5.7 K" in board.steel() and "dew point 9.3" in board.steel())
        devices.registers[3][3] = 32767
        until(lambda: "steel: silent since" in board.steel(), 90)
        assert "5.7 K" not in board.steel() and "air-t: silent" not in board.text()
    finally:
        board.process.terminate()
        board.process.wait(15)
