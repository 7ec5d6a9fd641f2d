"""The record as a page: made for a shift or any stretch of time, taken away as files; and by other limits.

Nothing here writes to the journal. What is made, is made by the commands `record`, `export` and `replay`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from math import isfinite
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from alerts.limits import Limit
from gateway.climate_record import STEPS
from gateway.config import to_toml
from gateway.jobsite import Jobsite
from gateway.record_shifts import ends
from gateway.record_words import LANGUAGES, Words, moment_of
from gateway.web.gate import Sees, Signed, TurnedAway, WritesNotes
from gateway.web.house import Web
from gateway.web.record_desk import SAID, Desk, Made

WEEK_MS = 7 * 86_400_000
LIMITS = "other-limits.toml"
MOST_LINES = 400
RULES = ("simple", "guarded")
FIGURES = ("threshold", "deadband", "on_delay_s", "off_delay_s")
Fields = Mapping[str, str]
_COUNT = re.compile(r"(.+), ([^,]+): (\d+) then, (\d+) by the other limits")


def record_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the record."""
    desk = Desk(web.house.home)

    @app.get("/record")
    def record_page(who: Sees) -> HTMLResponse:
        return _page(web, who, desk)

    @app.post("/record")
    async def make(request: Request, who: WritesNotes) -> Response:
        form = await web.form(request, who)
        await run_in_threadpool(_make, web, desk, form)
        return RedirectResponse("/record", 303)

    @app.get("/record/file/{name}/{file}")
    def take(who: Sees, name: str, file: str) -> FileResponse:  # noqa: ARG001  asked for the permission
        return FileResponse(desk.path(name, file), filename=file)

    @app.get("/record/what-if")
    def what_if_page(who: Sees) -> HTMLResponse:
        return _what_if(web, who, desk, {})

    @app.post("/record/what-if")
    async def what_if(request: Request, who: WritesNotes) -> Response:
        form = await web.form(request, who, 65_536)
        return await run_in_threadpool(_judge, web, who, desk, form)


def _site(web: Web) -> Jobsite:
    site = web.house.site()
    if site is None:
        raise TurnedAway(409, "No jobsite is in force; use: dewgate apply FILE")
    return site


def _now_ms(web: Web) -> int:
    board = web.watch.look().board
    return board.utc_ms if board else web.house.wall_ms()


def _name(web: Web, kind: str) -> str:
    return f"{datetime.fromtimestamp(web.house.wall_ms() / 1000, UTC):%Y%m%d-%H%M%S}-{kind}"


def _page(web: Web, who: Signed, desk: Desk) -> HTMLResponse:
    site, now_ms = _site(web), _now_ms(web)
    words, cuts = Words(who.taste.language, site.time_zone), ends(site, now_ms - WEEK_MS, now_ms)
    spans = [(f"{words.iso(a)}/{words.iso(b)}", words.moment(a), words.moment(b))
             for a, b in pairwise(cuts)]  # fmt: skip
    made = [each for each in desk.every() if not each.name.endswith("what-if")]
    return web.draw(
        "records.html", who, made=made, running=any(each.running for each in desk.every()), spans=spans[::-1],
        steps=tuple(STEPS), languages=LANGUAGES, stated=bool(site.shift_ends), label=partial(_label, words),
    )  # fmt: skip


def _label(words: Words, made: Made) -> str:
    """When a record was made, in site time."""
    at = datetime.strptime(made.name[:15], "%Y%m%d-%H%M%S").replace(tzinfo=UTC)
    return words.moment(round(at.timestamp() * 1000))


def _make(web: Web, desk: Desk, form: Fields) -> None:
    site = _site(web)
    begin, until = form.get("from", ""), form.get("until", "")
    if not (begin and until):  # what was typed goes before what was chosen
        begin, _, until = form.get("span", "").partition("/")
    try:
        from_ms, until_ms = moment_of(begin, site.time_zone), moment_of(until, site.time_zone, whole_day=True)
    except ValueError:
        raise TurnedAway(400, "Choose a shift, or give the begin and the end.") from None
    if form.get("what") == "zip":
        span = [datetime.fromtimestamp(each / 1000, UTC).isoformat() for each in (from_ms, until_ms)]
        words = ["--from", span[0], "--until", span[1], "--out", f"{{out}}/record-{site.id}.zip"]
        desk.start(_name(web, "zip"), "export", words)
        return
    every, language, units = (form.get(each, "") for each in ("every", "language", "units"))
    if every not in STEPS or language not in LANGUAGES or units not in ("si", "us"):
        raise TurnedAway(400, "Choose the interval, the language and the units from the lists.")
    words = ["--from", begin, "--until", until, "--every", every, "--language", language, "--units", units]
    desk.start(_name(web, "record"), "record", [*words, "--out", "{out}"])


# -- what if -------------------------------------------------------------------------------------------


def _what_if(web: Web, who: Signed, desk: Desk, typed: Fields, error: str = "", status: int = 200) -> HTMLResponse:
    found = next((each for each in desk.every() if each.name.endswith("what-if")), None)
    lines = found.said.splitlines() if found else []
    counts = [each.groups() for line in lines if (each := _COUNT.fullmatch(line))]
    return web.draw(
        "what_if.html", who, status, limits=_site(web).limits, typed=typed, error=error, found=found,
        differing=[each for each in lines if each.startswith(("- ", "+ "))][:MOST_LINES], most=MOST_LINES,
        rest=[each for each in lines if not each.startswith(("- ", "+ ")) and not _COUNT.fullmatch(each)],
        counts=sorted(counts, key=lambda each: each[2] == each[3]),
        more=sum(each.startswith(("- ", "+ ")) for each in lines) - MOST_LINES,
        figures=FIGURES, rules=RULES, said_file=SAID,
        when=_label(Words("en", _site(web).time_zone), found) if found else "",
    )  # fmt: skip


def _judge(web: Web, who: Signed, desk: Desk, form: Fields) -> Response:
    site = _site(web)
    try:
        other = replace(site, limits=tuple(_other(each, form) for each in site.limits))
    except ValueError as error:
        return _what_if(web, who, desk, form, str(error), 409)
    if other.limits == site.limits:
        return _what_if(web, who, desk, form, "Change at least one limit; nothing would differ.", 409)
    desk.start(
        _name(web, "what-if"), "replay", ["--limits", str(Path("{out}") / LIMITS)], {LIMITS: to_toml(other)}
    )
    return RedirectResponse("/record/what-if", 303)


def _other(limit: Limit, form: Fields) -> Limit:
    """A limit with what was typed for it; what was left as it is, stays as it is to the last digit."""
    changes: dict[str, object] = {}
    for name in FIGURES:
        said = form.get(f"{limit.id}|{name}", "").strip().replace(",", ".")
        if said and said != f"{getattr(limit, name):g}":
            changes[name] = _number(said, limit, name)
    rule = form.get(f"{limit.id}|decision_rule", limit.decision_rule)
    if rule in RULES:
        changes["decision_rule"] = rule
    return replace(limit, **changes)  # type: ignore[arg-type]


def _number(said: str, limit: Limit, name: str) -> float:
    try:
        value = float(said)
    except ValueError:
        value = float("nan")
    if not isfinite(value) or (name != "threshold" and value < 0):
        raise ValueError(f"{limit.id}: {said[:20]!r} is no {name.removesuffix('_s').replace('_', ' ')}")
    return value
