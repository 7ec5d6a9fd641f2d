"""A browser as large as a phone and a server on a made month, shared by the tests of these pages; their hands."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import axe_playwright_python
import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from tests.web.browsers import CHROMIUM, DRIVER, FLAGS
from tests.web.history_home import make

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def made_month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with a made month, to be copied."""
    home = tmp_path_factory.mktemp("month")
    make(home)
    return home


@pytest.fixture(scope="session")
def url(made_month: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server on a made month."""
    home = shutil.copytree(made_month, tmp_path_factory.mktemp("history"), dirs_exist_ok=True)
    words = [sys.executable, "-m", "tests.web.history_home", str(home)]
    process = subprocess.Popen(words, cwd=Path(__file__).parents[2])
    deadline = time.monotonic() + 20
    while not (home / "port").exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{(home / 'port').read_text()}"
    os.kill(process.pid, signal.SIGTERM)
    process.wait(10)


@pytest.fixture(scope="session")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """A browser as large as a phone, that keeps a list of its requests."""
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    )
    driver.set_script_timeout(60)
    driver.get("about:blank")
    driver.get_log("performance")  # type: ignore[no-untyped-call]  # what the browser did for itself
    yield driver
    driver.quit()


@pytest.fixture
def browser(phone: webdriver.Chrome) -> Iterator[webdriver.Chrome]:
    """The shared browser as a new one: no cookies, nothing kept, nothing slowed down, no scheme chosen."""
    _as_new(phone)
    yield phone
    _as_new(phone)


def _as_new(phone: webdriver.Chrome) -> None:
    phone.get("about:blank")
    free = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    for call, words in (
        ("Network.enable", {}), ("Network.clearBrowserCookies", {}), ("Network.clearBrowserCache", {}),
        ("Network.setCacheDisabled", {"cacheDisabled": False}), ("Network.emulateNetworkConditions", free),
        ("Network.setBypassServiceWorker", {"bypass": False}), ("Emulation.setCPUThrottlingRate", {"rate": 1}),
        ("Emulation.setEmulatedMedia", {"media": "", "features": []}),
    ):  # fmt: skip
        phone.execute_cdp_cmd(call, words)
    for log in ("browser", "performance"):
        phone.get_log(log)  # type: ignore[no-untyped-call]


def open_view(phone: webdriver.Chrome, address: str) -> None:
    phone.get(address)
    wait_ready(phone)


def wait_ready(phone: webdriver.Chrome) -> None:
    settled = "return !!document.getElementById('history').dataset.ready && !/Fetching|Working/.test(arguments[0])"
    WebDriverWait(phone, 20, poll_frequency=0.05).until(
        lambda driver: driver.execute_script(settled, status(driver)), "history was never drawn"
    )
    time.sleep(0.1)  # the drawing itself comes with the next frame


def status(phone: webdriver.Chrome) -> str:
    return str(phone.execute_script("return document.getElementById('history-status').textContent"))


def shown_range(phone: webdriver.Chrome) -> tuple[int, int]:
    """The range in the page's address, UTC ms."""
    query = parse_qs(urlsplit(phone.current_url).query)
    ends = phone.execute_script(
        "return arguments[0].map((each) => Date.parse(each))", [query["from"][0], query["until"][0]]
    )
    return ends[0], ends[1]


def after(phone: webdriver.Chrome, before: tuple[int, int]) -> tuple[int, int]:
    """The range once it is another and drawn."""
    WebDriverWait(phone, 10, poll_frequency=0.05).until(lambda _: shown_range(phone) != before, "nothing moved")
    wait_ready(phone)
    return shown_range(phone)


def stack(phone: webdriver.Chrome):  # type: ignore[no-untyped-def]
    return phone.find_element(By.ID, "history-stack")


def press(phone: webdriver.Chrome, *keys: str) -> None:
    stack(phone).send_keys(*keys)


def middle_of_first_panel(phone: webdriver.Chrome) -> tuple[int, int]:
    phone.execute_script("window.scrollTo(0, 0)")
    box = phone.execute_script(
        "const b = document.querySelector('[data-panel] canvas').getBoundingClientRect();"
        "return [Math.round(b.left + b.width / 2), Math.round(b.top + b.height / 2)]"
    )
    return box[0], box[1]


def broken_rules(phone: webdriver.Chrome) -> list[str]:
    phone.execute_script(AXE)
    found = phone.execute_async_script(
        "const done = arguments[0]; axe.run(document, {runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa',"
        "'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}}).then((r) => done([r.violations, r.passes.length]))"
    )
    assert found[1] > 15  # it has run
    return [f"{each['id']}: {node['html'][:120]}" for each in found[0] for node in each["nodes"]]


def table_of(phone: webdriver.Chrome) -> list[list[str]]:
    WebDriverWait(phone, 10).until(lambda driver: driver.find_elements(By.CSS_SELECTOR, ".table-holder tbody tr"))
    rows: list[list[str]] = phone.execute_script(
        "return [...document.querySelectorAll('.table-holder tr')]"
        ".map((r) => [...r.cells].map((c) => c.textContent))"
    )
    return rows
