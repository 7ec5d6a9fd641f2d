"""A stretch on its way: it comes back as it went, and what is no stretch is refused before it is held."""

from __future__ import annotations

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import yard_batch
from gateway.yard_batch import MAGIC, NoBatch, Stretch, pack, unpack
from tests.yard_site import Site


@pytest.fixture(scope="module")
def stretch(tmp_path_factory: pytest.TempPathFactory) -> Stretch:
    site = Site(tmp_path_factory.mktemp("site") / "home")
    site.grow(site.readings(30), head=True)
    return Stretch(site.entries, site.heads())


def packed(*parts: bytes, magic: bytes = MAGIC) -> bytes:
    return zlib.compress(magic + b"".join(parts))


def test_a_stretch_comes_back_as_it_went(stretch: Stretch) -> None:
    """Entries byte for byte, heads with their signatures."""
    assert (len(stretch.entries), len(stretch.heads)) == (31, 2)
    assert unpack(pack(stretch)) == stretch
    assert unpack(pack(Stretch([], []))) == Stretch([], [])


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        (b"no zlib at all", "cannot be unpacked"),
        (packed(struct.pack(">II", 0, 0), magic=b"something else 1\n"), "of another form"),
        (packed(b"\x00"), "ends too early"),
        (packed(struct.pack(">III", 1, 0, 10)), "do not add up"),
        (packed(struct.pack(">III", 1, 0, 4), b"\x0b\x01\x00\x00"), "do not add up"),
        (packed(struct.pack(">II", 8193, 0)), "8193 entries"),
        (packed(struct.pack(">II", 0, 1025)), "1025 heads"),
        (packed(struct.pack(">II", 2**32 - 1, 0)), "4294967295 entries"),
        (packed(struct.pack(">III", 1, 0, 10), bytes([99, 1]) + bytes(8)), "update the yard"),
        (packed(struct.pack(">III", 1, 0, 10), bytes([11, 2]) + bytes(8)), "update the yard"),
        (packed(struct.pack(">III", 1, 0, 10), bytes([11, 1]) + bytes(9)), "heads where 0 belong"),
        (packed(struct.pack(">II", 0, 2), b"{}"), "1 heads where 2 belong"),
        (packed(struct.pack(">II", 0, 1), b"[]"), "cannot be read"),
        (packed(struct.pack(">II", 0, 1), b'{"statement":"{}","signature":"00"}'), "other fields"),
        (packed(struct.pack(">II", 0, 0)) + b"more", "cut off"),
        (packed(struct.pack(">II", 0, 0))[:-3], "cut off"),
    ],
)
def test_what_is_no_stretch_is_refused(sent: bytes, why: str) -> None:
    """Each says what is wrong with it."""
    with pytest.raises(NoBatch, match=why):
        unpack(sent)


def test_what_unpacks_to_very_much_is_never_held() -> None:
    """A few kilobytes that would become a gigabyte are refused at the bound."""
    with pytest.raises(NoBatch, match="more than 16777216 bytes"):
        unpack(zlib.compress(MAGIC + bytes(yard_batch.MOST_BYTES)))
    with pytest.raises(NoBatch, match="at most 8388608"):
        unpack(bytes(yard_batch.MOST_SENT + 1))


@pytest.mark.parametrize(
    ("old", "new"),
    [(b'\\"number\\":1', b'\\"number\\":true'), (b'\\"size\\":1', b'\\"size\\":-1'), (b'"{', b'" {')],
)
def test_a_head_is_written_as_heads_are(stretch: Stretch, old: bytes, new: bytes) -> None:
    """Another type, a size below one, another spelling of the same: none is a head."""
    line = stretch.heads[0].as_text().encode()
    assert old in line
    with pytest.raises(NoBatch, match="head"):
        yard_batch.signed_of(line.replace(old, new))


@given(st.binary(max_size=200), st.booleans())
def test_any_bytes_are_a_stretch_or_refused(body: bytes, begun: bool) -> None:
    """Nothing else ever comes out."""
    try:
        found = unpack(zlib.compress(MAGIC + body if begun else body))
    except NoBatch:
        return
    assert unpack(pack(found)) == found
