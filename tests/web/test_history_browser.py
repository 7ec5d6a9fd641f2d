"""The history page in a real browser: quick on a slow phone, quiet under the pointer, alike by link."""

from __future__ import annotations

import json
import urllib.request
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from tests.web.browsers import CHROMIUM, DRIVER, browser_log
from tests.web.history_home import DAY_MS, HOUR_MS, NOW_MS
from tests.web.history_stage import (
    after,
    broken_rules,
    middle_of_first_panel,
    open_view,
    press,
    shown_range,
    status,
    table_of,
)

pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed"),
    pytest.mark.timeout(120),
]
WEEK = "/history?place=A&from=2026-07-01T10:00Z&until=2026-07-08T10:00Z"
COUNT = """
window.strokes = {lines: 0, over: 0};
for (const name of ["stroke", "fill", "fillRect", "fillText"]) {
  const own = CanvasRenderingContext2D.prototype[name];
  CanvasRenderingContext2D.prototype[name] = function (...more) {
    window.strokes[this.canvas.className === "trace-over" ? "over" : "lines"] += 1;
    return own.apply(this, more);
  };
}
"""


def test_a_month_is_drawn_within_a_second_and_a_half_on_a_slow_phone(url: str, phone: webdriver.Chrome) -> None:
    """4 times slower CPU, 1.6 Mbit/s, 150 ms, nothing cached: from the navigation to the first drawing.

    The least of up to five visits, since other processes share this machine's cores.
    """
    open_view(phone, f"{url}{WEEK}")
    slow = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 93_750}
    phone.execute_cdp_cmd("Network.enable", {})
    phone.execute_cdp_cmd("Network.emulateNetworkConditions", slow)
    phone.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 4})
    seen: list[float] = []
    try:
        while len(seen) < 5 and min(seen, default=9e9) >= 1500:
            phone.execute_cdp_cmd("Network.clearBrowserCache", {})
            open_view(phone, f"{url}/history")
            marks = "return performance.getEntriesByName('history drawn')[0].startTime"
            seen.append(phone.execute_script(marks))
    finally:
        phone.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 1})
        fast = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        phone.execute_cdp_cmd("Network.emulateNetworkConditions", fast)
    assert len(phone.find_elements(By.CSS_SELECTOR, "[data-panel]")) == 10
    print(f"bench history_first_chart {min(seen):.0f} ms goal <1500")
    assert min(seen) < 1500, seen
    first, last = shown_range(phone)
    assert (first, last) == (NOW_MS - 30 * DAY_MS, NOW_MS)


def test_pointing_reads_all_panels_and_draws_no_line_again(url: str, phone: webdriver.Chrome) -> None:
    """Sixty steps of the pointer: only the cursor's own canvas is touched."""
    open_view(phone, f"{url}{WEEK}")
    phone.execute_script(COUNT)
    _, top = middle_of_first_panel(phone)
    for step in range(60):
        move = {"type": "mouseMoved", "x": 40 + 5 * step, "y": top, "pointerType": "mouse"}
        phone.execute_cdp_cmd("Input.dispatchMouseEvent", move)
    counted = phone.execute_script("return window.strokes")
    assert counted["lines"] == 0
    assert counted["over"] >= 60  # the counter counts
    said = [each.text for each in phone.find_elements(By.CSS_SELECTOR, ".trace-said")]
    assert len(said) == 12 and all(said)
    assert "The entries behind" in phone.find_element(By.ID, "history-read").text
    press(phone, "+")
    WebDriverWait(phone, 5).until(lambda driver: driver.execute_script("return window.strokes.lines") > 0)


def test_hands_and_keys_move_the_range(url: str, phone: webdriver.Chrome) -> None:
    """Keys, wheel with Ctrl, drag, two fingers, buttons: each by what it promises."""
    open_view(phone, f"{url}{WEEK}")
    begin = shown_range(phone)
    span = begin[1] - begin[0]
    press(phone, "+")
    near = after(phone, begin)
    assert near == (begin[0] + span // 4, begin[1] - span // 4)
    press(phone, "-")
    assert after(phone, near) == begin
    press(phone, Keys.SHIFT + Keys.ARROW_RIGHT)
    later = after(phone, begin)
    assert later == (begin[0] + span // 4, begin[1] + span // 4)

    x, y = middle_of_first_panel(phone)
    wheel = {"type": "mouseWheel", "x": x, "y": y, "deltaX": 0, "deltaY": -200}
    phone.execute_cdp_cmd("Input.dispatchMouseEvent", wheel | {"modifiers": 2})
    zoomed = after(phone, later)
    assert zoomed[1] - zoomed[0] == pytest.approx(span / 2, rel=0.01)
    assert sum(zoomed) / 2 == pytest.approx(sum(later) / 2, abs=0.01 * span)
    x, y = middle_of_first_panel(phone)
    for kind, at in (
        ("mousePressed", x),
        ("mouseMoved", x - 50),
        ("mouseMoved", x - 100),
        ("mouseReleased", x - 100),
    ):
        phone.execute_cdp_cmd(
            "Input.dispatchMouseEvent",
            {"type": kind, "x": at, "y": y, "button": "left", "buttons": 1, "clickCount": 1},
        )
    dragged = after(phone, zoomed)
    wide = phone.execute_script("return document.getElementById('history-stack').clientWidth")
    assert dragged[0] - zoomed[0] == pytest.approx(100 / wide * (zoomed[1] - zoomed[0]), rel=0.03)

    x, y = middle_of_first_panel(phone)
    for kind, apart in (("touchStart", 40), ("touchMove", 60), ("touchMove", 80), ("touchEnd", 0)):
        points = [{"x": x + side * apart, "y": y, "id": side} for side in (-1, 1)] if apart else []
        for each in points:
            each["id"] = max(0, each["id"])
        phone.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    pinched = after(phone, dragged)
    assert pinched[1] - pinched[0] == pytest.approx((dragged[1] - dragged[0]) / 2, rel=0.05)

    phone.find_element(By.CSS_SELECTOR, "[data-span='86400000']").click()
    day = after(phone, pinched)
    assert day[1] - day[0] == DAY_MS
    phone.find_element(By.CSS_SELECTOR, "[data-act='wider']").click()
    assert after(phone, day)[1] - after(phone, day)[0] == 2 * DAY_MS


def test_the_cursor_walks_by_keys_and_is_told_aloud(url: str, phone: webdriver.Chrome) -> None:
    """One column a step; its words are in a live region; Enter opens the entries behind the minute."""
    open_view(phone, f"{url}/history?place=A&from=2026-07-13T11:40Z&until=2026-07-13T12:40Z")
    press(phone, Keys.END)
    read = phone.find_element(By.ID, "history-read")
    last = read.text
    press(phone, *[Keys.ARROW_LEFT] * 3)
    assert read.text != last and read.get_attribute("aria-live") == "polite"
    assert "steel (coldest)" in read.text and " K" in read.text
    press(phone, Keys.ENTER)
    WebDriverWait(phone, 10).until(lambda driver: "/history/entries" in driver.current_url)
    rows = phone.find_elements(By.CSS_SELECTOR, "tbody tr")
    assert len(rows) == 6 * 8
    assert "message" in rows[0].text and "good" in rows[0].text


def test_the_link_gives_the_same_view_again(url: str, phone: webdriver.Chrome) -> None:
    """Moved by hand, then its link opened anew: the same range, the same table."""
    open_view(phone, f"{url}{WEEK}")
    before = shown_range(phone)
    press(phone, "+", Keys.SHIFT + Keys.ARROW_LEFT)
    moved = after(phone, before)
    phone.find_element(By.CSS_SELECTOR, "#history-table summary").click()
    link = phone.find_element(By.LINK_TEXT, "Link to this view").get_attribute("href")
    table = table_of(phone)
    assert link is not None and len(table) > 20
    phone.get("about:blank")
    open_view(phone, link)
    phone.find_element(By.CSS_SELECTOR, "#history-table summary").click()
    assert shown_range(phone) == moved
    assert table_of(phone) == table


def test_the_table_says_what_is_drawn(url: str, phone: webdriver.Chrome) -> None:
    """Each cell against the data, silence included; and the cursor's words against the table."""
    silent = "/history?place=A&from=2026-06-21T08:00Z&until=2026-06-22T00:00Z"
    open_view(phone, f"{url}{silent}")
    phone.find_element(By.CSS_SELECTOR, "#history-table summary").click()
    heads, *rows = table_of(phone)
    wide = phone.execute_script("return document.getElementById('history-stack').clientWidth")
    query = urlsplit(phone.current_url).query
    with urllib.request.urlopen(f"{url}/history/data?{query}&columns={wide}") as answer:
        data = json.load(answer)
    lines = [line for panel in data["panels"] for line in panel["lines"]]
    assert len(heads) == 1 + len(lines) and "Margin over the dew point: steel (coldest), K" in heads
    assert len(rows) == (data["until"] - data["from"]) // data["each"] == 64
    for column, line in enumerate(lines, 1):
        for at, row in enumerate(rows):
            mean = line["mean"][at]
            expected = "unknown" if mean is None else f"{mean:.3f}".rstrip("0").replace("-", "\N{MINUS SIGN}")
            assert row[column].startswith(expected[:-1]), (heads[column], row[0])
    unknown = [row[1] for row in rows].count("unknown")
    assert unknown == 28  # seven hours of quarters
    gaps = phone.find_element(By.CSS_SELECTOR, "[data-panel='dew_point_margin'] .trace-gaps").text
    assert gaps == "Unknown 7.0 h of 16.0 h in 1 gap."
    press(phone, Keys.HOME)
    said = phone.find_element(By.CSS_SELECTOR, "[data-panel='dew_point_margin'] .trace-said").text
    assert said.replace(" K", "") == rows[0][1]


def test_a_column_that_is_known_in_part_says_so_at_the_cursor(url: str, phone: webdriver.Chrome) -> None:
    """Seven silent hours begin and end within columns, whose numbers speak for a part of them only."""
    open_view(phone, f"{url}/history?place=A&from=2026-06-19T00:00Z&until=2026-06-24T00:00Z")
    phone.find_element(By.CSS_SELECTOR, "#history-table summary").click()
    rows = table_of(phone)[1:]
    at = next(number for number, row in enumerate(rows) if ", known " in row[1])
    press(phone, Keys.HOME, *[Keys.ARROW_RIGHT] * at)
    said = phone.find_element(By.CSS_SELECTOR, "[data-panel='dew_point_margin'] .trace-said").text
    assert said.replace(" K", "") == rows[at][1] and said.endswith(" %")
    assert said in phone.find_element(By.ID, "history-read").text


def test_a_range_without_its_entries_keeps_the_quarters(url: str, phone: webdriver.Chrome) -> None:
    """What the entries no longer tell is not drawn as silence."""
    open_view(phone, f"{url}/history?place=A&from=2026-07-01T10:00Z&until=2026-07-01T16:00Z")
    assert "from quarters of an hour" in status(phone)
    assert "not all here any more" in status(phone)
    open_view(phone, f"{url}/history?place=A&from=2026-07-13T12:00Z&until=2026-07-13T12:30Z")
    assert "5 s a column, from the entries" in status(phone)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_stands_in_a_reader_s_way(url: str, phone: webdriver.Chrome, scheme: str) -> None:
    """axe-core's rules for WCAG 2.2 A and AA, with the table open and the cursor set; on the entries too."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    phone.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    open_view(phone, f"{url}/history?place=A&from=2026-06-21T10:00Z&until=2026-06-21T15:00Z")  # silence in it
    press(phone, Keys.ARROW_LEFT)
    phone.find_element(By.CSS_SELECTOR, "#history-table summary").click()
    table_of(phone)
    assert broken_rules(phone) == []
    phone.get(f"{url}/history/entries?place=A&at=2026-07-13T12:00Z")
    assert broken_rules(phone) == []


def test_no_request_leaves_the_gateway_and_its_policy_is_kept(url: str, phone: webdriver.Chrome) -> None:
    """After all that went before: every address is the gateway's own, the policy strict and kept."""
    open_view(phone, f"{url}{WEEK}")
    sent = [json.loads(each["message"])["message"] for each in phone.get_log("performance")]  # type: ignore[no-untyped-call]
    addresses = [
        each["params"]["request"]["url"] for each in sent if each["method"] == "Network.requestWillBeSent"
    ]
    assert len(addresses) > 10
    assert [each for each in addresses if not each.startswith((f"{url}/", "about:", "data:"))] == []
    assert [each for each in browser_log(phone) if "Content Security Policy" in each["message"]] == []
    with urllib.request.urlopen(f"{url}/history") as answer:
        policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy


def test_a_page_is_printed_without_its_hands(url: str, phone: webdriver.Chrome) -> None:
    """Panels and their words stay; buttons, links and the table do not."""
    phone.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        open_view(phone, f"{url}{WEEK}")
        assert not phone.find_element(By.CSS_SELECTOR, ".history-hands").is_displayed()
        assert phone.find_element(By.CSS_SELECTOR, "[data-panel] canvas").is_displayed()
        phone.execute_script(
            "dispatchEvent(new Event('beforeprint'))"
        )  # drawn as wide as paper, not stretched to it
        width = "return document.querySelector('[data-panel] canvas').width / Math.min(2, devicePixelRatio)"
        assert phone.execute_script(width) == 42 * 16
        assert not phone.find_element(By.CSS_SELECTOR, ".trace-over").is_displayed()  # it would cover the lines
        assert phone.find_element(By.ID, "history-status").is_displayed()  # the range
        phone.execute_script("dispatchEvent(new Event('afterprint'))")
        assert phone.execute_script(width) < 390
    finally:
        phone.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_hours_are_the_site_s(url: str, phone: webdriver.Chrome) -> None:
    """12:40 UTC in July is 14:40 in Oslo."""
    open_view(phone, f"{url}/history")
    assert status(phone).startswith("Sat 13 Jun, 14:40 to Mon 13 Jul, 14:40, site time;")
    assert NOW_MS % HOUR_MS == 40 * 60_000
