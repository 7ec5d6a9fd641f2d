"""A form of the yard as it was sent: its fields, and a picture or a file of readings beside them."""

from __future__ import annotations

from fastapi import Request

from gateway.web.gate import TurnedAway
from gateway.web.guard import LongFormError
from gateway.web.photos import MOST_BYTES, whole_body

LONGEST = MOST_BYTES + 65_536


async def sent(request: Request) -> tuple[dict[str, str], dict[str, bytes]]:
    """Return fields and files. Raises TurnedAway before more than a picture's bytes are held."""
    try:
        await whole_body(request, LONGEST)
    except LongFormError:
        raise TurnedAway(
            413, f"A picture or a file of readings has at most {MOST_BYTES // 1_000_000} MB."
        ) from None
    async with request.form(max_files=1, max_fields=60, max_part_size=65_536) as parts:
        fields = {name: said for name, said in parts.items() if isinstance(said, str)}
        files = {name: await each.read() for name, each in parts.items() if not isinstance(each, str)}
    return fields, {name: content for name, content in files.items() if content}
