"""The water path of one train: its gaps in the order of the air, litres an hour, findings with their evidence."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from typing import Annotated

from fastapi import FastAPI, Query
from fastapi.responses import HTMLResponse

from alerts.measured import UNITS, Measured, Validity, unknown
from gateway import observability
from gateway.adapters.history import draw
from gateway.adapters.journal import open_reader
from gateway.board import Board
from gateway.finding_service import SERVICES
from gateway.jobsite import Jobsite, Train
from gateway.tiers import QUARTER_MS
from gateway.web.gaps import groups, scale_for
from gateway.web.gate import Sees
from gateway.web.history_panels import sensors_of
from gateway.web.house import Web
from gateway.web.taste import Taste
from gateway.web.water_values import LEAST_KG_PER_H, Water, water
from gateway.web.words import number

FLOW = {"m³/min": 10.0, "cfm": 350.0}  # where the reader states none: the size of a common machine
KG_PER_GALLON = 3.785411784  # US gallon, water taken as 1 kg/l


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table, ready to be read."""

    place: str
    how: str
    vapour: str
    left: str
    words: str


def water_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the water path."""

    @app.get("/water")
    def water_page(
        who: Sees, train: Annotated[str, Query(max_length=64)] = "", flow: Annotated[float | None, Query()] = None
    ) -> HTMLResponse:
        site, board = web.house.site(), web.watch.look().board
        trains = site.trains if site else ()
        chosen = next((each for each in trains if each.id == train), trains[0] if trains else None)
        context: dict[str, object] = {
            "trains": trains,
            "chosen": chosen,
            "findings": (),
            "groups": (),
            "found": None,
        }
        if site and board and chosen:
            context |= _shown(web, site, board, chosen, who.taste, flow)
        return web.draw("water.html", who, 200, **context)


def _shown(
    web: Web, site: Jobsite, board: Board, train: Train, taste: Taste, flow: float | None
) -> dict[str, object]:
    unit = UNITS[taste.flow.replace("m³", "m3")]
    stated = flow if flow and 0.01 <= flow <= 100_000 else FLOW[taste.flow]
    gaps = tuple(gap for gap in board.gaps if gap.group == train.label)
    scale = scale_for(gaps, taste)
    found = water(site, train, _means(web, site, train, board.utc_ms), unit.inside(stated))
    return {
        "scale": scale, "groups": groups(gaps, scale, taste), "found": found,
        "findings": [each for each in board.findings if each.train == train.id], "services": SERVICES,
        "unseen": observability.cannot_tell(train), "ref": secrets.token_hex(8),
        "lines": _lines(found, taste), "flow": number(unit.outside(found.flow_m3_per_s)), "stated": f"{stated:g}",
        "entering": _litres(found.entering_kg_per_h, taste),
    }  # fmt: skip


def _means(web: Web, site: Jobsite, train: Train, now_ms: int) -> Callable[[str], Measured]:
    """Return what reads a sensor's mean, corrected, of the newest of two quarters with a reading in it."""
    sensors = {each.id: each for each in site.sensors}
    names = sensors_of(site, train.id)
    path = web.house.home / "journal.db"
    if not path.exists():
        return lambda name: unknown(f"{name}: no journal", now_ms)
    with closing(open_reader(path)) as db:
        drawn = draw(db, names, now_ms - QUARTER_MS, now_ms + 1, 2)

    def read(name: str) -> Measured:
        said = [each for each in drawn[name].mean if each is not None] if name in drawn else []
        if not said or name not in sensors:
            return unknown(f"{name}: nothing in the last quarter of an hour", now_ms)
        sensor = sensors[name]
        value, validity = sensor.corrected(said[-1], Validity.GOOD)
        return Measured(value, sensor.u, now_ms, validity)

    return read


def _lines(found: Water, taste: Taste) -> list[Line]:
    return [
        Line(
            each.place, each.how,
            "not known" if each.vapour_g_per_kg is None else f"{number(each.vapour_g_per_kg, 2)} g/kg",
            "" if each.how == "measured" and each.left_kg_per_h is None else _litres(each.left_kg_per_h, taste),
            each.words,
        )
        for each in found.steps
    ]  # fmt: skip


def _litres(kg_per_h: float | None, taste: Taste) -> str:
    """Return litres or gallons an hour; what is too little to show is nothing."""
    if kg_per_h is None:
        return "not known"
    if abs(kg_per_h) < LEAST_KG_PER_H:
        return "none"
    amount, unit = (kg_per_h, "L/h") if taste.volume == "L" else (kg_per_h / KG_PER_GALLON, "gal/h")
    return f"{number(amount, 2)} {unit}"
