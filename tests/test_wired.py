"""Registers to numbers, reads, the grid of times and who is silent: by hand from the formats' own definitions."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from math import isnan

import pytest

from gateway.payload.senml import Names, decode
from gateway.wired import (
    Line,
    Number,
    Place,
    Point,
    Silences,
    Tcp,
    commissioning,
    decoded,
    holds,
    next_due_s,
    number,
    numbers,
    pack,
    polls,
    topic,
)
from tests.sites import T0, site

AIR = Point("air-t", Place(3, "holding", 10), "int16", "", Decimal("0.1"), Decimal(0), "Cel", (32767.0,), 10.0)


def at(address: int, **changes: object) -> Point:
    """The point AIR at another address, and whatever else is changed."""
    place = Place(changes.pop("device", 3), changes.pop("table", "holding"), address)  # type: ignore[arg-type]
    return replace(AIR, sensor=f"s{address}", place=place, **changes)  # type: ignore[arg-type]


def reads(*points: Point) -> list[tuple[int, str, int, int]]:
    found = polls(Line("a", Tcp("h", 502), 1.0, points))
    return [(each.place.device, each.place.table, each.place.address, each.count) for each in found]


# 21.5 = 1.34375 x 2^4: sign 0, exponent 131, fraction 0x2C0000 -> 0x41AC0000 (IEEE 754-2019, 3.4, binary32).
@pytest.mark.parametrize(
    ("kind", "order", "registers", "expected"),
    [
        ("int16", "", (0xFFD8,), -40),
        ("uint16", "", (0xFFD8,), 65496),
        ("int32", "high first", (0xFFFF, 0xFFFE), -2),
        ("int32", "low first", (0xFFFE, 0xFFFF), -2),
        ("uint32", "high first", (0x0001, 0x1170), 70000),
        ("uint32", "low first", (0x1170, 0x0001), 70000),
        ("uint32", "high first", (0xFFFF, 0xFFFE), 4294967294),
        ("float32", "high first", (0x41AC, 0x0000), 21.5),
        ("float32", "low first", (0x0000, 0x41AC), 21.5),
    ],
)
def test_registers_hold_the_number_of_their_type(
    kind: str, order: str, registers: tuple[int, ...], expected: float
) -> None:
    assert decoded(kind, order, registers) == expected


def test_factor_and_offset_are_taken_as_decimals() -> None:
    """3 x 0.1 is 0.3, not 0.30000000000000004."""
    assert number(AIR, (3,)) == Number(3, 0.3)
    assert number(replace(AIR, offset=Decimal(-40)), (0xFFD8,)) == Number(-40, -44.0)


def test_a_fault_value_is_no_value() -> None:
    assert number(AIR, (32767,)) == Number(32767, fault="the device sends 32767, which is not valid by the file")
    assert number(AIR, (32766,)).fault == ""


@pytest.mark.parametrize("registers", [(0x7FC0, 0), (0x7F80, 0), (0xFF80, 0)])
def test_nan_and_infinity_are_no_value(registers: tuple[int, int]) -> None:
    """0x7FC00000 is a quiet NaN, 0x7F800000 and 0xFF800000 the infinities (IEEE 754-2019, 3.4)."""
    found = number(replace(AIR, type="float32", word_order="high first", not_valid=()), registers)
    assert found.fault.endswith("which is no number") and found.value == 0.0


def test_a_value_too_large_is_no_value() -> None:
    huge = replace(AIR, type="float32", word_order="high first", factor=Decimal("1e300"))
    assert number(huge, (0x7F7F, 0xFFFF)).fault == "the value is too large"


def test_a_fault_value_is_compared_as_the_type_holds_it() -> None:
    """-999.9 is no binary32; the device sends the nearest one."""
    held = holds("float32", -999.9)
    assert held == pytest.approx(-999.9, abs=4e-5) and held != -999.9
    point = replace(AIR, type="float32", word_order="high first", not_valid=(held,))
    assert "not valid" in number(point, (0xC479, 0xF99A)).fault


@pytest.mark.parametrize(
    ("kind", "written"),
    [
        ("int16", 32768),
        ("uint16", -1),
        ("int32", 2**31),
        ("uint16", 0.5),
        ("float32", 1e39),
        ("float32", float("nan")),
    ],
)
def test_what_a_type_cannot_hold_is_refused(kind: str, written: float) -> None:
    with pytest.raises(ValueError, match=r"fit into|whole number|no number"):
        holds(kind, written)


def test_neighbours_are_read_together_without_a_gap() -> None:
    """A point of two registers in the middle; the file's order does not matter; a gap begins a new read."""
    wide = at(11, type="float32", word_order="high first")
    assert reads(at(13), wide, at(10), at(15)) == [(3, "holding", 10, 4), (3, "holding", 15, 1)]


def test_another_device_table_or_interval_is_a_read_of_its_own() -> None:
    assert reads(at(10), at(11, device=4)) == [(3, "holding", 10, 1), (4, "holding", 11, 1)]
    assert reads(at(10), at(11, table="input")) == [(3, "holding", 10, 1), (3, "input", 11, 1)]
    assert reads(at(10), at(11, interval_s=20.0)) == [(3, "holding", 10, 1), (3, "holding", 11, 1)]


def test_a_read_has_at_most_125_registers_and_splits_no_point() -> None:
    """V1.1b3, 6.3: quantity of registers 1 to 125 (0x7D)."""
    assert reads(*(at(each) for each in range(130))) == [(3, "holding", 0, 125), (3, "holding", 125, 5)]
    wide = [at(each, type="uint32", word_order="high first") for each in range(0, 130, 2)]
    assert reads(*wide) == [(3, "holding", 0, 124), (3, "holding", 124, 6)]


def test_each_point_gets_its_own_registers() -> None:
    wide = at(11, type="float32", word_order="low first", factor=Decimal(1))
    (poll,) = polls(Line("a", Tcp("h", 502), 1.0, (at(10), wide, at(13))))
    found = {point.sensor: each.value for point, each in numbers(poll, (5, 0x0000, 0x41AC, 0xFFD8))}
    assert found == {"s10": 0.5, "s11": 21.5, "s13": -4.0}


@pytest.mark.parametrize(
    ("now_s", "expected"), [(100.0, 110.0), (109.9, 110.0), (110.0, 120.0), (137.0, 140.0), (99.0, 110.0)]
)
def test_the_grid_does_not_drift_and_the_missed_is_skipped(now_s: float, expected: float) -> None:
    assert next_due_s(100.0, 10.0, now_s) == expected


def test_the_pack_is_what_the_gateway_reads() -> None:
    """Absolute time, the file's unit, the next one promised within three intervals."""
    payload = pack(AIR, 21.3, T0 / 1000)
    assert json.loads(payload) == [{"n": "air-t", "u": "Cel", "v": 21.3, "t": T0 / 1000, "ut": 30.0}]
    (reading,) = decode(topic("test", AIR), payload, Names.of(site()), T0)  # type: ignore[misc]
    assert (reading.sensor, reading.value, reading.measured_ms, reading.relative) == ("air-t", 21.3, T0, False)
    assert reading.next_within_ms == 30_000


def test_silence_is_said_once_when_it_begins_and_once_when_it_ends() -> None:
    silences = Silences("a")
    at_s = 1_780_000_000.0  # 20:26:40 UTC
    both = {"x": "no answer", "y": "no answer"}
    begun = ["line a, device 3: no answer since 20:26:40 UTC, 2 sensors silent: x, y"]
    assert silences.take(3, both, at_s) == begun
    assert silences.take(3, both, at_s + 10) == []
    ended = ["line a, device 3: readings again at 20:27:22 UTC after 42 s: x, y"]
    assert silences.take(3, {"x": "", "y": ""}, at_s + 42) == ended
    assert silences.take(3, {"x": "", "y": ""}, at_s + 43) == []


def test_another_reason_is_said_anew_and_a_single_sensor_too() -> None:
    silences = Silences("a")
    silences.take(3, {"x": "no answer", "y": ""}, 0.0)
    assert silences.take(3, {"x": "it burns", "y": ""}, 5.0) == [
        "line a, device 3: it burns since 00:00:05 UTC, 1 sensor silent: x"
    ]


def test_commissioning_says_value_raw_number_and_place() -> None:
    place = "holding 10, device 3, line a"
    assert commissioning("a", AIR, number(AIR, (213,))) == f"air-t: 21.3 Cel (raw 213, {place})"
    silent = Number(float("nan"), fault="no answer")
    assert isnan(silent.raw) and commissioning("a", AIR, silent) == f"air-t: no answer ({place})"
