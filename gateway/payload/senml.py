"""SenML in JSON on `dewgate/<jobsite>/<sensor>`: bytes to readings, or one rejection for the whole message.

A pack is taken whole or not at all, so that half a message is never believed.
Source: RFC 8428: names 4.5.1, units 4.5.2, time 4.5.3, values 4.5.4, unknown labels 4.4, resolution 4.6.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import msgspec

from gateway.jobsite import Jobsite, Sensor
from gateway.payload.value import ABSOLUTE_S, MAX_PAYLOAD, Refused, reading_of, time_ms
from gateway.reading import Reading, Rejected

VERSION = 10
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*\Z")
_KNOWN = frozenset({"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"})


class Record(msgspec.Struct):
    """One record as sent. Labels unknown to us are ignored unless they end in an underscore (4.4)."""

    bn: str = ""
    bt: float = 0.0
    bu: str = ""
    bv: float = 0.0
    bver: int = VERSION
    n: str = ""
    u: str = ""
    v: float | None = None
    t: float = 0.0
    s: float | None = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None


_decode = msgspec.json.Decoder(list[Record]).decode
_labels = msgspec.json.Decoder(list[dict[str, msgspec.Raw]]).decode


@dataclass(frozen=True, slots=True)
class Names:
    """Which sensor a topic and a record name mean, made once per jobsite."""

    jobsite: str
    by_name: dict[tuple[str, str], Sensor]

    @classmethod
    def of(cls, jobsite: Jobsite) -> Names:
        """Return the names of a jobsite; a record may leave its name out on the sensor's own topic."""
        found: dict[tuple[str, str], Sensor] = {}
        for sensor in jobsite.sensors:
            found[sensor.topic, sensor.id] = sensor
            if sensor.topic == sensor.id:
                found[sensor.topic, ""] = sensor
        return cls(jobsite.id, found)


def decode(topic: str, payload: bytes, names: Names, received_ms: int) -> list[Reading] | Rejected:
    """Return the readings of a message, or why nothing of it is believed.

    Args: topic as received; payload up to 64 KiB; received_ms UTC at reception, by which relative times
    (below 2^28 s) are resolved and times more than a minute ahead are refused.
    """
    parts = topic.split("/")
    if len(parts) != 3 or parts[0] != "dewgate" or parts[1] != names.jobsite:
        return Rejected("wrong topic", f"expected dewgate/{names.jobsite}/<sensor>, got {topic[:80]}")
    if len(payload) > MAX_PAYLOAD:
        return Rejected("too large", f"{len(payload)} bytes; at most {MAX_PAYLOAD} are read")
    try:
        return _resolve(_records(payload), parts[2], names, received_ms)
    except Refused as refused:
        return refused.why


def _records(payload: bytes) -> list[Record]:
    try:
        records = _decode(payload)
        if b'_"' in payload:
            _refuse_must_understand(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise Refused("not SenML", f"not a SenML JSON pack: {error}") from None
    if not records:
        raise Refused("not SenML", "the pack is empty")
    return records


def _refuse_must_understand(payload: bytes) -> None:
    for labels in _labels(payload):
        for label in labels:
            if label.endswith("_") and label not in _KNOWN:
                raise Refused("label not understood", f"label {label[:40]} must be understood and is not")


def _resolve(records: list[Record], level: str, names: Names, received_ms: int) -> list[Reading]:
    base_name, base_time, base_unit, base_value = "", 0.0, "", 0.0
    readings = []
    for record in records:
        base_name = record.bn or base_name
        base_time = record.bt or base_time
        base_unit = record.bu or base_unit
        base_value = record.bv or base_value
        if record.bver > VERSION:
            raise Refused("not SenML", f"version {record.bver} is newer than {VERSION}")
        sensor = _sensor(base_name + record.n, level, names)
        if record.v is None:
            raise Refused("no number", f"{sensor.id} carries no number (v)")
        seconds = base_time + record.t
        measured_ms = time_ms(seconds, received_ms)
        reading = reading_of(sensor, base_value + record.v, record.u or base_unit, measured_ms)
        reading.relative = seconds < ABSOLUTE_S
        readings.append(reading)
    return readings


def _sensor(name: str, level: str, names: Names) -> Sensor:
    sensor = names.by_name.get((level, name))
    if sensor is not None:
        return sensor
    if name and not _NAME.match(name):
        raise Refused("bad name", f"name {name[:60]!r} is not a SenML name")
    raise Refused("unknown sensor", f"no sensor {name[:60] or level[:60]} on topic level {level[:60]}")
