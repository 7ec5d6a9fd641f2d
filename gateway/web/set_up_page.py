"""Set-up for the keeper: limits, sensors, people, the whole file; and which limits were in force when."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response
from starlette.concurrency import run_in_threadpool

from alerts import delivery_trial
from alerts.fault import AUDIENCES
from gateway.adapters import landmarks
from gateway.adapters.journal import open_reader
from gateway.config import to_toml
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from gateway.web.alarm_events import own_messages
from gateway.web.gate import Sees, SetsUp, Signed, TurnedAway
from gateway.web.house import Web
from gateway.web.set_up_change import (
    LONGEST_FILE,
    Form,
    NotChanged,
    leave,
    of_text,
    seen,
    unheard,
    with_calibration,
    with_limit,
    with_person,
)  # fmt: skip
from gateway.web.words import site_time, typed_ms

PATIENCE_S = 30
CHANGED = "The jobsite was changed meanwhile. Look at it again, then change it."


def set_up_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of set-up."""
    _page_routes(app, web)
    _change_routes(app, web)
    _file_routes(app, web)
    _past_routes(app, web)


def _site(web: Web) -> Jobsite:
    site = web.house.site()
    if site is None:
        raise TurnedAway(409, "No jobsite is in force; use: dewgate apply FILE")
    return site


def _page_routes(app: FastAPI, web: Web) -> None:
    @app.get("/set-up")
    def set_up_page(who: SetsUp) -> HTMLResponse:
        site = _site(web)
        waiting = len(list((web.house.home / "inbox").glob("*.test")))
        return web.draw(
            "set_up.html", who, site=site, seen=seen(site), tests=own_messages(web.house.home), waiting=waiting,
            unheard=unheard(site), audiences=AUDIENCES,
        )  # fmt: skip

    @app.get("/set-up/heard")
    def heard_page(who: SetsUp) -> HTMLResponse:
        return web.draw("set_up_heard.html", who, heard=_heard(web))

    @app.post("/set-up/test")
    async def test_message(request: Request, who: SetsUp) -> Response:
        form, site = await web.form(request, who), _site(web)
        named = {(person.id, channel) for person in site.people for channel in person.channels}
        asked = (form.get("person", ""), form.get("channel", ""))
        if asked not in named:
            return web.done(request, who, "There is no such person with such a channel.", "/set-up")
        delivery_trial.ask(web.house.home, *asked)
        return web.done(request, who, None, "/set-up#people")


def _heard(web: Web) -> dict[str, object]:
    """What `dewgate sensors` says of the last quarter of an hour, worked out in a process of its own."""
    command = [
        sys.executable,
        "-m",
        "gateway",
        "sensors",
        "--json",
        "--hours",
        "0.25",
        "--home",
        str(web.house.home),
    ]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=True)  # noqa: S603
        found: dict[str, object] = json.loads(done.stdout)
    except (subprocess.SubprocessError, ValueError):
        raise TurnedAway(503, "What was heard cannot be worked out just now. Try again in a moment.") from None
    return found


def _change_routes(app: FastAPI, web: Web) -> None:
    for path, change in (
        ("/set-up/limit", with_limit), ("/set-up/calibration", with_calibration), ("/set-up/person", with_person),
    ):  # fmt: skip
        app.add_api_route(path, _changing(web, change), methods=["POST"])


def _changing(web: Web, change: Callable[[Jobsite, Form], Jobsite]) -> Callable[..., object]:
    async def do(request: Request, who: SetsUp) -> Response:
        form, site = await web.form(request, who, 16_384), _site(web)
        error = await run_in_threadpool(_try, web, who, form, lambda: change(site, form), site)
        return web.done(request, who, error, "/set-up")

    return do


def _try(web: Web, who: Signed, form: Form, made: Callable[[], Jobsite], site: Jobsite) -> str | None:
    """Leave a changed jobsite for the writer; return why not."""
    if form.get("seen") != seen(site):
        return CHANGED
    try:
        leave(web.house.home, made(), who.person, form.get("why", ""))
    except NotChanged as why:
        return str(why)
    return None


def _file_routes(app: FastAPI, web: Web) -> None:
    @app.get("/set-up/jobsite.toml")
    async def export(who: SetsUp) -> Response:  # noqa: ARG001  asked for the permission
        headers = {"Content-Disposition": "attachment; filename=jobsite.toml"}
        return PlainTextResponse(to_toml(_site(web)), headers=headers)

    @app.get("/set-up/file")
    async def file_page(who: SetsUp) -> HTMLResponse:
        site = _site(web)
        return web.draw("set_up_file.html", who, text=to_toml(site), seen=seen(site), error="", why="")

    @app.post("/set-up/file")
    async def put_file(request: Request, who: SetsUp) -> Response:
        form, site = await web.form(request, who, LONGEST_FILE), _site(web)
        text = form.get("text", "").replace("\r\n", "\n")
        error = await run_in_threadpool(_try, web, who, form, lambda: of_text(text), site)
        if not error:
            return web.done(request, who, None, "/set-up")
        why = form.get("why", "")
        return web.draw("set_up_file.html", who, 409, text=text, seen=form.get("seen", ""), error=error, why=why)


def _past_routes(app: FastAPI, web: Web) -> None:
    @app.get("/limits")
    def limits_page(who: Sees, at: Annotated[str, Query(max_length=40)] = "") -> HTMLResponse:
        site, shown = _site(web), at
        board = web.watch.look().board
        if at:
            site, who_set, why = _past(web, at, site.time_zone)
        else:
            who_set = why = ""
            shown = site_time(board.utc_ms, site.time_zone).strftime("%Y-%m-%dT%H:%M") if board else ""
        return web.draw("limits.html", who, site=site, at=shown, who_set=who_set, why=why, past=bool(at))


def _past(web: Web, at: str, zone_name: str) -> tuple[Jobsite, str, str]:
    """Return the jobsite in force at a minute of site time, who set it and why."""
    utc_ms = typed_ms(at, zone_name)
    if utc_ms is None:
        raise TurnedAway(409, "Write the time as 2026-03-09T14:05, in site time.")
    with closing(open_reader(web.house.home / "journal.db")) as db:
        clocks = landmarks.clocks(db)
        body = landmarks.config_at(db, clocks.core_span(utc_ms, utc_ms + 1)[0])
    if body is None:
        raise TurnedAway(404, "No jobsite was in force then.")
    said = canonical.to_dict(body)
    return canonical.jobsite_of(body), str(said.get("who", "")), str(said.get("why", ""))
