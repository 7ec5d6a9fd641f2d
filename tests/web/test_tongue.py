"""The pages in Spanish: nothing on a template is left out, and pieces inside sentences are translated too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from alerts.alarm import AlarmState, Change
from alerts.delivery_book import Outcome
from alerts.limits import Verdict
from gateway.jobsite import ACTIVITIES
from gateway.web import tongue
from gateway.web.pages import NAVIGATION
from gateway.web.roles import Role
from gateway.web.tongue import translated
from tests.web.conftest import Pages, Stage

TEMPLATES = Path(tongue.__file__).parent / "templates"
SAME = {"Plan", "inspector", "normal", "/work/end"}  # the same word in both, or no word
LITERAL = re.compile(r"""\bt\((?:"([^"]+)"|'([^']+)')\)""")


def test_every_text_of_the_templates_is_translated() -> None:
    """A new sentence without its Spanish fails here."""
    texts = {
        double or single
        for path in TEMPLATES.glob("*.html")
        for double, single in LITERAL.findall(path.read_text("utf-8"))
    }
    assert len(texts) > 100
    assert sorted(text for text in texts - SAME if translated(text, "es") == text) == []


@pytest.mark.parametrize("words", [Verdict, AlarmState, Change, Outcome, Role, ACTIVITIES])
def test_every_fixed_word_is_translated(words: tuple[str, ...]) -> None:
    """Verdicts, states, changes, outcomes, roles and activities."""
    assert [
        str(word) for word in words if str(word) not in SAME and translated(str(word), "es") == str(word)
    ] == []
    assert all(translated(place.word, "es") != place.word or place.word in SAME for place in NAVIGATION)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ("lado seco, sobre el límite de 3.0 K", "dry side, above the limit of 3.0 K"),
        ("air-t: callado desde hace 45 s", "air-t: silent since 45 s"),
        ("punto de rocío 12.0 °C", "dew point 12.0 °C"),
        ("margen al punto de rocío al menos 3 K (4.2)", "dew point margin at least 3 K (4.2)"),
        ("a sentence nobody knows", "a sentence nobody knows"),
        ("", ""),
    ],
)
def test_pieces_inside_a_sentence_are_translated_where_they_are_known(said: str, text: str) -> None:
    """Numbers, names and clauses stay as they are."""
    assert translated(text, "es") == said
    assert translated(text, "en") == text


def test_names_with_braces_do_no_harm() -> None:
    """A name from the network is no format."""
    assert translated("{0.__class__}: silent since 5 s", "es") == "{0.__class__}: callado desde hace 5 s"


def test_a_person_reads_spanish_and_fahrenheit_after_choosing_them(stage: Stage, pages: Pages) -> None:
    """The page's language is declared, verdict and gap are in the chosen words and units."""
    assert pages.send("/account/taste", language="es", temperature="°F").status_code == 303
    page = pages.ask("GET", "/").text
    assert '<html lang="es">' in page
    assert "fuera de límites" in page
    assert "punto de rocío 53.6 °F" in page
    assert stage.acts == []
