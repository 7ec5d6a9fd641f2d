"""A stretch of a journal on its way to the yard: entries and signed heads as one body, every size bounded.

    zlib( "dewgate entries 1\\n" | u32 entries | u32 heads | length of each, u32 | entries | heads, a line each )

Big endian. What does not fit the form is refused as a whole; what the entries say is not looked at here.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from itertools import accumulate, pairwise

from gateway import heads
from gateway.entry import VERSION, Kind
from gateway.heads import Signed
from gateway.payload import canonical

MAGIC = b"dewgate entries 1\n"
MOST_ENTRIES, MOST_HEADS = 8192, 1024
MOST_SENT, MOST_BYTES = 8 << 20, 16 << 20  # as it comes, and unpacked
LEAST_ENTRY = 10
_COUNTS = struct.Struct(">II")
_KNOWN = frozenset(bytes([kind, VERSION]) for kind in Kind)
_HEAD_TYPES = {
    "gateway": str, "key": str, "next_key": str, "number": int, "previous": str, "root": str, "size": int,
    "time_ms": int,
}  # fmt: skip


class NoBatch(ValueError):
    """The bytes are no stretch of a journal; the message says why."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Entries that follow each other, and the heads that end among them, in order."""

    entries: list[bytes]
    heads: list[Signed]


def pack(stretch: Stretch) -> bytes:
    """Return the bytes of a stretch."""
    lengths = [len(each) for each in stretch.entries]
    lines = "\n".join(each.as_text() for each in stretch.heads).encode()
    counts = _COUNTS.pack(len(lengths), len(stretch.heads))
    body = (MAGIC, counts, struct.pack(f">{len(lengths)}I", *lengths), *stretch.entries, lines)
    return zlib.compress(b"".join(body), 1)


def unpack(sent: bytes) -> Stretch:
    """Return the stretch of these bytes. Raises NoBatch, before much more than MOST_BYTES is held."""
    body = _plain(sent)
    try:
        count, many = _COUNTS.unpack_from(body, len(MAGIC))
        at = len(MAGIC) + _COUNTS.size
        if count > MOST_ENTRIES or many > MOST_HEADS:
            raise NoBatch(f"{count} entries and {many} heads; at most {MOST_ENTRIES} and {MOST_HEADS} at once")
        lengths = struct.unpack_from(f">{count}I", body, at)
    except struct.error as error:
        raise NoBatch(f"it ends too early ({error})") from None
    ends = list(accumulate(lengths, initial=at + 4 * count))
    if ends[-1] > len(body) or min(lengths, default=LEAST_ENTRY) < LEAST_ENTRY:
        raise NoBatch("the lengths of its entries do not add up")
    entries = [body[begin:end] for begin, end in pairwise(ends)]
    if unknown := {each[:2] for each in entries} - _KNOWN:
        raise NoBatch(f"entries of kind and version {min(unknown).hex()} are unknown here: update the yard")
    lines = body[ends[-1] :].split(b"\n") if many else []
    if len(lines) != many or (not many and len(body) != ends[-1]):
        raise NoBatch(f"{len(lines)} heads where {many} belong")
    return Stretch(entries, [signed_of(line) for line in lines])


def _plain(sent: bytes) -> bytes:
    if len(sent) > MOST_SENT:
        raise NoBatch(f"{len(sent)} bytes; at most {MOST_SENT} at once")
    unpacker = zlib.decompressobj()
    try:
        body = unpacker.decompress(sent, MOST_BYTES)
    except zlib.error as error:
        raise NoBatch(f"it cannot be unpacked ({error})") from None
    if not unpacker.eof or unpacker.unused_data:
        raise NoBatch(f"it is cut off, or holds more than {MOST_BYTES} bytes")
    if not body.startswith(MAGIC):
        raise NoBatch("it is of another form")
    return body


def signed_of(line: bytes) -> Signed:
    """Return the signed head of a line. Raises NoBatch; whether the signature holds is not looked at."""
    try:
        said = canonical.to_dict(line)
        statement, signature = said["statement"].encode(), bytes.fromhex(said["signature"])
        fields = canonical.to_dict(statement)
        if {name: type(value) for name, value in fields.items()} != _HEAD_TYPES:
            raise NoBatch("a head has other fields than a head has")
        head = heads.head_of(statement)
        bytes.fromhex(head.key + head.next_key + head.root)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise NoBatch(f"a head cannot be read ({error})") from None
    if head.statement() != statement or len(signature) != 64 or not 0 < head.size < 1 << 62:
        raise NoBatch("a head is not written as heads are")
    return Signed(head, signature)
