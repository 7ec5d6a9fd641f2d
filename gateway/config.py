"""The jobsite file: TOML in, a Jobsite out, or every mistake at once with its line and what to write instead.

`load` reads, `warnings` says what is legal but leaves something open, `to_toml` writes a file that `load`
reads back to an equal Jobsite. The program adds no limit of its own anywhere on this way.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from alerts.limits import Limit
from alerts.measured import DIMENSION, UNITS, Quantity
from gateway import site_references
from gateway.jobsite import (
    Accuracy,
    Area,
    Calibration,
    Jobsite,
    Person,
    Piece,
    Point,
    Sensor,
    Station,
    SteelSpot,
    Train,
)
from gateway.site_amounts import amount, closest, metres, seconds, spread
from gateway.site_export import to_toml
from gateway.site_file import NOT_STATED, AreaTable, LimitTable, PieceTable, SensorTable, SiteFile, TrainTable
from gateway.site_lines import Key, line_map, line_of
from gateway.site_references import Mistake

__all__ = ["ConfigError", "ConfigErrors", "load", "to_toml", "warnings"]


@dataclass(frozen=True, slots=True)
class ConfigError:
    """One mistake: its line and the words a keeper reads."""

    line: int
    text: str


class ConfigErrors(Exception):
    """All mistakes of a file, in the order of its lines."""

    def __init__(self, file: str, errors: list[ConfigError]) -> None:
        self.file = file
        self.errors = sorted(errors, key=lambda each: each.line)
        super().__init__(str(self))

    def __str__(self) -> str:
        return "\n".join(f"{self.file}:{each.line}: {each.text}" for each in self.errors)


def load(path: Path) -> Jobsite:
    """Return the jobsite of a file. Raises ConfigErrors with every mistake in it, or OSError."""
    text = _text(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigErrors(path.name, [_syntax_error(error, text)]) from None
    mistakes = list(site_references.mistakes(data))
    try:
        file = SiteFile.model_validate(data)
    except ValidationError as error:
        mistakes += [_mistake(each) for each in error.errors()]
    if mistakes:
        lines = line_map(text)
        raise ConfigErrors(path.name, [_error(each, data, lines) for each in dict.fromkeys(mistakes)])
    return _jobsite(file)


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")  # some editors put a mark in front
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise ConfigErrors(path.name, [ConfigError(line, "not UTF-8 text; save the file as UTF-8")]) from None


def _syntax_error(error: tomllib.TOMLDecodeError, text: str) -> ConfigError:
    found = re.search(r" \(at line (\d+), column (\d+)\)$", str(error))
    if not found:
        return ConfigError(text.count("\n") + 1, str(error))
    return ConfigError(int(found[1]), f"{str(error)[: found.start()]}, at column {found[2]}")


# -- words ---------------------------------------------------------------------------------------------


def _error(mistake: Mistake, data: dict[str, Any], lines: dict[Key, int]) -> ConfigError:
    place = ": ".join(_places(mistake.key, data))
    value = _value(mistake.key, data)
    names = [part for part in mistake.key if isinstance(part, str)]
    about = f"{names[-1]} = {json.dumps(value, ensure_ascii=False)}: " if _is_plain(value) else ""
    return ConfigError(
        line_of(mistake.key, lines), f"{place}: {about}{mistake.text}" if place else f"{about}{mistake.text}"
    )


def _places(key: Key, data: object) -> Iterator[str]:
    """Yield 'sensor "air-rh"' for each item on the way to a key."""
    for at, part in enumerate(key):
        data = _step(data, part)
        if isinstance(part, int) and isinstance(data, dict):
            name = data.get("id", data.get("sensor"))
            kind = {"people": "person"}.get(str(key[at - 1]), str(key[at - 1]).rstrip("s"))
            yield f'{kind} "{name}"' if isinstance(name, str) else f"{kind} number {part + 1}"


def _step(data: object, part: str | int) -> object:
    if isinstance(data, dict):
        return data.get(part)
    if isinstance(data, list) and isinstance(part, int) and part < len(data):
        return data[part]
    return None


def _value(key: Key, data: object) -> object:
    for part in key:
        data = _step(data, part)
    return data


def _is_plain(value: object) -> bool:
    return isinstance(value, str | int | float | bool)


def _mistake(error: Any) -> Mistake:
    """Turn one of pydantic's errors into the words of this file."""
    key: Key = tuple(error["loc"])
    name = str(key[-1])
    match error["type"]:
        case "missing":
            text = f"{name} is missing: {_fields(key)[name].description}"
        case "extra_forbidden":
            text = f"unknown key '{name}'{closest(name, _fields(key))}"
        case "value_error":
            text = str(error["ctx"]["error"])
        case "too_short":
            text = f"{name} is empty: {_fields(key)[name].description}"
        case other:
            text = f"{name} {_WRONG_KIND[other]}" if other in _WRONG_KIND else str(error["msg"])
    return Mistake(key, text)


_WRONG_KIND = {
    "string_type": "must be text in quotes, a number together with its unit",
    "bool_type": "must be true or false, without quotes",
    "model_type": "must be a table with keys of its own",
    "list_type": "must be a list: words in [ ], or tables that each begin with the name in [[ ]]",
}


def _fields(key: Key) -> dict[str, Any]:
    """Return the fields of the table in which a key stands."""
    model: type[BaseModel] = SiteFile
    for part in key[:-1]:
        if isinstance(part, str):
            annotation: Any = model.model_fields[part].annotation
            model = next(iter(get_args(annotation)), annotation)
    return dict(model.model_fields)


# -- the jobsite ---------------------------------------------------------------------------------------


def _jobsite(file: SiteFile) -> Jobsite:
    about = file.jobsite
    return Jobsite(
        about.id,
        about.label,
        about.time_zone,
        metres(about.altitude),
        about.simulated,
        tuple(_sensor(each) for each in file.sensors),
        tuple(Station(**each.model_dump()) for each in file.stations),
        tuple(_area(each) for each in file.areas),
        tuple(_train(each) for each in file.trains),
        tuple(_limit(each) for each in file.limits),
        tuple(Person(p.id, p.role, tuple(p.channels), tuple(p.priorities)) for p in file.people),
    )


def _sensor(table: SensorTable) -> Sensor:
    quantity = Quantity(table.quantity)
    half_width = None if table.accuracy == NOT_STATED else _width(table.accuracy, quantity)
    return Sensor(
        table.id,
        table.label,
        quantity,
        table.unit,
        Accuracy(half_width, table.accuracy_means or "limit"),
        table.basis,
        table.element,
        seconds(table.interval),
        table.topic or table.id,
        _calibration(table, quantity),
        table.classified_area,
        table.equipment_rating,
    )


def _calibration(table: SensorTable, quantity: Quantity) -> Calibration:
    return Calibration(
        table.calibration_date,
        table.calibration_due,
        table.calibration_certificate,
        _width(table.calibration_correction, quantity) or 0.0,
        _width(table.calibration_uncertainty, quantity),
        _width(table.calibration_drift, quantity),
    )


def _width(text: str, quantity: Quantity) -> float | None:
    """Return a difference of this quantity in the unit used inside, None where nothing is written."""
    if not text:
        return None
    number, unit = amount(text, spread(quantity))
    return number * UNITS[unit].factor


def _area(table: AreaTable) -> Area:
    steel = tuple(SteelSpot(**each.model_dump()) for each in table.steel)
    return Area(table.id, table.label, tuple(table.stations), steel, table.air_space)


def _train(table: TrainTable) -> Train:
    pieces = tuple(_piece(each) for each in table.pieces)
    return Train(table.id, table.label, tuple(table.feeds), table.station, pieces)


def _piece(table: PieceTable) -> Piece:
    outlet = Point(table.outlet_temperature, table.outlet_relative_humidity, table.outlet_pressure)
    return Piece(table.id, table.label, table.kind, outlet, table.wall, table.wall_station)


def _limit(table: LimitTable) -> Limit:
    quantity = Quantity(table.quantity)
    threshold, unit = amount(table.threshold, DIMENSION[quantity])
    deadband, deadband_unit = amount(table.deadband, spread(quantity))
    return Limit(
        id=table.id,
        quantity=quantity,
        relation=table.relation,
        threshold=threshold,
        unit=unit,
        clause=table.clause,
        activities=tuple(table.activities),
        deadband=deadband,
        deadband_unit=deadband_unit,
        on_delay_s=seconds(table.on_delay),
        off_delay_s=seconds(table.off_delay),
        unknown_delay_s=seconds(table.unknown_delay),
        advice=table.advice,
        area=table.area,
        train=table.train,
        piece=table.piece,
        decision_rule=table.decision_rule,
        priority=table.priority,
    )


def warnings(jobsite: Jobsite) -> list[str]:
    """Return what is legal but leaves something open, one sentence each."""
    return [*_sensor_warnings(jobsite), *_limit_warnings(jobsite)]


def _sensor_warnings(jobsite: Jobsite) -> Iterator[str]:
    for sensor in jobsite.sensors:
        if sensor.classified_area != "no" and sensor.equipment_rating == "none":
            yield (
                f'sensor "{sensor.id}": classified_area is {sensor.classified_area}, '
                "no equipment rating is stated; ordinary ones stay outside hazardous (classified) locations"
            )
        if sensor.accuracy.half_width is None:
            yield f'sensor "{sensor.id}": accuracy not stated, so uncertainty is not stated either'


def _limit_warnings(jobsite: Jobsite) -> Iterator[str]:
    for area in jobsite.areas:
        feeding = {train.id for train in jobsite.trains if area.id in train.feeds}
        if not any(limit.area == area.id for limit in jobsite.limits):
            yield f'area "{area.id}": no limit set; its steel and air are shown, not judged'
        for train in sorted(feeding - {limit.train for limit in jobsite.limits}):
            yield f'train "{train}" feeds area "{area.id}": no limit set; its water path is shown, not judged'
