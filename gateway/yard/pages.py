"""The yard's pages: all sites, worst first; one site with its record, its key and what was refused.

Signing in, accounts and headers are those of a site's board. Whoever may handle rentals may confirm keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import FastAPI, Request
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, Response

from gateway.adapters.site_book import Arrived
from gateway.adapters.yard_db import NotTaken, Refusal, YardDb
from gateway.adapters.yard_room import EVERY_SITE, RoomWatch, drops, keep_words, kept_days
from gateway.vouching import Held
from gateway.web.gate import HandlesRentals, Sees, TurnedAway
from gateway.web.house import Web
from gateway.yard import look
from gateway.yard.api import Strangers
from gateway.yard.intake import Intake
from gateway.yard.look import SiteLine

_SiteId = Annotated[str, InPath(pattern="^[a-z0-9][a-z0-9-]{0,39}$")]


@dataclass(frozen=True, slots=True)
class Yard:
    """What stands behind the pages."""

    db: YardDb
    intake: Intake
    strangers: Strangers
    room: RoomWatch

    def lines(self, now_ms: int) -> list[SiteLine]:
        """Return every site, worst first."""
        refused: dict[str, list[Refusal]] = {}
        checks = self.db.checks()
        for each in self.db.refusals():
            refused.setdefault(each.site, []).append(each)
        found = [
            look.line(
                site,
                *self.intake.newest.get(site.id, (Arrived(), Held())),
                refused.get(site.id, ()),
                now_ms,
                checks.get(site.id),
            )
            for site in self.db.sites()
        ]
        return sorted(found, key=lambda each: each.order)


def yard_routes(app: FastAPI, web: Web, yard: Yard) -> None:
    """Add the routes."""

    def one(site: str) -> SiteLine:
        found = next((each for each in yard.lines(web.house.wall_ms()) if each.id == site), None)
        if found is None:
            raise TurnedAway(404, f"There is no site {site} here.")
        return found

    @app.get("/")
    def overview(who: Sees) -> HTMLResponse:  # in a thread, as it takes a while for a thousand sites
        now_ms = web.house.wall_ms()
        return web.draw(
            "yard.html", who, lines=yard.lines(now_ms), alarms=yard.db.alarms(standing=True), look=look,
            strangers=dict(yard.strangers.seen), now_ms=now_ms, full_since_ms=yard.intake.full_since_ms,
            room=yard.room.newest(now_ms), keeping=keep_words(kept_days(yard.db, EVERY_SITE)),
        )  # fmt: skip

    @app.get("/site/{site}")
    def site_page(who: Sees, site: _SiteId) -> HTMLResponse:
        past = [each for each in yard.db.alarms() if each.site == site][:50]
        return web.draw(
            "yard_site.html", who, line=one(site), look=look, past=past, drops=drops(yard.db, site),
            keeping=keep_words(kept_days(yard.db, site)),
        )  # fmt: skip

    @app.post("/site/{site}/key")
    async def confirm(request: Request, who: HandlesRentals, site: _SiteId) -> Response:
        form, line = await web.form(request, who), one(site)
        typed = form.get("fingerprint", "").strip().lower().replace(" ", "")
        if line.key and typed != line.key and form.get("other") != "yes":
            why = f"You typed another key than the one that was shown at first contact ({line.key})."
            return web.done(request, who, why, f"/site/{site}")
        try:
            yard.db.confirm(site, typed)
        except NotTaken as why:
            return web.done(request, who, str(why), f"/site/{site}")
        return web.done(request, who, None, f"/site/{site}")

    @app.post("/site/{site}/looked-at")
    async def looked_at(request: Request, who: HandlesRentals, site: _SiteId) -> Response:
        await web.form(request, who)
        yard.db.looked_at(one(site).id, who.account.name)
        return web.done(request, who, None, f"/site/{site}")

    @app.post("/site/{site}/begin-again")
    async def begin_again(request: Request, who: HandlesRentals, site: _SiteId) -> Response:
        form = await web.form(request, who)
        if form.get("sure") != site:
            return web.done(request, who, f"Type {site} to lay its record aside.", f"/site/{site}")
        yard.intake.begin_again(one(site).id)
        yard.db.looked_at(site, who.account.name)
        return web.done(request, who, None, f"/site/{site}")
