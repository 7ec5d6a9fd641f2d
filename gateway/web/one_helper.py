"""One process at a time that works history out for a page; it ends by itself, or is ended when it is in the way.

A reader may leave before the first byte of a file was fetched; nothing then tells the process, which waits to be
read. So the next who asks ends it, once it is older than any honest answer.
"""

from __future__ import annotations

import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from gateway.adapters.history_out import Question, ask
from gateway.web.gate import TurnedAway

PATIENCE_S = 60.0  # for an answer that a page waits for
OLD_S = 300.0
BUSY = "Somebody else has the entries worked out just now. Try again in some seconds."
Process = subprocess.Popen[bytes]


@dataclass(slots=True)
class OneHelper:
    """Starts the process. begin, monotonic: what starts one, and seconds that never step."""

    begin: Callable[[Question], Process] = ask
    monotonic: Callable[[], float] = time.monotonic
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _running: Process | None = None
    _since: float = 0.0

    def start(self, question: Question) -> Process:
        """Return the started process. Raises TurnedAway while another one works."""
        with self._lock:
            if self._running is not None and self._running.poll() is None:
                if self.monotonic() - self._since < OLD_S:
                    raise TurnedAway(503, BUSY)
                end(self._running)
            self._running, self._since = self.begin(question), self.monotonic()
            return self._running

    def answer(self, question: Question) -> bytes:
        """Return all it says. Raises TurnedAway when it does not end well or in time."""
        process = self.start(question)
        try:
            said, _ = process.communicate(timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            end(process)
            raise TurnedAway(503, "This range takes too long to work out. Look at less of it.") from None
        if process.returncode:
            raise TurnedAway(500, "The entries could not be worked out; the gateway's log says why.")
        return said


def passed_on(process: Process) -> Iterator[bytes]:
    """Yield what the process writes; it ends with the reader who asked."""
    assert process.stdout is not None
    try:
        while chunk := process.stdout.read(65_536):
            yield chunk
    finally:
        end(process)


def end(process: Process) -> None:
    """End a process and take back what it held."""
    process.kill()
    if process.stdout:
        process.stdout.close()
    process.wait()
