"""What programs ask for: the board, alarms and acts as JSON, and their description (OpenAPI 3.1).

Only these calls are described; pages are for people. The generated documentation pages are not served: they load
scripts from elsewhere.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body, FastAPI, Path, Query
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse, Response
from fastapi.routing import APIRoute

from gateway.payload import canonical
from gateway.web.alarm_events import MOST, events_of
from gateway.web.gate import Acknowledges, Sees, TurnedAway
from gateway.web.house import Web, check_token

_JSON: dict[str, Any] = {"content": {"application/json": {"schema": {"type": "object"}}}}
_REFUSED: dict[str, Any] = {
    "description": "Refused, with the reason.",
    "content": {"application/json": {"schema": {
        "type": "object", "required": ["error"], "properties": {"error": {"type": "string"}},
    }}},
}  # fmt: skip
_ANSWERS: dict[int | str, dict[str, Any]] = {200: _JSON, 401: _REFUSED, 403: _REFUSED, 405: _REFUSED, 422: _JSON}
SECURITY = {"key": {"type": "http", "scheme": "bearer", "description": "A key of the page “You”."}}


def data_routes(app: FastAPI, web: Web) -> None:
    """Add the calls and their description."""

    @app.get("/data/board", responses={**_ANSWERS, 503: _REFUSED}, tags=["data"])
    async def board(who: Sees) -> Response:  # noqa: ARG001  asked for the permission
        """The newest board: verdicts, gaps, alarms, sensors; numbers in the units used inside, times in UTC ms."""
        found = web.watch.look().board
        if found is None:
            raise TurnedAway(503, "The gateway has no board yet.")
        return Response(canonical.to_bytes(found), media_type="application/json")

    @app.get("/data/alarms", responses=_ANSWERS, tags=["data"])
    def alarms(who: Sees, most: Annotated[int, Query(ge=1, le=MOST)] = 100) -> Response:  # noqa: ARG001
        """The newest events of alarms, oldest first."""
        found = {"events": events_of(web.house.home / "journal.db", most)}
        return Response(canonical.to_bytes(found), media_type="application/json")

    @app.post("/data/alarms/{number}/acknowledge", responses={**_ANSWERS, 409: _REFUSED}, tags=["data"])
    async def acknowledge(
        who: Acknowledges, number: Annotated[str, Path(pattern=r"^A-[0-9]{1,9}$")],
        token: Annotated[str, Body(embed=True, max_length=100)] = "",
    ) -> JSONResponse:  # fmt: skip
        """Acknowledge one alarm in the name of the key's owner; a page sends its token, a program needs none."""
        check_token(who, token)
        error = web.house.act({"act": "acknowledge", "number": number, "person": who.person})
        return JSONResponse({"error": error} if error else {"number": number}, 409 if error else 200)

    @app.get("/data/openapi.json", include_in_schema=False)
    async def description(who: Sees) -> JSONResponse:  # noqa: ARG001  asked for the permission
        return JSONResponse(_description(app))


def _description(app: FastAPI) -> dict[str, Any]:
    """Describe the calls under /data/, which need a session or a key."""
    routes = [each for each in app.routes if isinstance(each, APIRoute) and each.path.startswith("/data/")]
    found = get_openapi(title="dewgate", version="1", routes=routes, description=str(__doc__))
    found.setdefault("components", {})["securitySchemes"] = SECURITY
    found["security"] = [{"key": []}]
    return found
