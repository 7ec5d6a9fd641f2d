"""The body of a sealed block: 4,096 entries as one LZMA blob, laid out in columns, given back byte for byte.

Times, packet numbers and the messages of one topic lie side by side, where they resemble each other: a reading
takes about half the bytes it takes one entry after the other, in less time. A first byte of 0 is the older layout,
each entry after its length; it is read for ever.
"""

from __future__ import annotations

import lzma
import struct
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate, chain

from gateway.entry import Kind

COLUMNS = 1
_HEAD = struct.Struct(">BBq")
_FACTS = struct.Struct(">BH")  # flags and packet number of a message, which stand before the length of its topic
_FACTS_AND_SIZE = struct.Struct(">BHH")  # and that length
_MESSAGE = struct.Struct(">BBqBH")  # head and facts at once
_CUT = _HEAD.size + _FACTS.size


def pack_block(entries: Sequence[bytes]) -> bytes:
    """Return the blob of these entries."""
    facts, order, groups = _sorted(entries)
    rests = list(chain.from_iterable(groups))
    columns = (
        struct.pack(">BIII", COLUMNS, len(entries), len(facts), len(groups)),
        bytes([each[0] for each in entries]),
        bytes([each[1] for each in entries]),
        _numbers("q", _steps([_HEAD.unpack_from(each)[2] for each in entries])),
        bytes([flags for flags, _ in facts]),
        _numbers("H", [step & 0xFFFF for step in _steps([packet_id for _, packet_id in facts])]),
        _numbers("H", order),
        _numbers("I", [len(rest) for rest in rests]),
        *rests,
    )
    return lzma.compress(b"".join(columns), preset=1)


def _sorted(entries: Sequence[bytes]) -> tuple[list[tuple[int, int]], list[int], list[list[bytes]]]:
    """Return flags and packet number of each message, the group of each entry, what in each stands in no column.

    A group is what came on one topic; what is no message is one, too.
    """
    facts, order, rests = [], [], list[list[bytes]]()
    numbers: dict[bytes, int] = {}
    for each in entries:
        topic, cut = b"", _HEAD.size
        if each[0] == Kind.MESSAGE:
            flags, packet_id, size = _FACTS_AND_SIZE.unpack_from(each, _HEAD.size)
            facts.append((flags, packet_id))
            topic, cut = each[_CUT + 2 : _CUT + 2 + size], _CUT
        number = numbers.setdefault(topic, len(rests))
        if number == len(rests):
            rests.append([])
        order.append(number)
        rests[number].append(each[cut:])
    return facts, order, rests


def unpack_block(block: bytes) -> list[bytes]:
    """Return the entries of a sealed block. Raises ValueError for a blob that is none."""
    try:
        body = lzma.decompress(block)
        return list(_columns(body) if body[:1] == bytes([COLUMNS]) else _one_after_the_other(body))
    except (lzma.LZMAError, struct.error, IndexError, StopIteration, RuntimeError) as error:
        raise ValueError(f"a sealed block cannot be read: {error}") from error


def _numbers(code: str, values: Sequence[int]) -> bytes:
    return struct.pack(f">{len(values)}{code}", *values)


def _steps(values: Sequence[int]) -> list[int]:
    return [value - before for before, value in zip([0, *values], values, strict=False)]


def _columns(body: bytes) -> Iterator[bytes]:
    count, messages, groups = struct.unpack_from(">III", body, 1)
    take = _Taker(body, 13)
    kinds, versions = take.numbers(count, "B"), take.numbers(count, "B")
    times = accumulate(take.numbers(count, "q"))
    flags, packets = iter(take.numbers(messages, "B")), accumulate(take.numbers(messages, "H"))
    numbers, lengths = take.numbers(count, "H"), take.numbers(count, "I")
    starts = list(accumulate(lengths, initial=take.at))
    sizes = Counter(numbers)
    at = list(accumulate((sizes[group] for group in range(groups)), initial=0))
    for kind, version, core_ms, number in zip(kinds, versions, times, numbers, strict=True):
        begin = at[number]
        at[number] = begin + 1
        rest = body[starts[begin] : starts[begin + 1]]
        if kind == Kind.MESSAGE:
            yield _MESSAGE.pack(kind, version, core_ms, next(flags), next(packets) & 0xFFFF) + rest
        else:
            yield _HEAD.pack(kind, version, core_ms) + rest


class _Taker:
    """Reads columns of numbers one after the other."""

    def __init__(self, body: bytes, at: int) -> None:
        self._body, self.at = body, at

    def numbers(self, count: int, code: str) -> tuple[int, ...]:
        found = struct.unpack_from(f">{count}{code}", self._body, self.at)
        self.at += struct.calcsize(f">{count}{code}")
        return found


def _one_after_the_other(body: bytes) -> Iterator[bytes]:
    at = 0
    while at < len(body):
        (size,) = struct.unpack_from(">I", body, at)
        yield body[at + 4 : at + 4 + size]
        at += 4 + size
