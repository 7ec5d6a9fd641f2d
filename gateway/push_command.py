"""`dewgate push`: send this site's journal to the yard as it grows; a process of its own beside `run`.

Nothing is kept but the journal itself: while the yard is away it waits there, and everything follows later.
"""

from __future__ import annotations

import argparse
import stat
import sys
from contextlib import closing
from pathlib import Path

from gateway import stopping
from gateway.adapters.yard_link import WrongAddress, Yard, push


def run(command: str, words: list[str], caution: str) -> int:
    """Run it until told to stop: 0, or 2 for what was told wrong."""
    parser = argparse.ArgumentParser(
        f"dewgate {command}", epilog=caution, description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--yard", required=True, metavar="URL", help="https://host:port of the yard")
    parser.add_argument("--site", required=True, help="the name the yard knows this site by")
    parser.add_argument("--token-file", type=Path, required=True, help="file with the site's token, mode 0600")
    parser.add_argument("--ca", default="", help="PEM file of the CA of the yard's certificate, if it is its own")
    parser.add_argument(
        "--every", type=float, default=5.0, metavar="SECONDS", help="how often to look for entries"
    )
    args = parser.parse_args(words)
    try:
        yard = Yard(args.yard, args.site, _token(args.token_file), args.ca)
    except (WrongAddress, OSError) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 2
    with closing(yard):
        push(args.home, yard, max(0.2, args.every), stopping.when_told())
    return 0


def _token(file: Path) -> str:
    if stat.S_IMODE(file.stat().st_mode) & 0o077:
        raise WrongAddress(f"{file}: others can read it; chmod 600 {file}")
    return file.read_text("utf-8").strip()
