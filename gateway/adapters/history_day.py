"""One channel's day of history as one blob: 96 quarters of an hour, in five columns of whole numbers.

A month of a channel is then thirty rows to fetch and not three thousand, and takes a third of the room. Figures
are as `tiers.Sums` has them. Where no reading fell into a quarter its least stands above every number and its
greatest below, so that columns are joined without asking.
"""

from __future__ import annotations

import sys
import zlib
from array import array
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

PER_DAY = 96
NO_LOW, NO_HIGH = 2**63 - 1, -(2**63)
BYTES = PER_DAY * 8
Row = tuple[int, int, int | None, int | None, int, int]
"""Number, count, low, high, total, known [ms]: as the table of single quarters has it."""


class Columns(NamedTuple):
    """Quarters one after the other, any number of them."""

    weight: array[int]
    low: array[int]
    high: array[int]
    total: array[int]
    known_ms: array[int]


def empty(quarters: int) -> Columns:
    """Return quarters in which nothing was said and nothing known."""
    nothing = array("q", bytes(8 * quarters))
    low, high = (array("q", [value]) * quarters for value in (NO_LOW, NO_HIGH))
    return Columns(nothing, low, high, nothing[:], nothing[:])


def add(found: Columns, begin: int, rows: Iterable[Row]) -> None:
    """Take further rows in; begin: the number of the first of these quarters."""
    weights, lows, highs, totals, knowns = found
    for number, count, low, high, total, known_ms in rows:
        at = number - begin
        weights[at] += count
        totals[at] += total
        knowns[at] += known_ms
        if low is not None and high is not None:
            lows[at] = min(low, lows[at])
            highs[at] = max(high, highs[at])


def pack(day: Columns) -> bytes:
    """Return the blob of one whole day."""
    return zlib.compress(b"".join(_little(column).tobytes() for column in day))


def unpack(first: int, last: int, blobs: Mapping[int, bytes]) -> Columns:
    """Return the days from one number to another, both of them, of which those that were packed are given.

    Raises ValueError for a blob that is none.
    """
    bodies = [_body(blobs[day]) if day in blobs else _EMPTY for day in range(first, last + 1)]
    parts = (b"".join([body[at : at + BYTES] for body in bodies]) for at in range(0, len(_EMPTY), BYTES))
    return Columns(*(_little(array("q", part)) for part in parts))


def rows(found: Columns, begin: int) -> Iterator[Row]:
    """Yield the quarters of which anything is known; begin: the number of the first."""
    for at, (count, low, high, total, known_ms) in enumerate(zip(*found, strict=True), begin):
        if count or known_ms:
            said = low != NO_LOW
            yield at, count, low if said else None, high if said else None, total, known_ms


def _body(blob: bytes) -> bytes:
    try:
        body = zlib.decompress(blob)
    except zlib.error as error:
        raise ValueError(f"a day of history cannot be read: {error}; make it again: dewgate rebuild") from error
    if len(body) != len(_EMPTY):
        raise ValueError(f"a day of history has {len(body)} bytes; make it again: dewgate rebuild")
    return body


def _little(column: array[int]) -> array[int]:
    """The same numbers with the least byte first, whatever the machine has; its own inverse."""
    if sys.byteorder == "little":
        return column
    swapped = column[:]
    swapped.byteswap()
    return swapped


_EMPTY = b"".join(_little(column).tobytes() for column in empty(PER_DAY))
