"""The steel: clocks of each area, the begin of a coat with its product and batch, the forms of entries by hand.

Drawn for a phone at the steel. Nothing is decided here: every form becomes an act, and what the act's refusal says
stands above the form that was filled in, with everything typed still in it.
"""

from __future__ import annotations

import secrets
from collections import defaultdict
from collections.abc import Mapping

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from gateway import manual
from gateway.area_work import COATING
from gateway.jobsite import Jobsite
from gateway.web.gate import Sees, SetsActivity, Signed, TurnedAway, WritesNotes
from gateway.web.house import Web, check_token
from gateway.web.photos import MOST_BYTES, NotAPicture, Photos

LONGEST_FORM = MOST_BYTES + 65_536
MINUTE_MS = 60_000
Filled = dict[str, str]


def manual_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the steel."""

    @app.get("/steel")
    async def steel(who: Sees) -> HTMLResponse:
        return _steel(web, who)

    @app.post("/steel/begin")
    async def begin(request: Request, who: SetsActivity) -> Response:
        return await _begun(web, request, who)

    @app.get("/entries")
    async def form(who: WritesNotes, kind: str = "", corrects: str = "") -> HTMLResponse:
        return _form(web, who, kind, {"corrects": corrects} if corrects else {})

    @app.post("/entries")
    async def entered(request: Request, who: WritesNotes) -> Response:
        return await _entered(web, request, who)


def _steel(web: Web, who: Signed) -> HTMLResponse:
    site = web.house.site()
    return web.draw(
        "steel.html", who, films=COATING, products=site.products if site else (),
        ref=secrets.token_hex(8), na=manual.NA,
    )  # fmt: skip


async def _begun(web: Web, request: Request, who: Signed) -> Response:
    form = await web.form(request, who)
    names = ("area", "activity", "coat", "product", "batch", "ref")
    body: dict[str, str | int] = {name: form[name] for name in names if form.get(name, "").strip()}
    return web.done(request, who, web.house.act({"act": "begin", "person": who.person} | body), "/steel")


def _form(web: Web, who: Signed, kind: str, filled: Filled, error: str = "", status: int = 200) -> HTMLResponse:
    if kind and kind not in manual.FORMS:
        raise TurnedAway(404, "There is no such form.")
    site = web.house.site()
    if site is None:
        raise TurnedAway(409, "No jobsite is in force; use: dewgate apply FILE")
    return web.draw(
        "entries.html", who, status, kind=kind, kinds=tuple(manual.FORMS), fields=manual.FORMS.get(kind, ()),
        filled=defaultdict(str, filled), error=error,
        choices=_choices(kind, site), areas=site.areas, na=manual.NA,
        ref=filled.get("ref") or secrets.token_hex(8),
    )  # fmt: skip


def _choices(kind: str, site: Jobsite) -> dict[str, tuple[str, ...]]:
    """What a field is chosen from, for those that are not written freely."""
    known = manual.known(site)
    return {
        field.name: field.choices or known.get(str(field.what), ())
        for field in manual.FORMS.get(kind, ()) if field.choices or field.what in known
    }  # fmt: skip


async def _entered(web: Web, request: Request, who: Signed) -> Response:
    filled, picture = await _filled(request)
    check_token(who, filled.get("token", ""))
    kind = filled.get("kind", "")
    body = _body(kind, filled, who, web.house.wall_ms())
    try:
        if picture:
            body["photo"] = await run_in_threadpool(Photos(web.house.home / "photos").keep, picture)
    except NotAPicture as error:
        return _form(web, who, kind, filled, str(error), 409)
    if why := web.house.act(body):
        return _form(web, who, kind, filled, why, 409)
    return RedirectResponse("/entries", 303)


async def _filled(request: Request) -> tuple[Filled, bytes]:
    """Return what was typed, and the picture if one was taken."""
    if int(request.headers.get("content-length") or LONGEST_FORM + 1) > LONGEST_FORM:
        raise TurnedAway(413, f"A picture has at most {MOST_BYTES // 1_000_000} MB.")
    form = await request.form(max_files=1, max_fields=60, max_part_size=65_536)
    filled = {name: value for name, value in form.items() if isinstance(value, str)}
    files = [value for value in form.values() if isinstance(value, UploadFile)]
    return filled, await files[0].read() if files else b""


def _body(kind: str, filled: Mapping[str, str], who: Signed, now_ms: int) -> dict[str, str | int]:
    names = [field.name for field in manual.FORMS.get(kind, ())]
    body: dict[str, str | int] = {name: filled.get(name, "").strip() for name in names}
    if "photo" in names and not body["photo"]:
        body["photo"] = manual.NA
    body |= {name: filled[name] for name in ("corrects", "reason", "ref") if filled.get(name, "").strip()}
    ago = filled.get("minutes_ago", "0")
    if ago.isdecimal() and int(ago):
        body["at_ms"] = now_ms - int(ago) * MINUTE_MS
    return body | {"act": "manual", "kind": kind, "person": who.person, "area": filled.get("area") or manual.NA}
