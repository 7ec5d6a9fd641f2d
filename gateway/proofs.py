"""Proofs that one entry is in the record, and that a longer record begins with a shorter one.

Made from the roots of perfect subtrees, so that a sealed block is unpacked only where the entry is, or where a
head ends inside it. Source: RFC 9162, 2.1.3 (inclusion) and 2.1.4 (consistency).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from hashlib import sha256

from gateway import tree

Perfect = Callable[[int, int], bytes]
"""The root of the perfect subtree that begins at an entry (from 0) and has so many entries, a power of two."""


def root_of_range(perfect: Perfect, begin: int, end: int) -> bytes:
    """Return the root over the entries from begin (from 0) until before end, a range the RFC splits into."""
    size = end - begin
    half = _largest_below(size)
    if half * 2 == size or size == 1:
        return perfect(begin, size)
    return tree.node(perfect(begin, half), root_of_range(perfect, begin + half, end))


def inclusion(perfect: Perfect, number: int, size: int) -> list[bytes]:
    """Return the proof that entry `number` (from 1) is among the first `size` entries (RFC 9162, 2.1.3.1)."""
    if not 0 < number <= size:
        raise ValueError(f"there is no entry {number} among the first {size}")
    at, begin, end = number - 1, 0, size
    path: list[bytes] = []
    while end - begin > 1:
        middle = begin + _largest_below(end - begin)
        if at < middle:
            path.append(root_of_range(perfect, middle, end))
            end = middle
        else:
            path.append(root_of_range(perfect, begin, middle))
            begin = middle
    return path[::-1]


def consistency(perfect: Perfect, old: int, new: int) -> list[bytes]:
    """Return the proof that the first `new` entries begin with the first `old` ones (RFC 9162, 2.1.4.1)."""
    if not 0 < old <= new:
        raise ValueError(f"the record of {new} entries cannot begin with {old}")
    begin, end, whole = 0, new, True  # whole: what is left of the old tree is what the reader knows already
    path: list[bytes] = []
    while old != end:
        middle = begin + _largest_below(end - begin)
        if old <= middle:
            path.append(root_of_range(perfect, middle, end))
            end = middle
        else:
            path.append(root_of_range(perfect, begin, middle))
            begin, whole = middle, False
    if not whole:
        path.append(root_of_range(perfect, begin, end))
    return path[::-1]


def is_included(entry: bytes, number: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Whether the proof leads from entry `number` (from 1) to the root (RFC 9162, 2.1.3.2)."""
    at, last, found = number - 1, size - 1, sha256(b"\x00" + entry).digest()
    if not 0 <= at <= last:
        return False
    for each in path:
        if last == 0:
            return False
        if at & 1 or at == last:
            found = tree.node(each, found)
            at, last = _up_while_left(at, last)
        else:
            found = tree.node(found, each)
        at, last = at >> 1, last >> 1
    return last == 0 and found == root


def is_consistent(old: int, new: int, path: Sequence[bytes], old_root: bytes, new_root: bytes) -> bool:
    """Whether the proof leads to both roots (RFC 9162, 2.1.4.2)."""
    if not 0 < old <= new or (old == new) != (not path):
        return False
    if old == new:
        return old_root == new_root
    path = [old_root, *path] if old & (old - 1) == 0 else path
    at, last = old - 1, new - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    first = second = path[0]
    for each in path[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            first, second = tree.node(each, first), tree.node(each, second)
            at, last = _up_while_left(at, last)
        else:
            second = tree.node(second, each)
        at, last = at >> 1, last >> 1
    return last == 0 and (first, second) == (old_root, new_root)


def _largest_below(size: int) -> int:
    """The largest power of two smaller than size; for 1, 0."""
    return 1 << (size - 1).bit_length() - 1 if size > 1 else 0


def _up_while_left(at: int, last: int) -> tuple[int, int]:
    """Pass levels at which the node at the right edge has no neighbour."""
    while not at & 1 and at:
        at, last = at >> 1, last >> 1
    return at, last
