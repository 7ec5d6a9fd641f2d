"""`dewgate stamp`: ask a time-stamp authority for its word on the newest head, or check the words kept so far.

For the one thing a gateway cannot prove by itself: when. Once a day by a timer is enough, and only while online.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from gateway.adapters import heads as table
from gateway.adapters import stamping, trouble
from gateway.adapters.journal import open_reader
from gateway.adapters.stamping import NoStamp
from gateway.verify_record import Unreadable, head_of

Stamp = tuple[str, bytes, bytes]
"""What it is called, the token, the statement of its head."""
_WHAT = "Ask a time-stamp authority (RFC 3161) for its word on the newest head, or check those in a record."


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when right, 1 when a stamp does not hold, 2 when none was given, 3 for disk and journal."""
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=_WHAT)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--tsa", help="address of the authority: ask it")
    parser.add_argument(
        "--roots", type=Path, help="certificates (PEM) of authorities you trust: check against them"
    )
    parser.add_argument("--record", type=Path, help="check the stamps in this exported .zip")
    args = parser.parse_args(words)
    try:
        if args.tsa:
            return _ask(args.home, args.tsa, args.roots)
        if args.roots and args.record:
            return _check(_exported(args.record), args.roots)
    except (NoStamp, Unreadable, BadZipFile) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)
    print("dewgate stamp: give --tsa, or --record and --roots", file=sys.stderr)
    return 2


def _ask(home: Path, url: str, roots: Path | None) -> int:
    with closing(open_reader(home / "journal.db")) as reader:
        newest = table.newest(reader)
    if newest is None:
        raise NoStamp("no head is signed yet")
    statement = newest.head.statement()
    token = stamping.ask(url, statement)
    said = f", {stamping.stamped(token, statement, roots.read_bytes()):%Y-%m-%d %H:%M:%S} UTC" if roots else ""
    path = stamping.keep(home, newest.head.number, token)
    print(f"{newest.code}: {path}{said}")
    return 0


def _exported(record: Path) -> Iterator[Stamp]:
    with ZipFile(record) as file:
        lines = {head.number: head for head in map(head_of, file.read("heads.jsonl").decode().splitlines())}
        for name in file.namelist():
            path = Path(name)
            if path.suffix == ".tsr" and (number := path.stem.removeprefix("H")).isdecimal():
                head = lines.get(int(number))
                yield (head.name if head else name), file.read(name), head.statement if head else b""


def _check(stamps: Iterator[Stamp], roots: Path) -> int:
    wrong = count = 0
    for name, token, statement in stamps:
        count += 1
        try:
            time = stamping.stamped(token, statement, roots.read_bytes())
            print(f"PROVEN: {name} was there at {time:%Y-%m-%d %H:%M:%S} UTC, by the authority's clock")
        except NoStamp as error:
            wrong += 1
            print(f"WRONG: {name}: {error}")
    print(f"{count} time stamps, {wrong} do not hold")
    return 1 if wrong else 0
