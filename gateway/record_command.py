"""`dewgate record`: the climate record of a job as signed pages and as data, from a home's journal."""

from __future__ import annotations

import argparse
import sqlite3
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from gateway import record_document, record_files
from gateway.adapters import parquet, record_source, report, seal, trouble
from gateway.adapters.journal import WrongJournal
from gateway.adapters.record_source import NothingToTell
from gateway.adapters.report import NotSet
from gateway.climate_record import Asked, Material
from gateway.record_words import LANGUAGES, Words
from gateway.tiers import QUARTER_MS

DAY_MS = 86_400_000
STEPS = {"15min": 1, "30min": 2, "1h": 4, "2h": 8, "4h": 16, "8h": 32, "12h": 48, "24h": 96}
"""How long an interval of the record may be, in quarters of an hour."""


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
    parser.add_argument("--from", dest="begin", required=True, help="site time: 2026-06-01 or 2026-06-01T06:00")
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
    sequence, as_of_ms, zone = record_source.as_of(home, args.as_of)
    asked = asked_for(args.begin, args.until, zone, as_of_ms, STEPS[args.every])
    found = record_source.material(home, asked, sequence, _bar)
    words = Words(args.language, found.site.time_zone, args.units)
    written = files(home, found, words, args.out)
    for path in written:
        print(path)
    return 0


def files(home: Path, found: Material, words: Words, out: Path) -> list[Path]:
    """Write the pages, sealed, and the data beside them; return what was written."""
    out.mkdir(parents=True, exist_ok=True)
    name = f"record-{found.site.id}-{words.day(found.asked.from_ms)}-{found.sequence}"
    with ThreadPoolExecutor(1) as setter:  # the pages are set by another process, the data made meanwhile
        body = setter.submit(report.pdf, record_document.document(found, words), words)
        rows = list(record_files.rows(found))
        made: list[tuple[str, bytes]] = [
            (".csv", record_files.as_csv(rows).encode()), (".senml", record_files.as_senml(found, rows).encode())
        ]  # fmt: skip
    # Only now the two big libraries, when the memory of typst is free again.
    made.append((".parquet", parquet.table(rows)))
    made.insert(0, (".pdf", seal.sealed(body.result(), home)))
    for suffix, content in made:
        (out / f"{name}{suffix}").write_bytes(content)
    return [out / f"{name}{suffix}" for suffix, _ in made]


def asked_for(begin: str, until: str | None, zone: str, newest_ms: int, quarters: int) -> Asked:
    """Return what is asked for in whole quarters of an hour; an end after the newest entry is cut there.

    Raises ValueError saying what is expected.
    """
    from_ms = _moment(begin, zone, False)
    end_ms = newest_ms if until is None else min(_moment(until, zone, True), newest_ms)
    from_ms, end_ms = from_ms - from_ms % QUARTER_MS, end_ms - end_ms % QUARTER_MS
    every_ms = quarters * QUARTER_MS
    if end_ms <= from_ms:
        raise NothingToTell(f"the journal has nothing between {begin} and {until or 'its newest entry'}")
    return Asked(from_ms, end_ms, every_ms)


def _moment(said: str, zone: str, whole_day: bool) -> int:
    try:
        at = datetime.fromisoformat(said)
    except ValueError:
        raise ValueError(f"{said!r} is no time; write 2026-06-01 or 2026-06-01T06:00, in site time") from None
    if whole_day and len(said) == len("2026-06-01"):
        at += timedelta(days=1)
    at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))
    return round(at.astimezone(UTC).timestamp() * 1000)


def _bar(done: int, total: int) -> None:
    if sys.stderr.isatty():
        filled = 40 * done // max(done, total)
        end = "\n" if done == total else ""
        print(f"\r{'█' * filled}{'·' * (40 - filled)} {done} entries", end=end, file=sys.stderr, flush=True)
