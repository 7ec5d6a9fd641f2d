"""The record as one file for somebody outside: entries, heads, keys, its form, and the program that checks it.

Whole blocks are given or left out; of those left out the root stays, so that every head can still be checked that
ends at a block or in one that is given. The last block is always given.
"""

from __future__ import annotations

import csv
import sqlite3
import struct
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from alerts.measured import DIMENSION
from gateway import heads, verify_record
from gateway.adapters import heads as table
from gateway.adapters import stamping
from gateway.adapters.history_fine import Decoder, Said, said_of
from gateway.adapters.history_out import UNITS, iso
from gateway.adapters.journal import Damaged, Dropped, last_of, open_reader
from gateway.adapters.landmarks import clocks, config_at
from gateway.adapters.subtrees import Subtrees
from gateway.entry import Kind, body_of
from gateway.payload import canonical
from gateway.tree import SEAL

VERSION = 1
Tell = Callable[[int, int], None]
Block = dict[str, object]
COLUMNS = ("entry", "sensor", "quantity", "unit", "measured_utc", "received_utc", "value", "corrected", "validity")
FORM = """A record of the gateway {gateway}, jobsite {jobsite}. {count} entries{left}, {heads} signed heads.

CHECK IT (Python 3.11 or newer, and `pip install cryptography`; no network is needed after that):
    python verify_record.py {name} --key FINGERPRINT --head KEPT-MESSAGE
FINGERPRINT is what was written down when the gateway was set up; ask the people of the job, not this file. A
kept message is the daily mail with a head in it; a record code on an old alert or report will do, too:
--code H17-4711-... Without either, the check shows only that the record agrees with itself. verify_record.py says
what it does in its first lines and can be read in ten minutes; a copy from another source is as good.

FROM A SEALED REPORT TO ONE READING: every page of a report has its record code at the foot, such as 4711-89ab...
Find sensor and time in readings.csv; the first column is the number of the entry. Then
    python verify_record.py {name} --code CODE-OF-THE-REPORT --show NUMBER
PROVEN says up to which entry the record is what that code stands for; NUMBER must not be above it. The last line
is the entry as the sensor sent it. The seal of the report itself is checked by PDF readers, or pdfsig REPORT.pdf.
HOLE names times when nothing was written: a running gateway writes at least a heartbeat each minute.

WHAT IS IN IT
entries/N.bin    up to 4096 entries from number N on: how many (4 bytes), the length of each (4 bytes each), then
                 their bytes. An entry: kind (1 byte), version (1), the gateway's own time in ms (8), then what
                 it holds: of a message (kind 1) flags (1), packet number (2), length of the topic (2), topic,
                 payload as the sensor sent it; of most others JSON. Numbers are big endian.
record.json      how many entries each file holds; of files left out the root of their tree.
heads.jsonl      every head, one a line: "statement" as it was signed, behind the words "dewgate head 1" and a line
                 feed; "signature" Ed25519 (RFC 8032) in hex. Tree and roots: RFC 9162, 2.1.
stamps/          if there are any: time stamps of heads (RFC 3161), each beside the statement it is for. Check one
                 by openssl ts -verify -in H17.tsr -data H17.json -CAfile ROOT.pem
keys.json        the public keys and from which head on each signs.
readings.csv, readings.senml.json
                 the readings of the entries given, made for reading. What is proven is the entries: compare a line
                 with its entry by verify_record.py --show NUMBER. Values are in the unit that stands beside them.

WHAT IT CANNOT SHOW: that a sensor told the truth; that what was written first was true; that who has the gateway's
key did not rewrite what is younger than the newest head somebody else holds; the time of day, but by the dated
mail that brought a head.
"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What goes into the file: all entries, or those whose blocks touch a range of UTC ms."""

    from_ms: int | None = None
    until_ms: int | None = None


def write(journal: Path, out: Path, wanted: Wanted, made_utc_ms: int, tell: Tell) -> None:
    """Write the record, whole or not at all. Raises Damaged where entries are missing, ValueError where none is.

    tell: called with blocks done, and how many there are.
    """
    part = out.with_suffix(".part")
    with (
        closing(open_reader(journal)) as reader,
        zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as to,
    ):
        reader.execute("BEGIN")  # one moment for entries and heads, beside a running writer
        blocks = _entries(reader, to, wanted, tell)
        _about(reader, to, out.name, made_utc_ms, blocks, journal.parent)
    part.replace(out)


def _entries(reader: sqlite3.Connection, to: zipfile.ZipFile, wanted: Wanted, tell: Tell) -> list[Block]:
    subtrees, total = Subtrees(reader), last_of(reader)
    if not total:
        raise ValueError("there is no entry yet")
    given, count = _given(reader, wanted, total), -(-total // SEAL)
    blocks = []
    with _Readings(reader, to) as readings:
        for at in range(count):
            blocks.append(_block(to, subtrees, at, min(SEAL, total - at * SEAL), at in given, readings))
            tell(at + 1, count)
    return blocks


def _about(
    reader: sqlite3.Connection, to: zipfile.ZipFile, name: str, utc_ms: int, blocks: list[Block], home: Path
) -> None:
    body, found = config_at(reader, 1 << 62), list(table.every(reader))
    gateway, jobsite = found[0].head.gateway if found else "", canonical.jobsite_of(body).label if body else ""
    about = {"version": VERSION, "made_utc": iso(utc_ms), "blocks": blocks, "gateway": gateway, "jobsite": jobsite}
    to.writestr("record.json", canonical.to_bytes(about))
    to.writestr("heads.jsonl", "".join(f"{each.as_text()}\n" for each in found))
    to.writestr("keys.json", canonical.to_bytes(list(_keys(found))))
    to.write(verify_record.__file__, "verify_record.py")
    left = sum(1 for each in blocks if each["file"] is None) * SEAL
    words = FORM.format(
        gateway=gateway or "that has signed nothing", jobsite=jobsite, count=last_of(reader), heads=len(found),
        name=name, left=f", of which {left} are left out" if left else "",
    )  # fmt: skip
    to.writestr("READ-ME.txt", words)
    _stamps(to, home, found)


def _stamps(to: zipfile.ZipFile, home: Path, found: list[heads.Signed]) -> None:
    """Put the time stamps in, each beside the statement it is for."""
    statements = {f"H{each.head.number}": each.head.statement() for each in found}
    for path in stamping.kept(home):
        if path.stem in statements:
            to.write(path, f"stamps/{path.name}")
            to.writestr(f"stamps/{path.stem}.json", statements[path.stem])


def _given(reader: sqlite3.Connection, wanted: Wanted, total: int) -> set[int]:
    """The blocks that are given: those of the range, and always what is not sealed yet."""
    count = -(-total // SEAL)
    if wanted == Wanted():
        return set(range(count))
    low, high = clocks(reader).core_span(wanted.from_ms or 0, wanted.until_ms or 1 << 61)
    query = "SELECT first_seq FROM sealed WHERE to_ms < ? OR from_ms >= ?"
    outside = {(first - 1) // SEAL for (first,) in reader.execute(query, (low, high))}
    return set(range(count)) - outside | {count - 1}


def _block(
    to: zipfile.ZipFile, subtrees: Subtrees, at: int, count: int, given: bool, readings: _Readings
) -> Block:
    """Write a block, or only its root where it is left out or was dropped; return its line of record.json."""
    try:
        entries = subtrees.block(at) if given else []
    except Dropped:
        entries = []
    if not entries:
        return {"count": count, "file": None, "root": subtrees.perfect(at * SEAL, count).hex()}
    if len(entries) != count:
        raise Damaged(f"of the entries {at * SEAL + 1} to {at * SEAL + count} only {len(entries)} are there")
    readings.take(at * SEAL + 1, entries)
    return put(to, at, entries)


def put(to: zipfile.ZipFile, at: int, entries: list[bytes]) -> Block:
    """Write the file of a block, by its number from 0, and return its line of record.json."""
    name = f"entries/{at * SEAL + 1:010}.bin"
    lengths = [len(entries), *map(len, entries)]
    to.writestr(name, struct.pack(f">{len(lengths)}I", *lengths) + b"".join(entries))
    return {"count": len(entries), "file": name, "root": ""}


def _keys(found: Iterable[heads.Signed]) -> Iterator[dict[str, object]]:
    known: set[str] = set()
    for each in found:
        key = each.head.key
        if key not in known:
            known.add(key)
            fingerprint = heads.fingerprint(bytes.fromhex(key))
            yield {"fingerprint": fingerprint, "public_key": key, "from_head": each.head.number}


class _Readings:
    """The readings of the entries given, on their way into the zip; a zip takes one file at a time."""

    def __init__(self, reader: sqlite3.Connection, to: zipfile.ZipFile) -> None:
        self._to, self._clocks, self._reader = to, clocks(reader), reader
        self._decode: Decoder | None = None
        self._next = 1
        self._folder = TemporaryDirectory()

    def __enter__(self) -> _Readings:
        self._csv = (Path(self._folder.name) / "readings.csv").open("w", newline="")
        self._senml = (Path(self._folder.name) / "readings.senml.json").open("wb")
        self._rows = csv.writer(self._csv)  # RFC 4180
        self._rows.writerow(COLUMNS)
        return self

    def take(self, first: int, entries: list[bytes]) -> None:
        """Write the readings of a block."""
        if self._decode is None or first != self._next:
            self._decode = Decoder(self._config_before(first))
        self._next = first + len(entries)
        for seq, made in enumerate(entries, first):
            for said in said_of(self._decode, self._clocks, seq, made):
                self._write(self._decode, said)

    def _config_before(self, seq: int) -> bytes | None:
        query = "SELECT entry FROM landmarks WHERE kind = ? AND seq < ? ORDER BY seq DESC LIMIT 1"
        row = self._reader.execute(query, (Kind.CONFIG_SET, seq)).fetchone()
        return body_of(row[0]) if row else None

    def _write(self, decode: Decoder, said: Said) -> None:
        quantity = decode.sensors[said.sensor].quantity
        unit = UNITS[DIMENSION[quantity]]
        times = iso(said.measured_ms), iso(said.received_ms)
        self._rows.writerow(
            (said.seq, said.sensor, quantity, unit, *times, said.value, said.corrected, said.validity)
        )
        record = {"n": f"dewgate:{said.sensor}", "u": unit, "v": said.value, "t": said.measured_ms / 1000}
        self._senml.write((b",\n" if self._senml.tell() else b"[") + canonical.to_bytes(record))

    def __exit__(self, *_: object) -> None:
        with self._folder, self._csv, self._senml:
            self._senml.write(b"]\n" if self._senml.tell() else b"[]\n")
            self._senml.flush()
            self._csv.flush()
            self._to.write(self._csv.name, "readings.csv")
            self._to.write(self._senml.name, "readings.senml.json")
