"""`dewgate record`: the climate record of a job as signed pages and as data, from a home's journal."""

from __future__ import annotations

import argparse
import sqlite3
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from gateway import progress, record_document, record_files, record_shifts
from gateway.adapters import parquet, record_source, report, seal, trouble
from gateway.adapters.journal import WrongJournal
from gateway.adapters.record_source import NothingToTell
from gateway.adapters.report import NotSet
from gateway.climate_record import STEPS, Asked, Material
from gateway.jobsite import Jobsite
from gateway.record_words import LANGUAGES, Words, moment_of
from gateway.tiers import QUARTER_MS

DAY_MS = 86_400_000


def run(command: str, words: list[str], caution: str) -> int:
    """Write the record; 0 when written, 1 when there is nothing to tell, 2 when the journal cannot be read."""
    args = _parser(command, caution).parse_args(words)
    try:
        return _write(args)
    except (NothingToTell, NotSet, ValueError) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 1
    except (sqlite3.Error, WrongJournal, OSError) as error:
        print(f"dewgate {command}: {trouble.words(error, args.home)}", file=sys.stderr)
        return 2


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=__doc__)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    span = parser.add_mutually_exclusive_group(required=True)
    span.add_argument("--from", dest="begin", help="site time: 2026-06-01 or 2026-06-01T06:00")
    span.add_argument("--shift", help='of one shift: "last", the newest that has ended, or a site time within it')
    parser.add_argument("--until", help="site time, a day alone counts whole; left out: the as-of")
    parser.add_argument("--as-of", type=int, help="entry number the record ends with; left out: the newest")
    parser.add_argument("--every", choices=STEPS, default="4h", help="length of an interval: the specification's")
    parser.add_argument("--language", choices=LANGUAGES, default="en")
    parser.add_argument("--units", choices=("si", "us"), default="si")
    parser.add_argument("--out", type=Path, default=Path("record"), help="folder to write to")
    return parser


def _write(args: argparse.Namespace) -> int:
    home: Path = args.home
    if not (home / "journal.db").exists():
        raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
    sequence, as_of_ms, site = record_source.as_of(home, args.as_of)
    begin, until = _shift(args.shift, site, as_of_ms) if args.shift else (args.begin, args.until)
    asked = asked_for(begin, until, site.time_zone, as_of_ms, STEPS[args.every])
    found = record_source.material(home, asked, sequence, partial(progress.bar, "entries"))
    words = Words(args.language, found.site.time_zone, args.units)
    written = files(home, found, words, args.out)
    for path in written:
        print(path)
    return 0


def files(home: Path, found: Material, words: Words, out: Path) -> list[Path]:
    """Write the pages, sealed, and the data beside them; return what was written."""
    tell = partial(progress.bar, "steps: pages, tables, seal", total=3)
    tell(0)
    out.mkdir(parents=True, exist_ok=True)
    name = f"record-{found.site.id}-{words.day(found.asked.from_ms)}-{found.sequence}"
    with ThreadPoolExecutor(1) as setter:  # the pages are set by another process, the data made meanwhile
        body = setter.submit(report.pdf, record_document.document(found, words), words)
        rows = list(record_files.rows(found))
        made: list[tuple[str, bytes]] = [
            (".csv", record_files.as_csv(rows).encode()), (".senml", record_files.as_senml(found, rows).encode())
        ]  # fmt: skip
    tell(1)
    made.append((".parquet", parquet.table(rows)))  # only now the big libraries: the memory of typst is free again
    tell(2)
    made.insert(0, (".pdf", seal.sealed(body.result(), home)))
    tell(3)
    for suffix, content in made:
        (out / f"{name}{suffix}").write_bytes(content)
    return [out / f"{name}{suffix}" for suffix, _ in made]


def asked_for(begin: str, until: str | None, zone: str, newest_ms: int, quarters: int) -> Asked:
    """Return what is asked for in whole quarters of an hour; an end after the newest entry is cut there.

    Raises ValueError saying what is expected.
    """
    from_ms = moment_of(begin, zone)
    end_ms = newest_ms if until is None else min(moment_of(until, zone, whole_day=True), newest_ms)
    from_ms, end_ms = from_ms - from_ms % QUARTER_MS, end_ms - end_ms % QUARTER_MS
    every_ms = quarters * QUARTER_MS
    if end_ms <= from_ms:
        raise NothingToTell(f"the journal has nothing between {begin} and {until or 'its newest entry'}")
    return Asked(from_ms, end_ms, every_ms)


def _shift(said: str, site: Jobsite, as_of_ms: int) -> tuple[str, str]:
    """Return begin and end of a shift as if they had been asked for."""
    if said == "last":
        now, _ = record_shifts.shift_at(site, as_of_ms)
        at = now - 1
    else:
        at = moment_of(said, site.time_zone)
    begin, end = (
        datetime.fromtimestamp(each / 1000, UTC).isoformat() for each in record_shifts.shift_at(site, at)
    )
    return begin, end
