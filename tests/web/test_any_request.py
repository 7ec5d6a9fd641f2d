"""Whatever is asked of any page, by a keeper or a stranger, is answered: no exception, no 5xx but meant ones."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from fastapi.routing import APIRoute
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.web import pages as own_pages
from gateway.web.roles import Role
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS
from tests.web.made_journal import write_journal

STREAMS = ("/live",)  # never ends
MEANT = 503  # no board, a disk or a database that refuses: said as such
FIELDS = sorted(
    {
        name
        for each in (Path(own_pages.__file__).parent / "templates").glob("*.html")
        for name in re.findall(r'name="([a-z_]+)"', each.read_text())
    }
    - {"token", "viewport"}
)
NUMBERS = st.sampled_from(
    ["0", "-1", "1e999", "nan", "inf", "9" * 20, "9" * 5000, "1.5", "0x10", "１２", "1780000000000"]
)
WORDS = st.sampled_from(
    ["", "A", "A-7", "steel", "margin", "../../etc/passwd", "keeper", "\0", "<b>", "é", "2026-06-01"]
)
SAID = st.one_of(NUMBERS, WORDS, st.text(max_size=30))


@pytest.fixture(scope="module")
def visitors(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Pages]:
    """A keeper who is signed in, and a stranger, at one closed site."""
    stage = Stage(tmp_path_factory.mktemp("any"), open=False)
    write_journal(stage.home)
    app = stage.app()
    accounts = app.state.web.door.accounts
    accounts.begin(accounts.invite("Ann", "lead", Role.KEEPER, NOW_MS), "", "seven dry steel plates", NOW_MS)
    keeper = Pages(app)
    keeper.cookies.set("dewgate", accounts.open("Ann", "", NOW_MS))
    return {"keeper": keeper, "stranger": Pages(app)}


def routes(pages: Pages) -> Iterator[tuple[str, APIRoute]]:
    """Every call but those that never end."""
    for route in pages.app.routes:
        if isinstance(route, APIRoute) and route.path not in STREAMS:
            yield from ((method, route) for method in sorted(route.methods))


@pytest.mark.parametrize("who", ["keeper", "stranger"])
def test_every_page_answers_whatever_is_asked(visitors: dict[str, Pages], who: str) -> None:
    """Path, query, form and headers of any words and numbers; the keeper's forms carry the right token."""
    pages = visitors[who]
    token = pages.token() if who == "keeper" else "guessed"
    known = [pair for pair in routes(pages) if "sign-out" not in pair[1].path and "remove" not in pair[1].path]
    assert len(known) > 50

    @given(st.data())
    @settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
    def answers(data: st.DataObject) -> None:
        method, route = data.draw(st.sampled_from(known))
        path = re.sub(r"{[^}]+}", lambda _: quote(data.draw(SAID), safe=""), route.path)
        asked = {each.name for each in route.dependant.query_params} | {"from", "until", "back"}
        query = data.draw(st.dictionaries(st.sampled_from(sorted(asked)), SAID, max_size=4))
        form = data.draw(st.dictionaries(st.sampled_from(FIELDS), SAID, max_size=8)) if method == "POST" else None
        headers = {
            "sec-fetch-site": "same-origin",
            "accept": data.draw(st.sampled_from(["text/html", "*/*", "\t,;q=x"])),
        }
        answer = pages.ask(method, path, params=query, data=form and {"token": token, **form}, headers=headers)
        assert answer.status_code < 500 or answer.status_code == MEANT, (method, path, query, form, answer.text)

    answers()
