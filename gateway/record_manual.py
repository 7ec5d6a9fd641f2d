"""Entries by hand in a climate record: beside the sensors of that moment, corrected where a later one says so; the
instruments, what a reference check found of each, and the look-back.

A sensor found out of tolerance is in question since its last good check: nobody knows when it went.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from alerts.measured import DIMENSION, Dimension, Quantity
from gateway import manual
from gateway.climate_record import Material, near, sensors
from gateway.entry import Kind
from gateway.jobsite import Sensor
from gateway.psychrometrics import condensation_point_c, vapour_pressure_pa
from gateway.record_alarms import AlarmStory, of_other_instruments
from gateway.record_channels import name_of
from gateway.record_words import Words

Table = tuple[
    str, tuple[str, ...], tuple[str, ...], tuple[float, ...], tuple[int, ...], tuple[tuple[str, ...], ...]
]

MOST = 400


@dataclass(frozen=True, slots=True)
class ByHand:
    """One entry by hand: its number, when it was read and when it was entered [UTC ms], and all it says."""

    number: int
    read_ms: int
    entered_ms: int
    body: Mapping[str, Any]

    @property
    def code(self) -> str:
        """The number people use."""
        return f"M-{self.number}"


def by_hand(material: Material) -> list[ByHand]:
    """Return every entry by hand up to the as-of, in order; their place is their number."""
    found: list[ByHand] = []
    for deed in material.deeds:
        body = material.bodies(deed) if deed.kind == Kind.ACTION else {}
        if body.get("act") == "manual":
            found.append(ByHand(len(found) + 1, body.get("at_ms", deed.utc_ms), deed.utc_ms, body))
    return found


def table(material: Material, words: Words) -> Table:
    """Return the entries by hand of the record."""
    every = by_hand(material)
    corrected: dict[str, list[str]] = {}
    for each in every:
        corrected.setdefault(str(each.body.get("corrects", "")), []).append(each.code)
    asked = material.asked
    made = tuple(
        _row(each, ", ".join(corrected.get(each.code, ())), material, words)
        for each in every if asked.from_ms <= each.read_ms < asked.until_ms
    ) + tuple(_notes(material, words))  # fmt: skip
    columns = ("No.", "Read", "Area", "What", "Says", "Sensors in that quarter of an hour", "Instrument", "By")
    text = words("Nothing is overwritten: a correction is an entry of its own. N/A: the author said so.")
    heads = tuple(map(words, columns))
    said = [text] if made else []
    if len(made) > MOST:
        said.append(words("{left} older entries are in the journal; a record of a shorter time shows them.",
                          left=len(made) - MOST))  # fmt: skip
    made = made[-MOST:]
    return words("Entries by hand"), tuple(said), heads, (1.2, 2, 1, 2.2, 4.4, 3.4, 3, 1.6), (), made


def _row(each: ByHand, corrected_by: str, material: Material, words: Words) -> tuple[str, ...]:
    body = each.body
    said = "; ".join(
        f"{words(field.label)}: {_short(str(body[field.name]))}" for field in manual.FORMS[body["kind"]]
        if field.name not in ("instrument", "serial", "calibration_due")
    )  # fmt: skip
    follows = [_follows(body, words), words(manual.deviations(body))]
    if "corrects" in body:
        follows.append(f"{words('corrects')} {body['corrects']}: {body['reason']}")
    if corrected_by:
        follows.append(f"{words('CORRECTED BY')} {corrected_by}")
    instrument = "N/A"
    if body["kind"] in manual.READS:
        instrument = f"{body['instrument']}, {body['serial']}, {words('due')} {body['calibration_due']}"
    return (
        each.code, words.moment(each.read_ms), body["area"], words(body["kind"]),
        "\n".join([said, *filter(None, follows)]), _beside(each, material, words), instrument, str(body["person"]),
    )  # fmt: skip


def _short(said: str) -> str:
    return f"SHA-256 {said[:16]}…" if len(said) == 64 and " " not in said else said


def _notes(material: Material, words: Words) -> list[tuple[str, ...]]:
    """What persons said beside the forms: notes, work done on a piece of a train, dryers tested."""
    found: list[tuple[str, ...]] = []
    for deed in material.deeds:
        body = material.bodies(deed) if deed.kind == Kind.ACTION else {}
        if body.get("act") in _SAYS and material.asked.from_ms <= deed.utc_ms < material.asked.until_ms:
            what, said = _SAYS[body["act"]](body, words)
            when = words.moment(deed.utc_ms)
            found.append(("–", when, body.get("area", "N/A"), what, said, "N/A", "N/A", str(body["person"])))
    return found


def _note(body: Mapping[str, Any], words: Words) -> tuple[str, str]:
    return words("note"), body["text"] + (f" ({_short(body['photo'])})" if body.get("photo") else "")


def _serviced(body: Mapping[str, Any], words: Words) -> tuple[str, str]:
    said = f"{body['train']}, {body['piece']}: {words(body['what'])}"
    return words("work done"), f"{said}; {body['words']}" if body.get("words") else said


def _tested(body: Mapping[str, Any], words: Words) -> tuple[str, str]:
    return words("dryer check"), f"{body['serial']}, {words(body['kind'])} {body['day']}: {words(body['result'])}"


_SAYS = {"note": _note, "serviced": _serviced, "dryer_tested": _tested}


def _follows(body: Mapping[str, Any], words: Words) -> str:
    found = manual.sling(body)
    if found is None:
        return ""
    point = words("frost point") if found.frost else words("dew point")
    rh = words.number(found.rh, Dimension.FRACTION)
    at = words.number(found.point_c, Dimension.TEMPERATURE)
    return f"= {rh} %RH, {point} {at} {words.unit(Dimension.TEMPERATURE).spelling}"


def _beside(each: ByHand, material: Material, words: Words) -> str:
    """What the gateway's sensors said in the quarter of an hour in which a person read."""
    body, site = each.body, material.site
    if body["kind"] == "sling psychrometer":
        station = next((one for one in site.stations if one.id == body["station"]), None)
        if station is None:
            return "N/A"
        parts = [
            _sensor(words("air"), station.air_temperature, Dimension.TEMPERATURE, each.read_ms, material, words),
            _sensor("RH", station.relative_humidity, Dimension.FRACTION, each.read_ms, material, words),
            _point(
                station.air_temperature, station.relative_humidity, station.station_pressure, each, material, words
            ),
        ]
        return "\n".join(parts)
    if body["kind"] == "contact thermometer":
        steel = [spot for area in site.areas if area.id == body["area"] for spot in area.steel]
        at, what = each.read_ms, Dimension.TEMPERATURE
        return "\n".join(_sensor(words(one.spot), one.sensor, what, at, material, words) for one in steel) or "N/A"
    if body["kind"] == manual.PRODUCT:
        fitted = next((area.product_temperature for area in site.areas if area.id == body["area"]), "")
        what = Dimension.TEMPERATURE
        return _sensor(words("product"), fitted, what, each.read_ms, material, words) if fitted else "N/A"
    return "N/A"


def _sensor(name: str, sensor: str, dimension: Dimension, utc_ms: int, material: Material, words: Words) -> str:
    found = near(material, sensor, utc_ms)
    if found is None or found.mean is None:
        return f"{name}: {words('not known')}"
    low, mean, high = (words.number(value, dimension) for value in found[:3])
    return f"{name} {mean} ({low} {words('to')} {high}) {words.unit(dimension).spelling}"


def _point(t: str, rh: str, baro: str, each: ByHand, material: Material, words: Words) -> str:
    means = [found.mean if (found := near(material, name, each.read_ms)) else None for name in (t, rh, baro)]
    if None in means:
        return f"{words('dew point')}: {words('not known')}"
    t_c, humidity, p_pa = (float(mean) for mean in means if mean is not None)
    try:
        point_c, frost = condensation_point_c(vapour_pressure_pa(t_c, min(humidity, 1.0), p_pa), p_pa)
    except ValueError:
        return f"{words('dew point')}: {words('not known')}"
    name, unit = words("frost point") if frost else words("dew point"), words.unit(Dimension.TEMPERATURE)
    return f"{name} {words.number(point_c, Dimension.TEMPERATURE)} {unit.spelling}"


# -- instruments -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class InQuestion:
    """A sensor found out of tolerance, and since when [UTC ms] its readings are in question, by which check."""

    sensor: str
    since_ms: int | None
    until_ms: int
    check: str


def in_question(material: Material) -> list[InQuestion]:
    """Return the look-back: from the last good check, or from the beginning, to the one that failed.

    A check that a later entry corrects counts as corrected.
    """
    every = by_hand(material)
    gone = {each.body["corrects"] for each in every if "corrects" in each.body}
    checks = [each for each in every if each.body["kind"] == "reference check" and each.code not in gone]
    good: dict[str, int] = {}
    found = []
    for each in sorted(checks, key=lambda check: check.read_ms):
        sensor = str(each.body["sensor"])
        out = manual.is_out_of_tolerance(each.body)
        if out:
            found.append(InQuestion(sensor, good.get(sensor), each.read_ms, each.code))
        if out is not None:  # as left it counts as good from now on
            good[sensor] = each.read_ms
    return [each for each in found if each.until_ms > material.asked.from_ms]


def in_question_words(material: Material, words: Words) -> list[str]:
    """Say which readings are in question."""
    text = "{sensor} is in question from {since} to {until}: found out of tolerance ({check})."
    since = [
        (each, words("the beginning") if each.since_ms is None else words.moment(each.since_ms))
        for each in in_question(material)
    ]
    return [
        words(text, sensor=each.sensor, since=said, until=words.moment(each.until_ms), check=each.check)
        for each, said in since
    ]


def instruments(material: Material, words: Words) -> Table:
    """Return every sensor with what its sheet and certificate state, and what checks found."""
    checks = [each for each in by_hand(material) if each.body["kind"] == "reference check"]
    made = tuple(_instrument(each, checks, material, words) for each in sensors(material))
    columns = (
        "Sensor",
        "What",
        "Accuracy",
        "Standard uncertainty",
        "Calibrated, due, certificate",
        "As found, as left",
    )
    widths = (2, 3, 2.4, 2, 4, 4)
    said = tuple(_went_wrong(each, words) for each in of_other_instruments(material))
    return words("Instruments"), said, tuple(map(words, columns)), widths, (), made


def _went_wrong(story: AlarmStory, words: Words) -> str:
    changes = ", ".join(f"{words(change)} {words.moment(at)}" for at, change, _ in story.changes)
    return f"{story.number} {story.limit}: {changes}. {story.reason}".rstrip()


def _instrument(sensor: Sensor, checks: list[ByHand], material: Material, words: Words) -> tuple[str, ...]:
    found = sensor.calibration
    width = sensor.accuracy.half_width
    accuracy = (
        words("not stated") if width is None else f"±{_difference(width, sensor)} ({sensor.accuracy.meaning})"
    )
    u = words("not stated") if sensor.u is None else _difference(sensor.u, sensor)
    stated = dict.fromkeys(words(each) for each in (found.date, found.due, found.certificate))
    certified = ", ".join(stated)
    if found.until and str(found.until) < words.day(material.asked.until_ms - 1):
        certified += f"; {words('it ended before the end of this record')}"
    said = "\n".join(
        f"{each.code}: {each.body['as_found']}, {each.body['as_left']} "
        f"({words('reference')} {each.body['reference_value']}, {words('allowed')} {each.body['tolerance']})"
        for each in checks if each.body["sensor"] == sensor.id
    )  # fmt: skip
    what = f"{sensor.label}, {words(name_of(sensor.quantity))}"
    return sensor.id, what, accuracy, u, certified, said or words("none")


def _difference(width: float, sensor: Sensor) -> str:
    """A width in a unit a person reads: K, %RH, hPa."""
    match DIMENSION[Quantity(sensor.quantity)]:
        case Dimension.FRACTION:
            return f"{width * 100:.2g} %RH"
        case Dimension.PRESSURE:
            return f"{width / 100:.2g} hPa"
        case Dimension.TEMPERATURE | Dimension.DIFFERENCE:
            return f"{width:.2g} K"
    return f"{width:.2g}"
