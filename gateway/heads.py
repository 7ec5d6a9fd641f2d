"""Signed heads: at a moment the record was this long and this was its root, said so that it cannot be taken back.

A head names size and root of the tree over all entries, has a number, and holds the hash of the head before it, so
that none can be left out. It is signed by the gateway's key; `next_key` in a head says which key signs from the
next one on. Heads stand outside the tree. What a head proves is worth something once it is held by somebody who
does not own the gateway's key.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

from gateway import tree
from gateway.payload import canonical

EVERY_MS = 600_000
SIGNED_AS = b"dewgate head 1\n"
"""Stands before the statement in what is signed, so that no other signature can pass for a head's."""


@dataclass(frozen=True, slots=True)
class Head:
    """What a head says. key, next_key, previous and root are hexadecimal; gateway is the first key's fingerprint.

    previous is the SHA-256 of the statement before, empty in the first; next_key is empty but where the key
    changes; time_ms is UTC by the gateway's own clock.
    """

    gateway: str
    key: str
    next_key: str
    number: int
    previous: str
    root: str
    size: int
    time_ms: int

    def statement(self) -> bytes:
        """Return the canonical JSON that is signed (after SIGNED_AS) and hashed into the next head."""
        return canonical.to_bytes(self)


@dataclass(frozen=True, slots=True)
class Signed:
    """A head and its Ed25519 signature (RFC 8032)."""

    head: Head
    signature: bytes

    @property
    def code(self) -> str:
        """The record code of this head."""
        return record_code(self.head.number, self.head.size, self.head.root)

    def as_text(self) -> str:
        """Return the one line that a person keeps, in a file or in a mail."""
        body = {"signature": self.signature.hex(), "statement": self.head.statement().decode()}
        return canonical.to_bytes(body).decode()


def record_code(number: int, size: int, root: str) -> str:
    """Return what a person can compare and write down: number, size, the root's first 16 hex digits."""
    return f"H{number}-{size}-{root[:16]}"


def head_of(statement: bytes) -> Head:
    """Return the head of a statement. Raises ValueError or TypeError when it is none."""
    return Head(**canonical.to_dict(statement))


def fingerprint(public: bytes) -> str:
    """Return what a public key is compared by: 32 hex digits of its SHA-256."""
    return sha256(public).hexdigest()[:32]


def following(last: Head | None, peaks: tree.Peaks, key: bytes, next_key: bytes, time_ms: int) -> Head:
    """Return the head after `last` over the tree with these peaks."""
    return Head(
        gateway=last.gateway if last else fingerprint(key),
        key=key.hex(),
        next_key=next_key.hex(),
        number=last.number + 1 if last else 1,
        previous=sha256(last.statement()).hexdigest() if last else "",
        root=tree.root(peaks).hex(),
        size=sum(size for size, _ in peaks),
        time_ms=time_ms,
    )


def is_due(last: Head | None, utc_ms: int, *, day_ended: bool, ending: bool) -> bool:
    """Whether the next commit carries a head: the first, at each ten minutes of UTC, at day end, and at stop."""
    return last is None or day_ended or ending or utc_ms // EVERY_MS != last.time_ms // EVERY_MS


def must_be(head: Head) -> bytes:
    """Return the key, raw, that has to sign the head after this one."""
    return bytes.fromhex(head.next_key or head.key)


HOLD = (
    "Keep this message where nobody who minds the gateway can change it. As long as you have it, a record in "
    "which an entry up to number {size} was changed, added or removed later can be told from the true one. "
    'Tell the gateway that you hold it: sign in, and enter {code} on the page "You". '
    "To check a record against it: dewgate verify RECORD.zip --head THIS-MESSAGE\n\n"
    "{line}\n"
)


def holders_words(signed: Signed) -> tuple[str, str]:
    """Return title and text of the message that brings a head to those who hold it."""
    title = f"Record code of the day: {signed.code}"
    return title, HOLD.format(size=signed.head.size, code=signed.code, line=signed.as_text())
