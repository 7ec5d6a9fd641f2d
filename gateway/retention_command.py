"""`dewgate retention`: what of the journal may be dropped when a small disk fills, and drop it.

Without --until nothing is changed. What is dropped is the entries' own bytes; roots, heads, events, jobsites,
what persons did and the tables that history is drawn from stay for ever.
"""

from __future__ import annotations

import argparse
import getpass
import secrets
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from functools import partial
from itertools import islice
from pathlib import Path

from gateway import inbox, progress, proofs, record_rebuild
from gateway.adapters import base, seal, trouble
from gateway.adapters.base import Base
from gateway.adapters.home import restore
from gateway.adapters.journal import WrongJournal, entries_after, open_reader
from gateway.adapters.landmarks import Clocks, clocks
from gateway.adapters.subtrees import Subtrees
from gateway.inbox import NotTaken
from gateway.note_command import be_the_writer
from gateway.payload import canonical
from gateway.proof_command import utc_ms
from gateway.retention import Block, Decision, Report, decide

FOR_EVER_MS = 1 << 62
MB = 1_000_000


class NotCovered(Exception):
    """A report given cannot stand for what would be dropped; the message says why."""


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when said or dropped, 1 when nothing may be dropped, 2 when the journal cannot be reached."""
    args = _parser(command, caution).parse_args(words)
    try:
        return _look(args) if args.until is None else _drop(args)
    except (NotCovered, NotTaken) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 1
    except (sqlite3.Error, WrongJournal, ValueError, OSError) as error:
        print(f"dewgate {command}: {trouble.words(error, args.home)}", file=sys.stderr)
        return 2


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=__doc__)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument(
        "--report", type=Path, action="append", default=[], help="a sealed report of dewgate record"
    )
    parser.add_argument("--until", type=utc_ms, metavar="DAY", help="drop what is before this day, UTC")
    parser.add_argument("--who", default=getpass.getuser(), help="person id that the journal keeps")
    return parser


def _look(args: argparse.Namespace) -> int:
    blocks, decision = _decided(args, FOR_EVER_MS)
    for month, size in _by_month(blocks):
        print(f"{month}  {size / MB:.1f} MB of entries")
    print(_words(decision))
    return 0


def _by_month(blocks: list[Block]) -> Iterator[tuple[str, int]]:
    sizes: dict[str, int] = {}
    for block in blocks:
        month = f"{datetime.fromtimestamp(block.from_ms / 1000, UTC):%Y-%m}"
        sizes[month] = sizes.get(month, 0) + block.size
    yield from sizes.items()


def _words(decision: Decision) -> str:
    may = f"entries up to {decision.last} may be dropped ({decision.size / MB:.1f} MB)"
    return f"{may if decision.last else 'nothing may be dropped'}; no more, because {decision.why}"


def _decided(args: argparse.Namespace, until_ms: int) -> tuple[list[Block], Decision]:
    path = args.home / "journal.db"
    if not path.exists():
        raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
    held = max((size for _, size in restore(path).state.held_heads.values()), default=0)
    with closing(open_reader(path)) as reader:
        reader.execute("BEGIN")
        blocks = list(_blocks(reader))
        reports = [_report(each, args.home, reader) for each in args.report]
    return blocks, decide(blocks, reports, held, until_ms)


def _blocks(reader: sqlite3.Connection) -> Iterator[Block]:
    known = clocks(reader)
    query = "SELECT first_seq, from_ms, to_ms, length(body) FROM sealed WHERE body IS NOT NULL ORDER BY first_seq"
    for first, from_ms, to_ms, size in reader.execute(query):
        yield Block(first, *_span(known, from_ms, to_ms), size)


def _span(known: Clocks, from_ms: int, to_ms: int) -> tuple[int, int]:
    """The earliest and the latest UTC within a stretch of core time; a step of the clock may turn it back."""
    turns = [at + side for at in known.since_ms if from_ms < at <= to_ms for side in (-1, 0)]
    found = [known.utc_ms(at) for at in (from_ms, to_ms, *turns)]
    return min(found), max(found)


def _report(path: Path, home: Path, reader: sqlite3.Connection) -> Report:
    """A report sealed by this gateway, unchanged, and made from this journal. Raises NotCovered, OSError."""
    pdf = path.read_bytes()
    sealing = seal.look(pdf, home / "seal" / "authority.pem")
    if not sealing.holds:
        raise NotCovered(f"{path}: {sealing.words}")
    said = record_rebuild.made_from(pdf)
    if said is None:
        raise NotCovered(f"{path} does not say which record it is")
    root = proofs.root_of_range(Subtrees(reader).perfect, 0, said.as_of)
    if root != said.root:
        raise NotCovered(f"{path} was not made from this journal's first {said.as_of} entries")
    return Report(path.name, said.asked.from_ms, said.asked.until_ms, said.as_of)


def _drop(args: argparse.Namespace) -> int:
    _, decision = _decided(args, args.until)
    print(_words(decision))
    if not decision.last:
        return 1
    given = _base(args.home / "journal.db", decision.last)
    names = ", ".join(path.name for path in args.report)
    act = {
        "act": "drop", "person": args.who, "until": decision.last, "reports": names, "ref": secrets.token_hex(8),
    }  # fmt: skip
    for suffix, body in (("act", canonical.to_bytes(act)), ("base", canonical.checkpoint(given))):
        why = inbox.answer(inbox.leave(args.home, suffix, body), lambda: be_the_writer(args.home))
        if why:
            raise NotCovered(why)
    print(f"dropped; the roots of entries 1 to {decision.last} stay. The room is used again for new entries.")
    return 0


def _base(path: Path, last: int) -> Base:
    """Fold all that is to be dropped, once more and for the last time."""
    with closing(open_reader(path)) as reader, closing(base.fold_of(reader)) as fold:
        begin = fold.flow.state.sequence
        entries = islice(entries_after(reader, begin), last - begin)
        base.advance(fold, entries, partial(progress.bar, "entries folded", total=last), pack=True)
        return fold.base()
