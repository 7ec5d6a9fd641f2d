"""`dewgate yard`: take in the journals of many sites and show how they stand; and which sites may send.

dewgate yard add north-tower      makes the token for a site, shown once
dewgate yard run                  serves sites and pages
"""

from __future__ import annotations

import argparse
import csv
import fcntl
import resource
import socket
import sqlite3
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import astuple
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from alerts.contacts import Contacts, read_contacts
from gateway.adapters.address import is_loopback
from gateway.adapters.site_book import SITES, SiteBook
from gateway.adapters.yard_db import SILENT_S, NotTaken, YardDb

if TYPE_CHECKING:
    from gateway.yard.intake import Intake
DAY_MS = 86_400_000
KEEP_ALIVE_S = 75  # longer than a site waits before it pushes again, so that it need not greet anew
MOST_CONNECTIONS, MOST_FILES = 5000, 16_384


class _Refused(Exception):
    """It cannot begin; the message says why and what to do."""


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when done, 2 for what was told wrong, 3 where the disk refuses."""
    args = _parser(command, caution).parse_args(words)
    args.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        with closing(YardDb(args.folder / "yard.db")) as db:
            return int(args.act(args, db))
    except (NotTaken, _Refused) as error:
        print(f"dewgate yard: {error}", file=sys.stderr)
        return 2
    except (sqlite3.Error, OSError) as error:
        print(f"dewgate yard: {args.folder}: {error}", file=sys.stderr)
        return 3


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        f"dewgate {command}", epilog=caution, description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--folder", type=Path, default=Path("dewgate-yard"), help="folder of the yard")
    what = parser.add_subparsers(required=True, metavar="WHAT")
    served = what.add_parser("run", help="serve sites and pages")
    served.add_argument("--listen", default="127.0.0.1:8443", metavar="HOST:PORT")
    served.add_argument("--tls-cert", help="PEM file of the certificate; needed outside this machine")
    served.add_argument("--tls-key", help="PEM file of its private key")
    served.add_argument("--contacts", type=Path, help="channels to tell of silent and refused sites, mode 0600")
    served.set_defaults(act=_run)
    added = what.add_parser("add", help="let a site send: makes its token, and a new one for a site that has one")
    added.add_argument("site", help="a-z, 0-9 and -")
    added.add_argument(
        "--key", default="", help="the line `gateway` of `dewgate key show` at the site, if you have it"
    )
    added.add_argument("--silent-after", type=int, default=SILENT_S, metavar="SECONDS")
    added.set_defaults(act=_add)
    confirmed = what.add_parser("confirm", help="this is the site's key: you have compared it")
    confirmed.add_argument("site")
    confirmed.add_argument("key")
    confirmed.set_defaults(act=_confirm)
    dropped = what.add_parser("drop", help="let a site send no more; what is held stays")
    dropped.add_argument("site")
    dropped.set_defaults(act=_drop)
    what.add_parser("sites", help="which sites may send, and how far each is held").set_defaults(act=_sites)
    checked = what.add_parser("check", help="hold what sites say of themselves against their entries")
    checked.add_argument("sites", nargs="*", help="these sites only")
    checked.add_argument(
        "--minutes", type=float, default=1e9, help="stop after so long; the next time goes on there"
    )
    checked.set_defaults(act=_check)
    kept = what.add_parser("keep", help="how long entries are kept: the owner's word, none unless given")
    kept.add_argument("sites", nargs="*", help="of these sites; else of every one that has no word of its own")
    how_long = kept.add_mutually_exclusive_group()
    how_long.add_argument("--days", type=int)
    how_long.add_argument("--for-ever", action="store_true")
    kept.set_defaults(act=_keep)
    tidied = what.add_parser(
        "tidy", help="what may be dropped by that word, covered by sealed reports; with --drop do it"
    )
    tidied.add_argument("sites", nargs="*", help="these sites only")
    tidied.add_argument("--drop", action="store_true")
    tidied.set_defaults(act=_tidy)
    record = what.add_parser("record", help="one record across sites: acts, verdicts, alarms, messages, as CSV")
    record.add_argument("sites", nargs="*", help="of these sites only")
    record.add_argument("--days", type=int, default=7)
    record.add_argument("--out", type=Path, required=True, metavar="FILE.csv")
    record.set_defaults(act=_record)
    return parser


def _check(args: argparse.Namespace, db: YardDb) -> int:
    from gateway.yard.tend import check_sites

    return check_sites(args, db)


def _keep(args: argparse.Namespace, db: YardDb) -> int:
    from gateway.yard.tend import keep_records

    return keep_records(args, db)


def _tidy(args: argparse.Namespace, db: YardDb) -> int:
    from gateway.yard.tend import tidy_sites

    return tidy_sites(args, db)


def _record(args: argparse.Namespace, db: YardDb) -> int:
    from gateway.yard.across import COLUMNS, rows

    sites = args.sites or [each.id for each in db.sites()]
    if unknown := set(sites) - {each.id for each in db.sites()}:
        raise NotTaken(f"there is no site {min(unknown)!r} here")
    now_ms = _now_ms()
    found = rows(args.folder / SITES, db, sites, now_ms - args.days * DAY_MS, now_ms)
    with args.out.open("w", newline="", encoding="utf-8") as out:
        sheet = csv.writer(out)
        sheet.writerow(COLUMNS)
        written = [sheet.writerow([_utc(row.utc_ms), *map(_harmless, astuple(row)[1:])]) for row in found]
    print(f"{args.out}: {len(written)} rows of {len(sites)} sites, the last {args.days} days")
    return 0


def _utc(utc_ms: int) -> str:
    """ISO 8601; a site may have written an impossible time, which stays a number."""
    with suppress(ValueError, OverflowError, OSError):
        return datetime.fromtimestamp(utc_ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return str(utc_ms)


def _harmless(value: object) -> object:
    """A sheet program must not take somebody's words for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" and value else value


def _add(args: argparse.Namespace, db: YardDb) -> int:
    if not 60 <= args.silent_after <= 86_400:
        raise NotTaken("--silent-after is from 60 to 86400 s; a site writes an entry each minute")
    token = db.add(args.site, args.key, args.silent_after, _now_ms())
    print(f"token of {args.site}, shown only now:\n{token}")
    print("At the site: put it into a file of mode 0600, then")
    words = f"--yard https://THIS-MACHINE:8443 --site {args.site} --token-file FILE --ca ca.crt"
    print(f"  dewgate push --home HOME {words}")
    print("(--ca only where the certificate is of a CA of your own, as make-certificates.sh makes it)")
    return 0


def _confirm(args: argparse.Namespace, db: YardDb) -> int:
    db.confirm(args.site, args.key)
    print(f"{args.site}: {args.key} is its key")
    return 0


def _drop(args: argparse.Namespace, db: YardDb) -> int:
    db.drop(args.site)
    print(f"{args.site} may send no more")
    return 0


def _sites(args: argparse.Namespace, db: YardDb) -> int:
    for site in db.sites():
        folder = args.folder / SITES / site.id
        size = 0
        if folder.exists():
            with closing(SiteBook(folder)) as book:
                size = book.held.size
        key = f"key {site.pinned}{'' if site.confirmed else ' (not compared)'}" if site.pinned else "no key yet"
        print(f"{site.id}: {size} entries, {key}")
    return 0


def _run(args: argparse.Namespace, db: YardDb) -> int:
    from gateway.web.opening import say_how
    from gateway.web.server import PageServer
    from gateway.yard.intake import Intake
    from gateway.yard.rooms import make_app

    host, port = _listening(args)
    contacts = read_contacts(args.contacts) if args.contacts else None
    with _the_only_one(args.folder), closing(Intake(args.folder, db, _now_ms, _most_open())) as intake:
        intake.open_all()
        app = make_app(args.folder, db, intake, _now_ms, secure=bool(args.tls_cert))
        named = socket.gethostname() if host in {"0.0.0.0", "::", "[::]"} else host  # noqa: S104  what a person types
        url = f"{'https' if args.tls_cert else 'http'}://{named}:{port}/"
        print(f"yard: {url}", flush=True)
        say_how(app.state.web.door.accounts, url, _now_ms(), lambda line: print(line, flush=True))
        with _watching(args.folder, db, intake, contacts):
            server = PageServer(app, host, port, args.tls_cert, args.tls_key)
            server.config.timeout_keep_alive, server.config.limit_concurrency = KEEP_ALIVE_S, MOST_CONNECTIONS
            server.run()
    return 0


def _most_open() -> int:
    """How many journals may lie open: three files each, and a site's connection beside them."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with suppress(OSError, ValueError):  # a service's cage may forbid it, and says its own limit
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, MOST_FILES), hard))
        soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return max(8, (soft - MOST_CONNECTIONS) // 4 if soft > 2 * MOST_CONNECTIONS else soft // 8)


def _listening(args: argparse.Namespace) -> tuple[str, int]:
    host, _, port = args.listen.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65_536:
        raise _Refused(f"{args.listen}: an address is written host:port, as in 127.0.0.1:8443")
    if bool(args.tls_cert) != bool(args.tls_key):
        raise _Refused("--tls-cert and --tls-key belong together")
    if not args.tls_cert and not is_loopback(host):
        raise _Refused(f"{args.listen} is across a network: tokens and records go over TLS only; give --tls-cert")
    return host, int(port)


@contextmanager
def _watching(folder: Path, db: YardDb, intake: Intake, contacts: Contacts | None) -> Iterator[None]:
    """Watch over silence in a thread of its own; without a contacts file alarms stand on the page only."""
    from gateway.yard.watch import YardWatch, work

    stop, known = threading.Event(), contacts or Contacts({})
    watch = YardWatch(db, intake, list(known.channels), _now_ms())
    thread = threading.Thread(target=work, args=(folder, watch, known, _now_ms, stop), name="watch")
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


@contextmanager
def _the_only_one(folder: Path) -> Iterator[None]:
    with (folder / "yard.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise _Refused(f"{folder}: another dewgate yard is already at work here") from None
        yield


def _now_ms() -> int:
    return time.time_ns() // 1_000_000
