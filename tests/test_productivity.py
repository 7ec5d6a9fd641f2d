"""The note on pressure: only with a set point, only while blasting, always labelled, at the user's own prices."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from alerts.measured import Measured, Quantity, Validity, unknown
from gateway.config import ConfigErrors, load, to_toml
from gateway.costs import Costs
from gateway.jobsite import Jobsite, Piece, Point
from gateway.overview import board
from gateway.productivity import LABEL, Note, note
from gateway.site_costs import costs, price, rate
from gateway.web.tongue import translated
from tests.sites import sensor, site
from tests.test_flow import Day, values

DEMO = Path(__file__).parent.parent / "deploy" / "demo.toml"
PSI = 6894.757293168
COSTS = Costs(690_000.0, 240.0, 600.0, 0.35, "EUR")


def jobsite(stated: Costs = COSTS) -> Jobsite:
    plain = site()
    pot = Piece("pot", "pot", "pot", Point(pressure="pot-p"), wall="pot-skin")
    train = replace(plain.trains[0], pieces=(plain.trains[0].pieces[0], pot), costs=stated)
    gauge = sensor("pot-p", Quantity.GAUGE_PRESSURE, "bar", 5e3, "gauge")
    return replace(plain, trains=(train,), sensors=(*plain.sensors, gauge))


def said(gauge_pa: float | None, stated: Costs = COSTS, u: float = 0.0) -> Note | None:
    value = unknown("pot-p: silent", 0) if gauge_pa is None else Measured(gauge_pa, u, 0, Validity.GOOD)
    return note(jobsite(stated).trains[0], lambda _: value)


def test_ten_psi_are_fifteen_hundredths_of_the_work() -> None:
    """1.5 % a psi: 15 % lost, so 15/85 of an hour more, 106 kg of 600 kg/h, and 42.35 + 37.06 EUR."""
    found = said(690_000.0 - 10 * PSI)
    assert found is not None
    assert found.share == pytest.approx(0.15)
    assert found.hours_per_hour == pytest.approx(15 / 85)
    assert found.abrasive_kg_per_hour == pytest.approx(600 * 15 / 85)
    assert LABEL in found.words
    assert "the pot stands 0.69 bar (10 psi) below its set point" in found.words
    assert "common practice, no source" in found.words
    assert "about 15% may be lost, or 11 min of blasting for each hour, and 106 kg of abrasive" in found.words
    assert found.words.endswith(": about 79 EUR for each hour, at your prices.")


def test_nothing_is_said_where_nothing_can_be_told() -> None:
    """No set point, no reading, a vented pot, a pot at its set point, a drop within the gauge's uncertainty."""
    assert said(600_000.0, Costs()) is None
    assert said(None) is None
    assert said(0.0) is None
    assert said(700_000.0) is None
    assert said(690_000.0 - PSI, u=PSI) is None
    assert said(690_000.0 - PSI, u=PSI / 4) is not None
    assert said(300_000.0) is None  # beyond half of the work the rule says nothing


def test_without_prices_no_price_is_made_up() -> None:
    """Hours only, then hours and abrasive; a currency is the user's own."""
    bare = said(600_000.0, Costs(690_000.0))
    assert bare is not None
    assert bare.abrasive_kg_per_hour is None
    assert "prices" not in bare.words
    assert "abrasive" not in bare.words


def test_the_file_says_what_it_costs(tmp_path: object) -> None:
    """Read, written and read again to the same; every mistake with what to write instead."""
    demo = load(DEMO)
    text = to_toml(replace(demo, trains=(replace(demo.trains[0], costs=COSTS),)))
    path = tmp_path / "site.toml"  # type: ignore[operator]
    path.write_text(text)
    assert 'hour_price = "240.0 EUR"' in text
    assert load(path).trains[0].costs == COSTS
    path.write_text(text.replace('"240.0 EUR"', '"240"'))
    with pytest.raises(ConfigErrors, match="write a number, a blank and a currency, such as '240 EUR'"):
        load(path)
    path.write_text(text.replace('"240.0 EUR"', '"240.0 USD"'))
    with pytest.raises(ConfigErrors, match="write both in one currency"):
        load(path)


@pytest.mark.parametrize(
    ("text", "expected"), [("240 EUR", (240.0, "EUR")), ("0.35 €", (0.35, "€")), ("", (None, ""))]
)
def test_a_price_is_read(text: str, expected: tuple[float | None, str]) -> None:
    assert price(text) == expected


def test_a_rate_is_read_in_kg_an_hour() -> None:
    """Tonnes and pounds too."""
    assert rate("0.6 t/h") == pytest.approx(600.0)
    assert costs("100 psi", "", "", "").pot_set_point_pa == pytest.approx(100 * PSI)
    assert costs("", "240 EUR", "", "").currency == costs("", "", "", "0.35 EUR").currency == "EUR"


def test_the_board_shows_it_while_it_blasts() -> None:
    """With its label, in Spanish with its figures; gone when the pot is vented or the set point is not stated."""
    day = Day(at=jobsite())
    day.pass_time(60, **values(), **{"pot-p": 6.2})
    shown = board(day.flow, day.now)
    assert shown is not None
    (said,) = shown.notes
    assert LABEL in said and said.endswith("for each hour, at your prices.")
    spanish = translated(said, "es")
    assert "Regla práctica (uso común, sin fuente)" in spanish and "0.70 bar (10 psi)" in spanish
    day.pass_time(60, **values(), **{"pot-p": 0.0})
    vented = board(day.flow, day.now)
    assert vented is not None and vented.notes == ()
    plain = Day(at=jobsite(Costs()))
    plain.pass_time(60, **values(), **{"pot-p": 6.2})
    unpriced = board(plain.flow, plain.now)
    assert unpriced is not None and unpriced.notes == ()
