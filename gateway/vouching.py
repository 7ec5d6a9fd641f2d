"""What arrives from a site, held against the site's own signed heads: is it the record that was there before?

The root of the tree over all entries is carried on from what is held (RFC 6962, 2.1), and compared where a head
ends. A longer record whose root a head signs, built on the leaves held so far, is consistent with the one before
(RFC 6962, 2.1.2) without a proof being sent: nothing that was held was read anew.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256

from gateway import heads, tree
from gateway.heads import Head, Signed

IsSigned = Callable[[bytes, bytes, bytes], bool]
"""Whether a public key (raw) signed these words with this signature."""
REWRITTEN, REWOUND, FORGED, OTHER_KEY = "rewritten", "rewound", "forged", "other key"


class Refused(Exception):
    """What came is not taken. kind: one of REWRITTEN, REWOUND, FORGED, OTHER_KEY; the message is for persons."""

    def __init__(self, kind: str, why: str) -> None:
        super().__init__(why)
        self.kind = kind


@dataclass(frozen=True, slots=True)
class Held:
    """How far a site's record is held: the peaks over all its entries, and the newest head that vouches for it."""

    peaks: tuple[tuple[int, bytes], ...] = ()
    head: Head | None = None

    @property
    def size(self) -> int:
        """How many entries are held."""
        return sum(size for size, _ in self.peaks)


def carried_on(
    held: Held, entries: Sequence[bytes], signed: Sequence[Signed], pinned: str, is_signed: IsSigned
) -> Held:
    """Return what is held once these entries and heads were taken in.

    pinned: fingerprint of the key that is believed without a head that names it; empty: the first head's own.
    Raises: Refused.
    """
    peaks, head, at, begin = list(held.peaks), held.head, 0, held.size
    for each in signed:
        _check_follows(head, each, pinned, is_signed)
        head = each.head
        if not begin + at < head.size <= begin + len(entries):
            raise Refused(FORGED, f"{each.code} ends at entry {head.size}, outside of what came with it")
        tree.extend(peaks, entries[at : head.size - begin])
        at = head.size - begin
        if tree.root(peaks).hex() != head.root:
            first = 1 + (held.head.size if held.head else 0)
            raise Refused(FORGED, f"entries {first} to {head.size} are not those that {each.code} is signed over")
    tree.extend(peaks, entries[at:])
    return Held(tuple(peaks), head)


def _check_follows(last: Head | None, each: Signed, pinned: str, is_signed: IsSigned) -> None:
    head, key = each.head, bytes.fromhex(each.head.key)
    if head.number != (last.number + 1 if last else 1):
        raise Refused(FORGED, f"{each.code} came where head {last.number + 1 if last else 1} belongs")
    if head.previous != (sha256(last.statement()).hexdigest() if last else ""):
        raise Refused(REWRITTEN, f"{each.code} does not follow from the head held before it: one was replaced")
    if not is_signed(key, heads.SIGNED_AS + head.statement(), each.signature):
        raise Refused(FORGED, f"{each.code} was not signed by the key it names")
    _check_key(last, each, key, pinned)


def _check_key(last: Head | None, each: Signed, key: bytes, pinned: str) -> None:
    shown = heads.fingerprint(key)
    introduced = key == heads.must_be(last) if last else not pinned
    if not introduced and shown != pinned:
        known = pinned or heads.fingerprint(heads.must_be(last) if last else b"")
        raise Refused(OTHER_KEY, f"{each.code} is signed by the key {shown}, not by {known}, which is known here")
    if each.head.gateway != (last.gateway if last else shown):
        raise Refused(OTHER_KEY, f"{each.code} names another gateway than the one known here")


def check_same(first: int, came: Sequence[bytes], stored: Sequence[bytes]) -> None:
    """Raise Refused when entries that are held already (the first of them by number) came with other content."""
    for number, (new, old) in enumerate(zip(came, stored, strict=True), first):
        if new != old:
            raise Refused(
                REWRITTEN, f"entry {number} is held with other content: the journal was rewound or rewritten"
            )
