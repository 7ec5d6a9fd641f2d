"""Which of a journal's oldest entries may be dropped, and why no more: never what nobody else can vouch for.

A block goes only when its whole time lies in sealed reports of this journal that end after it, and when somebody
outside the gateway holds a head at least as new as each of those reports. Roots stay for ever.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gateway.tree import SEAL

MB = 1_000_000
SAY_SO = "whoever holds one says so on the page You"


@dataclass(frozen=True, slots=True)
class Block:
    """A sealed block that has its body: number of its first entry, its time [UTC ms], size of its body [bytes]."""

    first: int
    from_ms: int
    until_ms: int
    size: int

    @property
    def last(self) -> int:
        """Number of its last entry."""
        return self.first + SEAL - 1


@dataclass(frozen=True, slots=True)
class Report:
    """A sealed report of this journal: its name, what time it covers [UTC ms], the entry it was made as of."""

    name: str
    from_ms: int
    until_ms: int
    as_of: int


@dataclass(frozen=True, slots=True)
class Decision:
    """Up to which entry may be dropped (0: nothing), how many bytes that frees, and why no more."""

    last: int
    size: int
    why: str

    @property
    def words(self) -> str:
        """The same in a sentence."""
        may = f"entries up to {self.last} may be dropped ({self.size / MB:.1f} MB)"
        return f"{may if self.last else 'nothing may be dropped'}; no more, because {self.why}"


def decide(
    blocks: Sequence[Block], reports: Sequence[Report], held: int, until_ms: int, do: str = SAY_SO
) -> Decision:
    """Say how far from the oldest block on may be dropped before a time [UTC ms].

    held: up to which entry somebody outside holds a head; 0: nobody holds one. do: what helps then.
    """
    last = freed = 0
    for block in blocks:
        if why := _stays(block, reports, held, until_ms, do):
            return Decision(last, freed, why)
        last, freed = block.last, freed + block.size
    return Decision(last, freed, "the entries after it are not sealed into a block yet")


def _stays(block: Block, reports: Sequence[Report], held: int, until_ms: int, do: str) -> str:
    if block.until_ms >= until_ms:
        return f"entries {block.first} to {block.last} are not all from before the time given"
    later = [each for each in reports if each.as_of >= block.last]
    if not _covers(later, block.from_ms, block.until_ms):
        return f"no sealed report given covers entries {block.first} to {block.last}"
    vouched = [each for each in later if each.as_of <= held]
    if not _covers(vouched, block.from_ms, block.until_ms):
        return (
            f"of the reports that cover entries {block.first} to {block.last}, made as of entry "
            f"{min(each.as_of for each in later)} or later, nobody outside holds a head: the newest that is held "
            f"covers {held} entries; {do}"
        )
    return ""


def _covers(reports: Iterable[Report], from_ms: int, until_ms: int) -> bool:
    reached = from_ms
    for each in sorted(reports, key=lambda each: each.from_ms):
        if each.from_ms <= reached:
            reached = max(reached, each.until_ms)
    return reached > until_ms
