"""The plan page: sliders for weather, air and pieces; the picture of the gaps and the words of `dewgate plan`.

Pure arithmetic on what stands in the address: nothing is stored, and a link gives the same plan again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import urlencode

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from gateway import plan_picture, plan_words
from gateway.plan import run
from gateway.plan_file import load
from gateway.plan_reading import PlanErrors
from gateway.plan_units import mixed, restated
from gateway.psychrometrics import OutOfRange
from gateway.web.gate import Sees, Signed
from gateway.web.house import Web
from gateway.web.plan_typed import DRYERS, GROUPS, SLIDERS, SWITCHES, Typed, plan_text, typed
from gateway.web.taste import taste_of
from gateway.web.tongue import translated


@dataclass(frozen=True, slots=True)
class Answer:
    """What the plan says: the sentence, all of its words and the picture, or only why there is none."""

    sentence: str
    words: str = ""
    svg: str = ""


def plan_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the plan."""

    @app.get("/plan")
    def plan_page(request: Request, who: Sees) -> HTMLResponse:
        said = _typed(request, who)
        return web.draw(
            "plan.html", who, said=said, answer=answer(said), groups=GROUPS, sliders=SLIDERS, switches=SWITCHES,
            dryers=DRYERS, picture=f"/plan/picture.svg?{_address(said)}", file=plan_text(said),
        )  # fmt: skip

    @app.get("/plan/words")
    def plan_said(request: Request, who: Sees) -> JSONResponse:
        said = _typed(request, who)
        found = answer(said)
        picture = f"/plan/picture.svg?{_address(said)}" if found.svg else ""
        return JSONResponse(
            {
                "sentence": translated(found.sentence, who.taste.language),
                "words": found.words,
                "picture": picture,
                "file": plan_text(said),
            }
        )

    @app.get("/plan/picture.svg")
    def plan_drawn(request: Request, who: Sees) -> Response:
        found = answer(_typed(request, who))
        return Response(found.svg, 200 if found.svg else 404, media_type="image/svg+xml")


def _typed(request: Request, who: Signed) -> Typed:
    stated = request.query_params.get("units")  # a link reproduces its figures for whoever opens it
    units = who.taste if stated is None else replace(taste_of(stated), language=who.taste.language)
    return typed(dict(request.query_params), units)


def _address(said: Typed) -> str:
    figures = {name: f"{value:g}" for name, value in said.figures.items()}
    return urlencode(
        figures
        | dict.fromkeys(said.pieces, "on")
        | {"dryer": said.dryer, "units": said.units.written(), "set": "1"}
    )


def answer(said: Typed) -> Answer:
    """Walk the plan through."""
    taste = said.units
    units = mixed(taste.temperature == "°F", taste.pressure == "psi", taste.flow == "cfm", taste.volume == "gal")
    try:
        plan = load(plan_text(said), "sliders")
        result = run(plan)
        words = plan_words.text(plan, result, units)
        return Answer(plan_words.sentence(plan, result, units), words, plan_picture.picture(plan, result, units))
    except (PlanErrors, OutOfRange) as error:
        return Answer(f"Not worked out: {restated(str(error), units)}")
