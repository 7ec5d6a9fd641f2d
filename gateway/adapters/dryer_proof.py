"""A dryer test in a home's record: entered as an act with the hashes of its files, found again, checked.

The certificate is made after the entry, from the same files, and names it; so the record says since when this
test and no other was known, and `dewgate prove` proves the entry under the next signed head.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

from gateway import entry, proofs
from gateway.adapters import landmarks, seal
from gateway.adapters.journal import open_reader
from gateway.adapters.spans import entry_at
from gateway.adapters.subtrees import Subtrees
from gateway.dryer_document import Recorded
from gateway.entry import Kind
from gateway.payload import canonical

_ACTS = "SELECT seq, utc_ms, body FROM deeds WHERE kind = ? AND instr(body, CAST(? AS BLOB)) ORDER BY seq"
_SAID = re.compile(
    r"dewgate dryer check; files (?P<files>[^;]+); entry (?P<entry>\d+); root (?P<root>[0-9a-f]{64})"
)


def hashes(files: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return the SHA-256 of each file, by what it is."""
    return tuple((what, sha256(text.encode()).hexdigest()) for what, text in files.items())


def as_words(files: tuple[tuple[str, str], ...]) -> str:
    """Return the hashes as an entry and a certificate have them."""
    return " ".join(f"{what.replace(' ', '-')}={digest}" for what, digest in files)


def find(home: Path, files: str) -> Recorded | None:
    """Return where a home's record has the test made from these files; None where it does not (yet)."""
    with closing(open_reader(home / "journal.db")) as reader:
        reader.execute("BEGIN")
        for seq, utc_ms, body in reader.execute(_ACTS, (Kind.ACTION, files)):
            if _is(canonical.to_dict(body), files):
                return Recorded(_jobsite(reader, utc_ms), seq, _root(reader, seq), utc_ms)
    return None


def _is(act: Mapping[str, Any], files: str) -> bool:
    return bool(act.get("act") == "dryer_tested" and act.get("files") == files)


def _root(reader: sqlite3.Connection, size: int) -> str:
    return proofs.root_of_range(Subtrees(reader).perfect, 0, size).hex()


def _jobsite(reader: sqlite3.Connection, utc_ms: int) -> str:
    begin, _ = landmarks.clocks(reader).core_span(utc_ms, utc_ms + 1)
    config = landmarks.config_at(reader, begin)
    if not config:
        return ""
    site = canonical.jobsite_of(config)
    return f"{site.label}, SIMULATED" if site.simulated else site.label


def checked(pdf: bytes, home: Path) -> tuple[bool, str] | None:
    """Say whether a certificate's entry is in a home's record with its hashes; None for another kind of report."""
    said = _SAID.search(seal.keywords(seal.first_revision(pdf)))
    if said is None:
        return None
    number = int(said["entry"])
    with closing(open_reader(home / "journal.db")) as reader:
        reader.execute("BEGIN")
        made = entry_at(reader, number)
        if made is None or not _is_act(made, said["files"]):
            return False, f"entry {number} of this record is not the test of this certificate"
        if _root(reader, number) != said["root"]:
            return False, f"the record's first {number} entries are not those the certificate was made from"
    return True, f"entry {number} of the record is the test of this certificate, made from the files it names"


def _is_act(made: bytes, files: str) -> bool:
    return entry.kind_and_time(made)[0] is Kind.ACTION and _is(canonical.to_dict(entry.body_of(made)), files)
