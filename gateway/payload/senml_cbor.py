"""SenML in CBOR to the same labels and values as in JSON, so that one resolution holds for both.

The frame (array, maps, labels) is read here, each value by the CBOR library with little room: labels are whole
numbers or text, a value nests three deep, and nothing is made of a count that is only claimed.
Source: RFC 8428, 6 (table 4) and 11; RFC 8949, 3 (heads, indefinite lengths), 3.4.3 and 3.4.4 (fractions).
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterator
from io import BytesIO
from math import isfinite

import cbor2

from gateway.payload.value import Refused

LABELS = {
    -1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs",
    0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}  # fmt: skip
_NUMBER_OF = {label: number for number, label in LABELS.items()}
_UNSIGNED, _NEGATIVE, _TEXT, _ARRAY, _MAP, _OTHER = 0, 1, 3, 4, 5, 7
_NAMES = {_ARRAY: "an array of records", _MAP: "a record"}
_DEEPEST = 3  # tag, array, tag: a decimal fraction with a big number
_BIGGEST = 128  # bytes: beyond is no double
_LONGEST = 1024  # of an unknown label


def records(payload: bytes) -> list[dict[str, object]]:
    """Return the records of a pack with labels as in JSON; data as base64url text, decimal fractions as floats.

    Args: payload, an array of maps, of definite length or not; up to 64 KiB.
    Raises: Refused for what is not well-formed or not a pack: a label said twice, bytes after the end, a number
    that is not finite, a tag other than a decimal fraction or its big number, deep nesting.
    """
    decoder = cbor2.CBORDecoder(
        BytesIO(payload), semantic_decoders=_TAGS, max_depth=_DEEPEST, allow_indefinite=False,
        allow_duplicate_keys=False, strict_hashable_types=True,
    )  # fmt: skip
    try:
        found = [_record(decoder, head) for head in _heads(decoder, _head(decoder), _ARRAY)]
    except (cbor2.CBORError, ValueError) as error:
        raise _refused(str(error.__cause__ or error)) from None
    if _goes_on(decoder):
        raise _refused("bytes follow the pack")
    return found


def _refused(why: str) -> Refused:
    return Refused("not SenML", f"not a SenML CBOR pack: {why[:200]}")


def _goes_on(decoder: cbor2.CBORDecoder) -> bool:
    try:
        decoder.read(1)
    except cbor2.CBORDecodeEOF:
        return False
    return True


def _head(decoder: cbor2.CBORDecoder) -> tuple[int, int | None]:
    """Return major type and argument of the next head; None where the length is indefinite or it is a break."""
    first = decoder.read(1)[0]
    major, low = first >> 5, first & 31
    if low < 24:
        return major, low
    if low < 28:
        return major, int.from_bytes(decoder.read(1 << (low - 24)), "big")
    if low == 31:
        return major, None
    raise _refused(f"0x{first:02x} begins nothing here")


def _heads(
    decoder: cbor2.CBORDecoder, of: tuple[int, int | None], expected: int
) -> Iterator[tuple[int, int | None]]:
    """Yield the heads inside an array or a map (of its labels), as many as it has or up to the break."""
    major, left = of
    if major != expected:
        raise _refused(f"{_NAMES[expected]} was expected")
    while left is None or left > 0:
        head = _head(decoder)
        if head == (_OTHER, None) and left is None:
            return
        yield head
        left = None if left is None else left - 1


def _record(decoder: cbor2.CBORDecoder, of: tuple[int, int | None]) -> dict[str, object]:
    found: dict[str, object] = {}
    for head in _heads(decoder, of, _MAP):
        label = _label(decoder, *head)
        if label in found:
            raise _refused(f"label {label[:40]} is said twice")
        found[label] = _value(label, decoder.decode())
    return found


def _label(decoder: cbor2.CBORDecoder, major: int, argument: int | None) -> str:
    """Return a label as JSON has it; a whole number we do not know as its digits, which nobody asks for."""
    if argument is not None and major in {_UNSIGNED, _NEGATIVE}:
        number = argument if major == _UNSIGNED else -1 - argument
        return LABELS.get(number) or str(number)
    if argument is None or major != _TEXT or argument > _LONGEST:
        raise _refused(f"a label is a whole number or a text of up to {_LONGEST} bytes")
    label = decoder.read(argument).decode()
    if label in _NUMBER_OF:
        raise _refused(f"label {label} is written as text; in CBOR it is {_NUMBER_OF[label]}")
    return label


def _value(label: str, value: object) -> object:
    if label == "vd":
        if not isinstance(value, bytes):
            raise _refused("data (label 8) are bytes")
        return base64.urlsafe_b64encode(value).rstrip(b"=").decode()
    if isinstance(value, float) and not isfinite(value) and label in _NUMBER_OF:
        raise Refused("not finite", f"label {label}: {value} is not a finite number")
    return value


class _Tags(dict[int, Callable[[object, bool], object]]):
    """The tags a pack may hold; any other is refused before the library makes something of it."""

    def __missing__(self, tag: int) -> Callable[[object, bool], object]:
        return _no_tag


def _no_tag(_value: object, _immutable: bool) -> object:
    raise ValueError("a tag other than 4 (decimal fraction), 2 and 3 (big numbers)")


def _big(value: object, _immutable: bool) -> int:
    if not isinstance(value, bytes) or len(value) > _BIGGEST:
        raise ValueError(f"a big number is made of up to {_BIGGEST} bytes")
    return int.from_bytes(value, "big")


def _big_negative(value: object, immutable: bool) -> int:
    return -1 - _big(value, immutable)


def _fraction(value: object, _immutable: bool) -> float:
    """Return mantissa times ten to the exponent, rounded once, as the same digits in JSON would be."""
    parts = list(value) if isinstance(value, list | tuple) else []
    if len(parts) != 2 or any(type(part) is not int for part in parts):
        raise ValueError("a decimal fraction is two whole numbers")
    return float(f"{parts[1]}e{parts[0]}")


_TAGS = _Tags({2: _big, 3: _big_negative, 4: _fraction})
