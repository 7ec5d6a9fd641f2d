"""Every language says the same things, in the same places, and keeps to the words of the trade."""

from __future__ import annotations

import re
from string import Formatter

import pytest

from alerts import texts_en
from alerts.alarm import Change
from alerts.fault import MANNERS, Fault
from alerts.fault_words import TABLES
from alerts.measured import Measured, Quantity, Validity
from alerts.notification import LANGUAGES, Reader, Standing, body, clock_words, limit_words, title, value_words
from alerts.reasons import in_language
from alerts.saying import place_words
from gateway.site_references import AREA_QUANTITIES, PIECE_QUANTITIES
from tests.sites import T0, margin_limit


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_a_language_has_every_sentence_with_the_same_places(language: str) -> None:
    """No key more or less than English, and each with the same {}."""
    words = LANGUAGES[language].words
    assert words.keys() == texts_en.WORDS.keys()
    assert {key: places(text) for key, text in words.items()} == {
        key: places(text) for key, text in texts_en.WORDS.items()
    }
    assert LANGUAGES[language].look.keys() == texts_en.LOOK.keys()
    words, faults = TABLES[language]
    assert {key: places(text) for key, text in words.items()} == {
        key: places(text) for key, text in texts_en.FAULT_WORDS.items()
    }
    assert faults.keys() == set(Fault) == set(MANNERS)
    assert {k: places(title) for k, (title, _) in faults.items()} == {
        k: places(title) for k, (title, _) in texts_en.FAULTS.items()
    }
    for quantity in (*AREA_QUANTITIES, *PIECE_QUANTITIES):
        assert quantity in LANGUAGES[language].quantities and quantity in LANGUAGES[language].look


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_nobody_is_told_to_put_a_hand_on_what_is_under_pressure(language: str) -> None:
    """What to look at on a train comes with: isolate, lock, bleed line and pot to zero, verify."""
    said = LANGUAGES[language]
    hands = re.compile(r"\b(drain|unscrew|loosen|abrir|aflojar|drenar|clean|safe|limpio|seguro)\b", re.IGNORECASE)
    words, faults = TABLES[language]
    of_faults = (*words.values(), *(text for both in faults.values() for text in both))
    assert not [text for text in (*said.words.values(), *said.look.values(), *of_faults) if hands.search(text)]
    lock = {"en": "isolate, lock, bleed line and pot to zero, verify",
            "es": "aislar, bloquear, purgar línea y tolva a cero, verificar"}[language]  # fmt: skip
    assert all(lock in said.look[quantity] for quantity in PIECE_QUANTITIES) and lock in words["in line"]


def test_a_reader_gets_their_units_beside_the_limit_as_written() -> None:
    """3 K are 5.40 Δ°F; the specification's own number stays first. 2.96 K is never shown as 3.0."""
    limit, read = margin_limit(), Measured(2.96, 0.2, 0, Validity.GOOD)
    us = Reader(units="us")
    assert value_words(limit, read) == "2.96 K ± 0.40"
    assert value_words(limit, read, us) == "5.33 Δ°F ± 0.72"
    assert limit_words(limit, us) == "dew point margin at least 3 K = 5.40 Δ°F (test specification 4.2)"
    steel = margin_limit(quantity=Quantity.STEEL_TEMPERATURE, threshold=50.0, unit="°F")
    assert value_words(steel, Measured(10.0, None, 0, Validity.GOOD), us) == "50.0 °F (uncertainty not stated)"
    assert limit_words(steel, Reader(units="si")).startswith("steel temperature at least 50 °F = 10.0 °C (")


@pytest.mark.parametrize(("reason", "said"), [
    ("nothing heard", "nada se oye"), ("set back by 1:00:00", "atrasado 1:00:00"),
    ("5.0 GB free, the journal holds 1.0 MB; too young to tell for how long",
     "5.0 GB libres, el diario ocupa 1.0 MB; demasiado joven para decir por cuánto tiempo"),
    ("calibrated until 2026-05-30, certificate C-7", "calibrado hasta 2026-05-30, certificado C-7"),
])  # fmt: skip
def test_reasons_of_faults_are_said_in_spanish(reason: str, said: str) -> None:
    """As the keeper reads them, with their figures."""
    assert in_language(reason, "es") == said


def test_moments_are_site_time_with_their_offset() -> None:
    """T0 is 20:26:40 UTC, in June five hours earlier in Chicago, in India half an hour off the whole."""
    assert clock_words(T0) == "20:26 UTC+00:00"
    assert clock_words(T0, "America/Chicago") == "15:26 UTC-05:00"
    assert clock_words(T0, "Asia/Kolkata") == "01:56 UTC+05:30"


@pytest.mark.parametrize(
    ("per_hour", "words"),
    [(-1.2, "falling 1.2 K an hour"), (1.2, "rising 1.2 K an hour"), (0.05, "steady"), (None, "")],
)
def test_how_it_moves_is_said_where_it_is_known(per_hour: float | None, words: str) -> None:
    """Less than half a standard uncertainty an hour is no movement."""
    of = Standing("A-1", Change.BREACH, margin_limit(), "area A", "", Measured(2.0, 0.2, 0, Validity.GOOD), T0,
                  per_hour=per_hour)  # fmt: skip
    said = body([of], Reader())
    assert f"Since 20:26 UTC+00:00{', ' if words else ''}{words}." in said


def test_how_it_moved_is_no_matter_once_it_is_back() -> None:
    """A step back inside would read as a rise of hundreds an hour."""
    of = Standing("A-1", Change.RETURNED, margin_limit(), "area A", "", Measured(9.0, 0.2, 0, Validity.GOOD), T0,
                  per_hour=148.0)  # fmt: skip
    assert "Since 20:26 UTC+00:00." in body([of], Reader())


@pytest.mark.parametrize(("place", "en", "es"), [
    ("Shell low (coldest)", "Shell low (coldest)", "Shell low (el más frío)"),
    ("Shell, warmest spot (warmest)", "Shell, warmest spot", "Shell, warmest spot"),
    ("Deck station", "Deck station", "Deck station"),
])  # fmt: skip
def test_the_kind_of_a_spot_is_said_once(place: str, en: str, es: str) -> None:
    """Where its label says it already it is not said again."""
    assert (place_words(place, Reader("en")), place_words(place, Reader("es"))) == (en, es)
    of = Standing("A-1", Change.BREACH, margin_limit(), "area A", place, Measured(2.0, 0.2, 0, Validity.GOOD), T0)
    assert body([of], Reader()).startswith(f"area A, {en}: ")


def test_a_long_silence_is_told_in_minutes() -> None:
    """Nobody reckons in thousands of seconds; also inside a longer reason."""
    assert in_language("air-t: silent since 2181 s; saturated, judged wet", "en") == (
        "air-t: silent 36 min; saturated, judged wet"
    )
    assert in_language("air-t: silent since 2181 s", "es") == "air-t: sin señal desde hace 36 min"
    assert in_language("air-t: silent since 119 s", "en") == "air-t: silent since 119 s"


def test_what_else_is_unknown_is_one_line() -> None:
    """Nine limits of a dead station are one thing to repair."""
    gone = Measured(None, None, 0, Validity.UNKNOWN, "air-t: silent since 90 s")
    limits = (margin_limit(), margin_limit(id="b", quantity=Quantity.RH_AT_STEEL), margin_limit(id="c"))
    alarms = [
        Standing(f"A-{at}", Change.UNKNOWN, limit, "area A", "", gone, T0, "deck")
        for at, limit in enumerate(limits, 1)
    ]
    assert "\nAlso unknown: RH at steel A-2; dew point margin A-3.\n" in body(alarms, Reader())
    assert "\nTambién sin datos: humedad en el acero A-2; " in body(alarms, Reader("es"))


def test_a_curing_coat_is_exposed_and_never_stopped_or_resumed() -> None:
    """Only curing goes on: the title says what has happened; back, it asks for the disposition."""
    of = Standing("A-1", Change.BREACH, margin_limit(), "area A", "", Measured(2.0, 0.2, 0, Validity.GOOD), T0,
                  going_on=frozenset({"curing"}))  # fmt: skip
    assert title("A-1", [of], Reader()) == "A-1 Coat exposed, area A: inspector's disposition"
    said = body([of], Reader())
    assert "cannot be stopped or resumed" in said and "Stop blasting" not in said
    back = Standing("A-1", Change.RETURNED, margin_limit(), "area A", "", Measured(9.0, 0.2, 0, Validity.GOOD), T0,
                    going_on=frozenset({"curing"}))  # fmt: skip
    assert title("A-1", [back], Reader()) == "A-1 Limits back; area A needs the inspector's disposition"
