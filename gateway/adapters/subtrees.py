"""Roots of perfect subtrees of a journal, from the sealed blocks' roots and the rows, for proofs and exports."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field

from gateway import tree
from gateway.adapters.block import unpack_block
from gateway.adapters.journal import Damaged, Dropped


@dataclass(slots=True)
class Subtrees:
    """Roots as of the reader's transaction. Only the newest block that was looked into is kept in memory."""

    reader: sqlite3.Connection
    roots: dict[int, bytes] = field(default_factory=dict)  # of sealed blocks, by number from 0
    _block: tuple[int, list[bytes]] = (-1, [])

    def __post_init__(self) -> None:
        self.roots = {(first - 1) // tree.SEAL: root for first, root in
                      self.reader.execute("SELECT first_seq, root FROM sealed")}  # fmt: skip

    def perfect(self, begin: int, size: int) -> bytes:
        """Return the root of the subtree of `size` entries (a power of two) from `begin` (from 0) on."""
        if size > tree.SEAL:
            half = size // 2
            return tree.node(self.perfect(begin, half), self.perfect(begin + half, half))
        block, at = divmod(begin, tree.SEAL)
        if size == tree.SEAL and block in self.roots:
            return self.roots[block]
        entries = self.block(block)[at : at + size]
        if len(entries) < size:
            raise Damaged(f"entries {begin + 1} to {begin + size} are not all there")
        return tree.root_of(entries)

    def block(self, number: int) -> list[bytes]:
        """Return the entries of a block (from 0), sealed or not. Raises Dropped when they were dropped."""
        if self._block[0] != number:
            self._block = number, self._read(number)
        return self._block[1]

    def _read(self, number: int) -> list[bytes]:
        first = number * tree.SEAL + 1
        if number in self.roots:
            (body,) = self.reader.execute("SELECT body FROM sealed WHERE first_seq = ?", (first,)).fetchone()
            if body is None:
                raise Dropped(first + tree.SEAL - 1, first)
            return unpack_block(body)
        query = "SELECT entry FROM entries WHERE seq >= ? AND seq < ? ORDER BY seq"
        return [row[0] for row in self.reader.execute(query, (first, first + tree.SEAL))]
