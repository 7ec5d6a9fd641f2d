"""The page behind a link that acknowledges: robots look, persons press, and pressing twice says so."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from alerts import delivery_links
from alerts.delivery_book import Book
from tests.test_delivery import a_row
from tests.test_delivery_links import Acts
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS


@pytest.fixture
def link(tmp_path: Path) -> str:
    """The path of a link that is good now."""
    made = delivery_links.make("A-7", "http://gateway.lan:8080")
    assert made
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.lease(a_row(7), NOW_MS, (made[1], "A-7 <b>Stop</b> blasting."))
    return made[0].removeprefix("http://gateway.lan:8080")


@pytest.fixture
def pages(stage: Stage) -> Pages:
    """A phone that is nobody here."""
    stage.open = False
    return Pages(stage.app(), "gateway.lan:8080", "10.0.0.9")


def test_robots_that_look_acknowledge_nothing(pages: Pages, link: str, stage: Stage) -> None:
    for method, status in (("GET", 200), ("HEAD", 405), ("GET", 200), ("OPTIONS", 405)):
        assert pages.ask(method, link).status_code == status
    page = pages.ask("GET", link)
    assert "This acknowledges A-7 in the name of <strong>lead</strong>." in page.text
    assert "A-7 &lt;b&gt;Stop&lt;/b&gt; blasting." in page.text
    assert '<form method="post">' in page.text
    assert stage.acts == []


def test_the_page_speaks_the_language_its_person_is_told_in(pages: Pages, link: str, stage: Stage) -> None:
    assert stage.site
    stage.site = replace(stage.site, people=tuple(replace(each, language="es") for each in stage.site.people))
    page = pages.ask("GET", link).text
    assert '<html lang="es">' in page and "Esto reconoce A-7 en nombre de <strong>lead</strong>." in page
    assert "Reconocida" in pages.ask("POST", link).text
    assert "Este enlace ya se usó" in pages.ask("GET", link).text


def test_pressing_acknowledges_once_and_then_says_so(pages: Pages, link: str, stage: Stage) -> None:
    first = pages.ask("POST", link)
    assert (first.status_code, "A-7 was acknowledged in the name of <strong>lead</strong>" in first.text) == (
        200,
        True,
    )
    second = pages.ask("POST", link)
    assert (second.status_code, delivery_links.USED in second.text) == (410, True)
    shown = pages.ask("GET", link)
    assert (shown.status_code, delivery_links.USED in shown.text, "<form" in shown.text) == (410, True, False)
    assert [body["number"] for body in stage.acts] == ["A-7"]


def test_two_who_press_at_once_are_one(tmp_path: Path, link: str) -> None:
    acts, answers = Acts(), list[str]()
    token = link.rpartition("/")[2]

    def slowly(body: Mapping[str, str | int]) -> str | None:
        time.sleep(0.05)  # long enough for the others to come in between
        return acts(body)

    def press() -> None:
        made = delivery_links.use(tmp_path / "delivery.db", token, NOW_MS, slowly)
        assert made
        answers.append(made.refused)

    threads = [threading.Thread(target=press) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == ["", *[delivery_links.USED] * 7]
    assert len(acts.taken) == 1


def test_another_sites_page_cannot_press(pages: Pages, link: str, stage: Stage) -> None:
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "http://evil.test"}):
        answer = pages.ask("POST", link, headers=headers)
        assert (answer.status_code, "another site" in answer.text) == (403, True)
    assert stage.acts == []
    assert pages.ask("POST", link, headers={"origin": "http://gateway.lan:8080"}).status_code == 200


def test_an_alarm_that_waits_no_more_is_said(pages: Pages, link: str, stage: Stage) -> None:
    stage.refusal = "A-7 is not an alarm that waits to be acknowledged."
    answer = pages.ask("POST", link)
    assert (answer.status_code, stage.refusal in answer.text) == (409, True)


def test_a_link_that_is_not_known_or_cannot_be_looked_up_now(pages: Pages, link: str, tmp_path: Path) -> None:
    for method in ("GET", "POST"):
        answer = pages.ask(method, f"{delivery_links.PATH}nothing")
        assert (answer.status_code, "This link is not known here." in answer.text) == (404, True)
    (tmp_path / "delivery.db").write_bytes(b"no database" * 100)
    answer = pages.ask("POST", link)
    assert (answer.status_code, "try again in a moment" in answer.text) == (503, True)


def test_nobody_keeps_indexes_or_is_told_of_the_page(pages: Pages, link: str) -> None:
    def headers(answer: httpx.Response) -> list[str]:
        return [answer.headers[name] for name in ("cache-control", "x-robots-tag", "referrer-policy")]

    for method in ("GET", "POST", "POST"):
        assert headers(pages.ask(method, link)) == ["no-store", "noindex", "no-referrer"]
