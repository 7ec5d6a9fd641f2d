"""Acknowledging an alarm: only from the board's own page, in the name of who signed in."""

from __future__ import annotations

import httpx
import pytest

from tests.web.conftest import Pages, Stage

OWN = {"sec-fetch-site": "same-origin"}
DONE = {"act": "acknowledge", "number": "A-1042", "person": "lead"}


def send(pages: Pages, headers: dict[str, str], **fields: str) -> httpx.Response:
    """Send the form with a good token and the fields that the test changes."""
    form = {"token": pages.token(), "number": "A-1042", **fields}
    return pages.ask("POST", "/acknowledge", headers=headers, data=form)


def test_a_form_with_its_token_acknowledges(stage: Stage, pages: Pages) -> None:
    """The plain form passes number and person on and leads back to the alarms; no field names the person."""
    answer = send(pages, OWN, person="somebody-else")
    assert (303, "/#alarms") == (answer.status_code, answer.headers["location"])
    assert stage.acts == [DONE]


def test_the_script_gets_json(stage: Stage, pages: Pages) -> None:
    """The page's script reads the error sentence from the answer."""
    stage.refusal = "A-1042 was acknowledged already."
    answer = send(pages, {**OWN, "accept": "application/json"})
    assert (409, {"error": stage.refusal}) == (answer.status_code, answer.json())


def test_reading_acknowledges_nothing(stage: Stage, pages: Pages) -> None:
    """A link, a prefetch or a preview robot changes nothing."""
    for method in ("GET", "HEAD", "OPTIONS"):
        answer = pages.ask(method, f"/acknowledge?number=A-1042&token={pages.token()}", headers=OWN)
        assert answer.status_code == 405
    assert stage.acts == []


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://elsewhere.test"},  # plain http: no Sec-Fetch-Site
        {"sec-fetch-site": "cross-site", "origin": "http://127.0.0.1:8080"},
    ],
)
def test_another_site_is_refused(stage: Stage, pages: Pages, headers: dict[str, str]) -> None:
    """Even with the right token a request from another site is refused."""
    assert send(pages, headers).status_code == 403
    assert stage.acts == []


@pytest.mark.parametrize("headers", [{}, {"origin": "http://127.0.0.1:8080"}, {"origin": "null"}])
def test_plain_http_still_works(stage: Stage, pages: Pages, headers: dict[str, str]) -> None:
    """Browsers leave Sec-Fetch-Site out on plain http: then origin and token decide."""
    assert send(pages, headers).status_code == 303
    assert len(stage.acts) == 1


@pytest.mark.parametrize(
    ("status", "fields"), [(403, {"token": "guessed"}), (403, {"token": "ü"}), (413, {"number": "x" * 5000})]
)
def test_a_form_that_is_not_ours_is_refused(
    stage: Stage, pages: Pages, status: int, fields: dict[str, str]
) -> None:
    """A wrong token or an overlong form acknowledges nothing."""
    assert send(pages, OWN, **fields).status_code == status
    assert stage.acts == []
