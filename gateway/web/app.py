"""The pages put together: the gate in front, then one room of routes after the other.

The pages decide nothing: they draw what the flow decided, and hand on what persons do.
"""

from __future__ import annotations

import threading
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, JSONResponse, Response

from gateway.web.accounts import Account, Accounts
from gateway.web.acknowledge_link import acknowledge_link_routes
from gateway.web.alarms_page import alarms_routes
from gateway.web.board_acts import act_routes
from gateway.web.board_page import board_routes
from gateway.web.data_calls import data_routes
from gateway.web.door_pages import door_routes
from gateway.web.dryer_page import dryer_routes
from gateway.web.gate import BY_ITSELF, Door, Gate, TurnedAway, wants_json
from gateway.web.guard import SecurityHeaders
from gateway.web.history import history_routes
from gateway.web.house import House, Web
from gateway.web.live import Streams, Watch
from gateway.web.manual import manual_routes
from gateway.web.metrics import metrics_routes
from gateway.web.packed import PackedFiles
from gateway.web.pages import Pages
from gateway.web.plan_page import plan_routes
from gateway.web.record_page import record_routes
from gateway.web.server import PageServer
from gateway.web.set_up_page import set_up_routes
from gateway.web.tongue import translated
from gateway.web.water_page import water_routes

__all__ = ["House", "PageServer", "make_app"]

STATIC = Path(__file__).parent / "static"
ROOMS = (
    acknowledge_link_routes, board_routes, act_routes, data_routes, alarms_routes, set_up_routes, door_routes,
    dryer_routes, history_routes, manual_routes, metrics_routes, plan_routes, record_routes, water_routes,
)  # fmt: skip
"""Each adds its routes: `def xxx_routes(app: FastAPI, web: Web) -> None`."""


def make_app(house: House) -> FastAPI:
    """Return the application; `app.state.stop` (a threading.Event) ends all open streams, PageServer sets it."""
    web = _wire(house)
    # The generated API pages load scripts from elsewhere, which the site's network and the CSP both refuse.
    app = FastAPI(title="dewgate", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.stop, app.state.web = web.stop, web
    app.add_middleware(Gate, door=web.door)
    app.add_middleware(SecurityHeaders, secure=house.secure)  # the last added is the outermost
    app.mount("/static", PackedFiles(directory=STATIC), name="static")
    refusals(app, web)

    @app.get("/sw.js")
    async def service_worker() -> FileResponse:  # at the root, since it looks after the board at "/"
        return FileResponse(STATIC / "sw.js", media_type="text/javascript")

    for add_routes in ROOMS:
        add_routes(app, web)
    return app


def _wire(house: House) -> Web:
    stop, watch, pages = threading.Event(), Watch(house.board, house.monotonic), Pages()
    door = Door(Accounts(house.home / "accounts.db"), house.wall_ms, house.secure, lambda: _by_itself(house))
    return Web(house, door, watch, pages, stop, Streams(stop, watch))


def _by_itself(house: House) -> Account | None:
    """Whom a visitor on this machine is taken for: somebody only while the jobsite says that it is simulated."""
    site = house.site()
    if not house.open_when_simulated or site is None or not site.simulated:
        return None
    person = site.people[0].id if site.people else BY_ITSELF.name
    return Account(BY_ITSELF.name, person, BY_ITSELF.role, BY_ITSELF.taste)


def refusals(app: FastAPI, web: Web) -> None:
    """Answer what is turned away: a program in JSON, a person with a page."""

    @app.exception_handler(TurnedAway)
    async def refused(request: Request, why: TurnedAway) -> Response:
        who = request.state.signed
        if who is None or wants_json(request.headers):
            said = translated(why.why, who.taste.language) if who else why.why
            return JSONResponse({"error": said}, why.status)
        return web.draw("refusal.html", who, why.status, error=why.why, back="/")
