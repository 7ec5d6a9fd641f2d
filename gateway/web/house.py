"""What the pages share: the values they show, the one door for what persons do, and how they are drawn.

`House` is what comes from outside; `Web` is handed to every room of routes (`xxx_routes(app, web)`).
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from gateway.board import Board
from gateway.jobsite import Jobsite
from gateway.web.gate import Door, Signed, TurnedAway, wants_json
from gateway.web.guard import LongFormError, small_form
from gateway.web.live import Ring, Streams, Watch
from gateway.web.pages import Pages
from gateway.web.taste import Taste
from gateway.web.tongue import translated

Act = Callable[[Mapping[str, str | int]], str | None]


@dataclass(frozen=True, slots=True)
class House:
    """What stands behind the pages.

    board: the newest board, None before the first. act: takes what a person does (`gateway.acts`), returns an
    error sentence or None. site: the jobsite in force. home: the folder with `journal.db` (read only), and
    `accounts.db` (the pages' own). monotonic: seconds that never step, to judge the age of the board. wall_ms: UTC
    ms for sessions. secure: served over TLS. open_when_simulated: a visitor on this machine need not sign in while
    the jobsite says that it is simulated. The callables run on the event loop, so they must be quick.
    """

    board: Callable[[], Board | None]
    act: Act
    site: Callable[[], Jobsite | None]
    home: Path
    monotonic: Callable[[], float] = time.monotonic
    wall_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000
    secure: bool = False
    open_when_simulated: bool = False


@dataclass(frozen=True, slots=True)
class Web:
    """What the routes share."""

    house: House
    door: Door
    watch: Watch
    pages: Pages
    stop: threading.Event
    streams: Streams
    _rings: dict[Taste, Ring] = field(default_factory=dict)

    def ring(self, taste: Taste) -> Ring:
        """Return the events of everyone who reads this way; there are few ways, so few rings."""
        if taste not in self._rings:
            self._rings[taste] = Ring(self.watch, lambda board: self.pages.sections(board, taste))
        return self._rings[taste]

    def draw(self, template: str, who: Signed, status: int = 200, **context: object) -> HTMLResponse:
        """Return a page in this person's language, with the frame and the navigation."""
        return HTMLResponse(self.pages.draw(template, who, self.watch.look().board, context), status)

    async def form(self, request: Request, who: Signed, longest: int = 4096) -> dict[str, str]:
        """Return a form's fields. Raises TurnedAway when it is too long or not from a page of this session."""
        try:
            fields = await small_form(request, longest)
        except LongFormError as error:
            raise TurnedAway(413, str(error)) from None
        check_token(who, fields.get("token", ""))
        return fields

    def done(self, request: Request, who: Signed, error: str | None, back: str) -> Response:
        """Answer a script with JSON, a plain form with the reason or the way back."""
        if wants_json(request.headers):
            return JSONResponse({"error": error and translated(error, who.taste.language)}, 409 if error else 200)
        if error:
            return self.draw("refusal.html", who, 409, error=error, back=back)
        return RedirectResponse(back, 303)


def check_token(who: Signed, token: str) -> None:
    """Raise TurnedAway when a form is not from a page of this session; a program's key needs no token."""
    if not who.key_scope and not secrets.compare_digest(token.encode(), who.token.encode()):
        raise TurnedAway(403, "This page is older than your session. Reload it and try again.")


def client_of(request: Request) -> str:
    """Return where a request comes from."""
    return request.client.host if request.client else ""
