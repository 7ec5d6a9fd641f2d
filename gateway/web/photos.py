"""Pictures of the steel, kept by their SHA-256 beside the journal, so that the journal names them and they can be
erased.

What is kept is looked at by its first bytes, and handed out as that kind of picture and nothing else.
Sources: ISO/IEC 10918-1, B.1.1.3 (JPEG markers); ISO/IEC 15948, 5.2 (PNG signature); RFC 9649, 2.4 (WebP).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from fastapi import Request

from gateway.web.guard import LongFormError

MOST_BYTES = 6_000_000
MOST_PICTURES = 20_000  # 120 GB at the very worst; a phone's picture, made small by the page, has 0.3 MB
_DIGEST = re.compile(r"[0-9a-f]{64}")


class NotAPicture(ValueError):
    """What was sent is no JPEG, PNG or WebP, or there is no room for it; the message says which."""


@dataclass(frozen=True, slots=True)
class Photos:
    """The folder of pictures."""

    folder: Path

    def keep(self, picture: bytes) -> str:
        """Keep a picture and return its SHA-256 in hexadecimal. Raises NotAPicture."""
        if kind_of(picture) is None:
            raise NotAPicture("This is no JPEG, PNG or WebP picture.")
        if len(picture) > MOST_BYTES:
            raise NotAPicture(f"A picture has at most {MOST_BYTES // 1_000_000} MB.")
        digest = sha256(picture).hexdigest()
        self.folder.mkdir(mode=0o700, exist_ok=True)
        path = self.folder / digest
        if not path.exists():
            self._write(path, picture)
        return digest

    def _write(self, path: Path, picture: bytes) -> None:
        if sum(1 for _ in self.folder.iterdir()) >= MOST_PICTURES:
            raise NotAPicture("There is no room for more pictures.")
        try:
            path.with_suffix(".part").write_bytes(picture)
            path.with_suffix(".part").rename(path)  # whole or not there
        except OSError:
            raise NotAPicture("The picture could not be kept: the disk is full or failing.") from None

    def find(self, digest: str) -> tuple[bytes, str] | None:
        """Return a picture and its kind, or None; a picture that is no longer what its name says is none."""
        path = self.folder / digest
        if not _DIGEST.fullmatch(digest) or not path.exists():
            return None
        picture = path.read_bytes()
        kind = kind_of(picture)
        return (picture, kind) if kind and sha256(picture).hexdigest() == digest else None


def kind_of(picture: bytes) -> str | None:
    """Return the kind of picture by its first bytes."""
    if picture[:3] == b"\xff\xd8\xff":
        return "image/jpeg"
    if picture[:8] == b"\x89PNG\r\n\x1a\n":
        return "image/png"
    return "image/webp" if picture[:4] == b"RIFF" and picture[8:12] == b"WEBP" else None


async def whole_body(request: Request, longest: int) -> None:
    """Read a request's body, to be parsed afterwards. Raises LongFormError before more than `longest` are held."""
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > longest:
            raise LongFormError
    request._body = bytes(body)  # noqa: SLF001  where the framework itself keeps a body that was read
