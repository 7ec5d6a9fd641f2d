"""Messages of devices that do not speak SenML, on topics of their own: one plain number, or JSON read by paths.

A message is taken whole or not at all, and nothing is made up that it does not say: a missing, doubled, quoted or
unreadable value is a refusal in words. A sensor that a source feeds is fed by nothing else (`jobsite.fed`).
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import datetime
from typing import NoReturn

import msgspec

from gateway.jobsite import Jobsite, Sensor, Source, SourceValue
from gateway.payload.paths import Path, path
from gateway.payload.value import ABSOLUTE_S, MAX_PAYLOAD, Refused, reading_of, time_ms
from gateway.reading import Reading, Rejected

MAX_DEPTH = 32  # levels of a message; below what a decoder could take, so that replay refuses the same ones
_SHOWN = 40  # characters of what a message says, in a refusal
_NUMBER = re.compile(r"[ \t\r\n]*([+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,4})?)[ \t\r\n]*")
_COMMA = re.compile(r"[ \t\r\n]*[+-]?[0-9]+,[0-9]")
_ISO = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}([.,][0-9]+)?)?(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_decode = msgspec.json.Decoder().decode
_encode = msgspec.json.Encoder().encode


# -- which source a topic means ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Value:
    name: str
    value: Path | None
    unit: Path | None


@dataclass(frozen=True, slots=True)
class _Device:
    """A source with its paths made."""

    source: Source
    levels: tuple[str, ...]
    values: tuple[_Value, ...]
    time: Path | None
    quality: Path | None


@dataclass(frozen=True, slots=True)
class Match:
    """The source of a topic, and the names of the sensors its values feed with each sensor, None where unknown."""

    device: _Device
    sensors: tuple[tuple[str, Sensor | None], ...]


@dataclass(frozen=True, slots=True)
class Sources:
    """The sources of a jobsite, made once when it is set."""

    by_topic: dict[
        str, Match
    ]  # those without a +, and what was found for the others: no more than sensors can fit
    wild: tuple[_Device, ...]
    sensors: dict[str, Sensor]

    @classmethod
    def of(cls, jobsite: Jobsite) -> Sources:
        """Return the sources of a checked jobsite. Raises ValueError for a path that `path` refuses."""
        sensors = {each.id: each for each in jobsite.sensors}
        devices = [_device(each) for each in jobsite.sources]
        exact = {each.source.topic: _match(each, [], sensors) for each in devices if "+" not in each.levels}
        return cls(exact, tuple(each for each in devices if "+" in each.levels), sensors)

    def find(self, topic: str) -> Match | None:
        """Return the source a topic belongs to, None when it is none's."""
        found = self.by_topic.get(topic)
        if found is not None or not self.wild:
            return found
        levels = topic.split("/")
        for device in self.wild:
            if _fits(device.levels, levels):
                texts = [text for name, text in zip(device.levels, levels, strict=True) if name == "+"]
                found = _match(device, texts, self.sensors)
                if all(sensor is not None for _, sensor in found.sensors):
                    self.by_topic[topic] = found
                return found
        return None

    @staticmethod
    def decode(match: Match, payload: bytes, received_ms: int) -> list[Reading] | Rejected:
        """Return the readings of a message, or why nothing of it is believed.

        Args: payload up to 64 KiB; received_ms UTC at reception, against which times in the future are refused.
        """
        if len(payload) > MAX_PAYLOAD:
            return Rejected("too large", f"{len(payload)} bytes; at most {MAX_PAYLOAD} are read")
        try:
            if match.device.source.form == "number":
                ((name, sensor),) = match.sensors
                return [reading_of(_known(name, sensor), _plain_number(payload), "", None)]
            return _readings(match, _message(payload), received_ms)
        except Refused as refused:
            return refused.why


def _device(source: Source) -> _Device:
    values = tuple(_value(each) for each in source.values)
    return _Device(
        source, tuple(source.topic.split("/")), values, _optional(source.time), _optional(source.quality)
    )


def _value(value: SourceValue) -> _Value:
    return _Value(value.sensor, _optional(value.value), _optional(value.unit))


def _optional(text: str) -> Path | None:
    return path(text) if text else None


def _match(device: _Device, texts: list[str], sensors: dict[str, Sensor]) -> Match:
    names = [_filled(each.name, texts) for each in device.values]
    return Match(device, tuple((name, sensors.get(name)) for name in names))


def _filled(name: str, texts: list[str]) -> str:
    """Return a sensor's name with {1} and so on replaced, in one pass: what a topic says is never read again."""
    return re.sub(r"\{([1-3])\}", lambda found: texts[int(found[1]) - 1], name) if texts else name


def _fits(pattern: tuple[str, ...], levels: list[str]) -> bool:
    return len(pattern) == len(levels) and all(
        name in ("+", level) for name, level in zip(pattern, levels, strict=True)
    )


# -- one message ---------------------------------------------------------------------------------------


def _message(payload: bytes) -> object:
    """Return what the JSON says as plain values. Raises Refused for what is not JSON, too deep or said twice."""
    try:
        message = _decode(payload)
    except RecursionError:
        _refuse_depth()
    except (msgspec.MsgspecError, ValueError) as error:
        raise Refused("not JSON", f"not JSON: {error}") from None
    if payload.count(b"[") + payload.count(b"{") > MAX_DEPTH and _is_deep(message):
        _refuse_depth()
    if _says_twice(payload, message):
        raise Refused("said twice", "a name stands twice in the same table; which one is meant is not known")
    return message


def _refuse_depth() -> NoReturn:
    raise Refused("too deep", f"nested deeper than {MAX_DEPTH} levels")


def _is_deep(message: object) -> bool:
    level = [message]
    for _ in range(MAX_DEPTH + 1):
        tables = [
            each.values() if isinstance(each, dict) else each for each in level if isinstance(each, list | dict)
        ]
        if not tables:
            return False
        level = [child for table in tables for child in table]
    return True


def _says_twice(payload: bytes, message: object) -> bool:
    """Whether a key was lost: without escapes that is a colon less, else the pairs are counted."""
    if b"\\" not in payload:
        try:
            return payload.count(b":") != _encode(message).count(b":")
        except OverflowError:
            pass  # a whole number that can be read, but not written
    lost = []

    def once(pairs: list[tuple[str, object]]) -> None:
        lost.append(len(pairs) - len(dict(pairs)))

    json.loads(payload, object_pairs_hook=once, parse_int=str)
    return any(lost)


def _readings(match: Match, message: object, received_ms: int) -> list[Reading]:
    device = match.device
    if device.quality is not None:
        _refuse_unless_good(device.quality, device.source.good, message)
    measured_ms = None
    if device.time is not None:
        measured_ms = _measured_ms(device.time, device.source, message, received_ms)
    as_text, readings = device.source.numbers_as_text, []
    for value, (name, found) in zip(device.values, match.sensors, strict=True):
        sensor = _known(name, found)
        assert value.value is not None
        number = _number(value.value, name, message, as_text)
        readings.append(reading_of(sensor, number, _unit(value.unit, name, message), measured_ms))
    return readings


def _known(name: str, sensor: Sensor | None) -> Sensor:
    if sensor is None:
        raise Refused("unknown sensor", f"no sensor {name[:60]}, which the topic names")
    return sensor


def _refuse_unless_good(quality: Path, good: tuple[str | float | bool, ...], message: object) -> None:
    said = quality.find(message)
    if not any(said == each and isinstance(said, bool) is isinstance(each, bool) for each in good):
        raise Refused("bad quality", f"quality says {_shown(said)}")


def _shown(said: object) -> str:
    return "nothing" if said is None else repr(said)[:_SHOWN]


def _number(where: Path, what: str, message: object, as_text: bool) -> float:
    """Return the number a path finds; what names the sensor, or says that it is the time."""
    found = where.find(message)
    if type(found) is float:
        return found
    if found is None:
        raise Refused("value missing", f"{what}: the message has nothing at {where.text}")
    if isinstance(found, str) and as_text:
        return _written(found, f"{what}: {where.text} is ")
    if isinstance(found, str):
        why = f"{what}: {where.text} is a text, {_shown(found)}; numbers_as_text = true reads numbers in quotes"
        raise Refused("no number", why)
    if isinstance(found, bool) or not isinstance(found, int):
        raise Refused("no number", f"{what}: {where.text} is not one number: {_shown(found)}")
    try:
        return float(found)
    except OverflowError:
        raise Refused("not finite", f"{what}: {where.text} is beyond every number") from None


def _plain_number(payload: bytes) -> float:
    return _written(payload.decode("ascii", "replace"), "the payload is ")


def _written(text: str, about: str) -> float:
    if (found := _NUMBER.fullmatch(text)) and len(text) <= 64:
        return float(found[1])
    if _COMMA.match(text):
        raise Refused("no number", f"{about}{_shown(text)}: a decimal comma; a decimal is written with a point")
    raise Refused("no number", f"{about}not one plain number: {_shown(text)}")


def _unit(where: Path | None, name: str, message: object) -> str:
    """Return the unit the message states; empty, the sensor's own, only where no path is given."""
    if where is None:
        return ""
    found = where.find(message)
    if not isinstance(found, str) or not found:
        raise Refused("unit missing", f"{name}: the message has no unit at {where.text}")
    return found


def _measured_ms(where: Path, source: Source, message: object, received_ms: int) -> int | None:
    """Return the time of measurement, UTC ms. Raises Refused for one that is missing or counts from elsewhere."""
    if source.time_form == "ISO 8601":
        seconds = _iso_s(where.find(message), where.text)
    else:
        seconds = _number(where, "time", message, source.numbers_as_text)
        seconds /= 1000 if source.time_form == "ms" else 1
    if seconds < ABSOLUTE_S:
        raise Refused("bad time", f"time: {where.text} is {seconds:g} s, which does not count from 1970")
    return time_ms(seconds, received_ms)


def _iso_s(found: object, where: str) -> float:
    written = _ISO.fullmatch(found.upper()) if isinstance(found, str) else None
    if written is None:
        raise Refused("bad time", f"time: {where} is not ISO 8601: {_shown(found)}")
    if written[3] is None:
        raise Refused("bad time", f"time: {where} names no zone: {_shown(found)}; Z or +00:00 is needed")
    try:
        return datetime.fromisoformat(written[0]).timestamp()
    except ValueError:
        raise Refused("bad time", f"time: {where} is no date: {_shown(found)}") from None
