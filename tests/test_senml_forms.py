"""One SenML pack, two forms: JSON and CBOR give the same readings or the same refusal, and no bytes raise."""

from __future__ import annotations

import json
import math
from datetime import UTC

import cbor2
from hypothesis import given
from hypothesis import strategies as st

from gateway.payload.senml import Names, decode
from gateway.payload.senml_cbor import LABELS
from gateway.reading import Reading, Rejected
from tests.sites import T0, site

NAMES = Names.of(site())
NUMBER = {label: number for number, label in LABELS.items()}


def take(payload: bytes) -> list[Reading] | Rejected:
    return decode("dewgate/test/steel", payload, NAMES, T0)


_FLOATS = st.floats(-20, 20) | st.integers(-20, 20)
_NAMED = {"n": st.just("steel"), "v": _FLOATS}
_SOUND = {
    "bt": st.sampled_from([0, -5, 1_779_999_990, 1.779999990125e9]), "t": st.floats(-1e4, 10), "bv": _FLOATS,
    "bu": st.sampled_from(["", "Cel", "degF"]), "u": st.sampled_from(["Cel", "degF", ""]), "s": _FLOATS,
    "bs": _FLOATS, "ut": st.floats(0.001, 1e8), "x": st.integers() | st.text(max_size=3), "bn": st.just(""),
}  # fmt: skip
_ODD = {
    "bn": st.sampled_from(["", "ste", "steel", "air-"]), "n": st.sampled_from(["", "el", "steel", "t", "-"]),
    "bt": st.sampled_from([0, 2.0**28]), "t": st.floats(-1e300, 1e300), "v": st.floats(-1e300, 1e300),
    "u": st.sampled_from(["hPa", ""]),
    "bver": st.sampled_from([5, 10, 11, 0, -1]), "ut": st.floats(-1, 1e9), "vs": st.text(max_size=3),
    "vb": st.booleans(), "vd": st.binary(max_size=4), "y_": st.just(1),
}  # fmt: skip
_SOUND_RECORD = st.fixed_dictionaries(_NAMED, optional=_SOUND)
_RECORD = _SOUND_RECORD | st.fixed_dictionaries({}, optional=_SOUND | _ODD)
_PACK = st.lists(_SOUND_RECORD, min_size=1, max_size=3) | st.lists(_RECORD, min_size=1, max_size=3)
_SCALAR = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5) | st.binary(max_size=5)
_ANY = _SCALAR | st.decimals() | st.datetimes()


def _in_json(record: dict[str, object]) -> dict[str, object]:
    data = record.get("vd")
    return record | {"vd": data.hex()} if isinstance(data, bytes) else record


@given(_PACK, st.booleans())
def test_the_same_pack_gives_the_same_in_both_forms(pack: list[dict[str, object]], indefinite: bool) -> None:
    """Readings or refusal, whatever the numbers are written as."""
    in_json = take(json.dumps([_in_json(record) for record in pack]).encode())
    written = [cbor2.dumps({NUMBER.get(k, k): v for k, v in record.items()}, canonical=True) for record in pack]
    frame = b"\x9f" + b"".join(written) + b"\xff" if indefinite else bytes([0x80 + len(pack)]) + b"".join(written)
    assert take(frame) == in_json


@given(st.decimals(-50, 140, places=3))
def test_a_decimal_fraction_is_the_number_of_the_same_digits_in_json(number: object) -> None:
    """RFC 8428, 6: converted back it has exactly the same value."""
    in_json = take(f'[{{"n":"steel","v":{number:f}}}]'.encode())
    assert take(cbor2.dumps([{0: "steel", 2: number}])) == in_json


@given(st.integers(0x80, 0x9F), st.binary(max_size=300))
def test_no_bytes_raise(first: int, rest: bytes) -> None:
    """Any bytes give readings or a rejection."""
    assert isinstance(take(bytes([first]) + rest), (list, Rejected))


@given(
    st.lists(
        st.dictionaries(st.integers(-7, 9) | st.text(max_size=3), _ANY | st.lists(_ANY, max_size=3), max_size=5),
        max_size=3,
    )
)
def test_no_cbor_raises(pack: list[dict[object, object]]) -> None:
    """Any values under any labels give readings of finite numbers or a rejection."""
    said = take(cbor2.dumps(pack, timezone=UTC))
    assert isinstance(said, Rejected) or all(math.isfinite(r.value) for r in said)
