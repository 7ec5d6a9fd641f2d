"""The history page and its data: columns to draw, files to take away, the entries behind a minute.

Everything is read from the journal on read-only connections. What keeps a core busy (folding a day again, writing
a file) happens in a process of its own, one at a time, so that the writer is never held up.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response, StreamingResponse

from gateway.adapters.history import Drawn, began_ms, channels, draw
from gateway.adapters.history_fine import DAY_MS
from gateway.adapters.history_out import FORMS, Question, drawn_of
from gateway.adapters.journal import open_reader
from gateway.payload import canonical
from gateway.tiers import SIX_HOURS_MS
from gateway.web.gate import Sees, Signed, TurnedAway
from gateway.web.history_entries import MOST, entries_of_minute
from gateway.web.history_panels import panels, places, sensors_of
from gateway.web.history_values import Draw, View, drawn_values
from gateway.web.house import Web
from gateway.web.one_helper import OneHelper, passed_on
from gateway.web.words import site_time, typed_ms

MONTH_MS = 30 * DAY_MS
MOST_MS = 2 * 366 * DAY_MS
MINUTE_MS = 60_000
WORDS = {"csv": "CSV", "parquet": "Parquet", "senml": "SenML"}
ROUND_MS = 6 * 3_600_000  # to both sides of a minute somebody wants to read
FIRST = 360  # columns of the first drawing, asked for while the script is still on its way
Text = Annotated[str, Query(max_length=64)]
Time = Annotated[str, Query(max_length=40)]


def history_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of history."""
    helper = OneHelper()

    @app.get("/history")
    def history_page(
        who: Sees,
        place: Text = "",
        begin: Annotated[str, Query(alias="from", max_length=40)] = "",
        until: Time = "",
        at: Time = "",
    ) -> HTMLResponse:
        at_ms = _minute(web, at)
        if at_ms is None:
            return _page(web, who, _view(web, place, begin, until))
        return _page(web, who, _view(web, place, _iso(at_ms - ROUND_MS), _iso(at_ms + ROUND_MS)), at_ms)

    @app.get("/history/data")
    def history_data(
        request: Request, who: Sees, begin: Annotated[str, Query(alias="from", max_length=40)], until: Time,
        place: Text = "", columns: Annotated[int, Query(ge=1, le=2000)] = 360, fine: bool = False,
    ) -> Response:  # fmt: skip
        view = _view(web, place, begin, until)
        return _packed(
            request, _fine(web, helper, view, who, columns) if fine else _coarse(web, view, who, columns)
        )

    @app.get("/history/file.{form}")
    def history_file(
        who: Sees,
        form: str,
        begin: Annotated[str, Query(alias="from", max_length=40)],
        until: Time,
        place: Text = "",
    ) -> Response:
        return _file(web, who, helper, form, _view(web, place, begin, until))

    @app.get("/history/entries")
    def history_entries(request: Request, who: Sees, at: Time, place: Text = "") -> Response:
        return _entries(web, request, who, place, _utc_ms(at))


def _view(web: Web, place: str, begin: str, until: str) -> View:
    """What is looked at; without a range the last 30 days, or since the record began where that is less.

    Raises TurnedAway for a range that is none.
    """
    site, board = web.house.site(), web.watch.look().board
    now = board.utc_ms if board else web.house.wall_ms()
    known = places(site) if site else {}
    if place not in known:
        place = next(iter(known), "")
    until_ms = _utc_ms(until) if until else now
    from_ms = _utc_ms(begin) if begin else _since(web, until_ms)
    if not 0 < until_ms - from_ms <= MOST_MS:
        raise TurnedAway(400, "The range must end after it begins, and be no longer than two years.")
    return View(place, from_ms, until_ms, now)


def _since(web: Web, until_ms: int) -> int:
    """Return where a view begins that names no beginning: never a month of nothing before a young record."""
    since = until_ms - MONTH_MS
    if (web.house.home / "journal.db").exists():
        with closing(_reader(web)) as db:
            since = max(since, min(began_ms(db) or since, until_ms - ROUND_MS))
    return since


def _minute(web: Web, at: str) -> int | None:
    """Return the minute somebody wants to read, typed in site time; None where nothing was asked."""
    site = web.house.site()
    at_ms = typed_ms(at, site.time_zone if site else "UTC")
    if at and at_ms is None:
        raise TurnedAway(400, "Write the time as 2026-03-09T14:05, in site time.")
    return at_ms


def _utc_ms(text: str) -> int:
    try:
        said = datetime.fromisoformat(text)
    except ValueError:
        raise TurnedAway(400, f"{text[:40]!r} is no time such as 2026-07-13T12:40Z.") from None
    return round((said if said.tzinfo else said.replace(tzinfo=UTC)).timestamp() * 1000)


def _iso(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _link(view: View, place: str) -> str:
    return urlencode({"place": place, "from": _iso(view.from_ms), "until": _iso(view.until_ms)})


def _page(web: Web, who: Signed, view: View, at_ms: int | None = None) -> HTMLResponse:
    site = web.house.site()
    known = places(site) if site else {}
    links = {each: _link(view, each) for each in (*known, view.place)}
    zone = site.time_zone if site else "UTC"
    shown = site_time(view.now_ms if at_ms is None else at_ms, zone).strftime("%Y-%m-%dT%H:%M")
    return web.draw(
        "history.html", who, view=view, at_ms=at_ms or "", shown=shown, choices=known, links=links, forms=WORDS,
        first=f"/history/data?{_link(view, view.place)}&columns={FIRST}",
        zone=zone,
    )  # fmt: skip


def _reader(web: Web) -> sqlite3.Connection:
    path = web.house.home / "journal.db"
    if not path.exists():
        raise TurnedAway(404, "This gateway has no journal yet.")
    return open_reader(path)


def _coarse(web: Web, view: View, who: Signed, count: int) -> dict[str, object]:
    """Columns from the quarters and six hours."""
    with closing(_reader(web)) as db:
        return _drawn(web, db, view, who, lambda names: draw(db, names, view.from_ms, view.until_ms, count))


def _fine(web: Web, helper: OneHelper, view: View, who: Signed, count: int) -> dict[str, object]:
    """Columns from the entries, worked out by a process of its own."""

    def drawing(names: Sequence[str]) -> Mapping[str, Drawn]:
        path = str(web.house.home / "journal.db")
        asked = Question(path, "draw", tuple(names), view.from_ms, view.until_ms, count)
        return drawn_of(helper.answer(asked))

    if view.until_ms - view.from_ms > DAY_MS:
        raise TurnedAway(400, "The entries are worked out for a day at most.")
    with closing(_reader(web)) as db:
        return _drawn(web, db, view, who, drawing) | {"tier": "the entries"}


def _drawn(web: Web, db: sqlite3.Connection, view: View, who: Signed, drawing: Draw) -> dict[str, object]:
    site = web.house.site()
    if site is None:
        raise TurnedAway(404, "No jobsite is set: there is nothing to look at.")
    found = drawn_values(db, site, view, who.taste, drawing)
    return found | {"tier": "quarters of an hour" if found["each"] < SIX_HOURS_MS else "six hours"}


def _packed(request: Request, value: object) -> Response:
    body = canonical.to_bytes(value)
    headers = {"Cache-Control": "no-store", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        packer = zlib.compressobj(6, wbits=31)
        body = packer.compress(body) + packer.flush()
        headers["Content-Encoding"] = "gzip"
    return Response(body, 200, headers, "application/json")


def _file(web: Web, who: Signed, helper: OneHelper, form: str, view: View) -> Response:
    site = web.house.site()
    if form not in FORMS or site is None:
        raise TurnedAway(404, f"There is no {form[:20]} of this; {', '.join(FORMS)} there are.")
    with closing(_reader(web)) as db:
        shown = panels(site, view.place, channels(db), who.taste)
    names = dict.fromkeys(line.channel for panel in shown for line in panel.lines)
    names |= dict.fromkeys(sensors_of(site, view.place))
    process = helper.start(
        Question(str(web.house.home / "journal.db"), form, tuple(names), view.from_ms, view.until_ms)
    )
    ending = {"csv": "csv", "parquet": "parquet", "senml": "senml.json"}[form]
    name = f"history-{view.place or 'site'}-{_iso(view.from_ms)[:10]}.{ending}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return StreamingResponse(passed_on(process), media_type=FORMS[form], headers=headers)


def _entries(web: Web, request: Request, who: Signed, place: str, at_ms: int) -> Response:
    site = web.house.site()
    minute = at_ms - at_ms % MINUTE_MS
    with closing(_reader(web)) as db:
        found = entries_of_minute(db, minute)
    if request.headers.get("accept") == "application/json":
        return JSONResponse({"from": minute, "entries": [each.seq for each in found]})
    view = View(place, minute - 6 * 3_600_000, minute + 6 * 3_600_000, minute)
    return web.draw(
        "history_entries.html", who, found=found[:MOST], more=len(found) > MOST, most=MOST, at_ms=minute,
        zone=site.time_zone if site else "UTC", back=f"/history?{_link(view, place)}",
    )  # fmt: skip
