"""What one message of the journal says to a person who listens: readings as their sensors state them, or what a
refused message tried to say.

Input: an arrival or the kept bytes of a refusal, and what was in force then. Output: values for `heard` and
`watch_words`. Late, conflict and repeat are the flow's and not journalled; they are worked out here again from
what was read, so nothing is known of what lies before it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any, TypeGuard

from alerts.measured import UNITS
from gateway import flow_edges, flow_repeats
from gateway.entry import Arrival, Kind
from gateway.flow_state import State
from gateway.jobsite import Jobsite, Sensor
from gateway.payload import canonical, senml_cbor
from gateway.payload.forms import Forms
from gateway.payload.sparkplug_bound import Bindings
from gateway.payload.value import Refused
from gateway.reading import Reading, Rejected
from gateway.sensor_sense import patience_ms, silence_ms

LATE, CONFLICT, REPEAT, AGE_UNKNOWN = "late", "conflict", "repeat", "age unknown"
SATURATED, BOUND = "counts as 100 %RH", "at most this"
REMEMBERED = flow_repeats.WINDOW  # readings known again, as many as the flow knows
LONGEST = 60  # signs of a text value that are shown


_NOWHERE = Jobsite("", "", "UTC", 0.0)


@dataclass(frozen=True, slots=True)
class Standing:
    """What is in force at an entry: UTC = core time + offset_ms, and the jobsite with its names."""

    offset_ms: int = 0
    site: Jobsite | None = None
    forms: Forms = field(default_factory=lambda: Forms.of(_NOWHERE))
    sensors: Mapping[str, Sensor] = field(default_factory=dict)
    bindings: Bindings = field(default_factory=dict)
    edges: State = field(default_factory=State)  # of edge nodes only; changed in place

    @property
    def time_zone(self) -> str:
        """The zone of the site's times; UTC before a jobsite is set."""
        return self.site.time_zone if self.site else "UTC"

    def level(self, topic: str) -> str:
        """Return the sensor's level of a topic of this jobsite, or nothing for any other topic."""
        before = f"dewgate/{self.forms.jobsite}/"
        level = topic.removeprefix(before)
        return "" if level == topic or "/" in level else level

    def is_own(self, topic: str) -> bool:
        """Whether a sensor or a source of the jobsite speaks on this topic."""
        level = self.level(topic)
        return any(sensor.topic == level for sensor in self.sensors.values()) or bool(
            self.forms.sources.find(topic)
        )


def after(standing: Standing, kind: Kind, body: bytes) -> Standing:
    """Return what is in force after an entry. Raises ValueError for a jobsite this program cannot read."""
    match kind:
        case Kind.CONFIG_SET:
            site = canonical.jobsite_of(body)
            sensors = {sensor.id: sensor for sensor in site.sensors}
            return Standing(
                standing.offset_ms, site, Forms.of(site), sensors, flow_edges.bindings(site), standing.edges
            )
        case Kind.STARTED:
            return replace(standing, offset_ms=canonical.to_dict(body)["offset_ms"])
        case Kind.CLOCK_STEP:
            return replace(standing, offset_ms=canonical.to_dict(body)["new_offset_ms"])
        case Kind.EDGE_SESSION if (said := canonical.to_dict(body))["what"] != "rebirth asked for":
            flow_edges.session(standing.edges, standing.bindings, said, 0)  # every birth is forgotten
            return standing
        case _:
            return standing


# -- one message ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Said:
    """One value of a refused message as it was sent; name may be empty, value None where none is readable."""

    name: str
    value: float | str | None
    unit: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One reading in the unit its sensor states, with its lag [ms] where it has a time, and what to know of it.

    patience_ms: how long its sensor may be silent after it.
    """

    sensor: str
    value: float
    unit: str
    lag_ms: int | None
    marks: tuple[str, ...]
    patience_ms: int


Seen = dict[tuple[str, int], float]


def believed(arrival: Arrival, standing: Standing, core_ms: int) -> list[Reading] | Rejected:
    """Return the readings of a message that was accepted. The one place that knows the forms of messages."""
    utc_ms = core_ms + standing.offset_ms
    if not flow_edges.is_edge(arrival.topic):
        return standing.forms.decode(arrival.topic, arrival.payload, utc_ms)
    found = flow_edges.changes(standing.edges, standing.bindings, arrival, utc_ms)
    return found if isinstance(found, Rejected) else [each for each in found if isinstance(each, Reading)]


def told(kept: bytes) -> list[Said]:
    """Return what the kept bytes of a refused SenML message say; nothing where they are something else.

    JSON cut off in the middle of a record gives the records before it, CBOR cut off gives nothing.
    Source: RFC 8428, 4.5 (base values).
    """
    base: dict[str, Any] = {}
    found = []
    for record in _records(kept):
        base |= {key: value for key, value in record.items() if key in ("bn", "bu", "bv")}
        name = _text(base.get("bn")) + _text(record.get("n"))
        found.append(Said(name, _value(record, base.get("bv")), _text(record.get("u")) or _text(base.get("bu"))))
    return found


def _records(kept: bytes) -> list[dict[str, Any]]:
    if kept and 0x80 <= kept[0] <= 0x9F:  # an array in CBOR; no JSON text begins so
        try:
            return senml_cbor.records(kept)
        except Refused:
            return []
    for body in (kept, kept[: kept.rfind(b"}") + 1] + b"]"):
        try:
            pack = json.loads(body)
        except (ValueError, RecursionError):
            continue
        return [each for each in pack if isinstance(each, dict)] if isinstance(pack, list) else []
    return []


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _value(record: dict[str, Any], base: object) -> float | str | None:
    value = record.get("v")
    if _is_number(value):
        try:
            number = float(value) + (float(base) if _is_number(base) else 0.0)
        except OverflowError:
            return None
        return number if isfinite(number) else str(number)
    words = next((record[key] for key in ("v", "vs", "vb", "vd") if key in record), None)
    return None if words is None else str(words)[:LONGEST]


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def shown(reading: Reading, arrival: Arrival, standing: Standing, core_ms: int, seen: Seen) -> Shown:
    """Return a reading as its sensor states it, with its marks; remembers it in `seen`."""
    sensor = standing.sensors[reading.sensor]
    lag = _lag_ms(reading, arrival, core_ms + standing.offset_ms)
    marks = [_before(seen, reading) or _age(sensor, lag, arrival)]
    marks += [SATURATED] * reading.saturated + [BOUND] * reading.below_resolution
    value = UNITS[sensor.unit].outside(reading.value)
    patience = silence_ms(patience_ms(sensor), reading.next_within_ms)
    return Shown(sensor.id, value, sensor.unit, lag, tuple(mark for mark in marks if mark), patience)


def _age(sensor: Sensor, lag_ms: int | None, arrival: Arrival) -> str:
    if lag_ms is None:
        return AGE_UNKNOWN if arrival.retain or arrival.before_marker else ""
    return LATE if lag_ms > patience_ms(sensor) else ""


def _lag_ms(reading: Reading, arrival: Arrival, received_ms: int) -> int | None:
    """None without a time, and where "so long ago" was said before an unknown wait."""
    if reading.measured_ms is None or (not reading.absolute and (arrival.retain or arrival.before_marker)):
        return None
    return received_ms - reading.measured_ms


def _before(seen: Seen, reading: Reading) -> str:
    """Whether this sensor said something of this time before: the same is a repeat, another value a conflict."""
    if not reading.absolute or reading.measured_ms is None:
        return ""
    key = (reading.sensor, reading.measured_ms)
    if key in seen:
        return REPEAT if seen[key] == reading.value else CONFLICT
    flow_repeats.remember(seen, key, reading.value)
    return ""


# -- small words ---------------------------------------------------------------------------------------------


def printable(text: str) -> str:
    """Return the text with every control and format character escaped, so that no terminal obeys it."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def printable_bytes(first: bytes) -> str:
    """Return bytes as text, with what is not printable UTF-8 escaped."""
    return printable(first.decode("utf-8", "backslashreplace"))


def span(ms: float) -> str:
    """Return a length of time as a person says it."""
    seconds = abs(ms) / 1000
    sign = "-" if ms < 0 else ""
    for size, least, unit in ((86400, 172_800, "days"), (3600, 7200, "h"), (60, 120, "min")):
        if seconds >= least:
            return f"{sign}{seconds / size:.3g} {unit}"
    return f"{sign}{seconds:.1f} s" if seconds < 9.95 else f"{sign}{seconds:.0f} s"


def value_words(value: float | str | None, unit: str) -> str:
    """Return a value as sent with its unit."""
    number = "no value" if value is None else f"{value:.6g}" if isinstance(value, float) else repr(value)
    return printable(f"{number} {unit}".strip())
