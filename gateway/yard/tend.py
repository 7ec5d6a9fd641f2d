"""What the yard does with its sites' records in a process of its own: check them, drop what is old."""

from __future__ import annotations

import argparse
import sqlite3
import time
from pathlib import Path

from gateway import progress
from gateway.adapters.journal import WrongJournal
from gateway.adapters.site_book import NAME, SITES
from gateway.adapters.yard_db import NotTaken, YardDb
from gateway.adapters.yard_room import EVERY_SITE, FOR_EVER, keep, keep_words, kept_days, note_room
from gateway.yard.check import check
from gateway.yard.look import check_words
from gateway.yard.tidy import decided, drop, not_counted

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
                args.folder, site, now_ms(), lambda: time.monotonic() >= ends,
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


def keep_records(args: argparse.Namespace, db: YardDb) -> int:
    """Take the owner's word on how long entries are kept, or say what it is."""
    days = FOR_EVER if args.for_ever else args.days
    if days is not None:
        for site in args.sites or [EVERY_SITE]:
            keep(db, site, days)
    for each in db.sites():
        print(f"{each.id}: {keep_words(kept_days(db, each.id))}")
    print(note_room(db, args.folder, now_ms()).words)
    return 0


def tidy_sites(args: argparse.Namespace, db: YardDb) -> int:
    """Say of each site what may be dropped, and with --drop do it; return 0, or 1 when one could not be done."""
    worst = 0
    for site in args.sites or [each.id for each in db.sites()]:
        try:
            decision = decided(args.folder, db, site, now_ms())
            print(f"{site}: {decision.words if decision.last else f'nothing goes: {decision.why}'}")
            if decision.last and args.drop:
                drop(args.folder, db, site, decision, now_ms())
                print(f"{site}: dropped; the roots of entries 1 to {decision.last} stay")
            for why in not_counted(args.folder, site) if kept_days(db, site) else []:
                print(f"  {why}")
        except (WrongJournal, ValueError, sqlite3.Error, OSError) as error:
            if isinstance(error, NotTaken):
                raise
            print(f"{site}: nothing was dropped: {error}")
            worst = 1
    return worst


def now_ms() -> int:
    """Return UTC in ms."""
    return time.time_ns() // 1_000_000


def _longest_first(folder: Path, asked: list[str], db: YardDb) -> list[str]:
    known, checks = [each.id for each in db.sites()], db.checks()
    if unknown := set(asked) - set(known):
        raise NotTaken(f"there is no site {min(unknown)!r} here")
    held = [each for each in asked or known if (folder / SITES / each / NAME).exists()]
    return sorted(held, key=lambda each: checks[each].at_ms if each in checks else NEVER_MS)
