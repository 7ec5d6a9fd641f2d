"""A stage with a board that tests change and a list of what was acknowledged."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field

import httpx
import pytest
from fastapi import FastAPI

from gateway.board import Board
from gateway.web.app import make_app
from tests.web.made import BOARD


@dataclass
class Stage:
    """What stands behind the pages in a test."""

    board: Board | None = BOARD
    now_s: float = 0.0
    refusal: str | None = None
    acknowledged: list[tuple[str, str]] = field(default_factory=list)

    def act(self, body: Mapping[str, str | int]) -> str | None:
        """Note the acknowledgement and answer as the test wants."""
        assert body["act"] == "acknowledge"
        self.acknowledged.append((str(body["number"]), str(body["person"])))
        return self.refusal

    def app(self) -> FastAPI:
        """Return an application on this stage with the stage's clock."""
        return make_app(lambda: self.board, self.act, lambda: self.now_s)


@pytest.fixture
def stage() -> Stage:
    """A fresh stage."""
    return Stage()


class Pages:
    """Asks the application in memory, one request at a time."""

    def __init__(self, app: FastAPI) -> None:
        """Args: app: the application."""
        self.app = app

    def ask(self, method: str, path: str, **more: object) -> httpx.Response:
        """Return the answer to one request; redirects are not followed."""

        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://board.test") as client:
                return await client.request(method, path, **more)  # type: ignore[arg-type]

        return asyncio.run(once())


@pytest.fixture
def pages(stage: Stage) -> Pages:
    """The pages of the stage."""
    return Pages(stage.app())
