"""The steel's page and forms: what is done becomes an act, what is refused keeps what was typed."""

from __future__ import annotations

import dataclasses
import re
from hashlib import sha256

from gateway.clocks import RUST_WITHIN, Celsius, Phrase
from gateway.steel_lines import Clock, SteelLine
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, NOW_MS

CLOCK = Clock("Hours since blast", Phrase("{stood}; no limit set", (("stood", "1 h 00 min"),)))
AREA = SteelLine("A", "shell", "blasted", (CLOCK,))
SLING = {
    "kind": "sling psychrometer", "area": "A", "station": "deck", "dry_bulb": "20 °C", "wet_bulb": "15 °C",
    "pressure": "1010 hPa", "ventilated": "whirled", "instrument": "sling", "serial": "7",
    "calibration_due": "N/A",
}  # fmt: skip


def shown(stage: Stage, pages: Pages) -> str:
    stage.board = dataclasses.replace(BOARD, steel=(AREA,))
    return pages.ask("GET", "/steel").text


def sent(pages: Pages, files: dict[str, tuple[str, bytes]] | None = None, **fields: str):
    form = {"token": pages.token(), **fields}
    more = {"files": files} if files else {"files": {"none": ("", b"")}}
    return pages.ask("POST", "/entries", headers={"sec-fetch-site": "same-origin"}, data=form, **more)


def test_the_page_says_stage_and_clocks(stage: Stage, pages: Pages) -> None:
    """In words; an area of which nothing was said has no clock."""
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", shown(stage, pages)))
    assert "Stage: blasted Hours since blast: 1 h 00 min; no limit set" in text
    stage.board = dataclasses.replace(BOARD, steel=(dataclasses.replace(AREA, clocks=()),))
    assert "No clock runs" in pages.ask("GET", "/steel").text


def test_clocks_speak_the_readers_language_and_unit(stage: Stage, pages: Pages) -> None:
    """The hottest hour, the sheet's last row and the warning, in Spanish and °F."""
    hour = Phrase(
        "{t} sustained for an hour: earliest {earliest} h from the end ({since_end} gone)",
        (("t", Celsius(35.5)), ("earliest", "4"), ("since_end", "1 h 00 min")),
    )
    sheet = Phrase("warmer than the sheet's {t}: ask the manufacturer", (("t", Celsius(35.0, 0)),))
    clocks = (
        dataclasses.replace(CLOCK, warning=RUST_WITHIN), Clock("Latest recoat", sheet),
        Clock("By the hottest hour", hour),
    )  # fmt: skip
    stage.board = dataclasses.replace(BOARD, steel=(dataclasses.replace(AREA, clocks=clocks),))
    pages.send("/account/taste", language="es", temperature="°F")
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", pages.ask("GET", "/steel").text))
    assert "Horas desde el chorreado: 1 h 00 min; sin límite fijado. el aire de chorreado estaba húmedo" in text
    assert "Repintado máximo: sobre los 95 °F de la ficha: pregunte al fabricante" in text
    assert "95.9 °F durante una hora: mínimo 4 h desde el fin (1 h 00 min pasadas)" in text


def test_a_coat_begins_with_its_product_and_batch(stage: Stage, pages: Pages) -> None:
    """What is left empty is no part of the act; the person is the one signed in, whatever the form says."""
    shown(stage, pages)
    sent_form = {"area": "A", "activity": "coating", "coat": "finish", "product": "", "batch": "17", "ref": "r1"}
    answer = pages.send("/steel/begin", **sent_form, person="other")
    assert answer.status_code == 303 and answer.headers["location"] == "/steel"
    (begun,) = stage.acts
    assert begun.pop("person") != "other"
    assert begun == {
        "act": "begin", "area": "A", "activity": "coating", "coat": "finish", "batch": "17", "ref": "r1",
    }  # fmt: skip


def test_an_entry_by_hand_becomes_an_act_with_every_field(stage: Stage, pages: Pages) -> None:
    """Also when it was read: some minutes ago."""
    assert sent(pages, **SLING, minutes_ago="12").status_code == 303
    (act,) = stage.acts
    assert {name: act[name] for name in SLING} == SLING
    assert (act["act"], act["at_ms"]) == ("manual", NOW_MS - 12 * 60_000)


def test_what_is_refused_keeps_what_was_typed(stage: Stage, pages: Pages) -> None:
    """Nobody types a sling reading twice with gloves on."""
    stage.refusal = "Wet bulb: '15' is no number."
    answer = sent(pages, **SLING | {"wet_bulb": "15"})
    assert answer.status_code == 409
    assert "is no number." in answer.text and 'name="dry_bulb" value="20 °C"' in answer.text
    assert 'value="whirled" selected' in answer.text


def test_a_picture_is_kept_by_its_hash_outside_the_journal(stage: Stage, pages: Pages) -> None:
    """The act names it; what is no picture is refused."""
    picture = b"\xff\xd8\xff made for a test"
    fields = {
        "kind": "blotter test", "area": "A", "place": "pot", "distance": "24 in", "duration": "1 min",
        "verdict": "water",
    }  # fmt: skip
    assert sent(pages, {"photo": ("p.jpg", picture)}, **fields).status_code == 303
    name = sha256(picture).hexdigest()
    assert stage.acts[0]["photo"] == name
    assert (stage.home / "photos" / name).read_bytes() == picture
    answer = sent(pages, {"photo": ("p.jpg", b"#!/bin/sh")}, **fields)
    assert answer.status_code == 409 and "no JPEG, PNG or WebP" in answer.text and len(stage.acts) == 1
    assert sent(pages, **fields).status_code == 303 and stage.acts[1]["photo"] == "N/A"


def test_no_form_without_its_token(stage: Stage, pages: Pages) -> None:
    """An entry from a page of another session is not taken."""
    answer = pages.ask("POST", "/entries", data=SLING | {"token": "x"}, files={"none": ("", b"")})
    assert answer.status_code == 403 and stage.acts == []
    assert pages.ask("GET", "/entries?kind=guess").status_code == 404
