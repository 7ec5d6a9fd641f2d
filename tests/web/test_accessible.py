"""Every page by axe-core (WCAG 2.2 AA, automatic rules only) in both schemes; the main path by keyboard alone."""

from __future__ import annotations

import json
import re
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from fastapi.routing import APIRoute
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.web.browsers import CHROMIUM, DRIVER, Server, requests, wait_for
from tests.web.conftest import Stage

pytestmark = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed")
AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# The same nodes in other colours: only contrast can differ.
WANTED = {"light": {"type": "tag", "values": RULES}, "dark": {"type": "rule", "values": ["color-contrast"]}}
RUN = """const done = arguments[arguments.length - 1];
document.querySelectorAll("details").forEach((each) => { each.open = true; });
axe.run(document, {runOnly: arguments[0], resultTypes: ["violations"]}).then((found) => done(found.violations.map(
  (each) => each.id + ": " + each.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | "))));"""
SMALL = """return [...document.querySelectorAll("button, select, summary, nav a, .jump")]
  .filter((each) => each.offsetParent && each.getBoundingClientRect().height < 48)
  .map((each) => each.outerHTML)"""
FOCUS = """const at = document.activeElement;
return [at.tagName, at.textContent, getComputedStyle(at).outlineStyle]"""
PAGES = (
    "", "alarms", "alarms/A-7", "alarms/A-99", "steel", "limits", "entries", "entries?kind=blotter+test",
    "entries?kind=reference+check", "set-up", "set-up/file", "set-up/heard", "record", "record/what-if", "people",
    "account", "sign-in", "begin", "acknowledge/0123456789abcdef",
    "dryers", "dryers/D-1", "dryers/D-1/tests/2026-07-13-return",
)  # fmt: skip
ELSEWHERE = {"/history", "/history/entries", "/water", "/plan"}  # with a month of values, in their own tests
NO_PAGES = re.compile(
    r"/(live|health|metrics|sw\.js|data/.*|photo/.*|plan/.+|history/(data|file.*)|.*\.toml|record/file/.*|.*\.pdf)"
)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One server for all pages."""
    running = Server(tmp_path_factory.mktemp("served"))
    yield running
    running.end(signal.SIGKILL)


def found_on(browser: webdriver.Chrome, url: str) -> list[str]:
    """What axe finds on a page with every fold open, in both schemes."""
    browser.get(url)
    browser.execute_script(AXE)
    found: list[str] = []
    for scheme, wanted in WANTED.items():
        media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
        found += [f"{scheme}: {each}" for each in browser.execute_async_script(RUN, wanted)]
    return found


@pytest.mark.timeout(180)
def test_no_page_breaks_a_rule(server: Server, browser: webdriver.Chrome) -> None:
    """All of them, folds open, in both schemes."""
    broken = {page: found_on(browser, server.url + page) for page in PAGES}
    assert {page: rules for page, rules in broken.items() if rules} == {}
    asked = [url for url in requests(browser) if not url.startswith((server.url, "data:", "blob:"))]
    assert asked == [], "no request leaves the gateway's own address"


def test_every_page_is_in_the_list(stage: Stage) -> None:
    """A new page is tried from its first day on."""
    asked = {f"/{page.partition('?')[0]}" for page in PAGES} | ELSEWHERE
    routes = {each.path for each in stage.app().routes if isinstance(each, APIRoute) and "GET" in each.methods}
    wanted = [re.sub(r"\{.*?\}", "[^/]+", path) for path in routes if not NO_PAGES.fullmatch(path)]
    assert len(wanted) > 18
    assert [path for path in wanted if not any(re.fullmatch(path, each) for each in asked)] == []


@pytest.mark.timeout(60)
def test_every_target_is_large_enough_for_gloves(server: Server, browser: webdriver.Chrome) -> None:
    """48 CSS pixels high on the board, twice what WCAG 2.2, 2.5.8 asks for; words in a line are exempt."""
    browser.get(server.url)
    assert browser.execute_script(SMALL) == []


@pytest.mark.timeout(60)
def test_an_alarm_is_shelved_with_the_keyboard_alone(server: Server, browser: webdriver.Chrome) -> None:
    """Tab to the fold, open it, write why, send; the focus is never lost to the stream."""
    browser.get(server.url)
    wait_for(browser, "#link", "Live", 10)
    _tab_to(browser, "Shelve A-1042", "SUMMARY")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    _tab_to(browser, "60 min", "SELECT")
    ActionChains(browser).send_keys(Keys.TAB, "washing down").pause(2.2).send_keys(Keys.TAB, Keys.ENTER).perform()
    wait_for(browser, "form[data-act='shelve A-1042'] .answer", "Done", 5)
    said: dict[str, Any] = json.loads((server.folder / "acknowledged").read_text())
    assert (said["act"], said["number"], said["reason"]) == ("shelve", "A-1042", "washing down")


@pytest.mark.timeout(60)
def test_the_main_path_needs_no_pointer(server: Server, browser: webdriver.Chrome) -> None:
    """Acknowledge, begin blasting, then the alarms and who was told: Tab, Enter and nothing else."""
    (server.folder / "acknowledged").unlink(missing_ok=True)
    browser.get(server.url)
    wait_for(browser, "#link", "Live", 10)
    _tab_to(browser, "Acknowledge A-1042", "BUTTON")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait_for(browser, "form[data-act='acknowledge A-1042'] .answer", "Done", 5)
    said: dict[str, Any] = json.loads((server.folder / "acknowledged").read_text())
    assert (said["act"], said["number"]) == ("acknowledge", "A-1042")
    _tab_to(browser, "Begin work here", "SUMMARY")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    _tab_to(browser, "blasting", "BUTTON")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait_for(browser, "form[data-act^='begin '] .answer", "Done", 5)
    said = json.loads((server.folder / "acknowledged").read_text())
    assert (said["act"], said["activity"]) == ("begin", "blasting")
    _tab_to(browser, "Alarms", "A")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait_for(browser, "h1", "Alarms", 5)
    _tab_to(browser, "A-7", "A")
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    wait_for(browser, "main", "Who was told", 5)


def _tab_to(browser: webdriver.Chrome, text: str, tag: str) -> None:
    """Press Tab until the focus is on such an element; in one look, since the stream may draw it anew."""
    for _ in range(150):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        at, said, outline = browser.execute_script(FOCUS)
        if at == tag and text in said:
            assert outline != "none", "the focus must be seen"
            return
    raise AssertionError(f"{text or tag} is not reached by Tab")
