"""Whether the signed heads of a journal still form a chain over its entries, as the exported verifier sees it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from gateway import tree, verify_record
from gateway.adapters import heads as table
from gateway.adapters.journal import entries_after, last_of, open_reader
from gateway.adapters.signing import NEXT, write_new
from gateway.heads import Signed


def ask_for_head(home: Path) -> None:
    """Lay another key down: the running writer signs a head that names it, and only then changes keys."""
    if not (home / "keys" / NEXT).exists():
        write_new(home / "keys" / NEXT)


def wait_until_it_writes(home: Path, at_most_s: float = 20.0) -> None:
    """Wait until the program that was just started has written something."""
    began, before = time.monotonic(), _last(home)
    while _last(home) == before and time.monotonic() - began < at_most_s:
        time.sleep(0.02)


def _last(home: Path) -> int:
    with closing(open_reader(home / "journal.db")) as reader:
        return last_of(reader)


def count(home: Path) -> int:
    """Return how many heads there are."""
    with closing(open_reader(home / "journal.db")) as reader:
        return sum(1 for _ in table.every(reader))


def wrong(home: Path) -> list[str]:
    """Return what is wrong with the chain: numbers, hashes, keys, signatures, or a root that the entries lack."""
    with closing(open_reader(home / "journal.db")) as reader:
        reader.execute("BEGIN")
        heads = list(table.every(reader))
        roots = dict(_roots(entries_after(reader, 0), {each.head.size for each in heads}))
    _, why = verify_record.chain(verify_record.head_of(each.as_text()) for each in heads)
    return [*([why] if why else []), *(each.code for each in heads if not _fits(each, roots))]


def _fits(signed: Signed, roots: dict[int, bytes]) -> bool:
    found = roots.get(signed.head.size, b"").hex()
    return found != "" and signed.code.endswith(found[:16]) and found in signed.as_text()


def _roots(entries: Iterator[bytes], wanted: set[int]) -> Iterator[tuple[int, bytes]]:
    peaks: list[tuple[int, bytes]] = []
    for number, each in enumerate(entries, 1):
        tree.append(peaks, each)
        if number in wanted:
            yield number, tree.root(peaks)
