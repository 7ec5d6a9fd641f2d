"""Accounts as the keeper minds them: inviting, roles, new codes for forgotten passwords, taking away."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response

from gateway.web.accounts import NotTaken
from gateway.web.gate import MindsAccounts, Signed, TurnedAway
from gateway.web.house import Web, client_of
from gateway.web.roles import Role


def people_routes(app: FastAPI, web: Web) -> None:
    """Add the keeper's routes."""
    accounts = web.door.accounts

    @app.get("/people")
    async def people_page(who: MindsAccounts) -> HTMLResponse:
        return _page(web, who)

    @app.post("/people/invite")
    async def invite(request: Request, who: MindsAccounts) -> Response:
        form = await web.form(request, who)
        name, role = " ".join(form.get("name", "").split())[:40], _role(form.get("role", ""))
        if len(name) < 2 or not name.isprintable():
            return web.done(request, who, "A name has 2 to 40 letters.", "/people")
        known = accounts.find(name)
        code = accounts.invite(name, form.get("person", ""), known.role if known else role, web.house.wall_ms())
        _note(web, request, who, f"made a one-time code for {name}")
        return _page(web, who, code=code, name=name)

    @app.post("/people/role")
    async def change_role(request: Request, who: MindsAccounts) -> Response:
        form = await web.form(request, who)
        name, role = form.get("name", ""), _role(form.get("role", ""))
        _note(web, request, who, f"makes {name} a {role}")
        return web.done(request, who, _tried(lambda: accounts.set_role(name, role)), "/people")

    @app.post("/people/remove")
    async def remove(request: Request, who: MindsAccounts) -> Response:
        name = (await web.form(request, who)).get("name", "")
        _note(web, request, who, f"takes the account {name} away")
        return web.done(request, who, _tried(lambda: accounts.remove(name)), "/people")


def _page(web: Web, who: Signed, code: str = "", name: str = "") -> HTMLResponse:
    accounts, site = web.door.accounts, web.house.site()
    return web.draw(
        "people.html", who, accounts=accounts.everyone(), invited=accounts.invited(), noted=accounts.noted(),
        roles=list(Role), persons=[each.id for each in site.people] if site else [], code=code, name=name,
    )  # fmt: skip


def _role(word: str) -> Role:
    try:
        return Role(word)
    except ValueError:
        raise TurnedAway(409, "Choose a role.") from None


def _tried(do: Callable[[], None]) -> str | None:
    try:
        do()
    except NotTaken as why:
        return str(why)
    return None


def _note(web: Web, request: Request, who: Signed, what: str) -> None:
    web.door.accounts.note(web.house.wall_ms(), who.account.name, what, client_of(request))
