"""What the services say to whoever watches the box: one line each, with the name of the event at its end.

    dewgate run: broker 127.0.0.1:1883: not reachable since 07:12 event=broker

The words are for people and may change; a name stays, so that a watching machine can rely on it. Under systemd a
line also carries its level (sd-daemon(3)), for `journalctl -p warning`. DEVELOPERS.md has the table of events.
"""

from __future__ import annotations

import os
import sys
from enum import IntEnum


class Level(IntEnum):
    """How much a line matters; the numbers of syslog (RFC 5424)."""

    ERROR = 3
    WARNING = 4
    NOTICE = 5
    INFO = 6


EVENTS: dict[str, tuple[Level, str]] = {
    "started": (Level.INFO, "the journal is read and the work begins"),
    "stopped": (Level.INFO, "an orderly end: everything taken is on disk"),
    "failed": (
        Level.ERROR,
        "the process ends for a disk, a journal or a fault; a supervisor starts it again",
    ),
    "not-started": (Level.ERROR, "a wrong word, no jobsite, or another writer; starting again does not help"),
    "broker": (Level.WARNING, "the broker is away, refuses, or keeps too little"),
    "broker-over": (Level.NOTICE, "that ended"),
    "broker-unchecked": (Level.NOTICE, "the broker's settings could not be looked at"),
    "head": (Level.ERROR, "no head is signed: keys missing or others"),
    "head-over": (Level.NOTICE, "that ended"),
    "outbox": (Level.ERROR, "messages reach nobody: nobody sends, or a channel fails"),
    "outbox-over": (Level.NOTICE, "that ended"),
    "disk-full": (Level.ERROR, "nothing is recorded or judged until there is room"),
    "disk-full-over": (Level.NOTICE, "that ended"),
    "channel": (Level.WARNING, "an address of the contacts file that will never work"),
    "contacts": (Level.NOTICE, "the contacts file has changed and is used from now on"),
    "contacts-kept": (Level.ERROR, "the contacts file has changed and cannot be used; the old addresses stay"),
    "heartbeat": (Level.WARNING, "the sign of life was not taken"),
    "book": (Level.ERROR, "delivery.db refuses to be written; messages are sent all the same"),
    "device": (Level.WARNING, "`wired`: a device or a line is silent, refuses, or answers again"),
    "dropped": (Level.ERROR, "`wired`: too many readings wait for the broker; the oldest are dropped"),
    "yard": (Level.WARNING, "`push`: the yard is away, or refuses until a person settles it there"),
    "yard-over": (Level.NOTICE, "that ended"),
    "site": (Level.ERROR, "`yard`: a look at the sites failed; it is tried again"),
    "server-away": (Level.WARNING, "`follow`: the time-series server does not take what is sent"),
}
"""Every event: how much it matters, and what it means."""


def tell(process: str, event: str, words: str) -> None:
    """Say on stderr what happened in a process ("run", "deliver", ...)."""
    level = EVENTS[event][0]
    prefix = f"<{level}>" if "JOURNAL_STREAM" in os.environ else ""
    print(f"{prefix}dewgate {process}: {words} event={event}", file=sys.stderr, flush=True)


def table() -> str:
    """The table of events as DEVELOPERS.md has it."""
    rows = [f"| `{name}` | {level.name.lower()} | {what} |" for name, (level, what) in EVENTS.items()]
    return "\n".join(["| event | level | what happened |", "|---|---|---|", *rows])
