"""The one way to ask a server over HTTP: what it answers is bounded in bytes and in time, whatever it is.

httpx bounds the wait for each piece only, and holds what comes: an answer without an end would fill the memory.
"""

from __future__ import annotations

import time
from typing import Any

import httpx


class Endless(httpx.HTTPError):
    """An answer longer than any that belongs here, slower, or packed; the message says which."""


def ask(
    client: httpx.Client, method: str, url: str, most_bytes: int, within_s: float, **more: Any
) -> httpx.Response:
    """Return an answer, whole. Raises httpx.HTTPError, httpx.InvalidURL.

    Args: more: as httpx takes it. within_s: for the answer, once it has begun; the client bounds each wait.
    """
    plain = {**more.pop("headers", {}), "Accept-Encoding": "identity"}  # a packed one can unpack to very much
    with client.stream(method, url, headers=plain, **more) as answer:
        body, until_s = bytearray(), time.monotonic() + within_s
        for piece in answer.iter_raw():
            body += piece
            if len(body) > most_bytes:
                raise Endless(f"an answer of more than {most_bytes} bytes does not belong here")
            if time.monotonic() > until_s:
                raise Endless(f"its answer was not whole within {within_s:g} s")
    if packed := answer.headers.get("content-encoding", ""):
        raise Endless(f"its answer is packed ({packed[:20]}), which nobody asked for")
    return httpx.Response(answer.status_code, headers=answer.headers, content=bytes(body), request=answer.request)
