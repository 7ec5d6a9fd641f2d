"""The hash tree over all entries: what makes a quiet change visible.

`leaf = SHA-256(0x00 ‖ entry)`, inner node `SHA-256(0x01 ‖ left ‖ right)`. Only the peaks (roots of the
perfect subtrees, at most one per bit of the size) are kept; a sealed block is exactly one of them.
Source: RFC 6962, 2.1 (Merkle Tree Hash).
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256

SEAL = 4096  # entries in a sealed block: one perfect subtree

Peaks = list[tuple[int, bytes]]  # (number of leaves, root), largest first


def leaf(entry: bytes) -> bytes:
    """Return the leaf hash of an entry."""
    return sha256(b"\x00" + entry).digest()


def node(left: bytes, right: bytes) -> bytes:
    """Return the hash of two subtrees side by side."""
    return sha256(b"\x01" + left + right).digest()


def append(peaks: Peaks, entry: bytes) -> None:
    """Add an entry, joining equal subtrees; `peaks` is changed in place. In one piece: each message does it."""
    size, root = 1, sha256(b"\x00" + entry).digest()
    while peaks and peaks[-1][0] == size:
        root = sha256(b"\x01" + peaks.pop()[1] + root).digest()
        size *= 2
    peaks.append((size, root))


def extend(peaks: Peaks, entries: Sequence[bytes]) -> None:
    """Add entries, as `append` does one after the other, in less time: whole subtrees at once."""
    at, size = 0, sum(each for each, _ in peaks)
    while at < len(entries):
        width = 1 << (len(entries) - at).bit_length() - 1
        width = min(width, size & -size) if size else width
        append_subtree(peaks, width, _perfect(entries[at : at + width]))
        at, size = at + width, size + width


def _perfect(entries: Sequence[bytes]) -> bytes:
    """The root over a power of two of entries."""
    row = [sha256(b"\x00" + each).digest() for each in entries]
    while len(row) > 1:
        pairs = iter(row)
        row = [sha256(b"\x01" + left + right).digest() for left, right in zip(pairs, pairs, strict=True)]
    return row[0]


def append_subtree(peaks: Peaks, size: int, root: bytes) -> None:
    """Add a perfect subtree by its size and root, none before it smaller; `peaks` is changed in place."""
    while peaks and peaks[-1][0] == size:
        root = node(peaks.pop()[1], root)
        size *= 2
    peaks.append((size, root))


def root(peaks: Peaks) -> bytes:
    """Return the root over everything appended; of nothing, SHA-256 of the empty string."""
    if not peaks:
        return sha256(b"").digest()
    joined = peaks[-1][1]
    for _, left in reversed(peaks[:-1]):
        joined = node(left, joined)
    return joined


def root_of(entries: list[bytes]) -> bytes:
    """Return the root over these entries alone."""
    peaks: Peaks = []
    extend(peaks, entries)
    return root(peaks)
