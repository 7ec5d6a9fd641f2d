"""The jobsite file: TOML in, a Jobsite out, or every mistake at once with its line and what to write instead.

`load` reads, `warnings` says what is legal but leaves something open, `to_toml` writes a file that `load`
reads back to an equal Jobsite. The program adds no limit of its own anywhere on this way.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from alerts.fault import GATEWAY, INSTRUMENTS
from alerts.measured import Quantity
from gateway import site_feeds, site_references
from gateway.jobsite import Jobsite
from gateway.payload.scale import has_dead_zero
from gateway.site_amounts import closest
from gateway.site_export import to_toml
from gateway.site_file import SiteFile
from gateway.site_lines import Key, line_map, line_of
from gateway.site_making import jobsite as made
from gateway.site_references import Mistake
from gateway.site_sensors import NOT_STATED

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
    mistakes = [*site_references.mistakes(data), *site_feeds.mistakes(data)]
    try:
        file = SiteFile.model_validate(data)
    except ValidationError as error:
        mistakes += [_mistake(each) for each in error.errors()]
    if mistakes:
        lines = line_map(text)
        raise ConfigErrors(path.name, [_error(each, data, lines) for each in dict.fromkeys(mistakes)])
    return made(file)


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


def warnings(jobsite: Jobsite) -> list[str]:
    """Return what is legal but leaves something open, one sentence each."""
    return [*_sensor_warnings(jobsite), *_limit_warnings(jobsite), *_keeper_warnings(jobsite)]


def _keeper_warnings(jobsite: Jobsite) -> Iterator[str]:
    for each in (INSTRUMENTS, GATEWAY):
        if jobsite.people and not any(each in person.told_of for person in jobsite.people):
            yield f'no person has "{each}" in told_of: what goes wrong there is on the board only'
    for sensor in jobsite.sensors:
        if sensor.calibration.due != NOT_STATED and sensor.calibration.until is None:
            said = f'calibration_due = "{sensor.calibration.due}"'
            yield f'sensor "{sensor.id}": {said} is no day such as 2027-05-30, so nobody is told when it ends'


def _sensor_warnings(jobsite: Jobsite) -> Iterator[str]:
    placed = set(_texts((jobsite.stations, jobsite.areas, jobsite.trains)))
    for sensor in jobsite.sensors:
        if sensor.id not in placed:
            yield f'sensor "{sensor.id}": named in no station, area or train, so it is stored and makes no gap'
        if sensor.classified_area != "no" and sensor.equipment_rating == "none":
            yield (
                f'sensor "{sensor.id}": classified_area is {sensor.classified_area}, '
                "no equipment rating is stated; ordinary ones stay outside hazardous (classified) locations"
            )
        if sensor.accuracy.half_width is None:
            yield f'sensor "{sensor.id}": accuracy not stated, so uncertainty is not stated either'
        if sensor.scale is not None and has_dead_zero(sensor.scale):
            yield (
                f'sensor "{sensor.id}": its range holds 0 {sensor.scale.raw_unit}, '
                "which a broken wire gives as well; a signal of zero is refused"
            )


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for each in value:
            yield from _texts(each)
    elif is_dataclass(value):
        yield from _texts(tuple(getattr(value, each.name) for each in fields(value)))


def _limit_warnings(jobsite: Jobsite) -> Iterator[str]:
    yield from _unmeasured(jobsite)
    spanish = [person.id for person in jobsite.people if person.language == "es"]
    for limit in jobsite.limits if spanish else ():
        if not limit.advice_es:
            yield f'limit "{limit.id}": advice_es is missing; {spanish[0]} reads Spanish and gets it as written'
    for area in jobsite.areas:
        feeding = {train.id for train in jobsite.trains if area.id in train.feeds}
        if not any(limit.area == area.id for limit in jobsite.limits):
            yield f'area "{area.id}": no limit set; its steel and air are shown, not judged'
        for train in sorted(feeding - {limit.train for limit in jobsite.limits}):
            yield f'train "{train}" feeds area "{area.id}": no limit set; its water path is shown, not judged'


def _unmeasured(jobsite: Jobsite) -> Iterator[str]:
    """Limits of wind or product where no sensor is named: unknown for ever, or known by entries alone."""
    windy = {station.id for station in jobsite.stations if station.wind_speed}
    for area in jobsite.areas:
        missing = {Quantity.WIND_SPEED: "wind_speed of its stations"} if windy.isdisjoint(area.stations) else {}
        for limit in jobsite.limits:
            if limit.area != area.id:
                continue
            if limit.quantity is Quantity.PRODUCT_TEMPERATURE and not area.product_temperature:
                yield f'limit "{limit.id}": no sensor is named for it; entries by hand are judged for an hour each'
            if limit.quantity in missing:
                yield f'limit "{limit.id}": no sensor is named for it, as {missing[limit.quantity]}'
