"""The plan and the water path in a real browser: a slider changes words and picture, a link gives them again."""

from __future__ import annotations

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select, WebDriverWait

from tests.web.browsers import CHROMIUM, DRIVER, browser_log
from tests.web.history_stage import broken_rules

pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed"),
    pytest.mark.timeout(90),
]
SET = "const s = document.querySelector(`[name=${arguments[0]}]`); s.value = arguments[1];" + (
    "s.dispatchEvent(new Event('input', {bubbles: true}))"
)


def sentence(phone: webdriver.Chrome) -> str:
    return phone.find_element(By.ID, "plan-sentence").text


def picture(phone: webdriver.Chrome) -> tuple[str, bool]:
    """Its address, and whether the browser could draw it."""
    seen = phone.execute_script(
        "const p = document.getElementById('plan-picture'); return [p.src, p.naturalWidth > 0]"
    )
    return seen[0], seen[1]


def wait(phone: webdriver.Chrome, holds) -> None:  # type: ignore[no-untyped-def]
    WebDriverWait(phone, 10, poll_frequency=0.05).until(lambda _: holds())


def test_a_slider_changes_words_and_picture_and_a_link_gives_them_again(url: str, phone: webdriver.Chrome) -> None:
    """From a hot humid day to a desert; another dryer shows its own slider; the address holds it all."""
    phone.get(f"{url}/plan")
    assert sentence(phone).startswith("Water falls out in: aftercooler")
    wait(phone, lambda: picture(phone)[1])
    first = picture(phone)[0]
    phone.execute_script(SET, "rh", "5")
    wait(phone, lambda: sentence(phone).startswith("By this model no water falls out"))
    wait(phone, lambda: picture(phone)[0] != first and picture(phone)[1])
    cold = phone.find_element(By.NAME, "cold_pdp")
    assert not cold.is_displayed()
    Select(phone.find_element(By.NAME, "dryer")).select_by_visible_text("refrigerated dryer")
    wait(phone, lambda: "dryer=refrigerated" in phone.current_url)
    assert cold.is_displayed()
    link = phone.find_element(By.ID, "plan-link").get_attribute("href")
    words = phone.find_element(By.ID, "plan-words").text
    assert link and "refrigerated dryer" in words
    phone.get(link)
    assert phone.find_element(By.ID, "plan-words").text == words
    for name, value in (
        ("air", "50"),
        ("rh", "100"),
        ("line_p", "14"),
        ("discharge", "120"),
    ):  # beyond what the physics holds for
        phone.execute_script(SET, name, value)
    wait(phone, lambda: sentence(phone).startswith("Not worked out: "))
    assert not phone.find_element(By.ID, "plan-picture").is_displayed()


def test_the_water_path_says_where_each_litre_is_from(url: str, phone: webdriver.Chrome) -> None:
    """The train's gaps, and twice the air is twice the water."""
    phone.get(f"{url}/water?train=T1&flow=10")
    rows = [each.text for each in phone.find_elements(By.CSS_SELECTOR, ".water-table tbody tr")]
    assert [row.split(",")[0] for row in rows] == ["intake", "salt dryer", "pot"]
    assert "measured" in rows[1] and "modelled" in rows[2]
    assert len(phone.find_elements(By.CSS_SELECTOR, ".gap")) >= 1
    once = _litres(phone)
    field = phone.find_element(By.NAME, "flow")
    field.clear()
    field.send_keys("20")
    phone.find_element(By.CSS_SELECTOR, ".water-flow button").click()
    WebDriverWait(phone, 10).until(lambda driver: "flow=20" in driver.current_url)
    assert _litres(phone) == pytest.approx(2 * once, abs=0.02) and once > 1.0


def _litres(phone: webdriver.Chrome) -> float:
    said = phone.find_element(By.CSS_SELECTOR, ".water-table tbody tr:nth-child(2) td").text
    return float(said.removesuffix(" L/h"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", ["/plan", "/water"])
def test_nothing_stands_in_a_reader_s_way(url: str, phone: webdriver.Chrome, page: str, scheme: str) -> None:
    """axe-core finds nothing, the page is no wider than the phone, the policy is kept."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    phone.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    phone.get(f"{url}{page}")
    assert broken_rules(phone) == []
    assert phone.execute_script("return document.documentElement.scrollWidth") == 390
    assert [each for each in browser_log(phone) if "Content Security Policy" in each["message"]] == []
