"""What persons do from the pages, each as one act for the journal; the flow says why one is refused."""

from __future__ import annotations

import re
from collections.abc import Callable

from fastapi import Depends, FastAPI, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from gateway.web.gate import Signed, TurnedAway, WritesNotes, needs
from gateway.web.guard import LongFormError
from gateway.web.house import Web, check_token
from gateway.web.photos import MOST_BYTES, NotAPicture, Photos, whole_body
from gateway.web.roles import Permission
from gateway.work_acts import IDLE

Form = dict[str, str]
Body = dict[str, str | int]
MINUTE, HOUR = 60_000, 3_600_000


def act_routes(app: FastAPI, web: Web) -> None:
    """Add one route for each act."""
    add = _adder(app, web)
    add("/acknowledge", Permission.ACKNOWLEDGE, "acknowledge", _plain("number"), "/#alarms")
    add("/reset", Permission.ACKNOWLEDGE, "reset", _plain("number"), "/#alarms")
    add("/shelve", Permission.SHELVE, "shelve", _shelve, "/#alarms")
    add("/unshelve", Permission.SHELVE, "unshelve", _plain("number", "reason"), "/#alarms")
    add("/out-of-service", Permission.SET_UP, "out_of_service", _plain("limit", "reason"), "/set-up")
    add("/back-in-service", Permission.SET_UP, "back_in_service", _plain("limit", "reason"), "/set-up")
    add("/work/begin", Permission.ACTIVITY, "begin", _begin, "/")
    add("/work/end", Permission.ACTIVITY, "end", _plain("area", "activity"), "/")
    add("/work/disposition", Permission.DISPOSE, "disposition", _plain("exposure", "decision", "reason"), "/")
    add("/water/serviced", Permission.NOTE, "serviced", _serviced, "/water")
    add("/hold-head", Permission.SEE, "hold_head", _hold, "/account")
    _note_route(app, web)


def _adder(app: FastAPI, web: Web) -> Callable[[str, Permission, str, Callable[[Form, int], Body], str], None]:
    def add(path: str, permission: Permission, act: str, made: Callable[[Form, int], Body], back: str) -> None:
        async def do(request: Request, who: Signed = Depends(needs(permission))) -> Response:  # noqa: B008
            form = await web.form(request, who)
            body = {"act": act, "person": who.person, **made(form, _now_ms(web))}
            return web.done(request, who, web.house.act(body), back)

        app.add_api_route(path, do, methods=["POST"], name=act)

    return add


def _now_ms(web: Web) -> int:
    """The board's own second: in a simulated time-lapse it is not the wall's."""
    board = web.watch.look().board
    return board.utc_ms if board else web.house.wall_ms()


def _plain(*names: str) -> Callable[[Form, int], Body]:
    def made(form: Form, _: int) -> Body:
        return {name: form.get(name, "") for name in names}

    return made


def _whole(form: Form, name: str) -> int:
    """A small whole number; anything else is 0, which the flow refuses."""
    said = form.get(name, "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 6 else 0


def _shelve(form: Form, now_ms: int) -> Body:
    until_ms = now_ms + _whole(form, "minutes") * MINUTE
    return {"number": form.get("number", ""), "until_ms": until_ms, "reason": form.get("reason", "")}


def _serviced(form: Form, _: int) -> Body:
    body: Body = {name: form.get(name, "") for name in ("train", "piece", "what")}
    return body | {name: form[name] for name in ("words", "ref") if form.get(name, "").strip()}


def _hold(form: Form, _: int) -> Body:
    """A record code such as H17-4711-89ab... names its head; what names none is head 0, which is refused."""
    code = form.get("code", "").strip()
    found = re.match(r"H([0-9]{1,12})-", code)
    return {"number": int(found[1]) if found else 0, "code": code}


def _begin(form: Form, now_ms: int) -> Body:
    body: Body = {"area": form.get("area", ""), "activity": form.get("activity", "")}
    if body["activity"] == IDLE:
        body["until_ms"] = now_ms + _whole(form, "hours") * HOUR
    elif form.get("product"):
        body["product"] = form["product"]
    return body


def _note_route(app: FastAPI, web: Web) -> None:
    photos = Photos(web.house.home / "photos")

    @app.post("/note")
    async def note(request: Request, who: WritesNotes) -> Response:
        form, picture = await _note_form(request)
        check_token(who, form.get("token", ""))
        try:
            kept = await run_in_threadpool(photos.keep, picture) if picture else ""
        except NotAPicture as why:
            raise TurnedAway(415, str(why)) from None
        body: Body = {
            "act": "note",
            "person": who.person,
            "area": form.get("area", ""),
            "text": form.get("text", ""),
        }
        if kept:
            body["photo"] = kept
        return web.done(request, who, web.house.act(body), "/")

    @app.get("/photo/{digest}")
    async def photo(digest: str, who: Signed = Depends(needs(Permission.SEE))) -> Response:  # noqa: ARG001, B008
        found = await run_in_threadpool(photos.find, digest)
        if found is None:
            raise TurnedAway(404, "This picture is not kept here, or was erased.")
        picture, kind = found
        return Response(picture, media_type=kind, headers={"Cache-Control": "private, max-age=86400"})


async def _note_form(request: Request) -> tuple[Form, bytes]:
    """Return the fields and the picture of a note; refuse more bytes than a picture has before they are held."""
    try:
        await whole_body(request, MOST_BYTES + 16_384)
    except LongFormError:
        raise TurnedAway(413, f"A picture has at most {MOST_BYTES // 1_000_000} MB.") from None
    async with request.form(max_files=1, max_fields=8, max_part_size=8192) as parts:
        fields = {name: said for name, said in parts.items() if isinstance(said, str)}
        sent = parts.get("photo")
        return fields, b"" if sent is None or isinstance(sent, str) else await sent.read()
