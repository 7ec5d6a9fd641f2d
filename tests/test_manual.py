"""Entries by hand: what each form asks, what is refused in words, and what follows from what was read."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from gateway import manual
from gateway.jobsite import Piece
from tests.record_story import BLOTTER, CHECK, SLING, jobsite

SITE = jobsite()
NOW = 1_800_000_000_000


def why(body: dict[str, object], entries: int = 0) -> str | None:
    return manual.refusal(SITE, entries, NOW, body)


def test_whole_entries_are_taken() -> None:
    """One of each kind that the story has."""
    assert [why(body) for body in (SLING, CHECK, BLOTTER)] == [None, None, None]


@pytest.mark.parametrize("kind", manual.FORMS)
def test_no_field_of_any_form_may_be_left_out(kind: str) -> None:
    """N/A is said, never meant; everything N/A is whole where no reading is made of it."""
    body: dict[str, object] = {"kind": kind, "area": "A"} | {f.name: manual.NA for f in manual.FORMS[kind]}
    if kind != "sling psychrometer":
        assert why(body) is None
    for field in manual.FORMS[kind]:
        assert f"{field.label} is empty; write N/A" in str(why(body | {field.name: " "}))
        assert f"{field.label} is empty; write N/A" in str(why({k: v for k, v in body.items() if k != field.name}))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"dry_bulb": "20"}, "Dry bulb: '20' is no number with one of the units °C"),
        ({"dry_bulb": "20 K"}, "Dry bulb: '20 K' is no number"),
        ({"wet_bulb": "22.0 °C"}, "These bulbs cannot be"),
        ({"wet_bulb": "N/A"}, "A sling needs both bulbs"),
        ({"station": "roof"}, "At which air station: 'roof' is none of deck"),
        ({"ventilated": "fanned"}, "'fanned' is none of whirled, still air"),
        ({"calibration_due": "next year"}, "a date is written as 2027-03-31"),
        ({"area": "Z"}, "There is no area 'Z'"),
        ({"kind": "feeling"}, "There is no form 'feeling'"),
        ({"at_ms": NOW + 1}, "within the last 24 hours, and not in the future"),
        ({"at_ms": NOW - 86_400_001}, "within the last 24 hours, and not in the future"),
        ({"corrects": "M-1", "reason": "misread"}, "There is no entry 'M-1' to correct"),
        ({"corrects": "17"}, "There is no entry '17' to correct"),
    ],
)
def test_what_is_refused_says_why(change: dict[str, object], said: str) -> None:
    """In a sentence that names the field."""
    assert said in str(why(SLING | change))


PRODUCT = {
    "kind": "product temperature", "area": "A", "product": "finish, lot 17", "temperature": "18.0 °C",
    "accuracy": "0.5 K", "instrument": "probe", "serial": "9", "calibration_due": "2027-03-31",
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, None),
        ({"temperature": "64.4 °F", "accuracy": "1 Δ°F"}, None),
        ({"temperature": "18"}, "Temperature of the product: '18' is no number with one of the units °C"),
        ({"temperature": "18 K"}, "Temperature of the product: '18 K' is no number"),
        ({"temperature": "180 °C"}, "A product has -30 to 120 °C; 180 °C cannot be."),
        ({"temperature": "-40 °F"}, "A product has -30 to 120 °C; -40 °F cannot be."),
        ({"accuracy": "0.5 °C"}, "Accuracy of the instrument, plus or minus: '0.5 °C' is no number"),
        ({"accuracy": "-0.5 K"}, "An accuracy is not below zero."),
        ({"product": ""}, "Product, part or mixed, batch is empty; write N/A"),
    ],
)
def test_a_products_temperature_is_a_temperature_a_product_can_have(
    change: dict[str, object], said: str | None
) -> None:
    """In either unit, with what its instrument promises as a difference."""
    refused = why(PRODUCT | change)
    assert (refused is None) if said is None else str(refused).startswith(said)


def test_what_follows_from_a_products_entry() -> None:
    """In °C and K; N/A is no temperature, and no accuracy is none stated."""
    assert manual.product(PRODUCT) == (18.0, 0.5)
    assert manual.product(PRODUCT | {"temperature": "50 °F", "accuracy": "0.9 Δ°F"}) == pytest.approx((10.0, 0.5))
    assert manual.product(PRODUCT | {"accuracy": "N/A"}) == (18.0, None)
    assert manual.product(PRODUCT | {"temperature": "N/A"}) is None
    assert manual.product(SLING) is None


def test_a_correction_says_why() -> None:
    """It names an entry there is, and its reason."""
    assert why(SLING | {"corrects": "M-2", "reason": "misread"}, entries=2) is None
    assert why(SLING | {"corrects": "M-2"}, entries=2) == "A correction says why: reason is empty."
    assert "no entry 'M-3'" in str(why(SLING | {"corrects": "M-3", "reason": "x"}, entries=2))


def test_a_checks_values_are_in_the_sensors_unit() -> None:
    """A humidity is not a temperature, and an allowed difference of a temperature is none either."""
    assert "As found: '20 °C' is no number" in str(why(CHECK | {"as_found": "20 °C"}))
    steel = CHECK | {
        "sensor": "steel", "reference_value": "0.0 °C", "as_found": "0.4 °C", "as_left": "0.1 °C",
    }  # fmt: skip
    assert "Allowed difference: '1 °C' is no number" in str(why(steel | {"tolerance": "1 °C"}))
    assert why(steel | {"tolerance": "0.5 K"}) is None


@pytest.mark.parametrize(
    ("found", "tolerance", "out"),
    [
        ("83.1 %RH", "2 %RH", False),
        ("83.0 %RH", "2 %RH", True),
        ("N/A", "2 %RH", None),
        ("87.2 %RH", "2 %RH", True),
    ],
)
def test_out_of_tolerance(found: str, tolerance: str, out: bool | None) -> None:
    """At the edge it is inside; where something is N/A it cannot be told."""
    assert manual.is_out_of_tolerance(CHECK | {"as_found": found, "tolerance": tolerance}) is out


@pytest.mark.parametrize(
    ("distance", "duration", "said"),
    [
        ("24 in", "1 min", ""),
        ("61 cm", "60 s", ""),
        ("25 in", "1 min", "farther than 24 in. (ASTM D4285)"),
        ("18 in", "59 s", "shorter than 1 min (ASTM D4285)"),
        ("N/A", "1 min", "distance or duration not stated"),
    ],
)
def test_a_blotter_beside_its_method(distance: str, duration: str, said: str) -> None:
    """ASTM D4285, 6.1 and 6.2: within 24 in., for 1 min at least. The test stands, the departure is said."""
    assert manual.deviations(BLOTTER | {"distance": distance, "duration": duration}) == said


def test_a_sling_reads_as_the_published_example_does() -> None:
    """FAO Irrigation and Drainage Paper 56 (1998), chapter 3, example 4: an aspirated psychrometer at 1,200 m.

    25.6 and 19.5 °C at 87.9 kPa give an actual vapour pressure of 1.91 kPa; saturated it is 3.28 (equation 11).
    """
    found = manual.sling(SLING | {"dry_bulb": "25.6 °C", "wet_bulb": "19.5 °C", "pressure": "879 hPa"})
    assert found is not None
    assert found.rh == pytest.approx(1.91 / 3.28, abs=0.006)
    # Saturated at 1.91 kPa: 16.8 °C (equation 11 inverted).
    assert found.point_c == pytest.approx(16.8, abs=0.15) and not found.frost


def test_a_sling_reads_within_the_other_published_coefficients() -> None:
    """Rows and tolerances as in tests/tables/psychrometer_other_coefficients.csv, typed into the form."""
    path = Path(__file__).parent / "tables" / "psychrometer_other_coefficients.csv"
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    for row in csv.DictReader(lines):
        typed = {"dry_bulb": f"{row['t_c']} °C", "wet_bulb": f"{row['wet_c']} °C", "pressure": f"{row['p_pa']} Pa"}
        found = manual.sling(SLING | typed)
        assert found is not None
        assert 100 * found.rh == pytest.approx(float(row["expected"]), abs=float(row["tolerance_abs"]))


def test_a_person_s_look_at_a_train_names_its_piece() -> None:
    """A piece of that train, a position of a bypass only, a level within its scale; then shares for findings."""
    train = SITE.trains[0]
    bypass = Piece("by", "by", "bypass")
    site = replace(SITE, trains=(replace(train, pieces=(*train.pieces, bypass)),))
    said = {field.name: manual.NA for field in manual.FORMS["air train"]} | {
        "kind": "air train",
        "area": manual.NA,
    }
    said |= {"train": train.id, "piece": "by", "bypass": "open"}

    def why(**change: str) -> str:
        return manual.refusal(site, 0, NOW, said | change) or ""

    assert why() == ""
    assert "has no piece" in why(train=train.id, piece="other") or "is none of" in why(piece="other")
    assert why(piece="dryer") == "dryer is no bypass; write N/A as its position."
    assert why(level="101 %FS") == "A level is 0 to 100 %FS."
    assert "no number with one of the units %FS" in why(level="40")
    assert manual.seen_of(said) == {"seen by": 1.0}
    assert manual.seen_of(said | {"bypass": "N/A", "level": "40 %FS"}) == {"level by": 0.4}
    assert manual.seen_of(said | {"train": "N/A"}) == {}
    assert manual.seen_of(SLING) == {}
