"""`dewgate backup` and `dewgate restore`: a copy that can be trusted, and a new home made of it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from gateway import progress
from gateway.adapters import backup, trouble


def run(command: str, words: list[str], caution: str) -> int:
    """Run one of the two: 0 when done, 1 when refused, 3 where disk or journal refuse."""
    args = _parser(command, caution).parse_args(words)
    try:
        return _backup(args) if command == "backup" else _restore(args)
    except backup.Refused as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 1
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", description=__doc__, epilog=caution)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    if command == "restore":
        parser.add_argument("file", type=Path, help="a file that dewgate backup wrote")
        return parser
    parser.add_argument("--out", type=Path, required=True, help="folder the backup is written into")
    parser.add_argument("--keep", type=int, default=0, help="remove all but this many newest backups there")
    parser.add_argument(
        "--with-secrets", action="store_true", help="keys and channel addresses, too: keep it under lock"
    )
    return parser


def _backup(args: argparse.Namespace) -> int:
    made = backup.make(args.home, args.out, args.with_secrets, progress.bar)
    print(f"{made.path}: {len(made.names)} files, {made.entries} entries, newest head {made.code}")
    if not args.with_secrets:
        print(f"without {', '.join(backup.SECRET)}: keep the folder {args.home / 'keys'} somewhere else, once")
    for old in backup.keep_newest(args.out, args.keep) if args.keep > 0 else ():
        print(f"removed {old}")
    return 0


def _restore(args: argparse.Namespace) -> int:
    made = backup.restore(args.file, args.home, progress.bar)
    print(f"{args.home}: {len(made.names)} files, {made.entries} entries that give the newest head {made.code}")
    if not any(name.startswith("keys/") for name in made.names):
        print(f"no keys in it: put the folder keys into {args.home}, or no later head fits the chain")
    return 0
