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
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":null}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"bver":0}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"bver":-5}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"bver":5.5}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"vs":"20"}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"vb":true}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"vd":"AA"}]'),
        ("not SenML", "dewgate/test/steel", b'[{"n":"steel","v":20,"vd":"AA","s":5}]'),
        ("not SenML", "dewgate/test/steel", b'[{"bn":"steel"},{"bt":5}]'),
        ("label not understood", "dewgate/test/steel", b'[{"n":"steel","v":20,"a\\u005f":1}]'),
        ("label not understood", "dewgate/test/steel", b'[{"n":"steel","v":20},{"n":"steel","v":20,"_":{}}]'),
        ("no number", "dewgate/test/steel", b'[{"n":"steel","vs":"20"}]'),
        ("no number", "dewgate/test/steel", b'[{"n":"steel","bv":20}]'),
        ("no number", "dewgate/test/steel", b'[{"n":"steel"},{"n":"steel","v":20}]'),
        ("no number", "dewgate/test/steel", b'[{"t":5},{"n":"steel","v":20}]'),
        ("no number", "dewgate/test/steel", b'[{"bn":"steel","t":5},{"v":20}]'),
        ("no number", "dewgate/test/steel", b'[{},{"n":"steel","v":20}]'),
        ("wrong unit", "dewgate/test/steel", pack("steel", 20, unit="hPa")),
        ("wrong unit", "dewgate/test/steel", pack("steel", 20, unit="nonsense")),
        ("unknown sensor", "dewgate/test/steel", pack("other", 20)),
        ("unknown sensor", "dewgate/test/steel", pack("air-t", 20)),
        ("bad name", "dewgate/test/steel", pack("-steel", 20)),
        ("bad name", "dewgate/test/steel", pack("st\u00e9el", 20)),
        ("bad name", "dewgate/test/steel", pack("steel\n", 20)),
        ("bad name", "dewgate/test/steel", b'[{"bn":"ste ","n":"el","v":20}]'),
        ("unknown sensor", "dewgate/test/steel", pack("n" * 60_000, 20)),
        ("too large", "dewgate/test/steel", b" " * 1_048_576),
        ("wrong topic", "dewgate/other/steel", pack("steel", 20)),
        ("wrong topic", "dewgate/test/steel/more", pack("steel", 20)),
        ("bad time", "dewgate/test/steel", pack("steel", 20, 3_786_912_000_000)),  # 2090
        ("bad time", "dewgate/test/steel", pack("steel", 20, 100_000_000)),  # 1970: below 2^28 s, so "in a day"
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"t":-1e300}]'),
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"bt":1e308,"t":1e308}]'),
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"t":1e308}]'),  # finite in s, not in ms
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"ut":0}]'),
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"ut":-60}]'),
        ("bad time", "dewgate/test/steel", b'[{"n":"steel","v":20,"ut":268435457}]'),
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
    assert [r.measured_ms for r in readings] == [1_276_020_071_001, 1_276_020_076_001]  # type: ignore[union-attr]


def test_a_later_base_of_zero_takes_the_place_of_the_first() -> None:
    """RFC 8428, 4.1: a base field holds up to the next record that has the same one, whatever it says."""
    payload = json.dumps(
        [
            {"bn": "ste", "bt": -10, "bu": "degF", "bv": 20, "bs": 5, "n": "el", "v": 1},
            {"bt": 0, "n": "el", "t": -5, "v": 48},
            {"bv": 0, "n": "el", "t": -4, "v": 68},
            {"bn": "", "n": "steel", "t": -3, "v": 50},
            {"bu": "", "n": "steel", "t": -2, "v": 10},
        ]
    )
    readings = take(payload.encode())
    expected = [(-55 / 9, T0 - 10_000), (20.0, T0 - 5000), (20.0, T0 - 4000), (10.0, T0 - 3000), (10.0, T0 - 2000)]
    assert [(r.value, r.measured_ms) for r in readings] == [(pytest.approx(v), at) for v, at in expected]  # type: ignore[union-attr]


def test_base_fields_alone_measure_nothing_and_hold_for_the_next() -> None:
    """RFC 8428, 5.1.7 begins a pack with such a record."""
    assert take(b'[{"bn":"steel","bv":20},{"bt":-4},{"v":1}]') == [
        Reading("steel", 21.0, T0 - 4000, relative=True)
    ]


@pytest.mark.parametrize(
    ("first", "later", "taken"),
    [
        ({"bver": 5}, {}, True), ({"bver": 5}, {"bver": 5}, True), ({}, {"bver": 10}, True),
        ({"bver": 1}, {}, True), ({"bver": 10}, {}, True),
        ({"bver": 5}, {"bver": 10}, False), ({}, {"bver": 5}, False), ({"bver": 10}, {"bver": 9}, False),
    ],
)  # fmt: skip
def test_a_pack_is_of_one_version(first: dict[str, int], later: dict[str, int], taken: bool) -> None:
    """RFC 8428, 4.1: 10 when not said; 4.4: the same in all records, and not above ours."""
    said = take(json.dumps([{"n": "steel", "v": 20} | first, {"n": "steel", "v": 20} | later]).encode())
    assert isinstance(said, list) is taken, said


@pytest.mark.parametrize(
    ("record", "sentence"),
    [
        ('"s":5', "steel carries a sum, not a value"),
        ('"s":5,"bv":20', "steel carries a sum, not a value"),
        ('"vs":"20"', "steel carries a text, not a number (v)"),
        ('"vs":"20","s":5', "steel carries a text, not a number (v)"),
        ('"vb":true', "steel carries true or false, not a number (v)"),
        ('"vd":"AA"', "steel carries data, not a number (v)"),
        ('"u":"Cel"', "steel carries nothing, not a number (v)"),
        ('"v":1,"vb":true', "steel carries v and vb; a record has one value"),
        ('"v":1,"bver":0', "version 0 is not a positive number"),
        ('"v":1,"bver":11', "version 11 is newer than 10"),
        ('"v":1,"ut":0', "steel: the next reading within 0 s is no promise"),
    ],
)  # fmt: skip
def test_the_keeper_reads_a_plain_sentence(record: str, sentence: str) -> None:
    """What a record carries instead of exactly one number (RFC 8428, 4.2)."""
    refused = take(f'[{{"n":"steel",{record}}}]'.encode())
    assert isinstance(refused, Rejected) and refused.detail == sentence


def test_a_sum_beside_the_value_is_passed_over() -> None:
    """RFC 8428, 4.2 allows both."""
    assert take(b'[{"n":"steel","v":20,"s":500,"bs":1}]') == [Reading("steel", 20.0, None, relative=True)]


@pytest.mark.parametrize(
    ("update", "promised"), [("30", 30_000), ("0.0001", 1), ("1.0001", 1001), ("268435456", 268_435_456_000)]
)
def test_the_sensor_promises_when_it_speaks_again(update: str, promised: int) -> None:
    """RFC 8428, 4.2: update time, the longest before the next reading; for this record alone."""
    readings = take(f'[{{"n":"steel","v":20,"t":-1,"ut":{update}}},{{"n":"steel","v":21}}]'.encode())
    assert [r.next_within_ms for r in readings] == [promised, None]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("base", "time", "relative"),
    [("268435455.5", "0.5", False), ("268435456", "-0.5", True), ("0", "-1", True), ("1780000000", "-1e9", False)],
)
def test_the_sum_of_the_times_says_whether_they_are_from_now(base: str, time: str, relative: bool) -> None:
    """RFC 8428, 4.5.3: 2^28 s, on base time plus time."""
    said = decode("dewgate/test/steel", f'[{{"n":"steel","v":20,"bt":{base},"t":{time}}}]'.encode(), NAMES, T0)
    if base == "268435456":  # eight and a half years ahead from now
        assert isinstance(said, Rejected) and said.code == "bad time"
    else:
        assert [r.relative for r in said] == [relative]  # type: ignore[union-attr]


def test_unknown_labels_are_ignored_and_units_converted() -> None:
    """RFC 8428, 4.4; and a temperature may come in °F."""
    (reading,) = take(b'[{"n":"steel","v":68,"u":"degF","x":[1],"_x":{"y_":1}}]')  # type: ignore[misc]
    assert reading.value == pytest.approx(20.0)
    refused = take(b'[{"n":"steel","v":"68","x":1}]')
    assert isinstance(refused, Rejected) and refused.code == "not SenML"


def test_kelvin_and_hundredths_are_units_of_messages() -> None:
    """RFC 8428, 12.1 and RFC 8798, 3: 293.15 K is 20 Cel, 55 /100 is 55 %RH; K is no unit of a pressure."""
    (reading,) = take(b'[{"n":"steel","v":293.15,"u":"K"}]')  # type: ignore[misc]
    assert reading.value == pytest.approx(20.0)
    (reading,) = take(b'[{"n":"air-rh","v":55,"u":"/100"}]', "dewgate/test/air-rh")  # type: ignore[misc]
    assert reading.value == pytest.approx(0.55)
    for name in ("baro", "air-rh"):
        refused = take(pack(name, 300, unit="K"), f"dewgate/test/{name}")
        assert isinstance(refused, Rejected) and refused.code == "wrong unit"


def test_an_underscore_in_a_value_is_no_label() -> None:
    """RFC 8428, 4.4 speaks of labels, and known ones may stand beside any text."""
    assert take(b'[{"n":"steel","v":20,"x":"a_"}]') == take(b'[{"n":"steel","v":20}]')


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
                st.sampled_from(["n", "v", "t", "bt", "bv", "u", "bn", "bver", "x_", "s", "vs", "ut"]),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
def test_no_json_raises(value: object) -> None:
    """Any JSON value gives readings or a rejection."""
    assert isinstance(take(json.dumps([value]).encode()), (list, Rejected))
