"""`dewgate verify REPORT.pdf`: whether a sealed report is as it was sealed, and what its journal gives today."""

from __future__ import annotations

import argparse
import sqlite3
import sys
from functools import partial
from pathlib import Path

from gateway import progress
from gateway.adapters import dryer_proof, seal
from gateway.adapters.journal import WrongJournal
from gateway.adapters.record_source import NothingToTell
from gateway.adapters.report import NotSet
from gateway.adapters.seal_key import fingerprint
from gateway.record_rebuild import Rebuilt, same_first_revision

HOLDS_NOT = "what it says is not proven by this seal"


def main(words: list[str]) -> int:
    """Say what is proven; 0 when all that was asked for holds, 1 when not, 2 when it cannot be told."""
    args = _parser().parse_args(words)
    authority = args.authority or args.home / "seal" / "authority.pem"
    try:
        pdf = args.report.read_bytes()
        sealing = seal.look(pdf, authority)
        print(f"{args.report}: {sealing.words}" + ("" if sealing.holds else f"; {HOLDS_NOT}"))
        print(f"authority {authority}: {fingerprint(authority)}; compare this with the one you have on paper")
        if held := dryer_proof.checked(pdf, args.home):
            print(f"{args.home}: {held[1]}")
            return 0 if sealing.holds and held[0] else 1
        if not args.rebuild:
            return 0 if sealing.holds else 1
        rebuilt = _rebuilt(pdf, args.home)
    except (OSError, ValueError, sqlite3.Error) as error:
        print(f"CANNOT BE CHECKED: {error}", file=sys.stderr)
        return 2
    print(f"{args.home}: {rebuilt.words}")
    return 0 if sealing.holds and rebuilt.same else 1


def _rebuilt(pdf: bytes, home: Path) -> Rebuilt:
    try:
        return same_first_revision(pdf, home, partial(progress.bar, "entries"))
    except (NothingToTell, NotSet, WrongJournal, sqlite3.Error) as error:
        raise ValueError(f"{home}: {error}") from error


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("dewgate verify", description=__doc__)
    parser.add_argument("report", type=Path, help="a report that dewgate record made, signed later or not")
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--authority", type=Path, help="certificate handed over; left out: the home's own")
    parser.add_argument("--rebuild", action="store_true", help="also make its first revision again and compare")
    return parser
