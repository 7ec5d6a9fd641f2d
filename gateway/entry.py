"""Entry bytes of the journal: `u8 kind | u8 version | i64 core_ms | body`.

An entry is written once and never re-encoded; decoders stay for ever (tests/golden_entries.json keeps the
bytes of every kind). The flow makes entries, the journal stores them, the tree hashes them.
Big endian throughout.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum
from hashlib import sha256
from typing import NoReturn

import msgspec

from gateway.reading import Rejected


class Kind(IntEnum):
    """What an entry says. Numbers are for ever."""

    MESSAGE = 1
    REJECTION = 2
    DUPLICATE = 3
    ACTION = 4
    CONFIG_SET = 5
    STARTED = 6
    STOPPING = 7
    CLOCK_STEP = 8
    FORECAST_ISSUED = 9
    DELIVERY = 10
    HEARTBEAT = 11
    CORRECTION = 12
    EDGE_SESSION = 13
    STANDING = 14
    HEALTH = 15


_KINDS = {int(kind): kind for kind in Kind}
VERSION = 1
KEPT_OF_REJECTED = 4096
_HEAD = struct.Struct(">BBq")
_FACTS = struct.Struct(">BHH")
_MESSAGE_HEAD = struct.Struct(">BBqBHH")  # head and facts at once
_FIRST = struct.Struct(">QBH")
DUP, RETAIN, BEFORE_MARKER = 1, 2, 4


class Arrival(msgspec.Struct):  # made for every message, in half the time of a dataclass
    """One MQTT message as received, with the facts the flow needs about how it came.

    before_marker: the session's own marker had not come back yet, so the message may have waited at the
    broker for any length of time. token is the shell's handle for the acknowledgement.
    """

    topic: str
    payload: bytes
    packet_id: int = 0
    dup: bool = False
    retain: bool = False
    before_marker: bool = False
    token: object = None

    @property
    def flags(self) -> int:
        """The facts as bits."""
        return DUP * self.dup | RETAIN * self.retain | BEFORE_MARKER * self.before_marker


def head(kind: Kind, core_ms: int) -> bytes:
    """Return the ten bytes every entry begins with."""
    return _HEAD.pack(kind, VERSION, core_ms)


def message_and_time(made: bytes) -> tuple[Arrival, int]:
    """Return the message of a whole entry of kind MESSAGE, and its core time. Raises as `kind_and_time`."""
    _, version, core_ms, flags, packet_id, size = _MESSAGE_HEAD.unpack_from(made)
    if version != VERSION:
        _refuse(version)
    end = _MESSAGE_HEAD.size + size
    arrival = Arrival(made[_MESSAGE_HEAD.size : end].decode(), made[end:], packet_id)
    return _flagged(arrival, flags) if flags else arrival, core_ms


def kind_and_time(made: bytes) -> tuple[Kind, int]:
    """Return kind and core time. Raises ValueError for a kind or version this program does not know."""
    kind, version, core_ms = _HEAD.unpack_from(made)
    if version != VERSION:
        _refuse(version)
    return _KINDS.get(kind) or Kind(kind), core_ms  # what is not in the table, Kind refuses


def _refuse(version: int) -> NoReturn:
    raise ValueError(f"entry version {version} is newer than this program's {VERSION}: update the program")


def body_of(made: bytes) -> bytes:
    """Return what follows the head."""
    return made[_HEAD.size :]


def unpack(made: bytes) -> tuple[Kind, int, bytes]:
    """Return kind, core time and body. Raises ValueError for a kind or version this program does not know."""
    return *kind_and_time(made), body_of(made)


def message(arrival: Arrival, core_ms: int) -> bytes:
    """Return the entry of an accepted message, its raw payload kept."""
    topic = arrival.topic.encode()
    head = _MESSAGE_HEAD.pack(Kind.MESSAGE, VERSION, core_ms, arrival.flags, arrival.packet_id, len(topic))
    return head + topic + arrival.payload


def message_of(body: bytes) -> Arrival:
    """Return the message an entry body holds."""
    flags, packet_id, size = _FACTS.unpack_from(body)
    end = _FACTS.size + size
    return _flagged(Arrival(body[_FACTS.size : end].decode(), body[end:], packet_id), flags)


def _flagged(arrival: Arrival, flags: int) -> Arrival:
    arrival.dup, arrival.retain = bool(flags & DUP), bool(flags & RETAIN)
    arrival.before_marker = bool(flags & BEFORE_MARKER)
    return arrival


def rejection(arrival: Arrival, why: Rejected, core_ms: int, kept: int = KEPT_OF_REJECTED) -> bytes:
    """Return the entry of a message nothing is believed of: reason, hash, and its first bytes."""
    topic = arrival.topic.encode("utf-8", "replace")[:1024]
    code, detail = why.code.encode(), why.detail.encode("utf-8", "replace")[:512]
    facts = _FACTS.pack(arrival.flags, arrival.packet_id, len(topic))
    words = bytes([len(code)]) + code + struct.pack(">H", len(detail)) + detail
    digest = sha256(arrival.payload).digest()
    return head(Kind.REJECTION, core_ms) + facts + topic + words + digest + arrival.payload[:kept]


@dataclass(frozen=True, slots=True)
class Refusal:
    """What the journal keeps of a rejected message."""

    topic: str
    code: str
    detail: str
    sha256: bytes
    kept: bytes
    packet_id: int

    @property
    def key(self) -> bytes:
        """What a repeat of this message by the broker is known by."""
        return repeat_key(self.packet_id, self.topic, self.sha256)


def repeat_key(packet_id: int, topic: str, digest: bytes) -> bytes:
    """Return what a message without a time is recognised by when the broker sends it again."""
    return packet_id.to_bytes(2, "big") + digest + topic.encode("utf-8", "replace")[:1024]


def rejection_of(body: bytes) -> Refusal:
    """Return what a rejection entry body holds."""
    _, packet_id, size = _FACTS.unpack_from(body)
    at = _FACTS.size + size
    topic = body[_FACTS.size : at].decode("utf-8", "replace")
    code_end = at + 1 + body[at]
    (detail_size,) = struct.unpack_from(">H", body, code_end)
    end = code_end + 2 + detail_size
    detail = body[code_end + 2 : end].decode("utf-8", "replace")
    code = body[at + 1 : code_end].decode()
    return Refusal(topic, code, detail, body[end : end + 32], body[end + 32 :], packet_id)


def duplicate(arrival: Arrival, first_seq: int, core_ms: int) -> bytes:
    """Return the entry of a message that is already in the journal, naming its first."""
    return head(Kind.DUPLICATE, core_ms) + _FIRST.pack(first_seq, arrival.flags, arrival.packet_id)


def duplicate_of(body: bytes) -> int:
    """Return the sequence number of the first entry with this content."""
    first: int = _FIRST.unpack_from(body)[0]
    return first


def plain(kind: Kind, core_ms: int, body: bytes = b"") -> bytes:
    """Return an entry whose body is canonical JSON, or empty."""
    return head(kind, core_ms) + body
