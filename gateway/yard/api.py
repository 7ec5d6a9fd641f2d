"""Where sites push: `/sites/{id}` tells what is wanted next, `/sites/{id}/entries?from=N` takes a stretch.

Each request carries the site's token. Nothing is read of a body before the token was right; a body is bounded
while it comes in, few are held at once, and a site that asks too often is told to wait. These two routes stand
before the framework of the pages, whose routing cost more than all else of a push.
"""

from __future__ import annotations

import asyncio
import re
import sqlite3
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from gateway.adapters.trouble import is_full
from gateway.adapters.yard_db import SITE_ID, Site, YardDb
from gateway.vouching import Refused
from gateway.yard.intake import Gap, Intake, Taken
from gateway.yard_batch import MOST_SENT, NoBatch, unpack

SMALL_BYTES = 65_536
SMALL_AT_ONCE, LARGE_AT_ONCE = 32, 4  # bodies in hand, so that memory is bounded; what catches up holds nobody up
PER_SECOND, AT_A_STRETCH = 20.0, 60.0  # requests of one site
WRONG_TOKENS, WRONG_WINDOW_S, MOST_CLIENTS = 30, 300.0, 1000
MOST_NUMBER = 1 << 62
_ROUTE = re.compile(r"/sites/([^/]*)(/entries)?")
_METHODS = {None: ("GET",), "/entries": ("PUT", "POST")}
_HEADERS = {"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"}


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


class SiteDoor:
    """Answers sites, and passes everything else on to the pages."""

    def __init__(
        self, app: ASGIApp, intake: Intake, db: YardDb, monotonic: Callable[[], float], strangers: Strangers
    ) -> None:
        """Args: app: the pages. monotonic: seconds that never step. strangers: counts wrong tokens."""
        self._app, self._intake, self._db, self._monotonic, self._strangers = app, intake, db, monotonic, strangers
        self._threads = ThreadPoolExecutor(SMALL_AT_ONCE + LARGE_AT_ONCE, "take")  # plain: half of what a pool of
        # the framework costs a request
        self._pace = Pace(PER_SECOND, AT_A_STRETCH)
        self._small, self._large = asyncio.Semaphore(SMALL_AT_ONCE), asyncio.Semaphore(LARGE_AT_ONCE)

    def _in_a_thread(self, do: Callable[..., Taken], *args: object) -> Awaitable[Taken]:
        return asyncio.get_running_loop().run_in_executor(self._threads, do, *args)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or pass on."""
        route = _ROUTE.fullmatch(scope["path"]) if scope["type"] == "http" else None
        if route is None:
            await self._app(scope, receive, send)
            return
        answer = await self._answer(Request(scope, receive), route[1], route[2])
        await answer(scope, receive, send)

    async def _answer(self, request: Request, name: str, what: str | None) -> Response:
        try:
            _check_method(request, what)
            site = self._let_in(request, name)
            taken = await (self._take(request, site) if what else self._in_a_thread(self._intake.wanted, site))
            return JSONResponse(asdict(taken), 200, _HEADERS)
        except _Answer as why:
            return JSONResponse(
                why.body, why.status, _HEADERS | ({"Retry-After": "5"} if why.status == 429 else {})
            )

    def _let_in(self, request: Request, name: str) -> Site:
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        known = self._db.let_in(name, token) if SITE_ID.fullmatch(name) and scheme == "Bearer" else None
        if known is None:
            client = request.client.host if request.client else ""
            many = self._strangers.count(client, self._monotonic()) > WRONG_TOKENS
            raise _Answer(429 if many else 401, "This is not the token of a site that may send here.")
        wait_s = self._pace.wait_s(name, self._monotonic())
        if wait_s:
            raise _Answer(429, f"Too many requests. Wait {wait_s:.1f} s.")
        return known

    async def _take(self, request: Request, site: Site) -> Taken:
        first, newest = _number(request, "from", 1), None
        if "newest" in request.query_params:
            newest = _number(request, "newest", 0)
        length = request.headers.get("content-length", "")
        async with self._small if length.isdecimal() and int(length) <= SMALL_BYTES else self._large:
            body = await _body_of(request)
            return await self._in_a_thread(self._taken, site, first, body, newest)

    def _taken(self, site: Site, first: int, body: bytes, newest: int | None) -> Taken:
        try:
            return self._intake.take(site, first, unpack(body), newest)
        except NoBatch as why:
            raise _Answer(400, f"This is no stretch of a journal: {why}.") from why
        except Gap as why:
            raise _Answer(416, f"{why}.", next=why.next) from why
        except Refused as why:
            raise _Answer(409, f"{why}.", kind=why.kind) from why
        except (sqlite3.Error, OSError) as why:
            what = "is full" if is_full(why, self._intake.folder.parent) else f"refuses: {why}"
            kept = "Nothing was taken, nothing is lost: this site keeps it and sends it again."
            raise _Answer(503, f"The yard's disk {what}. {kept}") from why


def _check_method(request: Request, what: str | None) -> None:
    if request.method not in _METHODS[what]:
        raise _Answer(405, f"Only {' or '.join(_METHODS[what])} here.")


def _number(request: Request, name: str, least: int) -> int:
    said = request.query_params.get(name, "")
    if not (said.isascii() and said.isdecimal() and len(said) < 20 and least <= int(said) <= MOST_NUMBER):
        raise _Answer(422, f"{name}={said[:40]!r}: the number of an entry, from {least} on, belongs here.")
    return int(said)


async def _body_of(request: Request) -> bytes:
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_SENT:
            raise _Answer(413, f"At most {MOST_SENT} bytes at once.")
    return bytes(body)
