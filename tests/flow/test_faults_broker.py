"""The broker restarts, is away, is cut off every second, is shared by two of one name, keeps too little."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from gateway import entry
from gateway.adapters import broker_check
from gateway.adapters.address import Address
from gateway.adapters.journal import entries_after, open_reader
from gateway.adapters.landmarks import clocks
from gateway.entry import Kind
from gateway.web.history_spans import Span, absences
from tests.broker import Mosquitto, free_port
from tests.faults import stepped
from tests.faults.kill_run import GATEWAY, make_session, prepare, stored
from tests.faults.real import Gateway, is_sound, until
from tests.flow.test_run import now_ms, publish
from tests.sites import pack
from tests.test_health import journalled


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    (tmp_path / "broker").mkdir()
    made = Mosquitto(tmp_path / "broker")
    yield made
    made.stop()


def some(count: int, number: int) -> list[bytes]:
    """Return timed readings, no two alike."""
    began = now_ms() - 1000
    return [pack("steel", 20 + number + n / 10_000, began + n) for n in range(count)]


def send(broker: Mosquitto, payloads: list[bytes]) -> None:
    publish(broker, *[("dewgate/test/steel", each) for each in payloads])


def hashes(payloads: list[bytes]) -> dict[bytes, int]:
    return {sha256(each).digest(): 1 for each in payloads}


def test_a_broker_that_goes_and_comes_back_is_told_and_nothing_is_lost(tmp_path: Path, broker: Mosquitto) -> None:
    """Away for seconds as it would be for a day: told on stderr and on the board, and told when it is over."""
    home = tmp_path / "home"
    prepare(home)
    gateway = Gateway(home, f"127.0.0.1:{broker.port}", tmp_path / "log")
    gateway.wait_for_board()
    first, second = some(200, 0), some(200, 1)
    time.sleep(1)
    send(broker, first)
    broker.stop()
    away = f"broker 127.0.0.1:{broker.port} not reachable since "
    gateway.wait_for(f"dewgate run: {away}")
    until(lambda: away in gateway.shows(), "the trouble on the board")
    assert gateway.is_live()
    broker.start()
    send(broker, second)
    gateway.wait_for(f"over: {away}")
    until(lambda: away not in gateway.shows(), "a board without the trouble")
    until(lambda: gateway.holds(400), "everything")
    killed = now_ms()
    broker.process.kill()
    broker.process.wait(10)
    broker.start()
    until(lambda: len(absent(home)) == 2, "an absence too short to be told, for the history")
    assert gateway.stop() == 0
    assert stored(home) == hashes(first + second) and is_sound(home)
    said = [(each["figure"], each["class"]) for each in journalled(home)]
    assert [each for each in said if each[0] == "broker"] == [("broker", "away"), ("broker", "good")]
    long, short = absent(home)
    assert 5_000 < long["until"] - long["from"] < killed - long["from"]
    assert killed - 100 <= short["from"] < short["until"] <= now_ms()


def absent(home: Path) -> list[dict[str, Any]]:
    """What the history page hatches."""
    with closing(open_reader(home / "journal.db")) as reader:
        return absences(reader, clocks(reader), Span(0, 1 << 53, now_ms()))


class Flapping(threading.Thread):
    """A network in front of a broker that breaks every connection once a second."""

    def __init__(self, port: int) -> None:
        super().__init__(daemon=True)
        self.port, self.listener, self.over = port, socket.create_server(("127.0.0.1", 0)), threading.Event()
        self.at: int = self.listener.getsockname()[1]
        self.cuts = 0

    def run(self) -> None:
        while not self.over.is_set():
            ours = self.listener.accept()[0]
            threading.Thread(target=self._carry, args=(ours,), daemon=True).start()

    def _carry(self, ours: socket.socket) -> None:
        theirs = socket.create_connection(("127.0.0.1", self.port))
        for one, other in ((ours, theirs), (theirs, ours)):
            threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()
        if not self.over.wait(1.0):
            self.cuts += 1
            for each in (ours, theirs):
                each.shutdown(socket.SHUT_RDWR)

    @staticmethod
    def _pass_on(one: socket.socket, other: socket.socket) -> None:
        try:
            while data := one.recv(65_536):
                other.sendall(data)
        except OSError:
            pass


def test_a_network_that_breaks_every_second_loses_nothing(tmp_path: Path, broker: Mosquitto) -> None:
    """The backlog comes through in pieces, once each; the board says that the connection breaks off."""
    home, network = tmp_path / "home", Flapping(broker.port)
    network.start()
    prepare(home)
    gateway = Gateway(home, f"127.0.0.1:{network.at}", tmp_path / "log")
    gateway.wait_for_board()
    until(lambda: network.cuts > 0, "a first cut")
    sent = some(6000, 0)
    send(broker, sent)
    breaks = f"the connection to broker 127.0.0.1:{network.at} breaks off again and again"
    gateway.wait_for(breaks, 60)
    assert "another client" not in gateway.said()
    until(lambda: gateway.holds(len(sent)), "everything", 60)
    assert network.cuts > 3
    assert gateway.stop() == 0
    assert stored(home) == hashes(sent) and is_sound(home)


class Mute(Flapping):
    """A network that carries everything to the gateway, and nothing back while it is mute."""

    def __init__(self, port: int) -> None:
        super().__init__(port)
        self.is_mute, self.open = False, list[socket.socket]()

    def _carry(self, ours: socket.socket) -> None:
        theirs = socket.create_connection(("127.0.0.1", self.port))
        self.open += [ours, theirs]
        threading.Thread(target=self._pass_on, args=(theirs, ours), daemon=True).start()
        with suppress(OSError):
            while data := ours.recv(65_536):
                if not self.is_mute:
                    theirs.sendall(data)

    def cut(self) -> None:
        """End all connections, and carry both ways again."""
        while self.open:
            self.open.pop().shutdown(socket.SHUT_RDWR)
        self.is_mute = False


def test_what_a_wrong_clock_refused_is_taken_once_though_the_broker_sends_it_again(
    tmp_path: Path, broker: Mosquitto
) -> None:
    """Set back by two minutes, no acknowledgement gets through, set right: read from the journal, a repeat later.

    Then the other way: taken by a right clock, and sent again to one that was set back.
    """
    home, clock, network = tmp_path / "home", tmp_path / "clock", Mute(broker.port)
    network.start()
    prepare(home)
    make_session(broker.port, GATEWAY)
    stepped.step(clock, -120.0)
    command = [sys.executable, "-m", "tests.faults.stepped", str(clock), "run", "--no-page", "--home", str(home)]
    run = subprocess.Popen([*command, "--broker", f"127.0.0.1:{network.at}"])

    def said(kind: Kind, count: int) -> None:
        until(lambda: [each for each, _ in entries(home)].count(kind) >= count, f"{count} times {kind.name}")

    before, now = pack("steel", 20.0, now_ms() - 300_000), pack("steel", 21.0, now_ms())
    send(broker, [before])
    said(Kind.MESSAGE, 1)  # it listens
    network.is_mute = True
    send(broker, [now])
    said(Kind.REJECTION, 1)
    stepped.step(clock, 0.0)
    said(Kind.CLOCK_STEP, 1)
    said(Kind.MESSAGE, 2)
    network.cut()
    said(Kind.DUPLICATE, 1)
    network.is_mute = True
    later = pack("steel", 22.0, now_ms())
    send(broker, [later])
    said(Kind.MESSAGE, 3)
    stepped.step(clock, -120.0)
    said(Kind.CLOCK_STEP, 2)
    network.cut()
    said(Kind.DUPLICATE, 2)
    run.terminate()
    assert run.wait(20) == 0
    kinds = Counter(kind for kind, _ in entries(home))
    assert (kinds[Kind.MESSAGE], kinds[Kind.REJECTION], kinds[Kind.DUPLICATE]) == (3, 1, 2)
    assert stored(home) == hashes([before, now, later]) and is_sound(home)


def entries(home: Path) -> list[tuple[Kind, bytes]]:
    """Return every entry of a journal as kind and body."""
    with closing(open_reader(home / "journal.db")) as reader:
        return [(kind, body) for kind, _, body in map(entry.unpack, entries_after(reader, 0))]


def test_two_of_one_name_are_told_and_lose_nothing(tmp_path: Path, broker: Mosquitto) -> None:
    """Each says so; neither journal holds anything twice, and nothing is in neither."""
    homes = [tmp_path / "one", tmp_path / "two"]
    for home in homes:
        prepare(home)
    make_session(broker.port, GATEWAY)
    gateways = [Gateway(home, f"127.0.0.1:{broker.port}", tmp_path / f"log-{home.name}") for home in homes]
    sent: list[bytes] = []
    for number in range(10):
        part = some(100, number)
        send(broker, part)
        sent += part
        time.sleep(1)
    for gateway in gateways:
        gateway.wait_for("another client uses the client id dewgate-run", 60)
    gateways[0].stop()
    until(
        lambda: hashes(sent).keys() <= stored(homes[0]).keys() | stored(homes[1]).keys(), "all in one or the other"
    )
    gateways[1].stop()
    for home in homes:
        assert set(stored(home).values()) <= {1} and is_sound(home)


def test_a_broker_that_keeps_too_little_is_told(tmp_path: Path) -> None:
    """Its own default of 1,000 drops silently; the gateway says so without being held up."""
    (tmp_path / "broker").mkdir()
    small = Mosquitto(tmp_path / "broker", "max_queued_messages 1000")
    prepare(tmp_path / "home")
    gateway = Gateway(tmp_path / "home", f"127.0.0.1:{small.port}", tmp_path / "log")
    gateway.wait_for(
        "drops messages when more than about 1000 wait for a gateway that is away: set max_queued_messages"
    )
    until(lambda: "set max_queued_messages 300000" in gateway.shows(), "the trouble on the board")
    assert gateway.stop() == 0
    small.stop()
    assert sum(stored(tmp_path / "home").values()) == 0  # the probe's own messages are nobody's


def test_what_is_found_out_of_a_broker(tmp_path: Path) -> None:
    """The shipped settings are enough; QoS 0 only is told; nobody there is none of the settings. In 3 s."""
    for extra, words in (
        ("", ""),
        ("max_qos 0", "QoS 0"),
        ("max_queued_messages 100", "more than about 100 wait"),
    ):
        folder = tmp_path / (extra.split(" ")[0] or "shipped")
        folder.mkdir()
        made, began = Mosquitto(folder, extra), time.monotonic()
        said, is_fault = broker_check.check(Address("127.0.0.1", made.port), "ours")
        assert time.monotonic() - began < 3
        made.stop()
        assert (words in said and is_fault) if words else (said, is_fault) == ("", False)
    said, is_fault = broker_check.check(Address("127.0.0.1", free_port()), "ours")
    assert "could not be checked" in said and not is_fault
