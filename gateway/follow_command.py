"""`dewgate follow`: copy readings to a time-series server in a process of its own, or count what it has."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from gateway import stopping
from gateway.adapters import trouble
from gateway.adapters.series_count import DAY_MS, SETTLED_MS, compared
from gateway.adapters.timeseries import Unreachable, follow


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when told to stop or when nothing is missing, 1 when samples are missing, 2 without an answer."""
    parser = argparse.ArgumentParser(
        f"dewgate {command}", epilog=caution, description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--url", required=True, help="address of a server that takes the v2 write API")
    parser.add_argument("--token-file", type=Path, help="file with the server's token, mode 0600")
    parser.add_argument(
        "--count", type=int, metavar="DAYS", help="count what the server has of the last days (PromQL), and stop"
    )
    args = parser.parse_args(words)
    token = args.token_file.read_text().strip() if args.token_file else ""
    try:
        if args.count:
            return _count(args.home, args.url, token, args.count)
    except Unreachable as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)
    follow(args.home, args.url, token, stopping.when_told())
    return 0


def _count(home: Path, url: str, token: str, days: int) -> int:
    until_ms = time.time_ns() // 1_000_000 - SETTLED_MS
    count, missing = compared(home, url, token, until_ms - days * DAY_MS, until_ms)
    for each in missing:
        day = time.strftime("%Y-%m-%d", time.gmtime(each.day * DAY_MS / 1000))
        print(f"{each.sensor} {day}: {each.journal} readings in the journal, {each.server} samples at the server")
    print(f"{count} readings of the last {days} days: {'NOT all' if missing else 'all'} at the server")
    return 1 if missing else 0
