"""A climate record as data: every interval of every place as CSV and SenML, and what Parquet is made from.

CSV: one row for each interval and place, values in the unit inside, empty where nothing was known. SenML
(RFC 8428): the mean of each interval at its begin, left out where nothing was known.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from alerts.measured import DIMENSION, Dimension, Quantity
from gateway.climate_record import Material
from gateway.record_words import utc
from gateway.tiers import QUARTER_MS

INSIDE = {
    Dimension.TEMPERATURE: "Cel", Dimension.DIFFERENCE: "K", Dimension.PRESSURE: "Pa", Dimension.FRACTION: "1",
    Dimension.RATIO: "kg/kg", Dimension.DENSITY: "kg/m3", Dimension.FLOW: "m3/s", Dimension.SHARE: "1",
    Dimension.COUNT: "count", Dimension.SPEED: "m/s", Dimension.TIME: "s", Dimension.WARMING: "K/h",
    Dimension.MOISTENING: "1/h",
}  # fmt: skip
SENML = {"Cel": ("Cel", 1.0), "K": ("K", 1.0), "Pa": ("Pa", 1.0), "1": ("/", 1.0)}  # RFC 8428, 12.1


class Row(NamedTuple):
    """One interval of one place."""

    from_utc: str
    until_utc: str
    subject: str
    quantity: str
    place: str
    unit: str
    low: float | None
    mean: float | None
    high: float | None
    known_s: float


def rows(material: Material) -> Iterator[Row]:
    """Yield every interval of every sensor and derived value, place by place."""
    asked = material.asked
    each = asked.every_ms // QUARTER_MS
    sensors = {sensor.id: sensor for sensor in material.site.sensors}
    for channel, quarters in material.quarters.items():
        subject, quantity, place = [*channel.split("|", 2), "", ""][:3]
        if channel in sensors:
            subject, quantity, place = "sensor", sensors[channel].quantity, channel
        if quantity not in set(Quantity):
            continue
        unit = INSIDE[DIMENSION[Quantity(quantity)]]
        for number, at in enumerate(asked.starts):
            found = quarters.joined(number * each, (number + 1) * each)
            low, mean, high = (None if value is None else round(value, 6) for value in found[:3])
            yield Row(
                utc(at),
                utc(at + asked.length_ms(at)),
                subject,
                str(quantity),
                place,
                unit,
                low,
                mean,
                high,
                found.known_ms / 1000,
            )


def as_csv(found: Sequence[Row]) -> str:
    """Return rows as CSV with a head line (RFC 4180)."""
    made = io.StringIO()
    writer = csv.writer(made)
    writer.writerow(Row._fields)
    writer.writerows(("" if cell is None else cell for cell in row) for row in found)
    return made.getvalue()


def as_senml(material: Material, found: Sequence[Row]) -> str:
    """Return the means as one SenML pack; material says where and since when."""
    start = material.asked.from_ms / 1000
    made: list[dict[str, object]] = [{"bn": f"urn:dev:org:dewgate-{material.site.id}:", "bt": start}]
    names = dict[tuple[str, str, str], str]()
    offsets = {utc(at): (at - material.asked.from_ms) / 1000 for at in material.asked.starts}
    for row in found:
        if row.mean is None or row.unit not in SENML:
            continue
        key = (row.subject, row.quantity, row.place)
        name = names.setdefault(key, _name(*key))
        made.append({"n": name, "u": SENML[row.unit][0], "v": row.mean, "t": offsets[row.from_utc]})
    return json.dumps(made, separators=(",", ":"))


def _name(*parts: str) -> str:
    """A name of the characters that RFC 8428, 4.5.1 allows."""
    return "/".join(
        "".join(c if c.isascii() and (c.isalnum() or c in "-:._") else "_" for c in part) for part in parts
    )
