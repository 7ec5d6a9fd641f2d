"""Sparkplug payloads made by another library, read; and what can be sent instead of one."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.payload import sparkplug_wire as wire
from gateway.payload.sparkplug_wire import Address, DataType, Metric, Payload
from gateway.reading import Rejected
from tests.tables.sparkplug_messages import MADE_MS, MESSAGES


def read_bytes(sent: bytes) -> Payload:
    payload = wire.read(sent)
    assert isinstance(payload, Payload), payload
    return payload


def read(name: str) -> Payload:
    return read_bytes(MESSAGES[name].payload)


def values(name: str) -> dict[str, object]:
    return {each.name: wire.value_of(each, each.datatype) for each in read(name).metrics}


def test_every_datatype_reads_as_the_library_was_given_it() -> None:
    """payloads-metric-datatype-value: each basic type, signed ones at both ends, strings as UTF-8."""
    expected = MESSAGES["every datatype"].given
    assert len(expected) == 28
    read_back = [
        (each.name, each.datatype, wire.value_of(each, each.datatype)) for each in read("every datatype").metrics
    ]
    assert tuple(read_back) == expected
    assert [type(value) for _, _, value in read_back] == [type(value) for _, _, value in expected]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Int8 sign-extended", -5),
        ("Int16 sign-extended", -300),
        ("Int32 in the long field", -70_000),
        ("UInt32 in the long field", 4_000_000_000),
    ],
)
def test_integers_in_the_width_of_their_field_are_read_too(name: str, expected: int) -> None:
    """payloads-metric-datatype-value: both ways of carrying a signed or unsigned integer are in use."""
    assert values("unusual values")[name] == expected


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("set", "no number"),
        ("template", "no number"),
        ("bytes", "no number"),
        ("Int8 too large", "wrong type"),
        ("Float as integer", "wrong type"),
        ("no value", "no value"),
        ("no datatype", "no number"),
    ],
)
def test_what_is_no_single_value_says_why(name: str, code: str) -> None:
    """payloads-metric-datatype-value-type: a value is read by its type or not at all."""
    found = values("unusual values")[name]
    assert isinstance(found, Rejected) and found.code == code and found.detail


def test_a_null_has_no_value_even_if_one_is_sent() -> None:
    """Chapter 6, metric, is_null: the value is null whatever stands beside the flag."""
    metric = Metric("t", None, None, DataType.FLOAT, "float_value", 3.0, False, False, True)
    assert wire.value_of(metric, DataType.FLOAT) == Rejected("no value", "sent as null")


def test_flags_times_alias_and_sequence_are_read() -> None:
    """payloads-sequence-num-always-included, payloads-alias-data-cmd-requirement: all but the value."""
    payload = read("historical seq 2")
    assert (payload.timestamp_ms, payload.seq) == (MADE_MS + 1000, 2)
    assert payload.metrics == [
        Metric("", 2, MADE_MS - 60_000, 0, "float_value", 12.0, True, False, False, "", None)
    ]
    (null,), (transient,) = read("null seq 2").metrics, read("transient seq 2").metrics
    assert null.null and not null.historical and not null.transient
    assert transient.transient and not transient.null
    assert read("no metric time seq 2").metrics[0].timestamp_ms is None
    assert read("data without seq").seq is None
    assert read("node death bdSeq 0").timestamp_ms is None


def test_unit_and_quality_are_read_from_the_properties() -> None:
    """payloads-propertyset-*: two properties are known, others passed over."""
    assert [each.unit for each in read("device birth seq 1 with units").metrics] == ["degF", "bar", ""]
    assert [read(f"quality {code} seq 2").metrics[0].quality for code in (0, 192, 500)] == [0, 192, 500]
    long = wire._protobuf()[0]()
    properties = long.metrics.add().properties
    properties.keys.extend(["Quality", "engUnit"])
    properties.values.add(long_value=500)
    properties.values.add(is_null=True, string_value="bar")
    (metric,) = read_bytes(long.SerializeToString()).metrics
    assert (metric.quality, metric.unit) == (500, "")


@pytest.mark.parametrize(
    ("code", "payload"),
    [
        ("not Sparkplug", b"hello"),
        ("not Sparkplug", b"\xff" * 20),
        ("not Sparkplug", MESSAGES["every datatype"].payload[:-1]),
        ("too large", b"\x00" * 65_537),
        ("too large", b"\x12\x00" * 1025),
    ],
)
def test_garbage_is_rejected_with_its_reason(code: str, payload: bytes) -> None:
    """No bytes raise; each has a code to count by and a sentence."""
    refused = wire.read(payload)
    assert isinstance(refused, Rejected) and refused.code == code and refused.detail


def test_the_most_that_is_read_is_read() -> None:
    """The bounds themselves are still inside."""
    payload = wire.read(b"\x12\x00" * 1024)
    assert isinstance(payload, Payload) and len(payload.metrics) == 1024
    filler = b"\x2a\xfc\xff\x03" + b"x" * 65_532
    assert len(filler) == 65_536 and isinstance(wire.read(filler), Payload)


def test_a_name_that_is_no_text_is_read_as_a_name_nobody_has() -> None:
    """Bytes that are not UTF-8 give a name with the sign of replacement."""
    payload = wire.read(b"\x12\x04\x0a\x02\xff\xfe")
    assert isinstance(payload, Payload) and payload.metrics[0].name == "\ufffd\ufffd"


def test_sets_in_sets_are_passed_over() -> None:
    """A template ten thousand deep costs no more than its bytes."""
    inner = b""
    while len(inner) < 60_000:
        inner = b"\x92\x01" + _varint(len(inner)) + inner  # field 18, a template
        inner = b"\x12" + _varint(len(inner)) + inner
    payload = wire.read(inner)
    assert isinstance(payload, Payload) and payload.metrics[0].carrier == "template_value"


def _varint(number: int) -> bytes:
    out = b""
    while number > 0x7F:
        out += bytes([number & 0x7F | 0x80])
        number >>= 7
    return out + bytes([number])


def test_the_rebirth_request_is_the_librarys_own_bytes() -> None:
    """operational-behavior-data-commands-rebirth-*, payloads-ncmd-seq: name, Boolean true, no sequence number."""
    ours, theirs = wire.read(wire.rebirth_request(MADE_MS)), read("rebirth request")
    assert wire.rebirth_request(MADE_MS) == MESSAGES["rebirth request"].payload
    assert ours == theirs and theirs.seq is None and theirs.metrics[0].value is True


def test_the_host_state_is_json_with_its_time() -> None:
    """host-topic-phid-birth-payload, host-topic-phid-death-payload: online and timestamp, nothing else."""
    assert json.loads(wire.host_state(7, online=True)) == {"online": True, "timestamp": 7}
    assert wire.host_state(7, online=False) == b'{"online":false,"timestamp":7}'
    assert wire.state_topic("gateway-1") == "spBv1.0/STATE/gateway-1"


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        ("spBv1.0/site/NBIRTH/pump", Address("NBIRTH", "site", "pump")),
        ("spBv1.0/site/NDATA/pump", Address("NDATA", "site", "pump")),
        ("spBv1.0/site/NDEATH/pump", Address("NDEATH", "site", "pump")),
        ("spBv1.0/site/DBIRTH/pump/wall", Address("DBIRTH", "site", "pump", "wall")),
        ("spBv1.0/site/DDATA/pump/wall", Address("DDATA", "site", "pump", "wall")),
        ("spBv1.0/site/DDEATH/pump/wall", Address("DDEATH", "site", "pump", "wall")),
        ("spBv1.0/site/NCMD/pump", None),
        ("spBv1.0/site/DCMD/pump/wall", None),
        ("spBv1.0/STATE/gateway-1", None),
        ("spBv1.0/site/NDATA/pump/wall", None),
        ("spBv1.0/site/DDATA/pump", None),
        ("spBv1.0/site/DDATA/pump/", None),
        ("spBv1.0//NDATA/pump", None),
        ("spAv1.0/site/NDATA/pump", None),
        ("spBv1.0/site/NDATA/" + "p" * 1024, None),
        ("", None),
    ],
)
def test_topics_say_who_speaks(topic: str, expected: Address | None) -> None:
    """topics-*: six kinds of messages are an edge node's, everything else is not for a subscriber."""
    found = wire.address(topic)
    assert found == expected or (expected is None and isinstance(found, Rejected) and found.code == "wrong topic")


def test_filters_cover_the_six_kinds_and_no_command() -> None:
    """topics-*: what is subscribed for one edge node; the rebirth goes to its command topic."""
    assert wire.filters("site", "pump") == [
        "spBv1.0/site/NBIRTH/pump",
        "spBv1.0/site/NDATA/pump",
        "spBv1.0/site/NDEATH/pump",
        "spBv1.0/site/DBIRTH/pump/+",
        "spBv1.0/site/DDATA/pump/+",
        "spBv1.0/site/DDEATH/pump/+",
    ]
    assert wire.rebirth_topic("site", "pump") == "spBv1.0/site/NCMD/pump"


def test_protobuf_is_loaded_with_the_first_payload_only() -> None:
    """A gateway without edge nodes does not pay for the library, and nobody pays twice."""
    assert wire._protobuf() is wire._protobuf()
    seen = (
        "import sys; from gateway.payload import sparkplug, sparkplug_bound, sparkplug_state\n"
        "before = 'google.protobuf' in sys.modules\n"
        "sparkplug.take(sparkplug_state.State(), 'spBv1.0/a/NDATA/b', b'', 0)\n"
        "print(before, 'google.protobuf' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", seen], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]


@given(st.binary(max_size=200))
def test_any_bytes_give_a_payload_or_a_reason(payload: bytes) -> None:
    """Nothing raises, whatever arrives; and every metric has a value or says why not."""
    found = wire.read(payload)
    assert isinstance(found, Payload | Rejected)
    for metric in found.metrics if isinstance(found, Payload) else []:
        value = wire.value_of(metric, metric.datatype)
        assert not isinstance(value, Rejected) or value.detail
