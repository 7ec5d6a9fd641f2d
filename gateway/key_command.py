"""`dewgate key`: the fingerprint to write down, and another key where the old one may be known to others.

A change is asked for by laying the next key beside the old one; the writer names it in a head that the old key
signs, and only then does the old one go. So whoever trusts the first fingerprint can follow the
chain to the newest key.
"""

from __future__ import annotations

import argparse
import time
from contextlib import closing
from pathlib import Path

from gateway import heads
from gateway.adapters import heads as table
from gateway.adapters import trouble
from gateway.adapters.home import AlreadyRunning
from gateway.adapters.journal import open_reader
from gateway.adapters.signing import NEXT, SIGNING, Keys, write_new

WAIT_S = 75
KEEP = "Write it down outside the gateway, and keep a backup of {}: without it no later head fits the chain."


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when done, 1 when it cannot be, 3 where disk or journal refuse."""
    parser = argparse.ArgumentParser(
        f"dewgate {command}", epilog=caution, description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("what", choices=("show", "rotate"))
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--old-key-lost", action="store_true", help="begin with a key that nobody introduced")
    args = parser.parse_args(words)
    try:
        if args.what == "show":
            return _show(args.home)
        return _lost(args.home) if args.old_key_lost else _rotate(args.home)
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)


def _show(home: Path) -> int:
    keys = Keys(home)
    if not keys.public:
        print(f"{keys.folder}: no key that can be read; the first `dewgate run` makes one")
        return 1
    print(f"key {heads.fingerprint(keys.public)}")
    with closing(open_reader(home / "journal.db")) as reader:
        newest = table.newest(reader)
    if newest:
        print(f"gateway {newest.head.gateway} (fingerprint of its first key)\nnewest head {newest.code}")
    print(KEEP.format(keys.folder))
    return 0


def _rotate(home: Path) -> int:
    """Lay the next key down and wait until the writer, or this command in its place, has named it in a head."""
    folder = Keys(home).folder
    if not Keys(home).public:
        return _show(home)
    if not (folder / NEXT).exists():
        write_new(folder / NEXT)
    asked = time.monotonic()
    while (folder / NEXT).exists() and time.monotonic() - asked < WAIT_S:
        if not _one_turn(home):
            time.sleep(0.2)  # the running writer does it with its next entry, a minute away at most
    if (folder / NEXT).exists():
        print(f"{home}: the running dewgate has not changed the key within {WAIT_S} s; is it alive?")
        return 1
    return _show(home)


def _one_turn(home: Path) -> bool:
    """Be the writer for a moment; return False when another one is."""
    from gateway.service import Service

    try:
        service = Service(home)
    except AlreadyRunning:
        return False
    service.stopping.set()
    service.loop()
    service.close()
    return True


def _lost(home: Path) -> int:
    folder = Keys(home).folder
    if Keys(home).public:
        (folder / SIGNING).replace(folder / "not-this-one.pem")
    write_new(folder / SIGNING)
    (folder / table.OLD_KEY_LOST).touch()
    print("Start dewgate run again. Whoever checks the record is told that this key was introduced by nobody.")
    return _show(home)
