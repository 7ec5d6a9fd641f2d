"""The page of alarms: what stands, what was, who was told and why somebody was not, and figures a shift."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from gateway.board import Board
from gateway.web.alarm_events import events_of, sent, shifts, stories
from gateway.web.gate import Sees, TurnedAway
from gateway.web.house import Web
from gateway.web.words import site_time

SHIFT_MS = 8 * 3_600_000
SHOWN = 100
KINDS = {"F-": "Finding", "K-": "Fault", "E-": "Exposure"}  # what else has a number and a life


def alarms_routes(app: FastAPI, web: Web) -> None:
    """Add the routes; they read files, so they run in threads."""
    journal = web.house.home / "journal.db"

    @app.get("/alarms")
    def alarms_page(who: Sees) -> HTMLResponse:
        events, board = events_of(journal), web.watch.look().board
        return web.draw(
            "alarm_list.html", who, stories=stories(events)[:SHOWN],
            shifts=shifts(events, SHIFT_MS, _morning(board))[:12], limits=_limits(web), kinds=KINDS,
        )  # fmt: skip

    @app.get("/alarms/{number}")
    def alarm_page(number: str, who: Sees) -> HTMLResponse:
        found = [each for each in stories(events_of(journal)) if each.number == number]
        if not found:
            raise TurnedAway(404, f"There is no alarm {number[:20]} among the newest events.")
        return web.draw(
            "alarm_story.html", who, story=found[0], sent=sent(web.house.home, number), limits=_limits(web),
            kinds=KINDS, place=_place(web, found[0].limit),
        )  # fmt: skip


def _limits(web: Web) -> dict[str, str]:
    """What each limit of the jobsite in force is called."""
    site = web.house.site()
    return {limit.id: f"{limit.advice} ({limit.clause})" for limit in site.limits} if site else {}


def _place(web: Web, limit_id: str) -> str:
    """Where in the history it is seen: a limit's area or train, a finding's train; empty where unknown."""
    site = web.house.site()
    known = {limit.id: limit.area or limit.train for limit in site.limits} if site else {}
    train = limit_id.partition("/")[0]
    return known.get(limit_id, train if site and train in {each.id for each in site.trains} else "")


def _morning(board: Board | None) -> int:
    """Six in the morning of the site, so that three shifts make a day."""
    if board is None:
        return 0
    now = site_time(board.utc_ms, board.time_zone)
    return int(now.replace(hour=6, minute=0, second=0, microsecond=0).timestamp() * 1000)
