"""SenML on `dewgate/<jobsite>/<sensor>`, in JSON or CBOR: bytes to readings, or one rejection for the message.

A pack is taken whole or not at all, so that half a message is never believed. Readings come in the order of
their times, as resolved records do. A record of base fields alone (the first one in 5.1.7) measures nothing.
Source: RFC 8428: fields 4.1 and 4.2, unknown labels and versions 4.4, names 4.5.1, units 4.5.2, time 4.5.3,
values 4.5.4, resolution 4.6, JSON 5, CBOR 6 (`senml_cbor`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import NoReturn

import msgspec
from msgspec import UNSET, UnsetType

from gateway.feeds import fed
from gateway.jobsite import Jobsite, Sensor
from gateway.payload import senml_cbor
from gateway.payload.value import ABSOLUTE_S, MAX_PAYLOAD, Refused, reading_of, time_ms
from gateway.reading import Reading, Rejected

VERSION = 10
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*\Z")
_BASES = ("bn", "bt", "bu", "bv", "bs", "bver")
_REGULAR = ("u", "v", "vs", "vb", "vd", "s", "ut")
_NO_NUMBERS = {"vs": "a text", "vb": "true or false", "vd": "data", "s": "a sum"}


class Record(msgspec.Struct, gc=False):
    """One record as sent (4.3). A label left out is UNSET, since a base of 0 says something of its own."""

    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    bver: int | UnsetType = UNSET
    n: str = ""
    u: str | UnsetType = UNSET
    v: float | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    vd: str | UnsetType = UNSET
    s: float | UnsetType = UNSET
    t: float = 0.0
    ut: float | UnsetType = UNSET


class _Usual(Record, forbid_unknown_fields=True, gc=False):
    """A record without a label that is unknown to us: one pass says so."""


_decode_usual = msgspec.json.Decoder(list[_Usual]).decode
_decode = msgspec.json.Decoder(list[Record]).decode
_labels = msgspec.json.Decoder(list[dict[str, msgspec.Raw]]).decode


@dataclass(frozen=True, slots=True)
class Names:
    """Which sensor a whole topic and then a record name mean, made once per jobsite."""

    jobsite: str
    by_topic: dict[str, dict[str, Sensor]]

    @classmethod
    def of(cls, jobsite: Jobsite) -> Names:
        """Return the names of a jobsite; a record may leave its name out on the sensor's own topic."""
        found: dict[str, dict[str, Sensor]] = {}
        elsewhere = fed(jobsite)  # a sensor that a source feeds has no second way in
        for sensor in jobsite.sensors:
            if sensor.id in elsewhere:
                continue
            named = found.setdefault(f"dewgate/{jobsite.id}/{sensor.topic}", {})
            named[sensor.id] = sensor
            if sensor.topic == sensor.id:
                named[""] = sensor
        return cls(jobsite.id, found)

    def on(self, topic: str) -> dict[str, Sensor]:
        """Return the sensors that may speak on a topic, by the names of their records."""
        return self.by_topic.get(topic, {})


def decode(topic: str, payload: bytes, names: Names, received_ms: int) -> list[Reading] | Rejected:
    """Return the readings of a message in the order of their times, or why nothing of it is believed.

    Args: topic as received; payload up to 64 KiB, read as CBOR when it begins with a CBOR array, else as JSON;
    received_ms UTC at reception, by which relative times (below 2^28 s) are resolved and times more than a
    minute ahead are refused.
    """
    known = names.by_topic.get(topic)
    if known is None:
        known = {}
        if topic.split("/")[:-1] != ["dewgate", names.jobsite]:
            return Rejected("wrong topic", f"expected dewgate/{names.jobsite}/<sensor>, got {topic[:80]}")
    if len(payload) > MAX_PAYLOAD:
        return Rejected("too large", f"{len(payload)} bytes; at most {MAX_PAYLOAD} are read")
    try:
        return _resolve(_records(payload), topic, known, received_ms)
    except Refused as refused:
        return refused.why


def _records(payload: bytes) -> Sequence[Record]:
    if payload and 0x80 <= payload[0] <= 0x9F:  # no JSON text begins so
        return _of_cbor(payload)
    try:
        return _decode_usual(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return _of_unusual_json(payload)


def _of_unusual_json(payload: bytes) -> Sequence[Record]:
    """Ignore a label that may be ignored, or say what is wrong."""
    try:
        _refuse_must_understand(_labels(payload))
        return _decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise Refused("not SenML", f"not a SenML JSON pack: {error}") from None


def _of_cbor(payload: bytes) -> Sequence[Record]:
    found = senml_cbor.records(payload)
    _refuse_must_understand(found)
    try:
        return msgspec.convert(found, list[Record])
    except msgspec.ValidationError as error:
        raise Refused("not SenML", f"not a SenML CBOR pack: {error}") from None


def _refuse_must_understand(records: Iterable[Iterable[str]]) -> None:
    """Refuse a label that ends in an underscore; all we know end otherwise."""
    for labels in records:
        for label in labels:
            if label.endswith("_"):
                raise Refused("label not understood", f"label {label[:40]} must be understood and is not")


def _resolve(records: Sequence[Record], topic: str, known: dict[str, Sensor], received_ms: int) -> list[Reading]:
    base_name, base_time, base_unit, base_value = "", 0.0, "", 0.0
    readings = []
    for record in records:
        if record.bn is not UNSET:
            base_name = record.bn
        if record.bt is not UNSET:
            base_time = record.bt
        if record.bu is not UNSET:
            base_unit = record.bu
        if record.bv is not UNSET:
            base_value = record.bv
        if record.bver is not UNSET:
            _refuse_version(record.bver, records[0].bver)
        if record.v is UNSET and _is_base_only(record):
            continue
        name = base_name + record.n
        sensor = known.get(name) or _unknown(name, topic)
        if record.v is UNSET or record.vs is not UNSET or record.vb is not UNSET or record.vd is not UNSET:
            raise _no_single_number(sensor, record)
        seconds = base_time + record.t
        if seconds < -ABSOLUTE_S:  # such a number of milliseconds is no time any more
            raise Refused("bad time", f"measured {-seconds:.3g} s ago")
        unit = base_unit if record.u is UNSET else record.u
        reading = reading_of(sensor, base_value + record.v, unit, time_ms(seconds, received_ms))
        reading.relative = seconds < ABSOLUTE_S
        if record.ut is not UNSET:
            reading.next_within_ms = _next_within_ms(sensor, record.ut)
        readings.append(reading)
    return readings if len(readings) == 1 else _in_order(readings, received_ms)


def _in_order(readings: list[Reading], received_ms: int) -> list[Reading]:
    """Return the readings by time (4.6); those of the same time stay as they were sent."""
    if not readings:
        raise Refused("not SenML", "the pack is empty, or of base fields only")

    def at(reading: Reading) -> int:
        return received_ms if reading.measured_ms is None else reading.measured_ms

    return sorted(readings, key=at)


def _refuse_version(version: int, first: int | UnsetType) -> None:
    """Refuse a version that is newer than ours, none at all, or not that of the first record (4.1, 4.4)."""
    if version > VERSION:
        raise Refused("not SenML", f"version {version} is newer than {VERSION}")
    if version < 1:
        raise Refused("not SenML", f"version {version} is not a positive number")
    of_pack = VERSION if first is UNSET else first
    if version != of_pack:
        raise Refused("not SenML", f"one record is of version {version}, the first of {of_pack}")


def _is_base_only(record: Record) -> bool:
    carries = {label for label in (*_BASES, *_REGULAR) if getattr(record, label) is not UNSET}
    return bool(carries) and carries <= set(_BASES) and not record.n and not record.t


def _no_single_number(sensor: Sensor, record: Record) -> Refused:
    """Say what a record carries instead of exactly one number (4.2)."""
    values = [label for label in ("v", "vs", "vb", "vd") if getattr(record, label) is not UNSET]
    if len(values) > 1:
        return Refused("not SenML", f"{sensor.id} carries {' and '.join(values)}; a record has one value")
    what = [said for label, said in _NO_NUMBERS.items() if getattr(record, label) is not UNSET]
    if what == ["a sum"]:
        return Refused("no number", f"{sensor.id} carries a sum, not a value")
    return Refused("no number", f"{sensor.id} carries {what[0] if what else 'nothing'}, not a number (v)")


def _next_within_ms(sensor: Sensor, update_s: float) -> int:
    """Return the promise of the next reading (4.2), in whole ms, never shorter than promised."""
    if not 0 < update_s <= ABSOLUTE_S:
        raise Refused("bad time", f"{sensor.id}: the next reading within {update_s:g} s is no promise")
    return ceil(update_s * 1000)


def _unknown(name: str, topic: str) -> NoReturn:
    level = topic.rpartition("/")[2]
    if name and not _NAME.match(name):
        raise Refused("bad name", f"name {name[:60]!r} is not a SenML name")
    raise Refused("unknown sensor", f"no sensor {name[:60] or level[:60]} on topic level {level[:60]}")
