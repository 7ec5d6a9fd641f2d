"""The page behind a link that acknowledges: GET shows what it would do, only POST does it, and only once.

No sign-in: the link itself is the key, for one alarm and one person. Pages are never kept, indexed or told of.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from fastapi import FastAPI
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from alerts import delivery_links
from alerts.delivery_links import Link
from gateway.web.house import Web
from gateway.web.tongue import translated

HEADERS = {"Cache-Control": "no-store", "X-Robots-Tag": "noindex", "Referrer-Policy": "no-referrer"}
_BUSY = "The gateway is busy. Nothing was acknowledged; try again in a moment."
_PAGE = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"), autoescape=True, undefined=StrictUndefined
).get_template("acknowledge_link.html")


def acknowledge_link_routes(app: FastAPI, web: Web) -> None:
    """Add the routes; the messenger's `delivery.db` is in the home."""
    delivery, act, now_ms = web.house.home / "delivery.db", web.house.act, web.house.wall_ms

    @app.get(f"{delivery_links.PATH}{{token}}")
    async def show(token: str) -> HTMLResponse:
        return await run_in_threadpool(_shown, web, lambda: delivery_links.look(delivery, token, now_ms()))

    @app.post(f"{delivery_links.PATH}{{token}}")
    async def use(token: str) -> HTMLResponse:
        return await run_in_threadpool(_used, web, lambda: delivery_links.use(delivery, token, now_ms(), act))


def _shown(web: Web, look: Callable[[], Link | None]) -> HTMLResponse:
    link, why = _tried(look)
    return _page(_language(web, link), link, why, _status(link, why))


def _used(web: Web, use: Callable[[], Link | None]) -> HTMLResponse:
    link, why = _tried(use)
    return _page(_language(web, link), link, why, _status(link, why), done=not why)


def _tried(ask: Callable[[], Link | None]) -> tuple[Link | None, str]:
    """Return the link and why it does nothing, or an empty reason."""
    try:
        link = ask()
    except sqlite3.Error:
        return None, _BUSY
    return link, delivery_links.UNKNOWN if link is None else link.refused


def _status(link: Link | None, why: str) -> int:
    if link is None:
        return 503 if why == _BUSY else 404
    if why in (delivery_links.USED, delivery_links.ENDED):
        return 410
    return 409 if why else 200


def _language(web: Web, link: Link | None) -> str:
    """The language this person is told in."""
    site = web.house.site()
    people = {person.id: person.language for person in site.people} if site else {}
    return people.get(link.person, "en") if link else "en"


def _page(language: str, link: Link | None, why: str, status: int, *, done: bool = False) -> HTMLResponse:
    def t(text: str) -> str:
        return translated(text, language)

    return HTMLResponse(_PAGE.render(language=language, t=t, link=link, why=why, done=done), status, HEADERS)
