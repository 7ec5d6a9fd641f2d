"""What a supervisor that started this program is told: that it is ready, and that it still works (sd_notify(3)).

Only the writer's own loop says so, after a turn that ended: a writer that hangs is silent, and is started again.
"""

from __future__ import annotations

import os
import socket
import time
from contextlib import suppress

from gateway import progress

READING_US = 120_000_000  # a block of entries takes seconds on a slow machine


class Supervisor:
    """The socket in NOTIFY_SOCKET, if there is one; without one nothing is said and nothing costs anything."""

    def __init__(self) -> None:
        name = os.environ.get("NOTIFY_SOCKET", "")
        self._to = "\0" + name[1:] if name.startswith("@") else name
        self._every_s = int(os.environ.get("WATCHDOG_USEC", "0")) / 4e6
        self._next_s = 0.0

    def starting(self, done: int, of: int) -> None:
        """Say how far the journal is read, to be given two more minutes; and a person at a terminal sees a bar."""
        progress.bar("entries read", done, of)
        self._say(f"STATUS=reading the journal: entry {done} of {of}\nEXTEND_TIMEOUT_USEC={READING_US}")

    def ready(self) -> None:
        """Say that the journal is read and the work begins."""
        self._say("READY=1")

    def alive(self) -> None:
        """Say that a turn has ended; at most four times in the time after which silence counts as death."""
        if self._every_s and time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + self._every_s
            self._say("WATCHDOG=1")

    def _say(self, words: str) -> None:
        if not self._to:
            return
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:  # nobody hears: go on
            door.connect(self._to)
            door.send(words.encode())
