"""Numbers in the reader's unit. Exact by definition: °F = 1.8 °C + 32, psi = 6894.757293168 Pa."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.measured import Quantity
from gateway.board import Amount
from gateway.web.amounts import amount, example, own
from gateway.web.gaps import groups, in_units, scale_for, side_of
from gateway.web.taste import CHOICES, Taste, chosen, taste_of
from tests.web.made import GAPS

SI, US = Taste(), Taste(temperature="°F", pressure="psi")
MARGIN = Quantity.DEW_POINT_MARGIN


@pytest.mark.parametrize(
    ("si", "us", "found"),
    [
        ("18.4 °C", "65.1 °F", Amount(Quantity.AIR_TEMPERATURE, 18.4, 0.2)),
        ("−40.0 °C", "−40.0 °F", Amount(Quantity.FROST_POINT, -40.0)),
        ("2.8 K", "5.0 °F", Amount(MARGIN, 25 / 9)),
        ("7.00 bar(g)", "101.5 psi(g)", Amount(Quantity.GAUGE_PRESSURE, 700_000.0)),
        ("1013.2 hPa", "14.70 psi", Amount(Quantity.STATION_PRESSURE, 101_325.0)),
        ("85.0 %RH", "85.0 %RH", Amount(Quantity.RELATIVE_HUMIDITY, 0.85)),
    ],
)
def test_a_value_is_written_in_the_readers_unit(si: str, us: str, found: Amount) -> None:
    """Temperatures with the offset, differences without, pressures with what they refer to."""
    assert [si, us] == [amount(found, taste) for taste in (SI, US)]


def test_no_rounding_crosses_the_limit_in_either_unit() -> None:
    """2.96 K beside 3 K stays below it, also as 5.33 °F beside 5.4 °F."""
    found, limit = Amount(MARGIN, 2.96, 0.45), Amount(MARGIN, 3.0)
    assert amount(found, SI, limit) == "2.96 K ± 0.9 K"
    assert amount(found, US, limit) == "5.3 °F ± 1.6 °F"
    assert amount(Amount(MARGIN, 2.9996, 0.45), US, limit) == "5.399 °F ± 1.6 °F"


def test_the_limit_keeps_its_own_unit_and_the_readers_stands_beside() -> None:
    """Only where it is another."""
    limit = Amount(MARGIN, 3.0)
    assert own("dew point margin at least 3 K (4.2)", limit, US) == "5.40 °F"
    assert own("dew point margin at least 3 K (4.2)", limit, SI) == ""
    assert own("dew point margin at least 5 Δ°F (4.2)", Amount(MARGIN, 25 / 9), US) == ""
    assert own("relative humidity at most 85 % (4.2)", Amount(Quantity.RELATIVE_HUMIDITY, 0.85), SI) == ""


def test_gaps_in_fahrenheit_lie_where_they_did_and_judge_the_same() -> None:
    """The side comes from the value that was judged; both ends, margin and notch are converted."""
    for gap in GAPS:
        there = in_units(gap, US)
        if gap.condensation_point_c is not None and there.condensation_point_c is not None:
            assert there.condensation_point_c == pytest.approx(1.8 * gap.condensation_point_c + 32)
        if gap.margin_k is not None and there.margin_k is not None:
            assert there.margin_k == pytest.approx(1.8 * gap.margin_k)
    drawn = [bar for group in groups(GAPS, scale_for(GAPS, US), US) for bar in group.bars]
    assert sorted(bar.side for bar in drawn) == sorted(side_of(gap) for gap in GAPS)
    first = drawn[0]
    assert (first.margin, first.ends) == ("2.2 °F ± 1.6 °F", ("dew point 53.6 °F", "temperature 55.8 °F"))


def test_what_a_person_chose_is_kept_and_anything_else_is_usual() -> None:
    """A file or form of another version chooses nothing."""
    for name, choices in CHOICES.items():
        for choice in choices:
            taste = chosen({name: choice})
            assert getattr(taste, name) == choice
            assert taste_of(taste.written()) == taste
    assert taste_of("klingon furlong") == Taste()
    assert chosen({"language": "es", "pressure": "furlong"}) == replace(Taste(), language="es")


def test_an_example_in_a_form_is_in_the_reader_s_unit() -> None:
    """Temperatures and pressures; a length, a share and a date stay as they are written."""
    assert [example(text, US) for text in ("24.5 °C", "1012 hPa", "24 in", "85.1 %RH", "2027-03-31", "")] == [
        "76.1 °F", "14.7 psi", "24 in", "85.1 %RH", "2027-03-31", "",
    ]  # fmt: skip
    assert example("24.5 °C", SI) == "24.5 °C"
