"""The bytes of the journal are for ever."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.reading import Rejected

GOLDEN = json.loads((Path(__file__).parent / "golden_entries.json").read_text())
ARRIVAL = Arrival("dewgate/test/steel", b'[{"v":20}]', 7, dup=True, before_marker=True)
MADE = {
    "message 1": entry.message(ARRIVAL, 1_780_000_000_000),
    "rejection 1": entry.rejection(ARRIVAL, Rejected("not SenML", "why"), 1_780_000_000_000),
    "duplicate 1": entry.duplicate(ARRIVAL, 42, 1_780_000_000_000),
    **{
        f"{kind.name.lower()} 1": entry.plain(kind, 1_780_000_000_000, b'{"a":1}')
        for kind in Kind
        if kind not in (Kind.MESSAGE, Kind.REJECTION, Kind.DUPLICATE)
    },
}


def test_every_kind_has_its_golden_bytes() -> None:
    """The bytes of kind and version are the ones written down, and no kind is missing."""
    assert {name: made.hex() for name, made in MADE.items()} == GOLDEN
    assert {name.split()[0] for name in GOLDEN} == {kind.name.lower() for kind in Kind}


def test_a_newer_version_is_refused() -> None:
    """A journal of a newer program is not half understood."""
    with pytest.raises(ValueError, match="newer than this program"):
        entry.unpack(bytes([1, 2]) + bytes(8))
    with pytest.raises(ValueError, match="newer than this program"):
        entry.message_and_time(bytes([1, 2]) + bytes(20))


def test_a_kind_that_is_not_known_is_refused() -> None:
    """An entry of a newer program."""
    with pytest.raises(ValueError, match="99 is not a valid Kind"):
        entry.kind_and_time(bytes([99, 1]) + bytes(8))


@given(st.text(max_size=200), st.binary(max_size=200), st.integers(0, 65535), st.tuples(*[st.booleans()] * 3))
def test_a_message_comes_back_as_it_went_in(
    topic: str, payload: bytes, mid: int, facts: tuple[bool, bool, bool]
) -> None:
    """Round trip of topic, payload and facts."""
    arrival = Arrival(topic, payload, mid, *facts)
    made = entry.message(arrival, 5)
    kind, core_ms, body = entry.unpack(made)
    assert (kind, core_ms, entry.message_of(body)) == (Kind.MESSAGE, 5, arrival)
    assert entry.message_and_time(made) == (arrival, 5)


def test_a_rejection_keeps_reason_hash_and_first_bytes() -> None:
    """Of a large message 4 KiB and the hash of all of it stay."""
    large = Arrival("t", bytes(100_000))
    refusal = entry.rejection_of(entry.unpack(entry.rejection(large, Rejected("too large", "why"), 5))[2])
    assert (refusal.code, refusal.detail, len(refusal.kept)) == ("too large", "why", 4096)
    assert refusal.key == entry.repeat_key(0, "t", refusal.sha256)
