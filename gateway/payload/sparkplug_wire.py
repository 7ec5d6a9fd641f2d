"""Sparkplug B on the wire: topics, bytes to metrics, the two messages a subscriber sends. The door to protobuf.

The message types are declared here, field by field, through protobuf itself: nothing is generated, and protobuf is
imported when the first payload is read. Data sets, templates and extensions are declared as bytes (the same on the
wire), so that they are passed over and never unfolded.
Source: Sparkplug Specification 3.0.0 (Eclipse Foundation, 2022; ISO/IEC 20237:2023), chapters 4 (topics) and 6
(payloads: schema, metric, property set, quality codes, data types). Its rules are cited by their ids.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import IntEnum
from functools import cache
from typing import Any

from gateway.payload.value import MAX_PAYLOAD
from gateway.reading import Rejected

MAX_METRICS = 1024  # in one message; more than one edge node of a jobsite has
MAX_TOPIC = 1024  # characters
NAMESPACE = "spBv1.0"
REBIRTH = "Node Control/Rebirth"
UNIT_PROPERTY = "engUnit"  # common practice, no source
QUALITY_PROPERTY = "Quality"
NODE_KINDS = ("NBIRTH", "NDATA", "NDEATH")
DEVICE_KINDS = ("DBIRTH", "DDATA", "DDEATH")

Scalar = float | int | bool | str


class DataType(IntEnum):
    """The basic types; every other code is passed over with its reason."""

    NOT_GIVEN = 0
    INT8 = 1
    INT16 = 2
    INT32 = 3
    INT64 = 4
    UINT8 = 5
    UINT16 = 6
    UINT32 = 7
    UINT64 = 8
    FLOAT = 9
    DOUBLE = 10
    BOOLEAN = 11
    STRING = 12
    DATETIME = 13
    TEXT = 14


_BITS = {1: 8, 2: 16, 3: 32, 4: 64, 5: 8, 6: 16, 7: 32, 8: 64, 13: 64}
_SIGNED = (DataType.INT8, DataType.INT16, DataType.INT32, DataType.INT64)
_CARRIER_BITS = {"int_value": 32, "long_value": 64}
_FAMILY: dict[int, tuple[str, ...]] = {
    **dict.fromkeys(_BITS, ("int_value", "long_value")),
    **dict.fromkeys((DataType.FLOAT, DataType.DOUBLE), ("float_value", "double_value")),
    DataType.BOOLEAN: ("boolean_value",),
    **dict.fromkeys((DataType.STRING, DataType.TEXT), ("string_value",)),
}
_VALUES = (
    ("int_value", 10, "uint32"), ("long_value", 11, "uint64"), ("float_value", 12, "float"),
    ("double_value", 13, "double"), ("boolean_value", 14, "bool"), ("string_value", 15, "string"),
    ("bytes_value", 16, "bytes"), ("dataset_value", 17, "bytes"), ("template_value", 18, "bytes"),
    ("extension_value", 19, "bytes"),
)  # fmt: skip
_MESSAGES: dict[str, tuple[tuple[str, int, str], ...]] = {
    "PropertyValue": (
        ("type", 1, "uint32"), ("is_null", 2, "bool"), ("int_value", 3, "uint32"), ("long_value", 4, "uint64"),
        ("string_value", 8, "string"),
    ),
    "PropertySet": (("keys", 1, "string*"), ("values", 2, "PropertyValue*")),
    "Metric": (
        ("name", 1, "string"), ("alias", 2, "uint64"), ("timestamp", 3, "uint64"), ("datatype", 4, "uint32"),
        ("is_historical", 5, "bool"), ("is_transient", 6, "bool"), ("is_null", 7, "bool"),
        ("metadata", 8, "bytes"), ("properties", 9, "PropertySet"), *_VALUES,
    ),
    "Payload": (
        ("timestamp", 1, "uint64"), ("metrics", 2, "Metric*"), ("seq", 3, "uint64"), ("uuid", 4, "string"),
        ("body", 5, "bytes"),
    ),
}  # fmt: skip


@dataclass(slots=True)  # not frozen: made for every metric of every message
class Metric:
    """One metric as sent. alias and timestamp_ms are None, name and unit "", where the message gives none.

    carrier: the field that held the value, "" for none; value is what stood there, before its type is applied.
    quality: its code (0 bad, 192 good, 500 stale), None where none is given, which means good.
    """

    name: str
    alias: int | None
    timestamp_ms: int | None
    datatype: int
    carrier: str
    value: Scalar | bytes | None
    historical: bool
    transient: bool
    null: bool
    unit: str = ""
    quality: int | None = None


@dataclass(slots=True)
class Payload:
    """One message as sent: its time, its sequence number and its metrics in order."""

    timestamp_ms: int | None
    seq: int | None
    metrics: list[Metric]


@dataclass(frozen=True, slots=True)
class Address:
    """Who a topic speaks of: kind NBIRTH ... DDEATH; device "" for the edge node itself."""

    kind: str
    group: str
    node: str
    device: str = ""


def address(topic: str) -> Address | Rejected:
    """Return who a topic speaks of. Commands and host states are not for a subscriber. Source: topics-*."""
    parts = topic.split("/")
    if parts[0] == NAMESPACE and len(topic) <= MAX_TOPIC and all(parts):
        if len(parts) == 4 and parts[2] in NODE_KINDS:
            return Address(parts[2], parts[1], parts[3])
        if len(parts) == 5 and parts[2] in DEVICE_KINDS:
            return Address(parts[2], parts[1], parts[3], parts[4])
    return Rejected("wrong topic", f"not a message of an edge node or device: {topic[:80]}")


def filters(group: str, node: str) -> list[str]:
    """Return the topic filters of one edge node and its devices; commands, ours too, are left out."""
    own = [f"{NAMESPACE}/{group}/{kind}/{node}" for kind in NODE_KINDS]
    return own + [f"{NAMESPACE}/{group}/{kind}/{node}/+" for kind in DEVICE_KINDS]


def rebirth_topic(group: str, node: str) -> str:
    """Return the topic a rebirth is asked on."""
    return f"{NAMESPACE}/{group}/NCMD/{node}"


def state_topic(host: str) -> str:
    """Return the topic of a host's own state."""
    return f"{NAMESPACE}/STATE/{host}"


def read(payload: bytes) -> Payload | Rejected:
    """Return what a payload of up to 64 KiB and 1,024 metrics says, or why it cannot be read."""
    if len(payload) > MAX_PAYLOAD:
        return Rejected("too large", f"{len(payload)} bytes; at most {MAX_PAYLOAD} are read")
    message, broken = _protobuf()
    try:
        parsed = message.FromString(payload)
    except broken as error:
        return Rejected("not Sparkplug", f"not a Sparkplug B payload: {str(error)[:80]}")
    if len(parsed.metrics) > MAX_METRICS:
        return Rejected("too large", f"{len(parsed.metrics)} metrics; at most {MAX_METRICS} are read")
    return Payload(
        parsed.timestamp if parsed.HasField("timestamp") else None,
        parsed.seq if parsed.HasField("seq") else None,
        [_metric(each) for each in parsed.metrics],
    )


def value_of(metric: Metric, datatype: int) -> Scalar | Rejected:
    """Return the value by its type, or why there is none.

    Signed integers are two's complement of their own width or of the field that carries them: both are in use.
    DATETIME is UTC ms. Source: chapter 6, data types.
    """
    if metric.null or not metric.carrier:
        return Rejected("no value", "sent as null" if metric.null else "sent without a value")
    family = _FAMILY.get(datatype)
    if family is None:
        return Rejected("no number", f"data type {datatype} carries no single value")
    if metric.carrier not in family or isinstance(metric.value, bytes) or metric.value is None:
        return Rejected("wrong type", f"{metric.carrier} does not carry {DataType(datatype).name}")
    if datatype in _BITS:
        return _integer(int(metric.value), datatype, _CARRIER_BITS[metric.carrier])
    return metric.value


def _integer(sent: int, datatype: int, carrier_bits: int) -> int | Rejected:
    bits = _BITS[datatype]
    signed = datatype in _SIGNED
    if sent < 1 << bits:
        return sent - (1 << bits) if signed and sent >> (bits - 1) else sent
    if signed and sent >= (1 << carrier_bits) - (1 << (bits - 1)):
        return sent - (1 << carrier_bits)
    return Rejected("wrong type", f"{sent} is no {DataType(datatype).name}")


def _metric(sent: Any) -> Metric:
    carrier = sent.WhichOneof("value") or ""
    has = sent.HasField
    metric = Metric(
        _text(sent.name),
        sent.alias if has("alias") else None,
        sent.timestamp if has("timestamp") else None,
        sent.datatype,
        carrier,
        getattr(sent, carrier) if carrier else None,
        sent.is_historical,
        sent.is_transient,
        sent.is_null,
    )
    if has("properties"):
        _properties(sent.properties, metric)
    return metric


def _properties(sent: Any, metric: Metric) -> None:
    for key, value in zip(sent.keys, sent.values, strict=False):
        if key == UNIT_PROPERTY and not value.is_null:
            metric.unit = _text(value.string_value)
        elif key == QUALITY_PROPERTY and not value.is_null:
            metric.quality = value.long_value if value.HasField("long_value") else value.int_value


def _text(sent: str | bytes) -> str:
    """Return a string field; protobuf hands out bytes where they are not UTF-8."""
    return sent if isinstance(sent, str) else sent.decode("utf-8", "replace")


def rebirth_request(timestamp_ms: int) -> bytes:
    """Return the payload of the NCMD that asks an edge node to send its births again.

    For QoS 0, not retained. It has no sequence number: the subscriber keeps none.
    Source: operational-behavior-data-commands-rebirth-*, payloads-ncmd-*.
    """
    message, _ = _protobuf()
    payload = message(timestamp=timestamp_ms)
    payload.metrics.add(name=REBIRTH, timestamp=timestamp_ms, datatype=DataType.BOOLEAN, boolean_value=True)
    return bytes(payload.SerializeToString(deterministic=True))


def host_state(timestamp_ms: int, *, online: bool) -> bytes:
    """Return the STATE payload of a host: its birth, and with online=False its Will, with the same timestamp.

    Source: host-topic-phid-birth-payload, host-topic-phid-death-payload.
    """
    return json.dumps({"online": online, "timestamp": timestamp_ms}, separators=(",", ":")).encode()


@cache
def _protobuf() -> tuple[Any, type[Exception]]:
    """Return the class of a payload and what protobuf raises; imported here, since it takes some 50 ms."""
    from google.protobuf import descriptor_pb2, descriptor_pool, message, message_factory  # type: ignore[import-untyped]

    file = descriptor_pb2.FileDescriptorProto(name="sparkplug_b.proto", package="sparkplug_b", syntax="proto2")
    for name, fields in _MESSAGES.items():
        _declare(file.message_type.add(name=name), fields)
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    found = pool.FindMessageTypeByName("sparkplug_b.Payload")
    return message_factory.GetMessageClass(found), message.DecodeError


def _declare(made: Any, fields: tuple[tuple[str, int, str], ...]) -> None:
    if made.name == "Metric":
        made.oneof_decl.add(name="value")
    for name, number, kind in fields:
        base = kind.rstrip("*")
        field = made.field.add(name=name, number=number)
        field.label = field.LABEL_REPEATED if kind.endswith("*") else field.LABEL_OPTIONAL
        if base in _MESSAGES:
            field.type, field.type_name = field.TYPE_MESSAGE, f".sparkplug_b.{base}"
        else:
            field.type = getattr(field, f"TYPE_{base.upper()}")
        if made.name == "Metric" and number >= 10:
            field.oneof_index = 0
