"""Where sites push: `/sites/{id}` tells what is wanted next, `/sites/{id}/entries?from=N` takes a stretch.

Each request carries the site's token. Nothing is read of a body before the token was right; a body is bounded
while it comes in, few are held at once, and a site that asks too often is told to wait.
"""

from __future__ import annotations

import asyncio
import sqlite3
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import JSONResponse, Response
from starlette.concurrency import run_in_threadpool

from gateway.adapters.trouble import is_full
from gateway.adapters.yard_db import SITE_ID, Site, YardDb
from gateway.vouching import Refused
from gateway.yard.intake import Gap, Intake
from gateway.yard_batch import MOST_SENT, NoBatch, unpack

SMALL_BYTES = 65_536
SMALL_AT_ONCE, LARGE_AT_ONCE = 32, 4  # bodies in hand, so that memory is bounded; what catches up holds nobody up
PER_SECOND, AT_A_STRETCH = 20.0, 60.0  # requests of one site
WRONG_TOKENS, WRONG_WINDOW_S, MOST_CLIENTS = 30, 300.0, 1000
_Number = Annotated[int, Query(alias="from", ge=1, le=1 << 62)]
_Newest = Annotated[int | None, Query(ge=0, le=1 << 62)]


class _Answer(Exception):
    """A request that ends here."""

    def __init__(self, status: int, why: str, **more: object) -> None:
        super().__init__(why)
        self.status, self.body = status, {"error": why, **more}


@dataclass(slots=True)
class Pace:
    """How many requests of each site are free: a bucket that fills again. The oldest is forgotten."""

    per_second: float
    most: float
    keys: int = 20_000
    _left: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)

    def wait_s(self, key: str, now_s: float) -> float:
        """Return 0 and count a request, or for how long none is taken."""
        left, then_s = self._left.pop(key, (self.most, now_s))
        left = min(self.most, left + (now_s - then_s) * self.per_second)
        taken = left >= 1
        self._left[key] = (left - taken, now_s)
        if len(self._left) > self.keys:
            self._left.popitem(last=False)
        return 0.0 if taken else (1 - left) / self.per_second


@dataclass(slots=True)
class Strangers:
    """Who came with a wrong token, by address: how often in a row, and when last. Shown to the clerk."""

    seen: OrderedDict[str, tuple[int, float]] = field(default_factory=OrderedDict)

    def count(self, client: str, now_s: float) -> int:
        """Count one more; return how many there were in this window."""
        times, then_s = self.seen.pop(client, (0, now_s))
        times = 1 if now_s - then_s > WRONG_WINDOW_S else times + 1
        self.seen[client] = (times, now_s)
        if len(self.seen) > MOST_CLIENTS:
            self.seen.popitem(last=False)
        return times


def site_routes(app: FastAPI, intake: Intake, db: YardDb, monotonic: Callable[[], float]) -> Strangers:
    """Add the routes; return who came with a wrong token."""
    pace, strangers = Pace(PER_SECOND, AT_A_STRETCH), Strangers()
    small, large = asyncio.Semaphore(SMALL_AT_ONCE), asyncio.Semaphore(LARGE_AT_ONCE)

    def let_in(request: Request, site: str) -> Site:
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        known = db.let_in(site, token) if SITE_ID.fullmatch(site) and scheme == "Bearer" else None
        if known is None:
            client = request.client.host if request.client else ""
            many = strangers.count(client, monotonic()) > WRONG_TOKENS
            raise _Answer(429 if many else 401, "This is not the token of a site that may send here.")
        wait_s = pace.wait_s(site, monotonic())
        if wait_s:
            raise _Answer(429, f"Too many requests. Wait {wait_s:.1f} s.")
        return known

    async def body_of(request: Request) -> bytes:
        body = bytearray()
        async for chunk in request.stream():
            body += chunk
            if len(body) > MOST_SENT:
                raise _Answer(413, f"At most {MOST_SENT} bytes at once.")
        return bytes(body)

    def take(site: Site, first: int, body: bytes, newest: int | None) -> Response:
        return JSONResponse(asdict(intake.take(site, first, unpack(body), newest)))

    @app.get("/sites/{site}")
    async def wanted(request: Request, site: str) -> Response:
        known = let_in(request, site)
        return JSONResponse(asdict(await run_in_threadpool(intake.wanted, known)))

    @app.api_route("/sites/{site}/entries", methods=["PUT", "POST"])
    async def entries(request: Request, site: str, first: _Number, newest: _Newest = None) -> Response:
        known = let_in(request, site)
        length = request.headers.get("content-length", "")
        async with small if length.isdecimal() and int(length) <= SMALL_BYTES else large:
            return await run_in_threadpool(take, known, first, await body_of(request), newest)

    _refusals(app, intake)
    return strangers


def _refusals(app: FastAPI, intake: Intake) -> None:
    @app.exception_handler(_Answer)
    async def ended(request: Request, why: _Answer) -> Response:  # noqa: ARG001  the framework's own signature
        return JSONResponse(why.body, why.status, {"Retry-After": "5"} if why.status == 429 else {})

    @app.exception_handler(NoBatch)
    async def no_batch(request: Request, why: NoBatch) -> Response:  # noqa: ARG001
        return JSONResponse({"error": f"This is no stretch of a journal: {why}."}, 400)

    @app.exception_handler(Gap)
    async def gap(request: Request, why: Gap) -> Response:  # noqa: ARG001
        return JSONResponse({"error": f"{why}.", "next": why.next}, 416)

    @app.exception_handler(Refused)
    async def refused(request: Request, why: Refused) -> Response:  # noqa: ARG001
        return JSONResponse({"error": f"{why}.", "kind": why.kind}, 409)

    @app.exception_handler(sqlite3.Error)
    @app.exception_handler(OSError)
    async def disk(request: Request, why: sqlite3.Error | OSError) -> Response:  # noqa: ARG001
        what = "is full" if is_full(why, intake.folder.parent) else f"refuses: {why}"
        said = (
            f"The yard's disk {what}. Nothing was taken, nothing is lost: this site keeps it and sends it again."
        )
        return JSONResponse({"error": said}, 503)
