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
from pathlib import Path

from gateway import droppable, inbox
from gateway.adapters import trouble
from gateway.adapters.home import restore
from gateway.adapters.journal import WrongJournal, open_reader
from gateway.droppable import NotCovered
from gateway.inbox import NotTaken
from gateway.note_command import be_the_writer
from gateway.payload import canonical
from gateway.proof_command import utc_ms
from gateway.retention import MB, Block, Decision, decide

FOR_EVER_MS = 1 << 62


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
    print(decision.words)
    return 0


def _by_month(blocks: list[Block]) -> Iterator[tuple[str, int]]:
    sizes: dict[str, int] = {}
    for block in blocks:
        month = f"{datetime.fromtimestamp(block.from_ms / 1000, UTC):%Y-%m}"
        sizes[month] = sizes.get(month, 0) + block.size
    yield from sizes.items()


def _decided(args: argparse.Namespace, until_ms: int) -> tuple[list[Block], Decision]:
    path = args.home / "journal.db"
    if not path.exists():
        raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
    held = max((size for _, size in restore(path).state.held_heads.values()), default=0)
    with closing(open_reader(path)) as reader:
        reader.execute("BEGIN")
        blocks = list(droppable.blocks(reader))
        reports = [droppable.report(each, args.home / "seal" / "authority.pem", reader) for each in args.report]
    return blocks, decide(blocks, reports, held, until_ms)


def _drop(args: argparse.Namespace) -> int:
    _, decision = _decided(args, args.until)
    print(decision.words)
    if not decision.last:
        return 1
    given = droppable.base_until(args.home / "journal.db", decision.last)
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
