"""SenML in CBOR: its numbers, its frame, its labels, and what a hostile message may cost."""

from __future__ import annotations

import math
import struct
import time
import tracemalloc

import cbor2
import pytest

from gateway.payload.senml import MAX_PAYLOAD, Names, decode
from gateway.payload.senml_cbor import LABELS, records
from gateway.reading import Reading, Rejected
from tests.sites import T0, site

NAMES = Names.of(site())
NUMBER = {label: number for number, label in LABELS.items()}
STEEL = b"\x65steel"
LISTS_AS_LABELS = b"".join(b"\x82\x01\x1a" + struct.pack(">I", k) + b"\x01" for k in range(5000))


def take(payload: bytes) -> list[Reading] | Rejected:
    return decode("dewgate/test/steel", payload, NAMES, T0)


def value_of(number: str) -> list[Reading] | Rejected:
    """Read one record on steel whose v is given in hex."""
    return take(b"\x81\xa2\x00" + STEEL + b"\x02" + bytes.fromhex(number))


def refusal(payload: bytes) -> Rejected:
    said = take(payload)
    assert isinstance(said, Rejected), said
    return said


def test_the_labels_are_those_of_table_4() -> None:
    """RFC 8428, 6, table 4, as printed."""
    base = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6}
    regular = {"n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}
    assert base | regular == NUMBER and len(LABELS) == 15


@pytest.mark.parametrize(
    ("number", "expected"),
    [
        ("14", 20.0), ("29", -10.0), ("1814", 20.0), ("190014", 20.0), ("1a00000014", 20.0),
        ("1b0000000000000014", 20.0), ("3863", -100.0), ("f94d00", 20.0), ("fa41a00000", 20.0),
        ("fb4034000000000000", 20.0), ("fb40358f5c28f5c28f", 21.56), ("f90000", 0.0), ("f90001", 2**-24),
        ("c48221196ab3", 273.15), ("c4820114", 200.0), ("c48221c24107d0", None), ("c48221c24207d0", 20.0),
        ("c48221c34207cf", -20.0), ("c4820014", 20.0), ("c24114", 20.0),
    ],
)  # fmt: skip
def test_every_form_of_a_number_is_read(number: str, expected: float | None) -> None:
    """RFC 8428, 6: integers, floats of 16, 32, 64 bits, decimal fractions (RFC 8949, 3.4.4: 273.15 is printed)."""
    said = value_of(number)
    if expected is None or not -60 <= expected <= 150:
        assert isinstance(said, Rejected), said
        assert said.code == ("not SenML" if expected is None else "impossible value")
        if expected is not None:
            assert f"{expected:g}" in said.detail
    else:
        assert [r.value for r in said] == [expected]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("number", "code"),
    [
        ("f97e00", "not finite"), ("f97c00", "not finite"), ("f9fc00", "not finite"),
        ("fa7f800000", "not finite"), ("fb7ff8000000000001", "not finite"),
        ("c4821903e801", "not finite"), ("c4821b7fffffffffffffff01", "not finite"),
        ("c4821bffffffffffffffff01", "not finite"),
        ("c481f5", "not SenML"), ("c482f501", "not SenML"), ("c48201f5", "not SenML"),
        ("c482fb3ff000000000000001", "not SenML"), ("c483010203", "not SenML"), ("c401", "not SenML"),
        ("c4826131613201", "not SenML"), ("c2187b", "not SenML"), ("c25881" + "ff" * 129, "not SenML"),
        ("c11a514b67b0", "not SenML"), ("c57f", "not SenML"), ("c5820103", "not SenML"),
        ("d81e820103", "not SenML"),
        ("d8236161", "not SenML"), ("d82463666f6f", "not SenML"), ("d81c14", "not SenML"),
        ("d9d9f714", "not SenML"),
        ("d90123" + "14", "not SenML"), ("f6", "not SenML"), ("f7", "not SenML"), ("f5", "not SenML"),
        ("e0", "not SenML"),
        ("623230", "not SenML"), ("8114", "not SenML"), ("a10114", "not SenML"), ("1c", "not SenML"),
        ("ff", "not SenML"),
    ],
)  # fmt: skip
def test_what_is_no_finite_number_is_refused(number: str, code: str) -> None:
    """Not finite, another tag (times, patterns, mail, shared values), a list, text, a bare break."""
    said = value_of(number)
    assert isinstance(said, Rejected) and said.code == code, said


@pytest.mark.parametrize(
    ("frame", "taken"),
    [
        (b"\x81\xa2\x00" + STEEL + b"\x02\x14", True),
        (b"\x9f\xa2\x00" + STEEL + b"\x02\x14\xff", True),
        (b"\x9f\xbf\x00" + STEEL + b"\x02\x14\xff\xff", True),
        (b"\x81\xbf\x00" + STEEL + b"\x02\x14\xff", True),
        (b"\x98\x01\xb8\x02\x00" + STEEL + b"\x18\x02\x14", True),
        (b"\x9a\x00\x00\x00\x01\xa2\x00" + STEEL + b"\x02\x14", True),
        (b"\x9b" + b"\0" * 7 + b"\x01\xbb" + b"\0" * 7 + b"\x02\x00" + STEEL + b"\x02\x14", True),
        (b"\x81\x82\x00" + STEEL + b"\x02\x14", False),  # two items that are no labels
        (b"\x81\xa3\x00" + STEEL + b"\x02\x14\x41x\x01", False),  # a label of bytes
        (b"\x9c" + b"\0" * 15 + b"\x01\xa2\x00" + STEEL + b"\x02\x14", False),  # a length of a kind there is not
        (b"\x9f\xa2\x00" + STEEL + b"\x02\x14", False),  # no break
        (b"\x81\xbf\x00" + STEEL + b"\x02\x14", False),
        (b"\x81\xa2\x00" + STEEL + b"\x02\x14\xff", False),  # a break too many
        (b"\x81\xa2\x00" + STEEL + b"\x02\x14\x00", False),  # bytes after the end
        (b"\x81\xa2\x00" + STEEL + b"\x02", False),  # cut off
        (b"\x81\xa2\xff\x00" + STEEL + b"\x02\x14", False),  # a break in a map of stated length
        (b"\x82\xa2\x00" + STEEL + b"\x02\x14\xff", False),
        (b"\x81\xa3\x00" + STEEL + b"\x02\x14\x02\x15", False),  # v twice
        (b"\x81\xa3\x00" + STEEL + b"\x02\x14\x18\x02\x15", False),  # v twice, written longer
        (b"\x81\xa4\x00" + STEEL + b"\x02\x14\x61x\x01\x61x\x02", False),
        (b"\x81\xa2\x00\x7f\x63ste\x62el\xff\x02\x14", False),  # text of indefinite length (6: definite)
        (b"\x81\x81\x14", False), (b"\x81\x14", False), (b"\x80", False), (b"\x9f\xff", False), (b"\x9f", False),
        (b"\x81\xa0", False), (b"\x9c", False), (b"\x81\xa1\xf5\x14", False), (b"\x81\xa1\x41a\x14", False),
        (b"\x81\xa1\x80\x14", False), (b"\x81\xa1\xff\x14", False), (b"\x81\xa1\x1f\x14", False),
        (b"\x81\xa1\x62\xff\xfe\x14", False), (b"\xa2\x00" + STEEL + b"\x02\x14", False),
    ],
)  # fmt: skip
def test_the_frame_is_an_array_of_maps_and_nothing_else(frame: bytes, taken: bool) -> None:
    """RFC 8949, 3: definite or indefinite lengths, any width of a head; each label once; nothing after the end."""
    said = take(frame)
    if taken:
        assert said == [Reading("steel", 20.0, None, relative=True)]
    else:
        assert isinstance(said, Rejected) and said.code in {"not SenML", "no number"}, said


def test_unknown_labels_follow_the_same_rule_as_in_json() -> None:
    """RFC 8428, 4.4 and 6: new labels are text; ignored unless they end in an underscore."""
    plain = {0: "steel", 2: 20.0}
    expected = [Reading("steel", 20.0, None, relative=True)]
    assert take(cbor2.dumps([plain | {"x": {"y_": [1, 2]}, "_z": b"1", 99: 1, -16: 2}])) == expected
    assert refusal(cbor2.dumps([plain | {"x_": 1}])).code == "label not understood"
    assert refusal(cbor2.dumps([plain, plain | {"_": 1}])).code == "label not understood"
    assert refusal(cbor2.dumps([plain | {"u": "degF"}])).detail.endswith(
        "label u is written as text; in CBOR it is 1"
    )


@pytest.mark.parametrize(
    ("ignored", "taken"),
    [
        ("01", True), ("f97e00", True), ("41ff", True), ("c48221196ab3", True), ("81820101", True),
        ("818101", True), ("81818101", True), ("8181818101", False), ("a2616101616202", True),
        ("a2616101616102", False), ("a1810101", False), ("a10101", False), ("9f01ff", False),
        ("c11a514b67b0", False), ("1c", False),
    ],
)  # fmt: skip
def test_what_is_ignored_is_still_well_formed_and_small(ignored: str, taken: bool) -> None:
    """Under a label nobody reads: three deep, labels of maps once and of text, no tag but numbers."""
    said = take(b"\x81\xa3\x00" + STEEL + b"\x02\x14\x61x" + bytes.fromhex(ignored))
    assert isinstance(said, list) is taken, said


@pytest.mark.parametrize("label", ["bt", "bv", "bs", "v", "s", "t", "ut"])
@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_no_known_number_may_be_infinite(label: str, number: float) -> None:
    """JSON cannot say it, and nothing is added to it here."""
    said = refusal(cbor2.dumps([{0: "steel", 2: 20.0} | {NUMBER[label]: number}]))
    assert said.code == "not finite" and said.detail.startswith(f"label {label}: ")


def test_data_are_the_text_they_are_in_json() -> None:
    """RFC 8428, 5.1.5 prints aGkgCg; base64url without padding (4.3)."""
    assert records(cbor2.dumps([{8: b"hi \n", 3: "\xfc"}, {8: b"\xfb\xff"}])) == [
        {"vd": "aGkgCg", "vs": "\xfc"},
        {"vd": "-_8"},
    ]


@pytest.mark.parametrize(
    "number", ["c481f5", "c482f501", "c48201f5", "c482fb3ff000000000000001", "c483010203", "c401"]
)
def test_a_decimal_fraction_is_two_whole_numbers(number: str) -> None:
    """RFC 8949, 3.4.4: an array of exponent and mantissa; true is no number."""
    assert refusal(b"\x81\xa2\x00" + STEEL + b"\x02" + bytes.fromhex(number)).detail.endswith(
        "is two whole numbers"
    )


def test_a_big_number_is_no_bigger_than_a_double() -> None:
    """128 bytes hold what a double can; more is not worked out."""
    at_most = value_of("c25880" + "ff" * 128)
    assert isinstance(at_most, Rejected) and "bytes" not in at_most.detail
    more = value_of("c25881" + "ff" * 129)
    assert isinstance(more, Rejected) and more.detail.endswith("a big number is made of up to 128 bytes")


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ({0: "steel", 3: "20"}, "steel carries a text, not a number (v)"),
        ({0: "steel", 8: b"\x01"}, "steel carries data, not a number (v)"),
        ({0: "steel", 4: False}, "steel carries true or false, not a number (v)"),
        ({0: "steel", 5: 20}, "steel carries a sum, not a value"),
        ({0: "steel", 2: 1, 8: b""}, "steel carries v and vd; a record has one value"),
        ({0: "steel", 2: 1, -1: 11}, "version 11 is newer than 10"),
        ({0: "steel", 2: 1, -1: -1}, "version -1 is not a positive number"),
    ],
)
def test_the_sentences_are_those_of_json(record: dict[int, object], said: str) -> None:
    """One resolution for both."""
    assert refusal(cbor2.dumps([record])).detail == said


@pytest.mark.parametrize(
    "record",
    [
        {0: "steel", 8: "AA"}, {0: "steel", 3: b"20"}, {0: 5, 2: 1}, {0: "steel", 2: 1, -1: 5.0},
        {0: "steel", 2: 1, 6: "0"}, {0: "steel", 2: 1, -1: cbor2.CBORTag(4, [0, 5])},
    ],
)  # fmt: skip
def test_a_value_of_the_wrong_type_is_refused(record: dict[int, object]) -> None:
    """RFC 8428, 11: data are bytes, texts text, and a version is an unsigned integer (6)."""
    assert refusal(cbor2.dumps([record])).code == "not SenML"


@pytest.mark.parametrize(
    "hostile",
    [
        bytes.fromhex("9affffffff"), bytes.fromhex("9bffffffffffffffff"), bytes.fromhex("81bbffffffffffffffff"),
        bytes.fromhex("81ba ffffffff"), bytes.fromhex("81a1 7bffffffffffffffff 61"),
        bytes.fromhex("81a1 02 9affffffff"),
        bytes.fromhex("81a1 02 5bffffffffffffffff 00"), bytes.fromhex("81a1 02 7a7fffffff 61"),
        bytes.fromhex("81a1 02 c482015bffffffffffffffff"), b"\x81" * MAX_PAYLOAD, b"\x9f" * MAX_PAYLOAD,
        b"\x81\xa1\x02" + b"\x81" * 60_000, b"\x81\xa1\x02" + b"\xc4" * 60_000,
        b"\x81\xa1\x61x" + b"\xa1\x61a" * 20_000,
        b"\x81\xa1\x02\xc4\x82\x20\xc2\x59\xea\x60" + b"\xff" * 60_000,  # a mantissa of 60,000 bytes
        b"\x81\xa1\x61x\xb9\x13\x88" + LISTS_AS_LABELS,
        b"\x81\xb9\x13\x88" + LISTS_AS_LABELS,
        b"\x9f" + b"\xa0" * (MAX_PAYLOAD - 1),
        b"\x9f" + b"\xa1\x05\x01" * 20_000 + b"\xff",
    ],
)  # fmt: skip
def test_no_message_costs_much(hostile: bytes) -> None:
    """A claimed count or depth allocates nothing; 64 KiB of anything end in under a second and a few MB."""
    tracemalloc.start()
    try:
        began = time.process_time()
        assert refusal(hostile).code in {"not SenML", "no number", "unknown sensor"}
        took = time.process_time() - began
        assert tracemalloc.get_traced_memory()[1] < 16_000_000
        assert took < 1
    finally:
        tracemalloc.stop()
