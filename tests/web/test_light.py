"""The board is light and quick: on the wire, on a slow phone, for a hundred readers."""

from __future__ import annotations

import http.client
import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from selenium import webdriver

from tests.web.browsers import CHROMIUM, DRIVER, Server

needs_browser = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed")
PHONE = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 94_000}  # 1.6 Mbit/s
FIRST = """const paint = performance.getEntriesByName("first-contentful-paint")[0];
return [paint ? paint.startTime : null, document.querySelector(".word").getBoundingClientRect().top,
  performance.getEntries().reduce((sum, each) => sum + (each.transferSize || 0), 0)];"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A running server."""
    running = Server(tmp_path_factory.mktemp("served"))
    yield running
    running.end(signal.SIGKILL)


@needs_browser
@pytest.mark.timeout(90)
def test_the_first_verdict_is_there_within_a_second_on_a_slow_phone(
    server: Server, browser: webdriver.Chrome
) -> None:
    """4x slower processor, 1.6 Mbit/s, 150 ms: the verdict is in the first paint; at most 60 kB on the wire.

    The best of up to five, since other programs share the machine.
    """
    browser.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": True})
    browser.execute_cdp_cmd("Network.setBypassServiceWorker", {"bypass": True})
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", PHONE)
    browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 4})
    found: list[tuple[float, int]] = []
    while len(found) < 5 and min(found, default=(9e9, 0))[0] >= 1000:
        found.append(_first_paint(browser, server.url))
    best_ms, on_wire = min(paint for paint, _ in found), max(size for _, size in found)
    print(f"bench board_first_verdict {best_ms:.0f} ms goal <1000; board_on_wire {on_wire} B goal <=60000")
    assert best_ms < 1000
    assert on_wire <= 60_000


def _first_paint(browser: webdriver.Chrome, url: str) -> tuple[float, int]:
    browser.get(url)
    time.sleep(1)
    paint_ms, top, size = browser.execute_script(FIRST)
    assert paint_ms is not None
    assert top < 844, "the first verdict is on the first screen of a phone"
    return float(paint_ms), int(size)


def _streams(server: Server, count: int, stack: ExitStack) -> None:
    """Open so many boards, from as many addresses as a client's limit needs."""
    port = urlsplit(server.url).port
    cookie = {"Cookie": f"dewgate={(server.folder / 'session').read_text()}"}
    for number in range(count):
        source = (f"127.0.0.{2 + number // 20}", 0)
        made = http.client.HTTPConnection("127.0.0.1", port, timeout=10, source_address=source)
        stack.callback(made.close)
        made.request("GET", "/live", headers=cookie)
        answer = made.getresponse()
        assert answer.status == 200
        assert answer.readline() == b"retry: 2000\n"


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.timeout(60)
def test_a_hundred_open_boards_take_less_than_a_twentieth_of_a_core(server: Server) -> None:
    """Each gets every second; drawn once for all who read alike."""
    with ExitStack() as stack:
        _streams(server, 100, stack)
        time.sleep(1)
        before, began = _cpu_s(server.process.pid), time.monotonic()
        time.sleep(6)
        share = (_cpu_s(server.process.pid) - before) / (time.monotonic() - began)
    print(f"bench hundred_boards {100 * share:.1f} % goal <5")
    assert share < 0.05
