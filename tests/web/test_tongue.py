"""The pages in Spanish: nothing on a template is left out, and pieces inside sentences are translated too."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.alarm import AlarmState, Change
from alerts.delivery_book import Outcome
from alerts.limits import Verdict
from gateway import manual
from gateway.jobsite import ACTIVITIES
from gateway.web import history_panels, tongue
from gateway.web.pages import NAVIGATION
from gateway.web.plan_page import answer
from gateway.web.plan_typed import DRYERS, GROUPS, SLIDERS, SWITCHES, typed
from gateway.web.roles import Role
from gateway.web.taste import Taste
from gateway.web.tongue import translated
from tests.sites import site
from tests.test_manual import PRODUCT
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, NOW_MS

HERE = Path(tongue.__file__).parent
SAME = {"Plan", "inspector", "normal", "/work/end"}  # the same word in both, or no word
LITERAL = re.compile(r"""\bt\((?:"([^"]+)"|'([^']+)')""")


def test_every_text_of_templates_and_scripts_is_translated() -> None:
    """A new sentence without its Spanish fails here."""
    texts = {
        double or single
        for path in (*HERE.glob("templates/*.html"), *HERE.glob("static/*.js"))
        for double, single in LITERAL.findall(path.read_text("utf-8"))
    }
    assert len(texts) > 250
    assert sorted(text for text in texts - SAME if translated(text, "es") == text) == []


def test_a_script_is_handed_its_texts() -> None:
    """With the holes still in them; an English page needs none."""
    words = json.loads(tongue.of_script("history.js", "es"))
    assert words["The entries behind {}"] == "Las entradas detrás de {}"
    assert len(words) > 40
    assert tongue.of_script("history.js", "en") == "{}"


def test_the_words_of_sliders_panels_and_forms_are_translated() -> None:
    """They stand in values, not in a template."""
    forms = [(kind, *(each.label for each in fields)) for kind, fields in manual.FORMS.items()]
    chosen = [choice for fields in manual.FORMS.values() for each in fields for choice in each.choices]
    titles = history_panels._TITLES.values()
    sliders = (*(each.words for each in SLIDERS), *GROUPS, *SWITCHES.values(), *DRYERS)
    texts = {*(text for form in forms for text in form), *chosen, *titles, *sliders} - SAME
    assert sorted(text for text in texts if translated(text, "es") == text) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"temperature": ""}, "Temperatura del producto: vacío; escriba N/A donde nada corresponda."),
        ({"temperature": "18"}, "Temperatura del producto: '18' no es un número con una de las unidades °C,"),
        ({"temperature": "190 °C"}, "Un producto tiene de -30 a 120 °C; 190 °C no puede ser."),
        ({"accuracy": "-1 K"}, "Una exactitud no es menor que cero."),
        ({"calibration_due": "soon"}, "Calibración vence: una fecha se escribe 2027-03-31."),
        ({"corrects": "M-7", "reason": "x"}, "No hay ninguna anotación 'M-7' que corregir."),
        ({"at_ms": 1}, "Se leyó en las últimas 24 horas, y no en el futuro."),
    ],
)
def test_what_an_entry_is_refused_for_is_said_in_spanish(change: dict[str, object], said: str) -> None:
    """Field, figure and unit stand where they belong."""
    why = manual.refusal(site(), 0, NOW_MS, PRODUCT | change)
    assert why is not None and translated(why, "es").startswith(said)


def test_the_plan_says_its_sentence_in_spanish() -> None:
    """Sentence by sentence, the list of pieces too."""
    said = translated(answer(typed({}, Taste("es"))).sentence, "es")
    assert said.startswith("Se condensa agua en: posenfriador 9.4")
    assert "depósito 0.5" in said and "Según este modelo nada se condensa en tolva y manguera" in said
    assert said.endswith("sobre el punto de rocío de lo que les llega.")


def test_what_nobody_has_translated_is_marked_as_english(stage: Stage, pages: Pages) -> None:
    """A screen reader then reads it as English; what is translated carries no mark, and English pages none."""
    alarm = replace(BOARD.alarms[0], body="Watch <b>the next</b> hour", title="outside limits")
    stage.board = replace(BOARD, alarms=(alarm,))
    assert 'lang="en">Watch' not in pages.ask("GET", "/").text
    assert pages.send("/account/taste", language="es").status_code == 303
    page = pages.ask("GET", "/").text
    assert '<span lang="en">Watch &lt;b&gt;the next&lt;/b&gt; hour</span>' in page
    assert "<h3>fuera de límites</h3>" in page


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
