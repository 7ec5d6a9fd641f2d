"""`dewgate sensors` and `dewgate watch`: who speaks and what comes in, read from the journal beside a running one.

Opens the journal read-only, and anew for every chunk and every look, so that the writer's log never waits for a
reader. Times count back from the newest entry, not from the wall clock: a home may live in simulated time.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from gateway import entry, heard, heard_words, sensor_login, stopping, watch_words
from gateway.adapters import trouble
from gateway.adapters.block import unpack_block
from gateway.adapters.home import is_locked
from gateway.adapters.journal import Dropped, WrongJournal, entries_after, open_reader
from gateway.entry import Kind
from gateway.heard import Heard
from gateway.heard_message import Standing, after, printable
from gateway.heard_table import Rules
from gateway.tree import SEAL
from gateway.watch_words import Line, Watching

POLL_S = 0.25
QUIET_S = 65.0  # a running dewgate writes a heartbeat every minute
NOTE_S = 2.0
WARM_MINUTES = 5.0  # read before what is shown, so that a conflict and a duplicate with it can be told


def run(command: str, words: list[str], caution: str) -> int:
    """Run one of the two commands; 2 when there is no journal that can be read."""
    if command == "sensors" and words[:1] == ["add"]:
        return sensor_login.run(words[1:], caution)
    args = _parser(command, caution).parse_args(words)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a label may hold a letter the terminal has not
    try:
        return _sensors(args) if command == "sensors" else _watch(args)
    except KeyboardInterrupt:
        return 0
    except BrokenPipeError:  # `dewgate watch | head`: nobody reads on
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (sqlite3.Error, WrongJournal, ValueError, OSError) as error:
        print(f"dewgate {command}: {trouble.words(error, args.home)}", file=sys.stderr)
        return 2


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    make = _sensors_parser if command == "sensors" else _watch_parser
    parser = make(caution)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    return parser


def _sensors_parser(caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "dewgate sensors", epilog=caution,
        description="Who speaks, how often, what they last said; who is silent; who is not known, with a table to "
        "paste into the jobsite file; what was refused and why. Reads the journal only. "
        "`dewgate sensors add NAME` gives a sensor its password at the broker.",
    )  # fmt: skip
    parser.add_argument("--hours", type=_positive, default=24.0, help="up to the newest entry (24)")
    parser.add_argument("--json", action="store_true", help="everything, for a machine; times in UTC ms")
    return parser


def _watch_parser(caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "dewgate watch", epilog=caution,
        description="Readings, refusals and lags as they are journalled, a line each, until Ctrl-C. Late: its lag "
        "is more than three intervals and than a minute. A conflict with a reading from more than five minutes "
        "before the first line cannot be told.",
    )  # fmt: skip
    parser.add_argument("--sensor", nargs="+", action="extend", default=[], metavar="ID",
                        help="only these sensors or topic levels")  # fmt: skip
    parser.add_argument("--rejects", action="store_true", help="only what was refused")
    parser.add_argument("--once", action="store_true", help="print the last minutes and end")
    parser.add_argument("--minutes", type=_positive, help="begin so long before the newest entry (5 with --once)")
    return parser


def _positive(text: str) -> float:
    number = float(text)
    if not 0 < number < 1e6:
        raise argparse.ArgumentTypeError("must be more than zero")
    return number


# -- the journal ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Window:
    """Where to begin: after which entry, what was in force there, and the newest entry and its time."""

    after: int
    standing: Standing
    newest: int
    newest_ms: int


def _window(home: Path, minutes: float) -> Window:
    """Return where the last minutes begin, to a block before it. Raises OSError or sqlite3.Error without one."""
    path = _journal(home)
    with closing(open_reader(path)) as db:
        newest, made = _newest(db)
        newest_ms = entry.kind_and_time(made)[1]
        begin = _begin(db, newest_ms - round(minutes * 60_000))
        return Window(begin, _standing(db, begin), newest, newest_ms)


def _journal(home: Path) -> Path:
    path = home / "journal.db"
    if not path.exists():
        raise FileNotFoundError(
            "no journal here; is --home the folder that dewgate run or dewgate apply was given?"
        )
    return path


def _newest(db: sqlite3.Connection) -> tuple[int, bytes]:
    rows = db.execute("SELECT seq, entry FROM entries ORDER BY seq DESC LIMIT 1").fetchall()
    if rows:
        return int(rows[0][0]), bytes(rows[0][1])
    rows = db.execute("SELECT first_seq, body FROM sealed ORDER BY first_seq DESC LIMIT 1").fetchall()
    if not rows:
        raise WrongJournal("the journal is empty; use: dewgate apply FILE")
    return rows[0][0] + SEAL - 1, _unpacked(*rows[0])[-1]


def _unpacked(first: int, body: bytes | None) -> list[bytes]:
    if body is None:
        raise Dropped(first + SEAL - 1, first)
    return unpack_block(body)


def _begin(db: sqlite3.Connection, from_ms: int) -> int:
    """Return the entry before the first sealed block that reaches into the window, or before the unsealed ones."""
    rows = db.execute("SELECT min(first_seq) FROM sealed WHERE to_ms >= ?", (from_ms,)).fetchall()
    if rows[0][0] is not None:
        return int(rows[0][0]) - 1
    rows = db.execute("SELECT max(first_seq) FROM sealed").fetchall()
    return 0 if rows[0][0] is None else int(rows[0][0]) + SEAL - 1


def _standing(db: sqlite3.Connection, begin: int) -> Standing:
    """Return what is in force after an entry at a block's end: walk back until jobsite and clock are found."""
    found: dict[bool, bytes] = {}  # whether it is the jobsite
    note = Note("looking back for the jobsite in force", begin)
    for first in range(begin - SEAL + 1, 0, -SEAL):
        (block,) = db.execute("SELECT body FROM sealed WHERE first_seq = ?", (first,)).fetchall()
        for made in reversed(_unpacked(first, block[0])):
            if made[0] in (Kind.CONFIG_SET, Kind.STARTED, Kind.CLOCK_STEP):
                found.setdefault(made[0] == Kind.CONFIG_SET, made)
        if len(found) == 2:
            break
        note.at(begin - first + 1)
    standing = Standing()
    for made in found.values():
        kind, _, body = entry.unpack(made)
        standing = after(standing, kind, body)
    return standing


def _chunks(path: Path, seq: int) -> Iterator[list[bytes]]:
    """Yield the entries after a sequence number, at most a block at a time, with nothing open in between."""
    while True:
        with closing(open_reader(path)) as db:
            found = list(islice(entries_after(db, seq), SEAL - seq % SEAL))
        if not found:
            return
        yield found
        seq += len(found)


class Note:
    """How far a long reading has come, on stderr, from time to time."""

    def __init__(self, what: str, total: int) -> None:
        self.what, self.total, self.said_s = what, total, time.monotonic()

    def at(self, done: int) -> None:
        """Say it, if the last word is long enough ago."""
        if time.monotonic() - self.said_s >= NOTE_S:
            self.said_s = time.monotonic()
            print(f"{self.what}: {done} of {self.total} entries", file=sys.stderr, flush=True)


# -- the two commands ----------------------------------------------------------------------------------------


def _sensors(args: argparse.Namespace) -> int:
    window = _window(args.home, args.hours * 60)
    found = Heard(window.newest_ms - round(args.hours * 3_600_000), window.standing, window.after)
    note = Note("reading", window.newest - window.after)
    for chunk in _chunks(args.home / "journal.db", window.after):
        for made in chunk[: window.newest - found.sequence]:  # what comes meanwhile is not waited for
            heard.take(found, made)
        if found.sequence >= window.newest:
            break
        note.at(found.sequence - window.after)
    say = heard_words.as_json if args.json else heard_words.text
    print(say(found, _rules(), args.hours, is_locked(args.home / "writer.lock")))
    return 0


def _rules() -> Rules:
    from gateway.site_sensors import BASES
    from gateway.site_words import plain_id

    return Rules(BASES, plain_id)


def _watch(args: argparse.Namespace) -> int:
    minutes = args.minutes or (WARM_MINUTES if args.once else 0.0)
    window = _window(args.home, minutes + WARM_MINUTES)
    screen = Screen(args, Watching(window.standing, window.after))
    if minutes:
        screen.since_ms = window.newest_ms - round(minutes * 60_000)
    else:
        screen.after = window.newest
    screen.take_new()
    if not args.once:
        site = screen.watching.standing.site
        print(f"watching {printable(site.label) if site else args.home}; Ctrl-C ends it", file=sys.stderr)
    if not is_locked(args.home / "writer.lock"):
        print(f"no dewgate is writing in {args.home}; its newest entry is {window.newest}", file=sys.stderr)
    if args.once:
        return 0
    stop = stopping.when_told()
    while not stop.wait(POLL_S):
        screen.take_new()
        screen.look_for_writer()
    return 0


class Screen:
    """The lines already printed and the place reached."""

    def __init__(self, args: argparse.Namespace, watching: Watching) -> None:
        self.home: Path = args.home
        self.only, self.rejects = frozenset(args.sensor), args.rejects
        self.watching, self.since_ms, self.after = watching, 0, 0
        self.colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ
        self.day, self.news_s = "", time.monotonic()

    def take_new(self) -> None:
        """Print what the journal has since the last look."""
        for chunk in _chunks(self.home / "journal.db", self.watching.sequence):
            self.news_s = time.monotonic()
            for made in chunk:
                for line in watch_words.lines(self.watching, made):
                    self._show(line)
            sys.stdout.flush()

    def _show(self, line: Line) -> None:
        old = line.core_ms < self.since_ms or line.sequence <= self.after
        if old or not watch_words.wanted(line, self.only, self.rejects):
            return
        day = watch_words.day(line, self.watching.standing)
        if day != self.day:
            print(day)
            self.day = day
        print(watch_words.timed(line, self.watching.standing, self.colour))

    def look_for_writer(self) -> None:
        """Say once that nobody writes, when not even a heartbeat came."""
        if time.monotonic() - self.news_s > QUIET_S:
            self.news_s = float("inf")
            if not is_locked(self.home / "writer.lock"):
                print("nothing was journalled for a minute: no dewgate is writing here", flush=True)
            else:
                self.news_s = time.monotonic()
