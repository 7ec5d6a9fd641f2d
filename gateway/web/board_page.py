"""The board, its live stream and the health answer: the way its events go out."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response, StreamingResponse

from gateway.web.gate import Sees, Signed
from gateway.web.house import Web, client_of
from gateway.web.live import Watch

STALE_MS = 10_000
# no-transform and the buffering hint keep proxies from holding events back.
_STREAM_HEADERS = {"Cache-Control": "no-store, no-transform", "X-Accel-Buffering": "no"}


def board_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the board."""

    @app.get("/")
    async def board_page(who: Sees) -> HTMLResponse:
        return HTMLResponse(web.pages.page(web.watch.look().board, who))

    @app.get("/live")
    async def live(request: Request, who: Sees, last: Annotated[str, Query(max_length=40)] = "") -> Response:
        return _live(web, request, who, last)

    @app.get("/health")
    async def health() -> JSONResponse:
        return _health(web.watch)


def _live(web: Web, request: Request, who: Signed, last: str) -> Response:
    client = client_of(request)
    if web.streams.full(client):
        return Response("Too many open boards.", 503, {"Retry-After": "10"})
    # A page that opens a new stream by itself cannot set the header, so it names the id in the address.
    last_id = request.headers.get("last-event-id") or last
    events = web.streams.stream(web.ring(who.taste), client, last_id, lambda: web.door.still(who))
    filled = (web.pages.filled(text, who) async for text in events)
    return StreamingResponse(filled, media_type="text/event-stream", headers=_STREAM_HEADERS)


def _health(watch: Watch) -> JSONResponse:
    seen = watch.look()
    live = seen.board is not None and seen.age_ms <= STALE_MS
    utc_ms = None if seen.board is None else seen.board.utc_ms
    return JSONResponse({"live": live, "utc_ms": utc_ms, "age_ms": seen.age_ms}, 200 if live else 503)
