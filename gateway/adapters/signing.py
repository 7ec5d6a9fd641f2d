"""The gateway's key: made at first start, kept in the home, and the one door to the signatures over heads.

`keys/signing.pem` signs (Ed25519, PKCS #8, mode 0600). `keys/next.pem` is there while the key changes: the next
head names it, and once that head is on disk it takes the place of the old one, which is gone for good.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization as form
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

SIGNING, NEXT = "signing.pem", "next.pem"


class Keys:
    """The keys of one home."""

    def __init__(self, home: Path) -> None:
        self.folder = home / "keys"
        self._signing = _read(self.folder / SIGNING)
        self._next = _read(self.folder / NEXT)

    @property
    def public(self) -> bytes:
        """The public key that signs now, raw (32 bytes); empty when there is none."""
        return _public(self._signing)

    @property
    def next_public(self) -> bytes:
        """The public key that shall sign next, or empty."""
        return _public(self._next)

    def look(self) -> None:
        """Look whether somebody asked for another key."""
        self._next = self._next or _read(self.folder / NEXT)

    def make(self) -> None:
        """Make the first key."""
        write_new(self.folder / SIGNING)
        self._signing = _read(self.folder / SIGNING)

    def sign(self, words: bytes) -> bytes:
        """Return the signature of the key that signs now. There must be one."""
        assert self._signing is not None
        return self._signing.sign(words)

    def adopt_next(self) -> None:
        """Let the next key take the place of the old one."""
        (self.folder / NEXT).replace(self.folder / SIGNING)
        sync_folder(self.folder)
        self._signing, self._next = self._next, None


def is_signed(public: bytes, words: bytes, signature: bytes) -> bool:
    """Whether this signature is that key's over these words."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, words)
    except (InvalidSignature, ValueError):
        return False
    return True


def write_new(path: Path) -> None:
    """Write a new private key, whole or not at all, for this user's eyes only."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    with suppress(FileNotFoundError):
        part.unlink()
    pem = Ed25519PrivateKey.generate().private_bytes(
        form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption()
    )
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Let a rename in this folder outlive a power cut."""
    held = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(held)
    finally:
        os.close(held)


def _read(path: Path) -> Ed25519PrivateKey | None:
    """A key that cannot be read is none: alerts go on, and the board says that no head is signed."""
    try:
        key = form.load_pem_private_key(path.read_bytes(), None)
    except (OSError, ValueError, TypeError):
        return None
    return key if isinstance(key, Ed25519PrivateKey) else None


def _public(key: Ed25519PrivateKey | None) -> bytes:
    return key.public_key().public_bytes_raw() if key else b""
