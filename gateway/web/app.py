"""The pages: the board of one jobsite, its live stream, the acknowledge form and the health answer.

Input: a callable that gives the newest board, and one that takes an acknowledgement. Output: HTML, events and
JSON. The pages decide nothing: they draw what the flow decided. Both callables run on the event loop, so they
must be quick.
"""

from __future__ import annotations

import secrets
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import uvicorn
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from fastapi.staticfiles import StaticFiles

from gateway.board import Board
from gateway.web.guard import LongFormError, SecurityHeaders, is_cross_site, small_form
from gateway.web.live import Ring, Streams, Watch
from gateway.web.pages import Pages

_HERE = Path(__file__).parent
STALE_MS = 10_000
Act = Callable[[dict[str, str | int]], str | None]


@dataclass(frozen=True, slots=True)
class _Web:
    """What the routes share."""

    watch: Watch
    ring: Ring
    streams: Streams
    pages: Pages
    token: str
    act: Act


def make_app(
    board: Callable[[], Board | None],
    act: Act,
    monotonic: Callable[[], float] = time.monotonic,
) -> FastAPI:
    """Return the application.

    Args: board: the newest board, None before the first. act: takes what a person does (`gateway.acts`),
    returns an error sentence or None. monotonic: seconds that never step, to judge the age of the board.
    `app.state.stop` (a threading.Event) ends all open streams; PageServer sets it.
    """
    web, stop = _wire(board, act, monotonic)
    # The generated API pages load scripts from elsewhere, which the site's network and the CSP both refuse.
    app = FastAPI(title="dewgate", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.stop = stop
    app.add_middleware(SecurityHeaders)
    app.mount("/static", StaticFiles(directory=_HERE / "static"), name="static")
    _routes(app, web)
    return app


def _wire(
    board: Callable[[], Board | None], act: Act, monotonic: Callable[[], float]
) -> tuple[_Web, threading.Event]:
    stop, token, watch = threading.Event(), secrets.token_urlsafe(32), Watch(board, monotonic)
    pages = Pages(token)
    ring = Ring(watch, pages.sections)
    return _Web(watch, ring, Streams(ring, stop), pages, token, act), stop


def _routes(app: FastAPI, web: _Web) -> None:
    @app.get("/")
    async def board_page() -> HTMLResponse:
        return HTMLResponse(web.pages.page(web.watch.look().board))

    @app.get("/live")
    async def live(request: Request) -> Response:
        return _live(web, request)

    @app.post("/acknowledge")
    async def acknowledge(request: Request) -> Response:
        return await _acknowledge(web, request)

    @app.get("/health")
    async def health() -> JSONResponse:
        return _health(web.watch)


def _live(web: _Web, request: Request) -> Response:
    client = request.client.host if request.client else ""
    if web.streams.full(client):
        return Response("Too many open boards.", 503, {"Retry-After": "10"})
    # A page that opens a new stream by itself cannot set the header, so it names the id in the address.
    last_id = request.headers.get("last-event-id") or request.query_params.get("last", "")
    # no-transform and the buffering hint keep proxies from holding events back.
    headers = {"Cache-Control": "no-store, no-transform", "X-Accel-Buffering": "no"}
    return StreamingResponse(web.streams.stream(client, last_id), media_type="text/event-stream", headers=headers)


async def _acknowledge(web: _Web, request: Request) -> Response:
    if is_cross_site(request.headers):
        return _answer(web, request, 403, "This request came from another site. Nothing was acknowledged.")
    try:
        form = await small_form(request)
    except LongFormError as error:
        return _answer(web, request, 413, str(error))
    if not secrets.compare_digest(form.get("token", "").encode(), web.token.encode()):
        return _answer(web, request, 403, "This page is older than the gateway's last start. Reload it.")
    error_text = _acknowledged(web, form.get("number", ""), form.get("person", ""))
    return _answer(web, request, 409 if error_text else 200, error_text or "")


def _acknowledged(web: _Web, number: str, person: str) -> str | None:
    """Pass the acknowledgement on when board, alarm and person are known; return the error sentence."""
    board = web.watch.look().board
    if board is None or number not in {alarm.number for alarm in board.alarms}:
        return "There is no such alarm on the board now."
    if person not in board.people:
        return "Choose who acknowledges."
    return web.act({"act": "acknowledge", "number": number, "person": person})


def _answer(web: _Web, request: Request, status: int, error: str) -> Response:
    """Answer the page's script with JSON, and a plain form with a page or the way back to the board."""
    if request.headers.get("accept") == "application/json":
        return JSONResponse({"error": error or None}, status)
    if error:
        return HTMLResponse(web.pages.refusal(error), status)
    return RedirectResponse("/#alarms", 303)


def _health(watch: Watch) -> JSONResponse:
    seen = watch.look()
    live = seen.board is not None and seen.age_ms <= STALE_MS
    utc_ms = None if seen.board is None else seen.board.utc_ms
    return JSONResponse({"live": live, "utc_ms": utc_ms, "age_ms": seen.age_ms}, 200 if live else 503)


class PageServer(uvicorn.Server):
    """A server that ends its open streams at once when told to stop.

    uvicorn waits for open connections before the application hears of the stop, and a stream never ends by
    itself: so the signal handler has to tell the streams.
    """

    def __init__(
        self,
        app: FastAPI,
        host: str = "127.0.0.1",
        port: int = 8080,
        certificate: str | None = None,
        key: str | None = None,
    ) -> None:
        """Args: host, port: where to listen. certificate, key: paths of PEM files for HTTPS, or None."""
        self._stop_streams: threading.Event = app.state.stop
        super().__init__(
            uvicorn.Config(
                app, host=host, port=port, ssl_certfile=certificate, ssl_keyfile=key, access_log=False,
                server_header=False, proxy_headers=False, log_config=None, timeout_graceful_shutdown=3,
            )
        )  # fmt: skip

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002  the server's own signature
        """End the streams, then let the requests in hand finish; a second Ctrl-C does not wait for them.

        Unlike the base class this does not keep the signal to raise it again after `run`: that would end the
        process before its caller could close the journal.
        """
        self.force_exit = self.should_exit and sig == signal.SIGINT
        self.close()

    def close(self) -> None:
        """Stop without a signal, for a service that handles signals itself."""
        self._stop_streams.set()
        self.should_exit = True
