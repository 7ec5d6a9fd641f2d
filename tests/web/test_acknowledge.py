"""Acknowledging an alarm: only from the board's own page, by a known person, for an alarm that is there."""

from __future__ import annotations

import re

import httpx
import pytest

from tests.web.conftest import Pages, Stage

OWN = {"sec-fetch-site": "same-origin"}


def token(pages: Pages) -> str:
    """The token the page put into its forms."""
    found = re.search(r'name="token" value="([^"]+)"', pages.ask("GET", "/").text)
    assert found
    return found[1]


def send(pages: Pages, headers: dict[str, str], **fields: str) -> httpx.Response:
    """Send the form with a good token and the fields that the test changes."""
    form = {"token": token(pages), "number": "A-1042", "person": "Ana Reis", **fields}
    return pages.ask("POST", "/acknowledge", headers=headers, data=form)


def test_a_form_with_its_token_acknowledges(stage: Stage, pages: Pages) -> None:
    """The plain form passes number and person on and leads back to the alarms."""
    answer = send(pages, OWN)
    assert (303, "/#alarms") == (answer.status_code, answer.headers["location"])
    assert stage.acknowledged == [("A-1042", "Ana Reis")]


def test_the_script_gets_json(stage: Stage, pages: Pages) -> None:
    """The page's script reads the error sentence from the answer."""
    stage.refusal = "A-1042 was acknowledged already."
    answer = send(pages, {**OWN, "accept": "application/json"})
    assert (409, {"error": stage.refusal}) == (answer.status_code, answer.json())


def test_reading_acknowledges_nothing(stage: Stage, pages: Pages) -> None:
    """A link or a prefetch changes nothing."""
    answer = pages.ask("GET", f"/acknowledge?number=A-1042&person=Ana+Reis&token={token(pages)}", headers=OWN)
    assert answer.status_code == 405
    assert stage.acknowledged == []


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://elsewhere.test"},  # plain http: no Sec-Fetch-Site
        {"sec-fetch-site": "cross-site", "origin": "http://board.test"},
    ],
)
def test_another_site_is_refused(stage: Stage, pages: Pages, headers: dict[str, str]) -> None:
    """Even with the right token a request from another site is refused."""
    assert send(pages, headers).status_code == 403
    assert stage.acknowledged == []


@pytest.mark.parametrize("headers", [{}, {"origin": "http://board.test"}, {"origin": "null"}])
def test_plain_http_still_works(stage: Stage, pages: Pages, headers: dict[str, str]) -> None:
    """Browsers leave Sec-Fetch-Site out on plain http: then origin and token decide."""
    assert send(pages, headers).status_code == 303
    assert len(stage.acknowledged) == 1


@pytest.mark.parametrize(
    ("status", "fields"),
    [
        (403, {"token": "guessed"}),
        (403, {"token": "ü"}),
        (409, {"number": "A-1"}),
        (409, {"person": "Somebody Else"}),
        (409, {"person": ""}),
        (413, {"person": "x" * 5000}),
    ],
)
def test_what_is_not_on_the_board_is_refused(
    stage: Stage, pages: Pages, status: int, fields: dict[str, str]
) -> None:
    """A wrong token, alarm, person or an overlong form acknowledges nothing."""
    assert send(pages, OWN, **fields).status_code == status
    assert stage.acknowledged == []
