"""Stored text never runs: names, labels and reasons with markup in them, on every page and in both languages."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from gateway.jobsite import Jobsite
from gateway.web.photos import MOST_BYTES
from tests.sites import margin_limit, site
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD
from tests.web.test_accessible import PAGES

BAD = "<img src=x onerror=alert(1)>\"'{{7*7}}</script><script>alert(2)</script>"


def hostile() -> Jobsite:
    """The test's jobsite with markup wherever a person may write."""
    made = site(margin_limit(clause=BAD, advice=BAD))
    return replace(
        made, label=BAD, areas=tuple(replace(each, label=BAD) for each in made.areas),
        trains=tuple(replace(each, label=BAD) for each in made.trains),
        sensors=tuple(replace(each, label=BAD) for each in made.sensors),
        stations=tuple(replace(each, label=BAD) for each in made.stations),
    )  # fmt: skip


@pytest.mark.parametrize("language", ["en", "es"])
def test_markup_in_stored_text_is_text_on_every_page(stage: Stage, pages: Pages, language: str) -> None:
    """What is shown is shown as it was written, never as markup, a template or a closed script."""
    stage.site = hostile()
    alarm = replace(BOARD.alarms[0], title=BAD, body=BAD)
    stage.board = replace(BOARD, jobsite=BAD, alarms=(alarm,), trouble=(BAD,), notes=(BAD,), people=(BAD,))
    pages.send("/account/taste", language=language)
    shown = 0
    for page in (*PAGES, "history", "history?place=A", "water", "plan"):
        if page == "set-up/heard":
            continue  # worked out by another process, from a journal
        text = pages.ask("GET", f"/{page}", headers={"accept": "text/html"}).text
        assert "<img src=x" not in text, page
        assert not re.search(r"<script(?! src=\"/static/)[^>]*>", text), page
        assert "49</script>" not in text
        shown += text.count("&lt;img src=x")
    assert shown > 30


def test_a_form_that_is_too_long_is_refused_before_it_is_held(stage: Stage, pages: Pages) -> None:
    """Plain forms, the jobsite file, notes and entries by hand: each has its own bound, and nothing is done."""
    token = pages.token()
    own = {"sec-fetch-site": "same-origin", "accept": "application/json"}
    for path, longest in (("/acknowledge", 4096), ("/set-up/limit", 16_384), ("/set-up/file", 400_000)):
        long = pages.ask("POST", path, headers=own, data={"token": token, "number": "x" * longest})
        assert long.status_code == 413, path
    for path in ("/note", "/entries"):
        files = {"photo": ("p.png", b"\x89PNG\r\n\x1a\n" + bytes(MOST_BYTES + 80_000), "image/png")}
        long = pages.ask("POST", path, headers=own, data={"token": token, "kind": "surface"}, files=files)
        assert long.status_code == 413, path
    assert stage.acts == []
    assert not (stage.home / "photos").exists()
