"""The door: signing in and out, the one-time code that makes an account, and each person's own page."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from gateway.web.accounts import SCOPES, NotTaken
from gateway.web.gate import Sees, TurnedAway
from gateway.web.guard import LongFormError, small_form
from gateway.web.house import Web, client_of
from gateway.web.people_pages import people_routes
from gateway.web.taste import CHOICES, Taste, chosen
from gateway.web.tries import Tries

WRONG = "Name or password is not right."


def door_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the door."""
    tries = Tries()
    _sign_in_routes(app, web, tries)
    _begin_routes(app, web, tries)
    _out_routes(app, web)
    _own_routes(app, web, tries)
    people_routes(app, web)


def _taste(request: Request) -> Taste:
    """Before signing in: the language the browser asks for."""
    asked = request.headers.get("accept-language", "").casefold()
    return Taste("es") if asked.startswith("es") else Taste()


def _way_back(back: str) -> str:
    """Return where to go after signing in: a path of our own, else the board."""
    own = back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable()
    return back if own else "/"


async def _open_form(request: Request) -> dict[str, str]:
    try:
        return await small_form(request)
    except LongFormError as error:
        raise TurnedAway(413, str(error)) from None


def _ask(web: Web, request: Request, status: int = 200, **context: object) -> HTMLResponse:
    return HTMLResponse(web.pages.outside("sign_in.html", _taste(request), **context), status)


def _check_tries(web: Web, tries: Tries, name: str, client: str) -> None:
    wait_s = tries.wait_s(name, client, web.house.wall_ms())
    if wait_s:
        web.door.accounts.note(web.house.wall_ms(), name, "too many tries", client)
        raise TurnedAway(429, f"Too many tries. Wait {wait_s} s.")


def _sign_in_routes(app: FastAPI, web: Web, tries: Tries) -> None:
    accounts = web.door.accounts

    @app.get("/sign-in")
    async def sign_in_page(request: Request, back: Annotated[str, Query(max_length=500)] = "/") -> Response:
        return _ask(web, request, back=_way_back(back), error="", name="")

    @app.post("/sign-in")
    async def sign_in(request: Request) -> Response:
        form, client, now_ms = await _open_form(request), client_of(request), web.house.wall_ms()
        name, back = form.get("name", ""), _way_back(form.get("back", "/"))
        try:
            _check_tries(web, tries, name, client)
        except TurnedAway as why:
            return _ask(web, request, why.status, back=back, error=why.why, name=name)
        tries.failed(name, client, now_ms)  # counted before the slow part, so that many at once are many
        account = await run_in_threadpool(accounts.check, name, form.get("password", ""))
        accounts.note(now_ms, name, "signed in" if account else "was refused", client)
        if account is None:
            return _ask(web, request, 403, back=back, error=WRONG, name=name)
        tries.succeeded(name, client)
        answer = RedirectResponse(back, 303)
        web.door.let_in(answer, account.name, client)
        return answer


def _begin_routes(app: FastAPI, web: Web, tries: Tries) -> None:
    accounts = web.door.accounts

    def ask(request: Request, status: int = 200, error: str = "", code: str = "", name: str = "") -> Response:
        page = web.pages.outside("begin.html", _taste(request), error=error, code=code, name=name)
        return HTMLResponse(page, status)

    @app.get("/begin")
    async def begin_page(request: Request) -> Response:
        return ask(request)

    @app.post("/begin")
    async def begin(request: Request) -> Response:
        form, client, now_ms = await _open_form(request), client_of(request), web.house.wall_ms()
        code, name, password = (form.get(each, "") for each in ("code", "name", "password"))
        try:
            _check_tries(web, tries, "one-time code", client)
            tries.failed("one-time code", client, now_ms)
            account = await run_in_threadpool(accounts.begin, code, name, password, now_ms)
        except (NotTaken, TurnedAway) as why:
            return ask(request, why.status if isinstance(why, TurnedAway) else 409, str(why), code, name)
        tries.succeeded("one-time code", client)
        accounts.note(now_ms, account.name, "used a one-time code", client)
        answer = RedirectResponse("/", 303)
        web.door.let_in(answer, account.name, client)
        return answer


def _out_routes(app: FastAPI, web: Web) -> None:
    @app.post("/sign-out")
    async def sign_out(request: Request, who: Sees) -> Response:
        await web.form(request, who)
        web.door.accounts.end(who.secret)
        web.door.accounts.note(web.house.wall_ms(), who.account.name, "signed out", client_of(request))
        return _out(web)

    @app.post("/sign-out-everywhere")
    async def sign_out_everywhere(request: Request, who: Sees) -> Response:
        await web.form(request, who)
        web.door.accounts.end_all(who.account.name)
        web.door.accounts.note(web.house.wall_ms(), who.account.name, "signed out everywhere", client_of(request))
        return _out(web)


def _out(web: Web) -> Response:
    answer = RedirectResponse("/sign-in", 303)
    web.door.let_out(answer)
    return answer


def _own_routes(app: FastAPI, web: Web, tries: Tries) -> None:
    accounts = web.door.accounts

    @app.get("/account")
    async def account_page(who: Sees) -> HTMLResponse:
        name = who.account.name
        return web.draw(
            "account.html", who, choices=CHOICES, scopes=SCOPES, made="",
            keys=accounts.keys(name), sessions=accounts.sessions(name),
        )  # fmt: skip

    @app.post("/account/taste")
    async def taste(request: Request, who: Sees) -> Response:
        wanted = chosen(await web.form(request, who))
        answer = web.done(request, who, None, "/account")
        if who.by_itself:
            answer.set_cookie("dewgate-taste", wanted.written().replace(" ", "|"), samesite="lax", path="/")
        accounts.set_taste(who.account.name, wanted)
        return answer

    @app.post("/account/password")
    async def password(request: Request, who: Sees) -> Response:
        form, client, now_ms = await web.form(request, who), client_of(request), web.house.wall_ms()
        name = who.account.name
        _check_tries(web, tries, name, client)
        tries.failed(name, client, now_ms)
        if not await run_in_threadpool(accounts.check, name, form.get("old", "")):
            return web.done(request, who, "The present password is not right.", "/account")
        try:
            await run_in_threadpool(accounts.set_password, name, form.get("password", ""))
        except NotTaken as why:
            return web.done(request, who, str(why), "/account")
        tries.succeeded(name, client)
        accounts.note(now_ms, name, "changed the password", client)
        return _out(web)

    @app.post("/account/keys")
    async def make_key(request: Request, who: Sees) -> Response:
        form, name, now_ms = await web.form(request, who), who.account.name, web.house.wall_ms()
        if who.by_itself or who.key_scope:
            raise TurnedAway(403, "Only a person who signed in can make a key.")
        try:
            label = form.get("label", "").strip() or "no label"
            made = accounts.make_key(name, label, form.get("scope", ""), now_ms)
        except NotTaken as why:
            return web.done(request, who, str(why), "/account")
        accounts.note(now_ms, name, "made a key", client_of(request))
        return web.draw(
            "account.html", who, choices=CHOICES, scopes=SCOPES, made=made,
            keys=accounts.keys(name), sessions=accounts.sessions(name),
        )  # fmt: skip

    @app.post("/account/keys/drop")
    async def drop_key(request: Request, who: Sees) -> Response:
        number = (await web.form(request, who)).get("key", "")
        accounts.drop_key(who.account.name, int(number) if number.isdecimal() and len(number) < 10 else 0)
        accounts.note(web.house.wall_ms(), who.account.name, "dropped a key", client_of(request))
        return web.done(request, who, None, "/account")
