"""`dewgate replay` and `dewgate rebuild`: the journal's entries folded again, and compared with what was kept."""

from __future__ import annotations

import argparse
import os
import sqlite3
import sys
from contextlib import closing
from functools import partial
from pathlib import Path

from gateway import progress
from gateway.adapters import base, history, trouble
from gateway.adapters.home import AlreadyRunning, lock
from gateway.adapters.journal import Journal, WrongJournal, entries_after, last_of, open_reader
from gateway.config import ConfigErrors, load
from gateway.replay import divided
from gateway.replay_cores import Cores
from gateway.what_if import WrongLimits, compare

SHOWN = 20
Rows = set[tuple[object, ...]]
_SIX = "SELECT name, at, count, low, high, total, known_ms FROM six_hours JOIN channels ON channels.id = channel"
TABLES = {"quarters": "quarter of an hour", "six_hours": "six hours", "deeds": "entry"}


def run(command: str, words: list[str], caution: str) -> int:
    """Run one of the two: 0 when made or equal, 1 when something differs, 2 without a journal, 130 broken off."""
    args = _parser(command, caution).parse_args(words)
    path = args.home / "journal.db"
    try:
        if not path.exists():
            raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
        if command == "replay":
            return _what_if(path, args.limits) if args.limits else _replay(path, args.cores)
        return _check(path, args.cores) if args.check else _make(args.home, args.cores)
    except ConfigErrors as error:
        print(error, file=sys.stderr)
        return 2
    except WrongLimits as error:
        print(f"dewgate replay: {error}", file=sys.stderr)
        return 2
    except (sqlite3.Error, WrongJournal, ValueError, OSError) as error:
        print(f"dewgate {command}: {trouble.words(error, args.home)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print(f"\ndewgate {command}: broken off; nothing was changed", file=sys.stderr)
        return 130


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=_WHAT[command])
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument(
        "--cores", type=int, default=len(os.sched_getaffinity(0)), metavar="N",
        help="processes at once (all cores, where states were kept on the way; 1: in one go)",
    )  # fmt: skip
    if command == "replay":
        parser.add_argument("--limits", type=Path, help="a jobsite file: what if its limits had been in force?")
    else:
        parser.add_argument("--check", action="store_true", help="only compare; also beside a running dewgate")
    return parser


_WHAT = {
    "replay": "Fold all entries again and compare the events with those of then, byte for byte.",
    "rebuild": "Make the tables that history is drawn from again, or compare them.",
}


def _replay(path: Path, cores: int) -> int:
    with closing(open_reader(path)) as reader:
        work = _divided(reader, path, cores)
    found = [line for block in work.folded() for line in block.lines]
    for line in (*_how(work), *found):
        print(line)
    print(f"{work.last} entries folded again, {len(found)} differences")
    return 1 if found else 0


def _divided(reader: sqlite3.Connection, path: Path, cores: int, *, history: bool = False) -> Cores:
    """The parts of a journal, with a bar over all of them."""
    if cores < 1:
        raise ValueError(f"--cores {cores}: at least 1 is needed")
    parts = divided(reader, cores)
    tell = partial(progress.bar, "entries", total=parts[-1].until - parts[0].after)
    return Cores(path, parts, cores, tell, history)


def _how(work: Cores) -> list[str]:
    """What is to be said of the states the work was divided by."""
    if len(work.parts) == 1:
        return []
    how = f"folded in {len(work.parts)} parts, each from the state the one before it ended in, byte for byte"
    return [*work.refused[:SHOWN], *_more(work.refused), how]


def _more(lines: list[str]) -> list[str]:
    return [f"and {len(lines) - SHOWN} more"] if len(lines) > SHOWN else []


def _what_if(path: Path, file: Path) -> int:
    """Judge the journal by the limits of another file; nothing else of it is taken, and nothing is written."""
    limits = load(file).limits
    with closing(open_reader(path)) as reader:
        reader.execute("BEGIN")
        total = last_of(reader)
        begin, tell = base.flow_of(reader), partial(progress.bar, "entries judged twice", total=total)
        found = compare(entries_after(reader, begin.state.sequence), limits, tell, begin.checkpoint())
    for line in (*found.lines(), *found.table()):
        print(line)
    left = f"{found.acts} acts on alarms left out of both"
    print(f"{found.entries} entries judged by both, {left}; nothing was changed")
    return 0


def _make(home: Path, cores: int) -> int:
    """Replace all of history in one transaction, as the only writer."""
    try:
        held = lock(home)
    except AlreadyRunning:
        print(f"{home}: stop dewgate run first, or compare with --check", file=sys.stderr)
        return 2
    path = home / "journal.db"
    with held:
        Journal(path).close()  # one of before gets its tables
        with closing(open_reader(path)) as reader:
            work = _divided(reader, path, cores, history=True)
        with closing(_made(work)) as tables, closing(Journal(path)) as book:
            book.db.execute("BEGIN IMMEDIATE")
            book.history.take_over(tables)
            book.db.execute("UPDATE cursors SET at = ? WHERE name = 'history'", (work.last,))
            book.db.execute("COMMIT")
    for line in (*_how(work), f"history made again up to entry {work.last}"):
        print(line)
    return 0


def _check(path: Path, cores: int) -> int:
    with closing(open_reader(path)) as reader:
        reader.execute("BEGIN")  # one moment for tables and entries, beside a running writer
        kept = _rows(reader)
        (whole,) = reader.execute("SELECT at FROM cursors WHERE name = 'history'").fetchone()
        work = _divided(reader, path, cores, history=True)
    with closing(_made(work)) as tables:
        again = _rows(tables)
    only = sorted(f"- {_words(row)}" for row in kept - again) + sorted(f"+ {_words(row)}" for row in again - kept)
    for line in (*_how(work), *only[:SHOWN]):
        print(line)
    if whole < work.last:
        print(f"history is whole up to entry {whole} only; stop dewgate run and use: dewgate rebuild")
    print(f"{work.last} entries, {len(again)} rows made again, {len(only)} differ")
    return 1 if only else 0


def _made(work: Cores) -> sqlite3.Connection:
    """Return the tables of history made again; the caller closes them.

    Figures add up in any order; days that are over are packed, which keeps the tables small.
    """
    with closing(open_reader(work.path)) as reader:
        tables = base.fold_of(reader).tables
    book = history.History(tables)
    for block in work.folded():
        book.add(block.sheet)
        book.pack(block.utc_ms)
    return tables


def _rows(db: sqlite3.Connection) -> Rows:
    names = {number: name for name, number in history.channels(db).items()}
    quarters = {("quarters", names[channel], *row) for channel, row in history.quarters(db)}
    deeds = {("deeds", *row) for row in db.execute("SELECT seq, utc_ms, kind, hex(body) FROM deeds")}
    return quarters | deeds | {("six_hours", *row) for row in db.execute(_SIX)}


def _words(row: tuple[object, ...]) -> str:
    table, name, at, *figures = row
    return f"{TABLES[str(table)]} {at}, {name}: count, low, high, total, known ms {figures}"
