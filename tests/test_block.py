"""A sealed block gives back what went in, byte for byte, in either layout; anything else is an error."""

from __future__ import annotations

import contextlib
import lzma
import random
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import entry
from gateway.adapters.block import pack_block, unpack_block
from gateway.entry import Arrival, Kind
from tests.sites import T0, pack

arrivals = st.builds(
    Arrival,
    topic=st.sampled_from(["dewgate/test/steel", "dewgate/test/air-t", "käse", ""]),
    payload=st.binary(max_size=60),
    packet_id=st.integers(0, 65_535),
    dup=st.booleans(),
    retain=st.booleans(),
)
times = st.integers(0, 2**60)
entries = st.lists(
    st.one_of(
        st.builds(entry.message, arrivals, times),
        st.builds(
            entry.plain,
            st.sampled_from([kind for kind in Kind if kind != Kind.MESSAGE]),
            times,
            st.binary(max_size=60),
        ),
    ),
    max_size=60,
)


@given(entries)
def test_what_goes_in_comes_out(made: list[bytes]) -> None:
    assert unpack_block(pack_block(made)) == made


@given(st.binary(max_size=300), st.booleans())
def test_anything_else_is_an_error_or_a_list_never_a_crash(blob: bytes, packed: bool) -> None:
    with contextlib.suppress(ValueError):
        assert isinstance(unpack_block(lzma.compress(blob) if packed else blob), list)


def test_the_older_layout_is_read_for_ever() -> None:
    made = [entry.plain(Kind.HEARTBEAT, T0), entry.message(Arrival("a/b", b"[]", 7), T0 + 5)]
    older = lzma.compress(b"".join(struct.pack(">I", len(each)) + each for each in made), preset=1)
    assert unpack_block(older) == made


def test_a_block_of_today_has_these_bytes_for_ever() -> None:
    """The layout under the LZMA is part of the file format: changing it needs another first byte."""
    made = [
        entry.plain(Kind.STARTED, T0, b"{}"),
        entry.message(Arrival("dewgate/test/steel", b'[{"v":1}]', 65_535), T0 + 1),
        entry.message(Arrival("dewgate/test/air-t", b'[{"v":2}]', 0, dup=True), T0 + 3),
        entry.message(Arrival("dewgate/test/steel", b'[{"v":3}]', 1), T0 + 3),
    ]
    body = lzma.decompress(pack_block(made))
    assert body[:13] == struct.pack(">BIII", 1, 4, 3, 3)
    assert (len(body), zlib.crc32(body)) == (175, 1890880705)


def test_a_reading_takes_about_half_the_bytes() -> None:
    """24 sensors every 10 s with noise in the last digits, against one entry after the other."""
    chance, made = random.Random(4), []
    for number in range(4096):
        at = T0 + number // 24 * 10_000 + number % 24 * 400
        payload = pack(f"sensor-{number % 24}", round(20 + chance.gauss(0, 0.05), 2), at)
        made.append(
            entry.message(Arrival(f"dewgate/test/sensor-{number % 24}", payload, number % 65_535 + 1), at + 5)
        )
    older = lzma.compress(b"".join(struct.pack(">I", len(each)) + each for each in made), preset=1)
    assert len(pack_block(made)) < 0.65 * len(older)


def test_a_damaged_block_is_an_error() -> None:
    good = pack_block([entry.plain(Kind.HEARTBEAT, T0 + n) for n in range(100)])
    with pytest.raises(ValueError, match="cannot be read"):
        unpack_block(good[:-8])
    with pytest.raises(ValueError, match="cannot be read"):
        unpack_block(lzma.compress(b"\x01" + bytes([0, 0, 0, 9]) * 3))
