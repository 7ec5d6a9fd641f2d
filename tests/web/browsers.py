"""A real browser and the real server in a process of its own, for the tests that look at pages."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--window-size=390,844",
)  # fmt: skip


class Server:
    """The board server as its own process, so that it can be killed."""

    def __init__(self, folder: Path) -> None:
        """Args: folder: where the process says its port and reads which verdict to show."""
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.web.served", str(folder)], cwd=Path(__file__).parents[2]
        )
        self.url = f"http://127.0.0.1:{self._port()}/"

    def _port(self) -> int:
        deadline = time.monotonic() + 40
        while time.monotonic() < deadline:
            if (self.folder / "port").exists():
                return int((self.folder / "port").read_text())
            time.sleep(0.05)
        raise TimeoutError("the server did not start")

    def show_inside(self) -> None:
        """Let the first area come back inside its limits."""
        (self.folder / "inside").touch()

    def end(self, number: signal.Signals) -> float:
        """Send the signal and return the seconds until the process was gone."""
        started = time.monotonic()
        os.kill(self.process.pid, number)
        self.process.wait(10)
        return time.monotonic() - started


def open_browser(profile: Path, *more: str) -> webdriver.Chrome:
    """Return a headless browser with a fresh profile; its log also has every request."""
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for flag in (*FLAGS, f"--user-data-dir={profile}", *more):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(DRIVER))


def wait_for(browser: webdriver.Chrome, selector: str, text: str, seconds: float) -> None:
    """Wait until the first such element holds the text; its node may be replaced meanwhile."""
    script = "const e = document.querySelector(arguments[0]); return e ? e.textContent : ''"
    WebDriverWait(browser, seconds, poll_frequency=0.1).until(
        lambda driver: text in driver.execute_script(script, selector), f"{selector} never said {text!r}"
    )


def browser_log(browser: webdriver.Chrome) -> list[dict[str, str]]:
    """What the browser complained of."""
    return list(browser.get_log("browser"))  # type: ignore[no-untyped-call]


def requests(browser: webdriver.Chrome) -> list[str]:
    """Every address a page asked for since the last call, browsers' own pages left out."""
    lines = [json.loads(line["message"])["message"] for line in browser.get_log("performance")]  # type: ignore[no-untyped-call]
    asked = [line["params"]["request"]["url"] for line in lines if line["method"] == "Network.requestWillBeSent"]
    return [url for url in asked if not url.startswith(("chrome", "about:"))]
