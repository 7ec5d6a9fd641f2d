"""What keeps strangers' pages away from the board: headers, the origin check and a form of bounded size.

Sources: W3C Content Security Policy Level 3; W3C Fetch Metadata Request Headers (Sec-Fetch-Site);
RFC 6454 (the Origin header).
"""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'; worker-src 'self'; manifest-src 'self'"
)
HEADERS = {
    "Content-Security-Policy": CSP,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
_LONGEST_FORM = 4096


class LongFormError(Exception):
    """The form is longer than anything a person would send."""

    def __str__(self) -> str:
        """The docstring is the message."""
        return str(self.__doc__)


class SecurityHeaders:
    """Adds the headers to every answer, streams included."""

    def __init__(self, app: ASGIApp, *, secure: bool = False) -> None:
        """Args: app: the application inside. secure: over TLS, so that browsers are told to stay with it."""
        self._app = app
        self._headers = HEADERS | ({"Strict-Transport-Security": "max-age=31536000"} if secure else {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass everything through and add to the start of each answer."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(self._headers)
                own = "no-cache" if scope["path"].startswith("/static/") else "no-store"
                headers.setdefault("Cache-Control", own)  # a board from a cache would be an old board
            await send(message)

        await self._app(scope, receive, with_headers)


def is_cross_site(headers: Headers) -> bool:
    """Tell whether a browser says that another site's page sent this request.

    Browsers leave Sec-Fetch-Site out on plain http, where only Origin speaks. A plain form under no-referrer
    sends "Origin: null" there, which says nothing: then the token in the form decides alone.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in {"same-origin", "none"}
    origin = headers.get("origin", "null")
    return origin != "null" and urlsplit(origin).netloc != headers.get("host")


async def small_form(request: Request, longest: int = _LONGEST_FORM) -> dict[str, str]:
    """Return the last value of each field.

    Raises: LongFormError: before more than `longest` bytes are held.
    """
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > longest:
            raise LongFormError
    fields = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=None)
    return {name: values[-1] for name, values in fields.items()}
