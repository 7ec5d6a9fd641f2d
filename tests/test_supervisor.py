"""The supervisor hears that the writer is ready, and that it works, from its own turns only."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from gateway.adapters.supervisor import Supervisor
from gateway.service import Service
from tests.faults.kill_run import prepare


@pytest.fixture
def heard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """A supervisor's socket; a word every second is wanted."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:
        door.bind(str(tmp_path / "notify"))
        door.settimeout(10)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", "1000000")
        yield door


def test_a_writer_that_turns_is_alive(heard: socket.socket, tmp_path: Path) -> None:
    """Ready once, then a word at least every second; none any more once a turn does not end."""
    prepare(tmp_path / "home")
    service = Service(tmp_path / "home")
    hang, real = threading.Event(), service.turn

    def turn() -> None:
        while hang.is_set():
            time.sleep(0.01)
        real()

    service.turn = turn  # type: ignore[method-assign]
    writer = threading.Thread(target=service.loop)
    writer.start()
    began = time.monotonic()
    assert heard.recv(200).startswith(b"STATUS=reading the journal")
    assert [heard.recv(100) for _ in range(5)] == [b"READY=1"] + [b"WATCHDOG=1"] * 4
    assert time.monotonic() - began < 4.0
    hang.set()
    time.sleep(0.5)
    heard.setblocking(False)
    with suppress(BlockingIOError):
        while heard.recv(100):
            pass
    time.sleep(1.0)
    with pytest.raises(BlockingIOError):
        heard.recv(100)
    service.stopping.set()
    hang.clear()
    writer.join()
    service.close()


def test_without_a_supervisor_nothing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor is anything wrong where its socket is gone."""
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    Supervisor().ready()
    monkeypatch.setenv("NOTIFY_SOCKET", "/nowhere/notify")
    monkeypatch.setenv("WATCHDOG_USEC", "1000")
    Supervisor().alive()


def test_reading_a_long_journal_asks_for_time(heard: socket.socket, tmp_path: Path) -> None:
    """Entries without a checkpoint are read a block at a time, and after each two more minutes are asked for."""
    prepare(tmp_path / "home")
    service = Service(tmp_path / "home")
    entries = service.flow.state.sequence - 1
    service.close()
    words = heard.recv(200).decode()
    assert words == f"STATUS=reading the journal: entry {entries} of {entries}\nEXTEND_TIMEOUT_USEC=120000000"
