"""Entries by hand beside sensor data: which fields each kind has, what is refused, what follows from them.

An entry is an act `manual` of texts; nothing is ever overwritten: a correction is another entry that names the old
one. Every field is filled in, "N/A" where nothing applies. Instrument, serial and calibration due stand in every
entry that is a reading.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from alerts.measured import DIMENSION, UNITS, Dimension, Quantity
from gateway.jobsite import Jobsite
from gateway.manual_forms import BYPASS, FORMS, NA, PRODUCT, READS, Field
from gateway.payload.value import PLAUSIBLE
from gateway.psychrometrics import OutOfRange, condensation_point_c, vapour_pressure_pa
from gateway.wet_bulb import psychrometer_rh

__all__ = ["BYPASS", "FORMS", "NA", "PRODUCT", "READS", "Field"]
FARTHEST_MM, SHORTEST_S = 610.0, 60.0  # 24 in. and 1 min: ASTM D4285, 6.1, 6.2
LONGEST_BACK_MS = 24 * 3_600_000
_AMOUNT = re.compile(r"([+-]?\d+(?:\.\d+)?) *(\S+)")
_LENGTH_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_TIME_S = {"s": 1.0, "min": 60.0}
SALT_UNITS = {"mg/m2": 1.0, "mg/m²": 1.0, "µg/cm²": 10.0, "ug/cm2": 10.0}
Body = Mapping[str, Any]


# -- what is refused -------------------------------------------------------------------------------------


def refusal(site: Jobsite, entries: int, utc_ms: int, body: Body) -> str | None:
    """Say in a sentence why an entry by hand is not taken, or None. entries: how many there are already."""
    form = FORMS.get(str(body.get("kind")))
    if form is None:
        return f"There is no form {body.get('kind')!r}; there are {', '.join(FORMS)}."
    if body["area"] != NA and body["area"] not in {area.id for area in site.areas}:
        return f"There is no area {body['area']!r} in this jobsite; write {NA} where it belongs to none."
    if why := _no_such_entry(entries, body) or _wrong_time(utc_ms, body.get("at_ms")):
        return why
    for field in form:
        said = body.get(field.name)
        if not isinstance(said, str) or not said.strip():
            return f"{field.label} is empty; write {NA} where nothing applies."
        if said != NA and (why := _wrong(site, field, said, body)):
            return f"{field.label}: {why}."
    return _not_of_train(site, body) or _impossible(body)


def _not_of_train(site: Jobsite, body: Body) -> str | None:
    """A piece belongs to its train, and only a bypass has a position."""
    if body["kind"] != "air train" or NA in (body["train"], body["piece"]):
        return None
    pieces = {piece.id: piece for train in site.trains if train.id == body["train"] for piece in train.pieces}
    if body["piece"] not in pieces:
        return f"Train {body['train']} has no piece {body['piece']}; it has {', '.join(pieces)}."
    if body["bypass"] != NA and pieces[body["piece"]].kind != "bypass":
        return f"{body['piece']} is no bypass; write {NA} as its position."
    return None if body["level"] == NA or 0 <= amount(body["level"]) <= 1 else "A level is 0 to 100 %FS."


def _no_such_entry(entries: int, body: Body) -> str | None:
    if "corrects" not in body:
        return None
    found = re.fullmatch(r"M-(\d+)", str(body["corrects"]))
    if not found or not 0 < int(found[1]) <= entries:
        return f"There is no entry {body['corrects']!r} to correct."
    return None if str(body.get("reason", "")).strip() else "A correction says why: reason is empty."


def _wrong_time(utc_ms: int, at_ms: object) -> str | None:
    if at_ms is None or (type(at_ms) is int and utc_ms - LONGEST_BACK_MS <= at_ms <= utc_ms):
        return None
    return "It was read within the last 24 hours, and not in the future."


def _wrong(site: Jobsite, field: Field, said: str, body: Body) -> str | None:
    if isinstance(field.what, Dimension):
        return _not_of(said, field.what)
    if field.what in ("of sensor", "spread of sensor"):
        return _not_of_sensor(site, said, str(body.get("sensor")), field.what != "of sensor")
    if field.what in _AMOUNTS:
        return _no_amount(said, _AMOUNTS[field.what])
    if field.what in _PATTERNS:
        return _PATTERNS[field.what](said)
    return _none_of(said, ids) if (ids := _known(site, field)) else None


def _known(site: Jobsite, field: Field) -> tuple[str, ...]:
    return field.choices if field.what == "choice" else known(site).get(str(field.what), ())


def known(site: Jobsite) -> dict[str, tuple[str, ...]]:
    """Return what a field of this kind is chosen from."""
    every: dict[str, Iterable[str]] = {
        "station": (each.id for each in site.stations), "sensor": (each.id for each in site.sensors),
        "train": (each.id for each in site.trains),
        "piece": dict.fromkeys(piece.id for train in site.trains for piece in train.pieces),
    }  # fmt: skip
    return {name: tuple(ids) for name, ids in every.items()}


def _none_of(said: str, known: tuple[str, ...]) -> str | None:
    return None if said in known else f"{said!r} is none of {', '.join(known)}"


def _no_hash(said: str) -> str | None:
    known = re.fullmatch(r"[0-9a-f]{64}", said)
    return None if known else "it is the SHA-256 of the picture, 64 hexadecimal digits"


def _no_date(said: str) -> str | None:
    try:
        date.fromisoformat(said)
    except ValueError:
        return "a date is written as 2027-03-31"
    return None


def _no_amount(said: str, units: Mapping[str, object]) -> str | None:
    found = _AMOUNT.fullmatch(said.strip())
    if not found or found[2] not in units:
        return f"{said!r} is no number with one of the units {', '.join(units)}"
    return "is below zero" if float(found[1]) < 0 else None


def _not_of(said: str, dimension: Dimension) -> str | None:
    found = _AMOUNT.fullmatch(said.strip())
    if found and found[2] in UNITS and UNITS[found[2]].dimension is dimension:
        return None
    units = ", ".join(name for name, unit in UNITS.items() if unit.dimension is dimension)
    return f"{said!r} is no number with one of the units {units}"


def _not_of_sensor(site: Jobsite, said: str, sensor: str, spread: bool) -> str | None:
    quantity = next((each.quantity for each in site.sensors if each.id == sensor), None)
    if quantity is None:
        return "the sensor is to be named first"
    dimension = DIMENSION[quantity]
    return _not_of(said, Dimension.DIFFERENCE if spread and dimension is Dimension.TEMPERATURE else dimension)


def _impossible(body: Body) -> str | None:
    if body["kind"] == "sling psychrometer" and NA in (body["dry_bulb"], body["wet_bulb"], body["pressure"]):
        return "A sling needs both bulbs and the station pressure."
    if (found := product(body)) is not None:
        low_c, high_c = PLAUSIBLE[Quantity.PRODUCT_TEMPERATURE]
        if not low_c <= found[0] <= high_c:
            return f"A product has {low_c:g} to {high_c:g} °C; {body['temperature']} cannot be."
        return None if found[1] is None or found[1] >= 0 else "An accuracy is not below zero."
    try:
        sling(body)
    except OutOfRange as error:
        return f"These bulbs cannot be: {error}"
    return None


_AMOUNTS: dict[str, Mapping[str, float]] = {"length": _LENGTH_MM, "time": _TIME_S, "salt": SALT_UNITS}
_PATTERNS: dict[str, Callable[[str], str | None]] = {"date": _no_date, "photo": _no_hash}


# -- what follows ----------------------------------------------------------------------------------------


def amount(said: str) -> float:
    """Return a written value with a known unit in the unit inside, a difference without its offset."""
    found = _AMOUNT.fullmatch(said.strip())
    assert found is not None
    return UNITS[found[2]].inside(float(found[1]))


@dataclass(frozen=True, slots=True)
class Sling:
    """What two bulbs say: air [°C], humidity [0..1], condensation point [°C] and whether it is a frost point."""

    air_c: float
    rh: float
    point_c: float
    frost: bool


def seen_of(body: Body) -> dict[str, float]:
    """Return what a person saw of a piece as figures of findings: "level piece", "seen piece", as shares 0..1."""
    if body["kind"] != "air train" or NA in (body["train"], body["piece"]):
        return {}
    found = {} if body["level"] == NA else {f"level {body['piece']}": amount(body["level"])}
    return found if body["bypass"] == NA else {**found, f"seen {body['piece']}": BYPASS[body["bypass"]]}


def product(body: Body) -> tuple[float, float | None] | None:
    """Return a product's temperature [°C] and half its error's width [K], None where not stated; else None."""
    if body["kind"] != PRODUCT or body["temperature"] == NA:
        return None
    found = None if body["accuracy"] == NA else _AMOUNT.fullmatch(body["accuracy"].strip())
    half_k = None if found is None else float(found[1]) * UNITS[found[2]].factor
    return amount(body["temperature"]), half_k


def sling(body: Body) -> Sling | None:
    """Return what a sling psychrometer read, None for another kind. Raises OutOfRange for impossible bulbs."""
    if body["kind"] != "sling psychrometer":
        return None
    dry_c, wet_c, p_pa = amount(body["dry_bulb"]), amount(body["wet_bulb"]), amount(body["pressure"])
    rh = min(1.0, psychrometer_rh(dry_c, wet_c, p_pa, body["ventilated"] != "still air"))
    return Sling(dry_c, rh, *condensation_point_c(vapour_pressure_pa(dry_c, rh, p_pa), p_pa))


def deviations(body: Body) -> str:
    """Say how a blotter test departs from its method, or nothing."""
    if body["kind"] != "blotter test" or NA in (body["distance"], body["duration"]):
        return "distance or duration not stated" if body["kind"] == "blotter test" else ""
    said = []
    if _measured(body["distance"], _LENGTH_MM) > FARTHEST_MM:
        said.append("farther than 24 in. (ASTM D4285)")
    if _measured(body["duration"], _TIME_S) < SHORTEST_S:
        said.append("shorter than 1 min (ASTM D4285)")
    return "; ".join(said)


def _measured(said: str, units: Mapping[str, float]) -> float:
    found = _AMOUNT.fullmatch(said.strip())
    assert found is not None
    return float(found[1]) * units[found[2]]


def is_out_of_tolerance(body: Body) -> bool | None:
    """Whether a reference check found the sensor outside what is allowed; None where it cannot be told."""
    if NA in (body["reference_value"], body["as_found"], body["tolerance"]):
        return None
    tolerance = _AMOUNT.fullmatch(body["tolerance"].strip())
    assert tolerance is not None
    allowed = float(tolerance[1]) * UNITS[tolerance[2]].factor
    return abs(amount(body["as_found"]) - amount(body["reference_value"])) > allowed + 1e-9
