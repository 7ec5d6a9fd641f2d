"""What the yard drops of old records, by the owner's word: never what no sealed report and head stand for.

The rule is that of a site (`gateway.retention`). A report counts when it lies in the yard's folder `reports/SITE`,
is sealed by the site's own authority (its certificate beside it, `authority.pem`) or by the yard's, and was made
from this very journal. The head is the site's own, once somebody has compared its key. Roots, heads and what
persons did stay.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

from gateway import droppable
from gateway.adapters import heads as table
from gateway.adapters.journal import Journal, WrongJournal, last_of, open_reader
from gateway.adapters.site_book import NAME, SITES
from gateway.adapters.yard_db import NotTaken, YardDb
from gateway.adapters.yard_room import DAY_MS, FOR_EVER, Dropped, keep_words, kept_days, note_drop
from gateway.droppable import NotCovered
from gateway.payload import canonical
from gateway.retention import Decision, Report, decide

REPORTS, AUTHORITY = "reports", "authority.pem"
NEXT_HEAD = "wait for the site's next head, due each ten minutes, or make the report as of an earlier entry"


def decided(folder: Path, db: YardDb, site: str, now_ms: int) -> Decision:
    """Say how far a site's record may be dropped by the owner's word, and why no more. Raises NotTaken."""
    known, days = db.site(site), kept_days(db, site)
    if known is None:
        raise NotTaken(f"there is no site {site!r} here")
    if days is None or days == FOR_EVER:
        return Decision(0, 0, keep_words(days))
    if not known.confirmed:
        return Decision(0, 0, "nobody has compared its key yet, so no head of it counts")
    path = folder / SITES / site / NAME
    if not path.exists():
        return Decision(0, 0, "nothing has come from it yet")
    with closing(open_reader(path)) as reader:
        reader.execute("BEGIN")
        newest = table.newest(reader)
        last = last_of(reader)  # which a site that comes again sends once more, to be compared
        blocks = [each for each in droppable.blocks(reader) if each.last < last]
        reports = [report for report, _ in _reports(folder, site, reader) if report]
    held = newest.head.size if newest else 0
    return decide(blocks, reports, held, now_ms - days * DAY_MS, NEXT_HEAD)


def not_counted(folder: Path, site: str) -> list[str]:
    """Say of each file among a site's reports that does not count, why not."""
    with closing(open_reader(folder / SITES / site / NAME)) as reader:
        return [why for report, why in _reports(folder, site, reader) if report is None]


def _reports(folder: Path, site: str, reader: sqlite3.Connection) -> Iterator[tuple[Report | None, str]]:
    at = folder / REPORTS / site
    known = [each for each in (at / AUTHORITY, folder / SITES / site / "seal" / AUTHORITY) if each.exists()]
    for path in sorted(at.rglob("*.pdf")):
        yield _counted(path, known, reader)


def _counted(path: Path, known: list[Path], reader: sqlite3.Connection) -> tuple[Report | None, str]:
    why = f"{path}: no certificate of who sealed it lies in {path.parent} ({AUTHORITY})"
    for authority in known:
        try:
            return droppable.report(path, authority, reader), ""
        except WrongJournal:
            return None, f"{path} was made of entries that are not held here: wait for the site's next push"
        except (NotCovered, ValueError, OSError) as error:
            why = str(error)
    return None, why


def drop(folder: Path, db: YardDb, site: str, decision: Decision, now_ms: int) -> None:
    """Drop what was decided; what a later fold needs is worked out first. Raises sqlite3.Error, WrongJournal."""
    path = folder / SITES / site / NAME
    given = droppable.base_until(path, decision.last)
    with closing(Journal(path)) as book:
        book.drop(canonical.checkpoint(given))
        names = ", ".join(sorted(each.name for each in (folder / REPORTS / site).rglob("*.pdf")))
        note_drop(db, Dropped(site, now_ms, decision.last, names))
        _give_back(book, path)


def _give_back(book: Journal, path: Path) -> None:
    """Give room back to the disk where most of the file is free; else the site's next entries use it."""
    (free,), (pages,), (size,) = (
        book.db.execute(f"PRAGMA {name}").fetchone() for name in ("freelist_count", "page_count", "page_size")
    )
    if 2 * free > pages and shutil.disk_usage(path.parent).free > 3 * (pages - free) * size:
        with suppress(sqlite3.OperationalError):  # the site is sending just now; there is another night
            book.db.execute("VACUUM")
            book.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
