"""The file of wired transmitters: TOML in, a Wired out, or every mistake at once with its line and what to write.

Addresses count from 0, as they go over the line; the numbers of older sheets that begin with 3 or 4 and count from
1 are refused with the address that is meant. Nothing is guessed: what the device's sheet must say is asked for.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from gateway.config import ConfigError, ConfigErrors
from gateway.site_amounts import closest, seconds
from gateway.site_lines import Key, line_map, line_of
from gateway.site_references import Mistake, items
from gateway.wired import FORMATS, Line, Place, Point, Serial, Tcp, Wired, holds
from gateway.wired_keys import KEYS, LineTable, PointTable, WiredFile


def load(path: Path) -> Wired:
    """Return the plan of a file. Raises: ConfigErrors with every mistake, or OSError."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        data = tomllib.loads(text)
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise ConfigErrors(path.name, [ConfigError(line, "not UTF-8 text; save the file as UTF-8")]) from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigErrors(path.name, [_syntax_error(str(error), text)]) from None
    mistakes = list(_mistakes(data))
    try:
        file = WiredFile.model_validate(data)
    except ValidationError as error:
        mistakes += [_mistake(each) for each in error.errors()]
    if mistakes:
        lines = line_map(text)
        raise ConfigErrors(path.name, [_error(each, data, lines) for each in dict.fromkeys(mistakes)])
    return _made(file)


def _made(file: WiredFile) -> Wired:
    return Wired(file.jobsite.id, tuple(_line(each) for each in file.lines))


def _line(table: LineTable) -> Line:
    way: Tcp | Serial = Tcp(table.host, table.port)
    if table.kind == "rtu":
        way = Serial(table.device, table.baud, table.parity, table.stop_bits)
    return Line(table.id, way, seconds(table.timeout), tuple(_point(each) for each in table.points))


def _point(table: PointTable) -> Point:
    return Point(
        table.sensor, Place(table.device_id, table.table, table.address), table.type, table.word_order,
        Decimal(table.factor), Decimal(table.offset), table.unit,
        tuple(holds(table.type, each) for each in table.not_valid), seconds(table.interval),
    )  # fmt: skip


# -- mistakes that one key alone cannot show -------------------------------------------------------------------


def _mistakes(data: dict[str, Any]) -> Iterator[Mistake]:
    lines = items(data, "lines")
    yield from _doubles([(key, "id", line.get("id")) for key, line in lines])
    yield from _doubles([(key, "device", line.get("device")) for key, line in lines])
    points = [(key, point, line) for at, line in lines for key, point in items(line, "points", at)]
    yield from _doubles([(key, "sensor", point.get("sensor")) for key, point, _ in points])
    for key, line in lines:
        yield from _line_keys(key, line)
        yield from _overlaps(items(line, "points", key))
    for key, point, line in points:
        yield from _point_keys(key, point, str(line.get("kind")))


def _doubles(names: list[tuple[Key, str, object]]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for key, part, name in names:
        if isinstance(name, str):
            if name in seen:
                yield Mistake((*key, part), f"'{name}' stands here twice; each {part} once")
            seen.add(name)


def _line_keys(key: Key, line: dict[str, Any]) -> Iterator[Mistake]:
    kind = line.get("kind")
    if not isinstance(kind, str) or kind not in KEYS:
        return
    for name in KEYS[kind]:
        if name not in line:
            yield Mistake((*key, name), f"{name} is missing: {LineTable.model_fields[name].description}")
    for name in {name for names in KEYS.values() for name in names} - set(KEYS[kind]):
        if name in line:
            yield Mistake((*key, name), f"{name} does not belong to kind '{kind}'; leave it out")


def _point_keys(key: Key, point: dict[str, Any], kind: str) -> Iterator[Mistake]:
    device, type_ = point.get("device_id"), point.get("type")
    if type(device) is int and (247 < device < 255 or (kind == "rtu" and device in (0, 255))):
        yield Mistake((*key, "device_id"), "a device on a line has 1 to 247")
    yield from _traditional(key, point)
    if not isinstance(type_, str) or type_ not in FORMATS:
        return
    if ("word_order" in point) != type_.endswith("32"):
        text = f"{type_} is one register, so it has no word_order; leave it out"
        if type_.endswith("32"):
            text = f"word_order is missing: {PointTable.model_fields['word_order'].description}"
        yield Mistake((*key, "word_order"), text)
    yield from _not_valid(key, point.get("not_valid"), type_)


def _not_valid(key: Key, listed: object, type_: str) -> Iterator[Mistake]:
    for each in listed if isinstance(listed, list) else []:
        if isinstance(each, int | float) and not isinstance(each, bool):
            try:
                holds(type_, each)
            except ValueError as error:
                yield Mistake((*key, "not_valid"), str(error))


def _traditional(key: Key, point: dict[str, Any]) -> Iterator[Mistake]:
    """Refuse 40001..49999, 400001..465536 and the same with 3: numbers of sheets that count from 1."""
    address = point.get("address")
    if type(address) is not int or point.get("address_as_sent") is True:
        return
    for first, table in ((40_001, "holding"), (30_001, "input"), (400_001, "holding"), (300_001, "input")):
        last = first + (9_998 if first < 100_000 else 65_535)
        if first <= address <= last:
            said = f"{address} is a traditional number: in table '{table}' address = {address - first} is meant"
            or_else = "; if the sheet says that this number itself goes over the line: address_as_sent = true"
            yield Mistake((*key, "address"), said + (or_else if address <= 65_535 else ""))


def _overlaps(points: list[tuple[Key, dict[str, Any]]]) -> Iterator[Mistake]:
    """Refuse two sensors that share a register: one of the two addresses is wrong."""
    taken: dict[tuple[object, ...], object] = {}
    for key, point in points:
        type_, address = point.get("type"), point.get("address")
        if not isinstance(type_, str) or type(address) is not int:
            continue
        size = 2 if type_.endswith("32") else 1
        if (address, size) == (65_535, 2):
            yield Mistake((*key, "address"), "the second register would be 65536; the last one is 65535")
        cells = [(point.get("device_id"), point.get("table"), address + at) for at in range(size)]
        for cell in [cell for cell in cells if cell in taken][:1]:
            yield Mistake((*key, "address"), f"register {cell[2]} belongs to sensor '{taken[cell]}' already")
        taken.update({cell: point.get("sensor") for cell in cells if cell not in taken})


# -- words -----------------------------------------------------------------------------------------------------


def _syntax_error(said: str, text: str) -> ConfigError:
    found = re.search(r" \(at line (\d+), column (\d+)\)$", said)
    if not found:
        return ConfigError(text.count("\n") + 1, said)
    return ConfigError(int(found[1]), f"{said[: found.start()]}, at column {found[2]}")


_WRONG_KIND = {
    "string_type": "must be text in quotes",
    "int_type": "must be a whole number without quotes",
    "float_type": "must be numbers without quotes",
    "bool_type": "must be true or false, without quotes",
    "model_type": "must be a table with keys of its own",
    "list_type": "must be a list: numbers in [ ], or tables that each begin with the name in [[ ]]",
}


def _mistake(error: Any) -> Mistake:
    """Turn one of pydantic's errors into the words of this file."""
    key: Key = tuple(error["loc"])
    if key[-2:-1] == ("not_valid",):
        key = key[:-1]  # the place within the list has no line of its own
    name, fields = str(key[-1]), _fields(key)
    match error["type"]:
        case "missing" | "too_short":
            text = f"{name} is missing: {fields[name].description}"
        case "extra_forbidden":
            text = f"unknown key '{name}'{closest(name, fields)}"
        case "value_error":
            text = str(error["ctx"]["error"])
        case other:
            text = f"{name} {_WRONG_KIND[other]}" if other in _WRONG_KIND else str(error["msg"])
    return Mistake(key, text)


def _fields(key: Key) -> dict[str, Any]:
    """Return the fields of the table in which a key stands."""
    model: type[BaseModel] = WiredFile
    for part in key[:-1]:
        if isinstance(part, str):
            annotation: Any = model.model_fields[part].annotation
            model = next(iter(get_args(annotation)), annotation)
    return dict(model.model_fields)


def _error(mistake: Mistake, data: dict[str, Any], lines: dict[Key, int]) -> ConfigError:
    value: Any = data
    places = []
    for at, part in enumerate(mistake.key):
        found = isinstance(value, dict) or (
            isinstance(value, list) and isinstance(part, int) and part < len(value)
        )
        value = (value.get(part) if isinstance(value, dict) else value[part]) if found else None
        if isinstance(part, int) and isinstance(value, dict):
            name = value.get("id", value.get("sensor"))
            kind = str(mistake.key[at - 1]).rstrip("s")
            places.append(f'{kind} "{name}": ' if isinstance(name, str) else f"{kind} number {part + 1}: ")
    about = ""
    if isinstance(value, str | int | float):
        about = f"{mistake.key[-1]} = {json.dumps(value, ensure_ascii=False)}: "
    return ConfigError(line_of(mistake.key, lines), "".join(places) + about + mistake.text)
