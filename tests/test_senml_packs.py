"""Packs as two independent SenML libraries write them come out as the libraries were given them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from alerts.measured import UNITS
from gateway.payload.senml import Names, decode
from gateway.reading import Rejected
from tests.sites import SENSORS, T0

GOLDEN = json.loads((Path(__file__).parent / "tables" / "senml-packs.json").read_text())
AIR, HUMID, _, STEEL = SENSORS
YARD = (replace(AIR, id="yard-air"), replace(STEEL, id="yard-steel"), replace(HUMID, id="yard-humid"), STEEL)
NAMES = Names("test", {"dewgate/test/steel": {each.id: each for each in YARD}})
RECEIVED = T0 + 60_000


def as_sent(pack: dict[str, Any]) -> bytes:
    return pack["text"].encode() if pack["form"] == "json" else bytes.fromhex(pack["hex"])


def named(pack: dict[str, Any]) -> str:
    return f"{pack['library']}, {pack['form']}, {pack['says']}"


BELIEVED = [pack for pack in GOLDEN["packs"] if not isinstance(pack["gives"], str)]
REFUSED = [pack for pack in GOLDEN["packs"] if isinstance(pack["gives"], str)]


def expected(name: str, value: float, unit: str, time_s: float | None, update_s: float | None) -> tuple[Any, ...]:
    """What a reading must hold after the library's record: value inside, UTC ms, promise in ms."""
    at = None if time_s is None else round(time_s * 1000) + (0 if time_s > 2**28 else RECEIVED)
    return name, pytest.approx(UNITS[unit].inside(value), abs=1e-12), at, update_s and update_s * 1000


@pytest.mark.parametrize("pack", BELIEVED, ids=named)
def test_a_library_is_read_as_it_was_given(pack: dict[str, Any]) -> None:
    """Every name, value, unit, time and promise; in the order of the times."""
    readings = decode("dewgate/test/steel", as_sent(pack), NAMES, RECEIVED)
    assert isinstance(readings, list), readings
    given = sorted(pack["gives"], key=lambda record: record[3] or 0)
    assert [(r.sensor, r.value, r.measured_ms, r.next_within_ms) for r in readings] == [
        expected(*g) for g in given
    ]


@pytest.mark.parametrize("pack", REFUSED, ids=named)
def test_what_carries_no_number_is_refused_in_words(pack: dict[str, Any]) -> None:
    """A sum, a text, a truth, and an update time that is no period."""
    refused = decode("dewgate/test/steel", as_sent(pack), NAMES, RECEIVED)
    assert isinstance(refused, Rejected)
    assert refused.detail.endswith((pack["gives"], pack["gives"] + " (v)"))


def test_both_libraries_and_both_forms_are_there() -> None:
    """The second library writes no CBOR."""
    made = {(pack["library"], pack["form"]) for pack in BELIEVED}
    assert made == {("kpn-senml 1.0.1", "json"), ("kpn-senml 1.0.1", "cbor"), ("senml 0.1.0", "json")}
