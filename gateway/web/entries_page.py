"""Entries by hand: one form for each kind of reading or sight, as `gateway.manual` describes it."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, Response

from gateway.jobsite import Jobsite
from gateway.manual import FORMS, NA, Field
from gateway.web.gate import TurnedAway, WritesNotes
from gateway.web.house import Web


def entries_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of entries by hand."""

    @app.get("/entries")
    async def entries_page(who: WritesNotes, kind: Annotated[str, Query(max_length=40)] = "") -> HTMLResponse:
        site = web.house.site()
        if site is None:
            raise TurnedAway(409, "No jobsite is in force; use: dewgate apply FILE")
        if kind and kind not in FORMS:
            raise TurnedAway(404, "There is no such form.")
        fields = [(field, _choices(site, field)) for field in FORMS.get(kind, ())]
        return web.draw("entries.html", who, kinds=list(FORMS), kind=kind, fields=fields, site=site, na=NA)

    @app.post("/entries")
    async def enter(request: Request, who: WritesNotes) -> Response:
        form = await web.form(request, who, 16_384)
        kind = form.get("kind", "")
        body = {"act": "manual", "person": who.person, "kind": kind, "area": form.get("area", "")}
        body |= {field.name: form.get(field.name, "").strip() for field in FORMS.get(kind, ())}
        return web.done(request, who, web.house.act(body), "/entries")


def _choices(site: Jobsite, field: Field) -> tuple[str, ...]:
    """What may be chosen in a field; nothing where it is written."""
    if field.what == "station":
        return tuple(each.id for each in site.stations)
    if field.what == "sensor":
        return tuple(each.id for each in site.sensors)
    return field.choices
