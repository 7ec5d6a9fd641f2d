"""Wired transmitters: which registers are read when, what their numbers mean, and who is silent since when.

A plan comes from `wired_file`; the shell in `wired_command` reads by it and publishes what stands here as SenML.
Only reading; not part of any control loop. A fault never becomes a number: it is a reason, and nothing is sent.
Sources: MODBUS Application Protocol Specification V1.1b3, 4.3 (tables, addresses from 0), 6.3 and 6.4 (at most
125 registers a read). The order of the words of 32 bits is not in it: it is on the device's sheet.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from math import floor, isfinite

MOST_REGISTERS = 125
PROMISE = 3  # the next reading comes within so many intervals (ut of RFC 8428, 4.2), else the sensor is silent
FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
WORD_ORDERS = ("high first", "low first")
TABLES = ("holding", "input")
PARITIES = ("none", "even", "odd")


@dataclass(frozen=True, slots=True)
class Tcp:
    """A Modbus TCP server."""

    host: str
    port: int


@dataclass(frozen=True, slots=True)
class Serial:
    """A serial line with Modbus RTU: 8 data bits, always."""

    device: str
    baud: int
    parity: str
    stop_bits: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where a value lies: unit address of the device, table, address from 0."""

    device: int
    table: str
    address: int


@dataclass(frozen=True, slots=True)
class Point:
    """One sensor: value = number in the registers * factor + offset, in unit; word_order is "" for 16 bits."""

    sensor: str
    place: Place
    type: str
    word_order: str
    factor: Decimal
    offset: Decimal
    unit: str
    not_valid: tuple[float, ...]
    interval_s: float

    @property
    def count(self) -> int:
        """How many registers hold it."""
        return struct.calcsize(FORMATS[self.type]) // 2


@dataclass(frozen=True, slots=True)
class Line:
    """One connection and the points read over it, one after the other."""

    id: str
    way: Tcp | Serial
    timeout_s: float
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Wired:
    """The whole file."""

    jobsite: str
    lines: tuple[Line, ...]


# -- which reads -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Poll:
    """One read: so many registers from a place, and the points in them, without a gap between."""

    place: Place
    count: int
    points: tuple[Point, ...]

    @property
    def interval_s(self) -> float:
        """Time between two reads; the points of a poll share it."""
        return self.points[0].interval_s


def polls(line: Line) -> tuple[Poll, ...]:
    """Return the reads of a line: neighbours of one device, table and interval together, without a gap."""
    found: list[Poll] = []
    for point in sorted(line.points, key=_order):
        if found and _follows(found[-1], point):
            found[-1] = Poll(found[-1].place, found[-1].count + point.count, (*found[-1].points, point))
        else:
            found.append(alone(point))
    return tuple(found)


def _order(point: Point) -> tuple[int, str, float, int]:
    return point.place.device, point.place.table, point.interval_s, point.place.address


def _follows(poll: Poll, point: Point) -> bool:
    end = Place(poll.place.device, poll.place.table, poll.place.address + poll.count)
    same = point.place == end and point.interval_s == poll.interval_s
    return same and poll.count + point.count <= MOST_REGISTERS


def alone(point: Point) -> Poll:
    """Return the read of one point only."""
    return Poll(point.place, point.count, (point,))


def next_due_s(due_s: float, interval_s: float, now_s: float) -> float:
    """Return the first time of the grid due + k * interval after now: the missed is skipped, nothing drifts."""
    return due_s + max(1, floor((now_s - due_s) / interval_s) + 1) * interval_s


# -- what the registers mean -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Number:
    """What the registers hold, and the value in the point's unit; fault says why there is none, else ""."""

    raw: float
    value: float = 0.0
    fault: str = ""


def number(point: Point, registers: Sequence[int]) -> Number:
    """Return what a point's own registers (0..65535 each) mean.

    A fault: a raw value that the file calls not valid, a float that is no finite number, a value too large.
    """
    raw = decoded(point.type, point.word_order, registers)
    if not isfinite(raw):
        return Number(raw, fault=f"the device sends {raw}, which is no number")
    if raw in point.not_valid:
        return Number(raw, fault=f"the device sends {raw:.9g}, which is not valid by the file")
    value = float(Decimal(raw) * point.factor + point.offset)
    if not isfinite(value):
        return Number(raw, fault="the value is too large")
    return Number(raw, value)


def decoded(kind: str, word_order: str, registers: Sequence[int]) -> float:
    """Return the number in one or two registers; within a register the high byte is first (V1.1b3, 4.2)."""
    words = registers if word_order != "low first" else registers[::-1]
    (raw,) = struct.unpack(FORMATS[kind], struct.pack(f">{len(words)}H", *words))
    found: float = raw
    return found


def holds(kind: str, written: float) -> float:
    """Return a number as this type holds it. Raises: ValueError when it cannot."""
    if not isfinite(written):
        raise ValueError("what is no number is a fault always; leave it out")
    try:
        packed = struct.pack(FORMATS[kind], written if kind == "float32" else _whole(written))
    except (struct.error, OverflowError):
        raise ValueError(f"{written:.10g} does not fit into {kind}") from None
    (found,) = struct.unpack(FORMATS[kind], packed)
    held: float = found
    return held


def _whole(written: float) -> int:
    if written != floor(written):
        raise ValueError(f"{written:g} is not a whole number")
    return int(written)


def numbers(poll: Poll, registers: Sequence[int]) -> list[tuple[Point, Number]]:
    """Return each point of a poll with its number."""
    found = []
    for point in poll.points:
        at = point.place.address - poll.place.address
        found.append((point, number(point, registers[at : at + point.count])))
    return found


def topic(jobsite: str, point: Point) -> str:
    """Return where a point is published, as any other sensor would be."""
    return f"dewgate/{jobsite}/{point.sensor}"


def pack(point: Point, value: float, time_s: float) -> bytes:
    """Return a SenML pack of one record; time_s is UTC [s since 1970]. Source: RFC 8428, 4.2, 4.5.3, 5."""
    record = {"n": point.sensor, "u": point.unit, "v": value, "t": round(time_s, 3)}
    record["ut"] = PROMISE * point.interval_s
    return json.dumps([record], separators=(",", ":"), allow_nan=False).encode()


def commissioning(line: str, point: Point, number: Number) -> str:
    """Return the line that says what a point reads: value and raw number, or why there is none; and from where."""
    place = f"{point.place.table} {point.place.address}, device {point.place.device}, line {line}"
    raw = f"raw {number.raw:.10g}, " if isfinite(number.raw) else ""
    return f"{point.sensor}: {number.fault or f'{number.value:.7g} {point.unit}'} ({raw}{place})"


# -- who is silent ---------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Silences:
    """Which sensors of a line are silent, why and since when; said once when it begins and once when it ends."""

    line: str
    since: dict[str, tuple[str, float]] = field(default_factory=dict)

    def take(self, device: int, faults: Mapping[str, str], time_s: float) -> list[str]:
        """Take the faults ("" when there is none) of sensors read at UTC time_s; return the lines to say."""
        begun: dict[str, list[str]] = {}
        ended: dict[float, list[str]] = {}
        for sensor, fault in faults.items():
            before = self.since.get(sensor)
            if fault and (before is None or before[0] != fault):
                self.since[sensor] = fault, time_s
                begun.setdefault(fault, []).append(sensor)
            elif before and not fault:
                ended.setdefault(self.since.pop(sensor)[1], []).append(sensor)
        where = f"line {self.line}, device {device}"
        said = [f"{where}: {why} since {_clock(time_s)}, {_silent(who)}" for why, who in begun.items()]
        return said + [_again(where, who, since, time_s) for since, who in ended.items()]


def _silent(sensors: list[str]) -> str:
    return f"{len(sensors)} sensor{'s' * (len(sensors) > 1)} silent: {', '.join(sensors)}"


def _again(where: str, sensors: list[str], since_s: float, time_s: float) -> str:
    return f"{where}: readings again at {_clock(time_s)} after {time_s - since_s:.0f} s: {', '.join(sensors)}"


def _clock(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).strftime("%H:%M:%S UTC")
