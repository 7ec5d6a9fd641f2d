"""Whether a report says what its journal says: the first revision made again and compared byte for byte."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from gateway import record_document
from gateway.adapters import record_source, report, seal
from gateway.climate_record import Asked
from gateway.record_words import Words

_MADE_FROM = re.compile(
    r"dewgate record; from_ms=(\d+); until_ms=(\d+); every_ms=(\d+); as_of=(\d+); "
    r"language=(en|es); units=(si|us); root=([0-9a-f]{64})"
)


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """Whether the report is what the journal gives, and why not, in words."""

    same: bool
    words: str


@dataclass(frozen=True, slots=True)
class MadeFrom:
    """What a report says it was made from: what was asked for, as of which entry, the root over all up to it."""

    asked: Asked
    as_of: int
    root: bytes
    language: str
    units: str


def made_from(pdf: bytes) -> MadeFrom | None:
    """Return what a report's first revision says of itself, None where it says nothing."""
    body = seal.first_revision(pdf)
    said = _MADE_FROM.search(seal.keywords(body)) if body else None
    if said is None:
        return None
    begin, until, every, as_of = map(int, said.groups()[:4])
    return MadeFrom(Asked(begin, until, every), as_of, bytes.fromhex(said[7]), said[5], said[6])


def same_first_revision(pdf: bytes, home: Path, progress: Callable[[int, int], None] = lambda *_: None) -> Rebuilt:
    """Make a report again from a home's journal up to the entry it names, and compare its first revision.

    Signatures and seal lie in later revisions and are not looked at: see `adapters.seal.look`.
    Raises NothingToTell, NotSet, WrongJournal, sqlite3.Error.
    """
    said = made_from(pdf)
    if said is None:
        return Rebuilt(False, "this file does not say which record it is")
    sequence = said.as_of
    newest, _, _ = record_source.as_of(home)
    if newest < sequence:
        return Rebuilt(False, f"the journal has {newest} entries, the report {sequence}")
    found = record_source.material(home, said.asked, sequence, progress)
    if found.root != said.root:
        return Rebuilt(False, f"the journal's first {sequence} entries are not those the report was made from")
    words = Words(said.language, found.site.time_zone, said.units)
    if report.pdf(record_document.document(found, words), words) == seal.first_revision(pdf):
        return Rebuilt(True, f"made again from {sequence} entries: the same to the last byte")
    return Rebuilt(False, f"made again from {sequence} entries, and not the same: changed, or by another version")
