"""The calls for programs: their description, and everything it allows and forbids tried by schemathesis."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings

from gateway.web.accounts import Accounts
from gateway.web.roles import Role
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, NOW_MS
from tests.web.made_journal import write_journal


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A closed site with a journal."""
    write_journal(tmp_path)
    return Stage(tmp_path, open=False)


def key_of(accounts: Accounts, role: Role = Role.KEEPER, scope: str = "act") -> dict[str, str]:
    """The header of a new account's key."""
    accounts.begin(accounts.invite(role.value, "lead", role, NOW_MS), "", "seven dry steel plates", NOW_MS)
    return {"Authorization": f"Bearer {accounts.make_key(role.value, 'test', scope, NOW_MS)}"}


def test_every_described_call_keeps_its_word(stage: Stage) -> None:
    """No answer that is not described, no 500, nothing accepted that the description forbids, no key no answer."""
    app, tried = stage.app(), []
    key = key_of(app.state.web.door.accounts)
    schema = schemathesis.openapi.from_asgi("/data/openapi.json", app, headers=key)
    for found in schema.get_all_operations():
        operation = found.ok()
        tried.append(operation.label)

        @given(case=operation.as_strategy())
        @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
        def keeps_its_word(case: schemathesis.Case) -> None:
            case.call_and_validate(headers=key)

        keeps_its_word()
    assert tried == ["GET /data/board", "GET /data/alarms", "POST /data/alarms/{number}/acknowledge"]


def test_the_board_and_the_alarms_are_whole(stage: Stage) -> None:
    """Every field of the board, in the names of the code."""
    pages = Pages(stage.app())
    key = key_of(pages.app.state.web.door.accounts, Role.VIEWER, "read")
    board = pages.ask("GET", "/data/board", headers=key).json()
    assert (board["jobsite"], len(board["gaps"])) == (BOARD.jobsite, len(BOARD.gaps))
    events = pages.ask("GET", "/data/alarms?most=2", headers=key).json()["events"]
    assert [each["number"] for each in events] == ["A-8", "A-8"]
    stage.board = None
    assert pages.ask("GET", "/data/board", headers=key).status_code == 503


def test_acknowledging_by_key(stage: Stage) -> None:
    """In the name of its owner; not with a viewer's key, not with one that only reads, not by a page's guess."""
    pages = Pages(stage.app())
    accounts = pages.app.state.web.door.accounts
    path = "/data/alarms/A-7/acknowledge"
    lead = key_of(accounts, Role.SITE_LEAD)
    assert pages.ask("POST", path, headers=key_of(accounts, Role.VIEWER), json={}).status_code == 403
    assert pages.ask("POST", path, headers=key_of(accounts, Role.KEEPER, "read"), json={}).status_code == 403
    assert stage.acts == []
    assert pages.ask("POST", path, headers=lead, json={}).status_code == 200
    assert stage.acts == [{"act": "acknowledge", "number": "A-7", "person": "lead"}]
    pages.cookies.set("dewgate", accounts.open(Role.SITE_LEAD.value, "", NOW_MS))
    assert pages.ask("POST", path, json={"token": "guessed"}).status_code == 403


def test_only_our_own_calls_are_described(stage: Stage) -> None:
    """No page is in the description, and no page of the generator is served."""
    pages = Pages(stage.app())
    key = key_of(pages.app.state.web.door.accounts)
    said = pages.ask("GET", "/data/openapi.json", headers=key).json()
    assert all(path.startswith("/data/") for path in said["paths"])
    assert "http" not in json.dumps(said).replace('"http"', "")
    for path in ("/docs", "/redoc", "/openapi.json"):
        assert pages.ask("GET", path, headers=key).status_code == 404
