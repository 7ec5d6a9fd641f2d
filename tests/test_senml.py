"""Messages as sensors send them, and everything else that can arrive on a topic."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.payload.senml import Names, decode
from gateway.reading import Reading, Rejected
from tests.sites import T0, pack, site

NAMES = Names.of(site())


def take(payload: bytes, topic: str = "dewgate/test/steel") -> list[Reading] | Rejected:
    return decode(topic, payload, NAMES, T0)


@pytest.mark.parametrize(
    ("code", "topic", "payload"),
    [
        ("not SenML", "dewgate/test/steel", b"hello"),
        ("not SenML", "dewgate/test/steel", b"[]"),
        ("not SenML", "dewgate/test/steel", b"\xff\xfe"),
        ("not SenML", "dewgate/test/steel", b"[" * 50_000),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":NaN}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":1e999}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":"20"}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"bver":11}]'),
        ("label not understood", "dewgate/test/steel", b'[{"n":"steel","v":20,"new_":1}]'),
        ("no number", "dewgate/test/steel", b'[{"n":"steel","vs":"20"}]'),
        ("wrong unit", "dewgate/test/steel", pack("steel", 20, unit="hPa")),
        ("wrong unit", "dewgate/test/steel", pack("steel", 20, unit="nonsense")),
        ("unknown sensor", "dewgate/test/steel", pack("other", 20)),
        ("unknown sensor", "dewgate/test/steel", pack("air-t", 20)),
        ("bad name", "dewgate/test/steel", pack("-steel", 20)),
        ("too large", "dewgate/test/steel", b" " * 1_048_576),
        ("wrong topic", "dewgate/other/steel", pack("steel", 20)),
        ("wrong topic", "dewgate/test/steel/more", pack("steel", 20)),
        ("bad time", "dewgate/test/steel", pack("steel", 20, 3_786_912_000_000)),  # 2090
        ("bad time", "dewgate/test/steel", pack("steel", 20, 100_000_000)),  # 1970: below 2^28 s, so "in a day"
        ("impossible value", "dewgate/test/air-rh", pack("air-rh", -5)),
        ("impossible value", "dewgate/test/air-rh", pack("air-rh", 130)),
        ("impossible value", "dewgate/test/air-t", pack("air-t", -7999)),
        ("impossible value", "dewgate/test/baro", pack("baro", 592 / 2)),
    ],
)  # fmt: skip
def test_garbage_is_rejected_with_its_reason(code: str, topic: str, payload: bytes) -> None:
    """Each kind of garbage has a code to count by and a sentence for the keeper."""
    refused = take(payload, topic)
    assert isinstance(refused, Rejected), refused
    assert refused.code == code and refused.detail


@pytest.mark.parametrize(
    ("percent", "value", "saturated", "bound"),
    [
        (100.0, 1.0, False, False), (100.1, 1.0, True, False), (105.0, 1.0, True, False),
        (2.0, 0.02, False, True), (0.0, 0.02, False, True), (2.1, 0.021, False, False),
    ],
)  # fmt: skip
def test_humidity_at_its_ends(percent: float, value: float, saturated: bool, bound: bool) -> None:
    """100..100+accuracy+3 counts as 100, saturated; 0..accuracy is an upper bound (sensor of ±2 %RH)."""
    (reading,) = take(pack("air-rh", percent), "dewgate/test/air-rh")  # type: ignore[misc]
    assert reading.value == pytest.approx(value)
    assert (reading.saturated, reading.below_resolution) == (saturated, bound)


def test_humidity_above_105_is_rejected() -> None:
    """Above 100 + accuracy + 3 a humidity cannot be."""
    assert isinstance(take(pack("air-rh", 105.1), "dewgate/test/air-rh"), Rejected)


def test_base_fields_and_relative_time() -> None:
    """RFC 8428, 4.1 and 4.5.3: base fields hold for later records; times below 2^28 are from now."""
    payload = json.dumps(
        [{"bn": "ste", "bt": -10, "bu": "Cel", "bv": 20, "n": "el", "v": 1, "bver": 5}, {"n": "el", "t": 5}]
    )
    refused = take(payload.encode())
    assert isinstance(refused, Rejected) and refused.code == "no number"  # the second record has no value
    both = json.dumps(
        [{"bn": "ste", "bt": -10, "bv": 20, "n": "el", "v": 1, "bver": 5}, {"n": "el", "t": 5, "v": 2}]
    )
    readings = take(both.encode())
    times = [(21.0, T0 - 10_000), (22.0, T0 - 5_000)]
    assert readings == [Reading("steel", value, at, relative=True) for value, at in times]
    assert not any(reading.absolute for reading in readings)


def test_the_rfc_example_of_several_measurements_is_read() -> None:
    """RFC 8428, 5.1.3: base time 1.276020076001e+09 is 2010-06-08T18:01:16.001Z, t -5 is five seconds before."""
    payload = b'[{"bn":"steel","bt":1.276020076001e+09,"bu":"Cel","bver":5,"v":20},{"v":20.1,"t":-5}]'
    readings = take(payload)
    assert [r.measured_ms for r in readings] == [1_276_020_076_001, 1_276_020_071_001]  # type: ignore[union-attr]


def test_unknown_labels_are_ignored_and_units_converted() -> None:
    """RFC 8428, 4.4; and a temperature may come in °F."""
    (reading,) = take(b'[{"n":"steel","v":68,"u":"degF","x":[1]}]')  # type: ignore[misc]
    assert reading.value == pytest.approx(20.0)


@given(st.text(max_size=40), st.binary(max_size=300))
def test_nothing_that_arrives_raises(topic: str, payload: bytes) -> None:
    """Any topic and any bytes give readings or a rejection."""
    for where in (topic, "dewgate/test/steel"):
        assert isinstance(decode(where, payload, NAMES, T0), (list, Rejected))


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["n", "v", "t", "bt", "bv", "u", "bn", "bver", "x_"]), inner, max_size=4
            )
        ),
        max_leaves=12,
    )
)
def test_no_json_raises(value: object) -> None:
    """Any JSON value gives readings or a rejection."""
    assert isinstance(take(json.dumps([value]).encode()), (list, Rejected))
