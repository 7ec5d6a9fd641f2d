"""Reasons in Spanish: each sentence the gateway can say of a value is found in the table, hole by hole."""

from __future__ import annotations

import dataclasses
import re

import pytest

from alerts.alarm import Change
from alerts.limits import judge
from alerts.measured import Measured, Quantity, Validity, unknown
from alerts.notification import Reader, Standing, body, title
from alerts.reasons import TABLES, in_language
from gateway import (
    flow_exposures,
    flow_inside,
    flow_lasting,
    sensor_gauges,
    sensor_pairs,
    sensor_sense,
    sensor_track,
)
from gateway.area_work import DEW_POINT, LIMITS, Exposure
from gateway.config import warnings
from gateway.jobsite import Scale
from gateway.payload import scale
from gateway.sensor_gauges import Witness
from gateway.sensor_pairs import Pair, Two
from gateway.sensor_track import Rule, Track
from gateway.train_state import Doing, Run
from gateway.train_state import words as train_words
from gateway.web.tongue import translated
from tests.sites import SENSORS, margin_limit, site

ENGLISH = re.compile(
    r"\b(the|while|since|check|reads|of|and|over|is|not|more|above|below|was|judged|by|for|to)\b", re.IGNORECASE
)
LOOP = Scale("mA", (4.0, -60.0), (20.0, 60.0))


def stuck(low_end: bool = False) -> Track:
    return Track(20.0, 0, 20.0, 0, held=100, held_ms=3 * 3_600_000, low_end=low_end)


RULE = Rule(Quantity.AIR_TEMPERATURE, 60_000, 5.0, 2.0, 7_200_000, False, False, False)
SAID = {
    "stuck": sensor_track.fault(stuck(), RULE),
    "low end": sensor_track.fault(stuck(True), RULE),
    "jumped": sensor_track.fault(Track(20.0, 0, 20.0, 0, odd=31.0), RULE),
    "wet for days": "; ".join(sensor_track.notes(Track(1.0, 0, 1.0, 0, wet=True))),
    **{
        f"{what} {'now' if count else 'before'}": sensor_pairs.words(
            Pair(hours=[(1, 0.1, 0.1)] * count, off=0.2), Two(kind, "a-1", "a-2", (), 0, False, max), "a-1"
        )
        for what, kind in {
            "a pair": sensor_pairs.AIR,
            "barometers": sensor_pairs.PRESSURE,
            "dew points": sensor_pairs.DEW_POINT,
        }.items()
        for count in (8, 0)
    },
    "sea level": sensor_sense._pressure_words(5000.0),
    "low pressure": sensor_sense._pressure_words(-5000.0),
    "a gauge": sensor_gauges.contradicted("pot-p", Witness(("hose-p",), ()), {"pot-p": 0.0, "hose-p": 5e5}.get),
    "a broken wire": (scale.fault(LOOP, 2.0) or ("", ""))[1],
    "a fault signal": (scale.fault(LOOP, 22.0) or ("", ""))[1],
    "beyond": (scale.fault(LOOP, 20.6) or ("", ""))[1],
    "standing": train_words(Run(Doing.STANDING, 0)),
    "off": train_words(Run(Doing.OFF, 0)),
    "warming": train_words(Run(Doing.WARMING_UP, 0)),
    "no rain": flow_lasting.NOTHING,
    "alone": flow_inside.ALONE,
    "guarded": judge(margin_limit(decision_rule="guarded"), Measured(3.0, None, 0, Validity.GOOD)).reason,
    "an exposure": flow_exposures.words(Exposure(1, "A", "N/A", "", [], 0, DEW_POINT)),
    "an exposure that ended": flow_exposures.words(
        Exposure(1, "A", "primer 1", "", ["A-margin"], 0, LIMITS, None, 60_000, "limits back")
    ),
    "silent": "air-t: silent since 90 s",
    "a place": "Shell (coldest): air-rh: saturated, judged wet; its clock is wrong, judged on the time of receipt",
    "physics": "outside the range of the physics: pressure (Pa) is 1e+07, allowed is 55000 to 1.6e+06",
    "lopsided": "rh: near the least this sensor resolves, uncertainty lopsided:"
    " condensation point up to -20.0 °C, no lower bound (95 %)",
}


@pytest.mark.parametrize("name", SAID)
def test_what_the_gateway_says_of_a_value_is_said_in_spanish(name: str) -> None:
    """No English word is left but names and figures; in English it stays as it is."""
    said = in_language(SAID[name], "es")
    assert SAID[name], "the call that was to say it says nothing"
    assert said != SAID[name]
    names = re.sub(r"pressure \(Pa\)|Shell \(coldest\)", "", said)
    assert not ENGLISH.search(names), said
    assert in_language(SAID[name], "en") == SAID[name]


def test_figures_and_names_stay_and_what_is_unknown_stays_whole() -> None:
    """The sensor, its hours; a sentence nobody has translated is not cut."""
    assert in_language("air-rh: stuck: exactly the same value for 2.0 h while it should move", "es") == (
        "air-rh: clavado: exactamente el mismo valor desde hace 2.0 h, cuando debería moverse"
    )
    assert in_language("rain, entered by ann", "es") == "lluvia, anotado por ann"
    assert in_language("nobody wrote this: at all", "es") == "nobody wrote this: at all"
    assert translated("air-t: silent since 90 s; saturated, judged wet", "es") == (
        "air-t: sin señal desde hace 90 s; saturado, se juzga mojado"
    )


def test_every_sentence_keeps_its_holes() -> None:
    """As many pieces go in as come out."""
    for table in TABLES.values():
        assert [text for text, said in table.items() if text.count("{}") != said.count("{}")] == []


def standing(advice_es: str = "") -> Standing:
    limit = margin_limit(advice="Stop blasting area A. Cover it.", advice_es=advice_es)
    value = Measured(2.5, 0.2, 0, Validity.GOOD, "air-rh: saturated, judged wet")
    return Standing("A-1", Change.BREACH, limit, "area A", "", value, 0)


def test_a_reader_of_spanish_gets_the_keepers_spanish_or_hears_that_it_is_outside() -> None:
    """advice_es as it is; without it the words of the keeper after ours."""
    es = Reader("es")
    own = standing("Parar el chorreado en el área A. Cubrirla.")
    assert title("A-1", [own], es) == "A-1 Parar el chorreado en el área A. Cubrirla."
    assert title("A-1", [standing()], es) == "A-1 Fuera de límites, area A: Stop blasting area A. Cover it."
    assert title("A-1", [own], Reader()) == "A-1 Stop blasting area A. Cover it."
    assert "air-rh: saturado, se juzga mojado." in body([own], es)
    assert "air-rh: saturated, judged wet." in body([own], Reader())


def test_a_missing_spanish_advice_is_said_at_the_check() -> None:
    """Only where somebody reads Spanish."""
    made = site(margin_limit())
    assert not [each for each in warnings(made) if "advice_es" in each]
    spanish = dataclasses.replace(made, people=(dataclasses.replace(made.people[0], language="es"),))
    assert [each for each in warnings(spanish) if "advice_es" in each] == [
        'limit "margin": advice_es is missing; lead reads Spanish and gets it as written'
    ]


def test_a_dead_sensor_is_told_in_spanish() -> None:
    """Title and reason."""
    of = Standing(
        "A-1", Change.UNKNOWN, margin_limit(), "area A", "", unknown(f"{SENSORS[0].id}: silent since 90 s", 0), 0
    )
    assert "air-t: sin señal desde hace 90 s." in body([of], Reader("es"))
