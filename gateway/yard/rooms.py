"""The yard's web application: what sites push outside, what persons see behind the gate of the board's pages."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

from fastapi import FastAPI

from gateway.adapters.yard_db import YardDb
from gateway.adapters.yard_room import RoomWatch
from gateway.web import app as board
from gateway.web.accounts import Accounts
from gateway.web.door_pages import door_routes
from gateway.web.gate import Door, Gate
from gateway.web.guard import SecurityHeaders
from gateway.web.house import House, Web
from gateway.web.live import Streams, Watch
from gateway.web.packed import PackedFiles
from gateway.web.pages import Pages, Place
from gateway.web.roles import Permission
from gateway.yard.api import SiteDoor, Strangers
from gateway.yard.intake import Intake
from gateway.yard.pages import Yard, yard_routes

PLACES = (Place("/", "Sites"), Place("/people", "Accounts", Permission.ACCOUNTS), Place("/account", "You"))


def make_app(
    folder: Path, db: YardDb, intake: Intake, wall_ms: Callable[[], int], *, secure: bool = False
) -> FastAPI:
    """Return the application; `app.state.web` is what its pages share."""
    house = House(lambda: None, lambda _: "Nothing is done at the yard.", lambda: None, folder, wall_ms=wall_ms)
    app = FastAPI(title="dewgate yard", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_middleware(SecurityHeaders, secure=secure)
    strangers = Strangers()
    app.add_middleware(SiteDoor, intake=intake, db=db, monotonic=time.monotonic, strangers=strangers)
    web = _wire(house, secure)
    pages = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    pages.add_middleware(Gate, door=web.door)
    pages.mount("/static", PackedFiles(directory=board.STATIC), name="static")
    board.refusals(pages, web)
    door_routes(pages, web)
    yard_routes(pages, web, Yard(db, intake, strangers, RoomWatch(db, folder)))
    app.mount("/", pages)
    app.state.stop, app.state.web = web.stop, web
    return app


def _wire(house: House, secure: bool) -> Web:
    stop, watch = threading.Event(), Watch(house.board, house.monotonic)
    door = Door(Accounts(house.home / "accounts.db"), house.wall_ms, secure)
    return Web(house, door, watch, Pages(places=PLACES), stop, Streams(stop, watch))
