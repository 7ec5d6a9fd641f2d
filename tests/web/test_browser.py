"""A real browser and a real server: a verdict changes, an alarm is acknowledged, the link is lost."""

from __future__ import annotations

import http.client
import json
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from gateway.payload import canonical
from tests.web.browsers import CHROMIUM, DRIVER, Server, browser_log, wait_for
from tests.web.served import PASSWORD

pytestmark = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A running server."""
    running = Server(tmp_path)
    yield running
    if running.process.poll() is None:
        running.end(signal.SIGKILL)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server for the tests that leave it alive."""
    running = Server(tmp_path_factory.mktemp("served"))
    yield running
    running.end(signal.SIGKILL)


@pytest.mark.timeout(90)
def test_a_person_follows_the_board_and_notices_its_loss(server: Server, browser: webdriver.Chrome) -> None:
    """Live, a changed verdict, an acknowledgement, then the words of a lost link within five seconds."""
    browser.get(server.url)
    wait_for(browser, "#link", "Live", 5)
    wait_for(browser, ".word", "outside limits", 1)
    server.show_inside()
    wait_for(browser, ".word", "inside limits", 4)

    time.sleep(2.2)  # two more seconds of the board must not spoil the form
    browser.find_element(By.CSS_SELECTOR, "form[data-act='acknowledge A-1042'] button").click()
    wait_for(browser, ".alarm .state", "A-1042 acknowledged", 4)
    said = json.loads((server.folder / "acknowledged").read_text())
    assert said == {"act": "acknowledge", "number": "A-1042", "person": "lead"}

    refused = [entry for entry in browser_log(browser) if "Content Security Policy" in entry["message"]]
    assert refused == []
    server.end(signal.SIGKILL)
    wait_for(browser, "#link", "Connection lost. Values below are from ", 5)
    assert browser.find_element(By.CSS_SELECTOR, ".word").is_displayed()  # the last values stay


@pytest.mark.timeout(60)
def test_a_frozen_server_is_noticed_too(server: Server, browser: webdriver.Chrome) -> None:
    """The socket stays open, so the silence itself has to tell; when the server goes on, so does the page."""
    browser.get(server.url)
    wait_for(browser, "#link", "Live", 5)
    os.kill(server.process.pid, signal.SIGSTOP)
    try:
        wait_for(browser, "#link", "Connection lost. Values below are from ", 5)
    finally:
        os.kill(server.process.pid, signal.SIGCONT)
    wait_for(browser, "#link", "Live", 10)


def _session_opens(server: Server) -> bool:
    """Whether the other phone's session still opens the account page, asked from another address."""
    made = http.client.HTTPConnection("127.0.0.1", urlsplit(server.url).port, source_address=("127.0.0.9", 0))
    made.request("GET", "/account", headers={"Cookie": f"dewgate={(server.folder / 'session').read_text()}"})
    return made.getresponse().status == 200


@pytest.mark.timeout(90)
def test_a_person_signs_in_and_out_everywhere(shared: Server, browser: webdriver.Chrome) -> None:
    """The door, the own page, and the other phone, whose board ends too."""
    assert _session_opens(shared)
    browser.get(f"{shared.url}sign-in?back=%2Faccount")
    browser.find_element(By.NAME, "name").send_keys("Kim")
    browser.find_element(By.NAME, "password").send_keys("not the password" + Keys.ENTER)
    wait_for(browser, ".problem", "Name or password is not right.", 10)
    browser.find_element(By.NAME, "password").send_keys(PASSWORD + Keys.ENTER)
    wait_for(browser, "h1", "Kim", 10)
    browser.find_element(By.CSS_SELECTOR, "form[action='/sign-out-everywhere'] button").click()
    wait_for(browser, "h1", "Sign in", 10)
    assert not _session_opens(shared)
    assert browser.get_cookies() == []


@pytest.mark.timeout(60)
def test_the_keeper_changes_a_limit(shared: Server, browser: webdriver.Chrome) -> None:
    """From the page to what the writer finds."""
    browser.get(f"{shared.url}set-up")
    browser.find_element(By.CSS_SELECTOR, "details[data-act='limit margin'] summary").click()
    form = browser.find_element(By.CSS_SELECTOR, "form[action='/set-up/limit']")
    threshold = form.find_element(By.NAME, "threshold")
    threshold.clear()
    threshold.send_keys("4.5")
    form.find_element(By.NAME, "why").send_keys("revision 2" + Keys.ENTER)
    wait_for(browser, "h1", "Set-up", 10)
    (left,) = (shared.folder / "inbox").glob("*.config")
    said = canonical.to_dict(left.read_bytes())
    assert (said["who"], said["why"]) == ("lead", "revision 2")
    assert [each.threshold for each in canonical.jobsite_of(left.read_bytes()).limits] == [4.5]


@pytest.mark.timeout(60)
def test_the_keeper_says_what_a_person_hears_of(shared: Server, browser: webdriver.Chrome) -> None:
    """On a phone: each line is as high as a glove, its words tick the box, and nothing runs off the side."""
    for old in (shared.folder / "inbox").glob("*.config"):
        old.unlink()
    browser.get(f"{shared.url}set-up")
    browser.find_element(By.CSS_SELECTOR, "details[data-act='person lead'] summary").click()
    form = browser.find_element(By.CSS_SELECTOR, "details[data-act='person lead'] form[action='/set-up/person']")
    lines = form.find_elements(By.CSS_SELECTOR, ".ticks label")
    assert [line.size["height"] >= 48 for line in lines] == [True] * 3
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]
    lines[0].click()
    lines[1].click()
    form.find_element(By.NAME, "why").send_keys("he minds the sensors" + Keys.ENTER)
    wait_for(browser, "h1", "Set-up", 10)
    (left,) = (shared.folder / "inbox").glob("*.config")
    (lead,) = (each for each in canonical.jobsite_of(left.read_bytes()).people if each.id == "lead")
    assert lead.told_of == ("instruments",)


@pytest.mark.timeout(90)
def test_what_was_seen_last_survives_a_reload_without_the_gateway(
    server: Server, browser: webdriver.Chrome
) -> None:
    """Where the browser allows it: the same words of a lost link, over the last verdict."""
    browser.get(server.url)
    wait_for(browser, "#link", "Live", 10)
    browser.execute_async_script("navigator.serviceWorker.ready.then(arguments[0])")
    browser.refresh()  # now through the worker
    wait_for(browser, "#link", "Live", 10)
    server.show_inside()
    wait_for(browser, ".word", "inside limits", 5)
    server.end(signal.SIGKILL)
    browser.refresh()
    wait_for(browser, "#link", "Connection lost. Values below are from ", 15)
    wait_for(browser, ".word", "inside limits", 2)
