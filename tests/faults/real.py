"""The real program with its page, its stderr kept, on a disk that can be filled; and what its journal holds."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from gateway import history_command
from gateway.adapters.journal import open_reader
from gateway.replay import differences
from tests.broker import free_port
from tests.faults.kill_run import stored


def until(holds: Callable[[], bool], what: str, seconds: float = 90.0) -> None:
    """Wait until something has come about."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, f"not within {seconds:g} s: {what}"
        time.sleep(0.1)


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Path]:
    """Mount a disk of its own, a few MB; needs root, and says so where it is missing."""
    folder.mkdir(parents=True)
    if os.geteuid():
        raise RuntimeError("this test mounts a small disk, which needs root")
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def fill(disk: Path) -> Path:
    """Fill a disk to the last byte; the file returned gives the room back."""
    path = disk / "filler"
    with path.open("ab", buffering=0) as filler:
        for size in (65_536, 1):
            try:
                while filler.write(b"x" * size):
                    pass
            except OSError:
                continue
    return path


class Gateway:
    """`dewgate run` with its page, on a home that is prepared."""

    def __init__(self, home: Path, broker: str, log: Path, *more: str) -> None:
        self.home, self.log, self.page = home, log, free_port()
        command = [sys.executable, "-m", "gateway", "run", "--home", str(home), "--broker", broker]
        with log.open("ab") as out:
            self.process = subprocess.Popen(
                [*command, "--page", f"127.0.0.1:{self.page}", "--open-if-simulated", *more],
                stderr=out,
                stdout=out,
            )

    def said(self) -> str:
        return self.log.read_text()

    def wait_for(self, words: str, seconds: float = 30.0) -> None:
        until(lambda: words in self.said(), f"{words!r} in {self.said()}", seconds)

    def wait_for_board(self) -> None:
        until(lambda: self._fetched("/health") is not None, "the board")

    def shows(self) -> str:
        return self._fetched("/") or ""

    def _fetched(self, path: str) -> str | None:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.page}{path}", timeout=5) as answer:
                return str(answer.read().decode())
        except OSError:
            return None

    def is_live(self) -> bool:
        return bool(json.loads(self._fetched("/health") or '{"live": false}')["live"])

    def holds(self, payloads: int) -> bool:
        return sum(stored(self.home).values()) >= payloads

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        return self.process.wait(30)


def is_sound(home: Path) -> bool:
    """Whether replay gives the same events and history the same rows."""
    with closing(open_reader(home / "journal.db")) as reader:
        unlike = differences(reader)[1]
    return not unlike and history_command.run("rebuild", ["--home", str(home), "--check"], "") == 0
