"""A stage with a board that tests change and a list of what was acknowledged."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from gateway.board import Board
from gateway.jobsite import Jobsite
from gateway.web.app import make_app
from gateway.web.house import House
from tests.sites import site
from tests.web.history_stage import browser, made_month, phone, url  # noqa: F401 - fixtures
from tests.web.made import BOARD, NOW_MS


@dataclass
class Stage:
    """What stands behind the pages in a test."""

    home: Path
    board: Board | None = BOARD
    site: Jobsite | None = field(default_factory=site)
    now_s: float = 0.0
    refusal: str | None = None
    acts: list[dict[str, str | int]] = field(default_factory=list)
    secure: bool = False
    open: bool = True

    def act(self, body: Mapping[str, str | int]) -> str | None:
        """Note what a person did and answer as the test wants."""
        self.acts.append(dict(body))
        return self.refusal

    def house(self) -> House:
        """Return what stands behind the pages, with the stage's clock."""
        return House(
            lambda: self.board, self.act, lambda: self.site, self.home, lambda: self.now_s,
            lambda: NOW_MS + int(1000 * self.now_s), self.secure, self.open,
        )  # fmt: skip

    def app(self) -> FastAPI:
        """Return an application on this stage."""
        return make_app(self.house())


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A fresh stage, simulated, so that this machine's visitor need not sign in."""
    return Stage(tmp_path)


class Pages:
    """Asks the application in memory, one request at a time."""

    def __init__(self, app: FastAPI, host: str = "127.0.0.1:8080", client: str = "127.0.0.1") -> None:
        """Args: app: the application. host: the name it is asked by. client: where the question comes from."""
        self.app, self.host, self.client = app, host, client
        self.cookies = httpx.Cookies()

    def ask(self, method: str, path: str, **more: object) -> httpx.Response:
        """Return the answer to one request; redirects are not followed, cookies are kept."""

        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, client=(self.client, 5000))
            base = f"{'https' if self.app.state.web.house.secure else 'http'}://{self.host}"
            async with httpx.AsyncClient(transport=transport, base_url=base, cookies=self.cookies) as client:
                answer = await client.request(method, path, **more)  # type: ignore[arg-type]
                self.cookies = client.cookies
                return answer

        return asyncio.run(once())

    def token(self) -> str:
        """Return the token that the forms of this reader carry."""
        found = re.search(r'name="token" value="([^"]+)"', self.ask("GET", "/account").text)
        assert found
        return found[1]

    def send(self, path: str, **fields: str) -> httpx.Response:
        """Send a form of one of the gateway's own pages."""
        form = {"token": self.token(), **fields}
        return self.ask("POST", path, headers={"sec-fetch-site": "same-origin"}, data=form)


@pytest.fixture
def pages(stage: Stage) -> Pages:
    """The pages of the stage."""
    return Pages(stage.app())
