"""The follower against a real time-series server: everything arrives, and a killed server loses nothing."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from gateway import entry
from gateway.__main__ import main
from gateway.adapters import series_count, timeseries
from gateway.adapters.journal import Journal, open_reader
from gateway.adapters.timeseries import Place, batches, follow
from gateway.entry import Arrival, Kind
from gateway.flow_state import Outcomes
from gateway.payload.canonical import config_set, to_bytes
from tests.broker import free_port
from tests.sites import pack, site

START_MS = time.time_ns() // 1_000_000 - 600_000


class Victoria:
    """A server on loopback with its storage in a temporary folder."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        program = shutil.which("victoria-metrics")
        if program is None:
            raise RuntimeError("victoria-metrics is not installed: apt install victoria-metrics")
        options = [f"-storageDataPath={self.folder}", f"-httpListenAddr=127.0.0.1:{self.port}"]
        options += ["-dedup.minScrapeInterval=1ms", "-retentionPeriod=10y", "-memory.allowedBytes=100MB"]
        self.process = subprocess.Popen([program, *options], stderr=subprocess.DEVNULL)
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise RuntimeError("victoria-metrics did not start")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def samples(self) -> set[tuple[str, int, float]]:
        """Return every sample there is: sensor, UTC ms, value."""
        query = f"{self.url}/api/v1/export?match[]=reading_value&start={START_MS / 1000 - 86400}"
        with urllib.request.urlopen(query, timeout=10) as answer:
            series = [json.loads(line) for line in answer.read().splitlines()]
        return {
            (each["metric"]["sensor"], at, value)
            for each in series
            for at, value in zip(each["timestamps"], each["values"], strict=True)
        }


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Victoria]:
    made = Victoria(tmp_path / "victoria")
    yield made
    made.kill()


class Book:
    """A journal with a jobsite in force, to which timed readings are added."""

    def __init__(self, home: Path) -> None:
        home.mkdir()
        self.home, self.count, self.expected = home, 0, set[tuple[str, int, float]]()
        self.journal = Journal(home / "journal.db")
        started = to_bytes({"offset_ms": 1000, "core_version": "1", "entries": 0})
        self._commit([entry.plain(Kind.STARTED, START_MS, started)])
        self._commit([entry.plain(Kind.CONFIG_SET, START_MS, config_set(site(), "keeper", "test"))])

    def add(self, number: int) -> None:
        made = []
        for n in range(number):
            at, value = START_MS + self.count + n, 20.0 + n % 100 / 8
            arrival = Arrival("dewgate/test/steel", pack("steel", value, at))
            made.append(entry.message(arrival, at))
            self.expected.add(("steel", at, value))
        self._commit(made)

    def _commit(self, entries: list[bytes]) -> None:
        self.journal.commit(self.count + 1, entries, 1, Outcomes(), START_MS)
        self.count += len(entries)


@contextmanager
def following(home: Path, url: str) -> Iterator[None]:
    stop = threading.Event()
    thread = threading.Thread(target=follow, args=(home, url, "", stop))
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(20)


def eventually(true: Callable[[], bool], seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.5)


def test_every_reading_arrives_and_a_killed_server_loses_none(
    tmp_path: Path, server: Victoria, capfd: pytest.CaptureFixture[str]
) -> None:
    book = Book(tmp_path / "home")
    book.add(1700)
    with following(book.home, server.url):
        eventually(lambda: server.samples() >= book.expected)
        book.add(1300)
        time.sleep(2)  # accepted, and still only in the server's memory
        server.kill()
        book.add(500)
        time.sleep(2)
        server.start()
        eventually(lambda: server.samples() >= book.expected)
    assert server.samples() == book.expected
    assert "cannot be reached" in capfd.readouterr().err


def test_a_server_that_dies_between_two_writes_is_noticed(tmp_path: Path, server: Victoria) -> None:
    """Nothing is sent while it is away, so only the new connection tells."""
    book = Book(tmp_path / "home")
    follower = timeseries.Follower(book.home, timeseries.Server(server.url, ""))
    with closing(follower):
        book.add(600)
        while follower.step():
            pass
        server.kill()
        server.start()
        book.add(1)
        while follower.step():
            pass
        eventually(lambda: server.samples() == book.expected)


def test_the_place_is_kept_only_after_a_while_and_found_again(
    tmp_path: Path, server: Victoria, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = Book(tmp_path / "home")
    book.add(10)
    with closing(timeseries.Follower(book.home, timeseries.Server(server.url, ""))) as follower:
        while follower.step():
            pass
        assert follower.sent.seq == 12 and follower.kept.seq == 0
        monkeypatch.setattr(timeseries, "BEHIND_S", 0.0)
        follower.step()
        assert follower.kept.seq == 12
    with closing(timeseries.Follower(book.home, timeseries.Server(server.url, ""))) as again:
        assert again.kept == follower.kept and again.kept.config


def test_a_reading_without_a_time_has_the_time_it_came_unless_it_may_be_old() -> None:
    entries = [
        entry.plain(Kind.CONFIG_SET, 0, config_set(site(), "keeper", "test")),
        entry.plain(Kind.CLOCK_STEP, 0, to_bytes({"new_offset_ms": 500})),
        entry.message(Arrival("dewgate/test/steel", pack("steel", 21)), START_MS),
        entry.message(Arrival("dewgate/test/steel", pack("steel", 22), retain=True), START_MS + 1),
    ]
    (batch,) = batches(entries, Place())
    assert batch.lines == [f"reading,jobsite=test,sensor=steel value=21.0 {START_MS + 500}"]
    assert batch.reached.seq == 4 and batch.reached.offset_ms == 500


def test_the_journal_is_only_read(tmp_path: Path) -> None:
    book = Book(tmp_path / "home")
    with closing(open_reader(book.home / "journal.db")) as reader:
        before = reader.execute("SELECT count(*) FROM entries").fetchone()
    stop = threading.Event()
    threading.Timer(1.5, stop.set).start()
    follow(book.home, f"http://127.0.0.1:{free_port()}", "", stop)  # nobody there: it only waits
    with closing(open_reader(book.home / "journal.db")) as reader:
        assert reader.execute("SELECT count(*) FROM entries").fetchone() == before


def test_a_count_proves_that_nothing_is_missing(
    tmp_path: Path, server: Victoria, capsys: pytest.CaptureFixture[str]
) -> None:
    """As many samples as readings, by day and sensor; one sample too few is found and named."""
    book = Book(tmp_path / "home")
    book.add(700)
    with following(book.home, server.url):
        eventually(lambda: server.samples() >= book.expected)
    command = ["follow", "--home", str(book.home), "--url", server.url, "--count", "2"]
    eventually(lambda: main(command) == 0, 30)
    assert "700 readings of the last 2 days: all at the server" in capsys.readouterr().out
    book.add(1)
    assert main(command) == 1
    said = capsys.readouterr().out
    assert "steel" in said and " 700 samples" in said and "NOT all" in said
    server.kill()
    assert main(command) == 2


def test_the_journal_is_counted_by_day_and_sensor(tmp_path: Path) -> None:
    """A range in UTC, its end left out; a reading without a place in it is not counted."""
    book = Book(tmp_path / "home")
    book.add(10)
    day = START_MS // series_count.DAY_MS
    assert series_count.in_journal(book.home, START_MS + 2, START_MS + 6) == {("test", "steel", day): 4}
