"""Every page and call for every role: a new route without its row here fails."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.routing import APIRoute

from gateway.web.gate import is_open
from gateway.web.roles import Permission, Role, may
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS

P = Permission
NEEDS: dict[str, Permission] = {
    "GET /": P.SEE, "GET /live": P.SEE, "GET /alarms": P.SEE, "GET /alarms/{number}": P.SEE,
    "GET /photo/{digest}": P.SEE, "GET /account": P.SEE, "POST /account/taste": P.SEE,
    "POST /account/password": P.SEE, "POST /account/keys": P.SEE, "POST /account/keys/drop": P.SEE,
    "POST /sign-out": P.SEE, "POST /sign-out-everywhere": P.SEE,
    "POST /acknowledge": P.ACKNOWLEDGE, "POST /reset": P.ACKNOWLEDGE,
    "POST /shelve": P.SHELVE, "POST /unshelve": P.SHELVE,
    "POST /out-of-service": P.SET_UP, "POST /back-in-service": P.SET_UP,
    "POST /work/begin": P.ACTIVITY, "POST /work/end": P.ACTIVITY, "POST /note": P.NOTE,
    "POST /work/disposition": P.DISPOSE, "GET /steel": P.SEE, "POST /steel/begin": P.ACTIVITY,
    "GET /data/board": P.SEE, "GET /data/alarms": P.SEE, "GET /data/openapi.json": P.SEE,
    "POST /data/alarms/{number}/acknowledge": P.ACKNOWLEDGE,
    "GET /limits": P.SEE, "GET /entries": P.NOTE, "POST /entries": P.NOTE,
    "GET /set-up": P.SET_UP, "GET /set-up/heard": P.SET_UP, "GET /set-up/jobsite.toml": P.SET_UP,
    "GET /set-up/file": P.SET_UP, "POST /set-up/file": P.SET_UP, "POST /set-up/limit": P.SET_UP,
    "POST /set-up/calibration": P.SET_UP, "POST /set-up/person": P.SET_UP, "POST /set-up/test": P.SET_UP,
    "POST /water/serviced": P.NOTE, "POST /hold-head": P.SEE, "GET /metrics": P.SEE,
    "GET /dryers": P.RENTALS, "POST /dryers": P.RENTALS, "POST /dryers/criteria": P.RENTALS,
    "GET /dryers/{serial}": P.RENTALS, "POST /dryers/{serial}/{part}": P.RENTALS,
    "GET /dryers/{serial}/tests/{name}": P.RENTALS, "POST /dryers/{serial}/tests/{name}/{part}": P.RENTALS,
    "GET /dryers/{serial}/tests/{name}/certificate.pdf": P.RENTALS,
    "GET /people": P.ACCOUNTS, "POST /people/invite": P.ACCOUNTS, "POST /people/role": P.ACCOUNTS,
    "POST /people/remove": P.ACCOUNTS,
    "GET /record": P.SEE, "POST /record": P.NOTE, "GET /record/file/{name}/{file}": P.SEE,
    "GET /record/what-if": P.SEE, "POST /record/what-if": P.NOTE,
}  # fmt: skip
ELSEWHERE = ("/history", "/plan", "/water", "/acknowledge/")
"""Rooms with their own tests of their answers: here only that a stranger is kept out, unless the gate is open."""


@pytest.fixture(scope="module")
def everyone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Pages]:
    """One signed-in reader for each role, and a stranger."""
    stage = Stage(tmp_path_factory.mktemp("roles"), open=False)
    app = stage.app()
    found = {"stranger": Pages(app)}
    accounts = app.state.web.door.accounts
    for role in Role:
        accounts.begin(accounts.invite(role.value, "lead", role, NOW_MS), "", "seven dry steel plates", NOW_MS)
        pages = found[role.value] = Pages(app)
        pages.cookies.set("dewgate", accounts.open(role.value, "", NOW_MS))
    return found


def routes(pages: Pages) -> Iterator[tuple[str, str]]:
    """Method and path of every route."""
    for route in pages.app.routes:
        if isinstance(route, APIRoute):
            yield from ((method, route.path) for method in route.methods - {"HEAD"})


def test_every_route_is_in_the_table_or_open(everyone: dict[str, Pages]) -> None:
    """Nothing is reachable by oversight."""
    unknown = [
        f"{method} {path}" for method, path in routes(everyone["stranger"])
        if f"{method} {path}" not in NEEDS and not is_open(path) and not path.startswith(ELSEWHERE)
    ]  # fmt: skip
    assert unknown == []


def _refused(pages: Pages, method: str, path: str) -> bool:
    """Whether the answer is the permission's; a form without its token is refused later, with other words."""
    real = path.replace("{number}", "A-1").replace("{digest}", "0" * 64)
    real = real.replace("{serial}", "D-1").replace("{name}", "one").replace("{part}", "look")
    if path == "/live":  # never ends by itself
        real = "/live?last=" + "x" * 41
    answer = pages.ask(method, real, headers={"sec-fetch-site": "same-origin", "accept": "application/json"})
    return answer.status_code == 403 and "needs the permission" in answer.text


@pytest.mark.parametrize("role", list(Role))
def test_every_call_for_every_role(everyone: dict[str, Pages], role: Role) -> None:
    """Refused exactly where the role lacks what the table asks for."""
    pages = everyone[role.value]
    calls = [call.split() for call in NEEDS if "sign-out" not in call]
    found = {f"{method} {path}": _refused(pages, method, path) for method, path in calls}
    assert found == {call: not may(role, NEEDS[call]) for call in found}


def test_a_stranger_gets_nothing(everyone: dict[str, Pages]) -> None:
    """No call but the open ones answers somebody who has not signed in."""
    stranger = everyone["stranger"]
    for method, path in routes(stranger):
        if not is_open(path):
            answer = stranger.ask(method, path, headers={"sec-fetch-site": "same-origin"})
            assert (answer.status_code, answer.text) == (401, "Sign in first."), path


@pytest.mark.parametrize(
    ("path", "words"),
    [("/sign-in", "Name"), ("/begin", "one-time code"), ("/health", "live"), ("/sw.js", "caches")],
)
def test_what_is_open_tells_nothing_of_the_site(everyone: dict[str, Pages], path: str, words: str) -> None:
    """The jobsite's name and values are not on the open pages."""
    text = everyone["stranger"].ask("GET", path).text
    assert words in text
    assert "North slip" not in text


def test_each_role_is_offered_what_it_may(everyone: dict[str, Pages]) -> None:
    """The page names the permissions, by which what is not allowed is not drawn."""
    for role in Role:
        page = everyone[role.value].ask("GET", "/").text
        for permission in (P.ACKNOWLEDGE, P.SHELVE, P.ACTIVITY, P.NOTE, P.DISPOSE):
            offered = page.split('data-may="')[1].split('"')[0].split(" ")
            assert (permission.value in offered) is may(role, permission)
        assert ('href="/people"' in page) is may(role, P.ACCOUNTS)
