"""What the yard does to its sites' records now and then, in a process of its own: check them."""

from __future__ import annotations

import argparse
import sqlite3
import time
from pathlib import Path

from gateway import progress
from gateway.adapters.journal import WrongJournal
from gateway.adapters.site_book import NAME, SITES
from gateway.adapters.yard_db import NotTaken, YardDb
from gateway.yard.check import check
from gateway.yard.look import check_words

NEVER_MS = -1


def check_sites(args: argparse.Namespace, db: YardDb) -> int:
    """Check sites, those first that were not for longest; return 0 when all their words follow, else 1."""
    ends, worst = time.monotonic() + 60 * args.minutes, 0
    for site in _longest_first(args.folder, args.sites, db):
        if time.monotonic() >= ends:
            print(f"{site}: no time left; it is the first next time")
            break
        try:
            found = check(
                args.folder, site, time.time_ns() // 1_000_000, lambda: time.monotonic() >= ends,
                lambda done, total: progress.bar("entries folded", done, total),
            )  # fmt: skip
        except (WrongJournal, ValueError, sqlite3.Error) as error:
            print(f"{site}: could not be checked: {error}")
            worst = 1
            continue
        db.keep_check(found)
        print(f"{site}: {check_words(found)}" + (f"\n  entry {found.entry}: {found.why}" if found.wrong else ""))
        worst = max(worst, int(found.wrong > 0))
    return worst


def _longest_first(folder: Path, asked: list[str], db: YardDb) -> list[str]:
    known, checks = [each.id for each in db.sites()], db.checks()
    if unknown := set(asked) - set(known):
        raise NotTaken(f"there is no site {min(unknown)!r} here")
    held = [each for each in asked or known if (folder / SITES / each / NAME).exists()]
    return sorted(held, key=lambda each: checks[each].at_ms if each in checks else NEVER_MS)
