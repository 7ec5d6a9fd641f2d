"""A yard in memory of the test: its folder, its clock, and its web application asked without a network."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from gateway.adapters.yard_db import YardDb
from gateway.yard.intake import Intake, Taken
from gateway.yard.rooms import make_app
from gateway.yard_batch import Stretch, pack
from tests.sites import T0
from tests.yard_site import Site, grown


@dataclass
class Stage:
    """A yard, its clock, and a site that may send under its token."""

    folder: Path
    db: YardDb
    now_ms: int = T0
    token: str = ""
    intake: Intake = field(init=False)
    app: FastAPI = field(init=False)

    def __post_init__(self) -> None:
        self.token = self.db.add("north", "", 300, self.now_ms)
        self.intake = Intake(self.folder, self.db, lambda: self.now_ms, most_open=2)
        self.app = make_app(self.folder, self.db, self.intake, lambda: self.now_ms)

    def take(self, first: int, stretch: Stretch, newest: int | None = None, name: str = "north") -> Taken:
        """Take a stretch in as the routes do."""
        site = self.db.site(name)
        assert site
        return self.intake.take(site, first, stretch, newest)

    def ask(self, method: str, path: str, token: str = "", **more: object) -> httpx.Response:
        """Return the answer to one request with a site's token."""
        headers = {"Authorization": f"Bearer {token}"} if token else {}

        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, client=("127.0.0.1", 5000))
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8443") as client:
                return await client.request(method, path, headers=headers, **more)  # type: ignore[arg-type]

        return asyncio.run(once())

    def push(self, first: int, stretch: Stretch, token: str = "", **more: object) -> httpx.Response:
        """Push a stretch over the routes."""
        path = f"/sites/north/entries?from={first}"
        return self.ask("PUT", path, token or self.token, content=pack(stretch), **more)


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    (tmp_path / "yard").mkdir()
    db = YardDb(tmp_path / "yard" / "yard.db")
    made = Stage(tmp_path / "yard", db)
    yield made
    made.intake.close()
    db.close()


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """A site with heads over 1, 41 and 81 entries, and 20 entries after them."""
    return grown(tmp_path / "home")


def part(site: Site, first: int, last: int) -> Stretch:
    """Return entries of a site and the heads that end among them, as `push` sends them."""
    return Stretch(
        site.entries[first - 1 : last], [each for each in site.heads() if first <= each.head.size <= last]
    )
