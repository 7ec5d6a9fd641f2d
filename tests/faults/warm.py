"""Starts our programs from a process that has imported them already, so a try costs no seconds of imports.

What runs is the real command in a process of its own, which can be killed as any other; only the interpreter and
the modules are there before. The parent has one thread, so that a fork is whole.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

MODULES = (
    "gateway.__main__", "gateway.yard_command", "gateway.yard.rooms", "gateway.yard.watch", "gateway.yard.intake",
    "gateway.web.server", "gateway.web.opening", "gateway.push_command", "uvicorn.protocols.http.h11_impl",
    "uvicorn.lifespan.on", "uvicorn.loops.asyncio",
)  # fmt: skip


class Running:
    """A started program: its number, and what a fault does to it."""

    def __init__(self, pid: int) -> None:
        self.pid = pid

    def kill(self) -> None:
        """End it at once, as a power cut does; return when it is gone."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """Ask it to end; return when it has."""
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        os.kill(self.pid, how)
        end = time.monotonic() + 30
        with suppress(ProcessLookupError):  # its parent has taken its end in
            while time.monotonic() < end:
                os.kill(self.pid, 0)
                time.sleep(0.01)
            raise AssertionError(f"process {self.pid} does not end")


class Warm:
    """The process that starts others."""

    def __init__(self, log: Path) -> None:
        with log.open("ab") as out:
            self._process = subprocess.Popen(
                [sys.executable, "-X", "faulthandler", "-m", "tests.faults.warm", *MODULES],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=out, text=True,
            )  # fmt: skip

    def start(self, *words: str) -> Running:
        """Start `dewgate` with these words; its output goes to the log."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(words) + "\n")
        self._process.stdin.flush()
        return Running(int(self._process.stdout.readline()))

    def close(self) -> None:
        """End it; what it started runs on."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()


def _serve() -> None:
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for the ends, so that none stays behind
    for line in iter(sys.stdin.readline, ""):
        pid = os.fork()
        if not pid:
            _become(json.loads(line))
        print(pid, flush=True)


def _become(words: list[str]) -> None:
    """Be the program: its own output and signals, nothing of the parent's pipes."""
    from gateway.__main__ import main

    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.dup2(2, 1)
    os.close(0)
    os._exit(main(words) or 0)


if __name__ == "__main__":
    for name in sys.argv[1:]:
        __import__(name)
    _serve()
