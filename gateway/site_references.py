"""Mistakes that one table alone cannot show: ids used twice, names that lead nowhere or to the wrong thing.

Works on the raw tables, so that these are told together with mistakes inside a table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from alerts.measured import Quantity
from gateway.site_amounts import closest
from gateway.site_lines import Key

Items = list[tuple[Key, dict[str, Any]]]

AREA_QUANTITIES = (
    Quantity.DEW_POINT_MARGIN, Quantity.RH_AT_STEEL, Quantity.STEEL_TEMPERATURE,
    Quantity.RELATIVE_HUMIDITY, Quantity.AIR_TEMPERATURE, Quantity.STEEL_MINUS_AIR, Quantity.WIND_SPEED,
    Quantity.PRODUCT_TEMPERATURE, Quantity.STEEL_TEMPERATURE_CHANGE, Quantity.AIR_TEMPERATURE_CHANGE,
    Quantity.RELATIVE_HUMIDITY_CHANGE, Quantity.DEW_POINT_MARGIN_CHANGE, Quantity.RAIN_OR_FOG,
    Quantity.TIME_INSIDE,
)  # fmt: skip
PIECE_QUANTITIES = (
    Quantity.CONDENSATION_MARGIN, Quantity.PRESSURE_DEW_POINT, Quantity.GAUGE_PRESSURE, Quantity.PRESSURE_LOSS,
    Quantity.POT_MINUS_LINE,
)  # fmt: skip
_STATION = {
    "air_temperature": Quantity.AIR_TEMPERATURE,
    "relative_humidity": Quantity.RELATIVE_HUMIDITY,
    "station_pressure": Quantity.STATION_PRESSURE,
    "wind_speed": Quantity.WIND_SPEED,
}
_PIECE = {
    "outlet_temperature": Quantity.GAS_TEMPERATURE,
    "outlet_relative_humidity": Quantity.RELATIVE_HUMIDITY,
    "outlet_pressure": Quantity.GAUGE_PRESSURE,
    "outlet_pressure_dew_point": Quantity.PRESSURE_DEW_POINT,
    "wall": Quantity.WALL_TEMPERATURE,
    "outlet_flow": Quantity.AIR_FLOW,
    "cooling_air": Quantity.AIR_TEMPERATURE,
    "level": Quantity.LIQUID_LEVEL,
    "drain_count": Quantity.DRAIN_COUNT,
    "position": Quantity.VALVE_POSITION,
    "blast_line": Quantity.GAUGE_PRESSURE,
}


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong, and the key it is wrong at."""

    key: Key
    text: str


def mistakes(data: dict[str, Any]) -> Iterator[Mistake]:
    """Yield every name used twice or leading nowhere, whatever else is wrong in the file."""
    yield from _doubles(data)
    for key, station in items(data, "stations"):
        yield from _sensor_names(data, key, station, _STATION)
        yield from _not_in_line(data, key, station)
    yield from _area_names(data)
    yield from _train_names(data)
    for key, limit in items(data, "limits"):
        yield from _limit_place(data, key, limit)
    yield from _groups(data)


def items(data: dict[str, Any], section: str, above: Key = ()) -> Items:
    """Return the tables of a list of tables with their keys; what is no table is passed over."""
    listed = data.get(section)
    tables = listed if isinstance(listed, list) else []
    return [((*above, section, at), table) for at, table in enumerate(tables) if isinstance(table, dict)]


def ids(tables: Items) -> list[str]:
    """Return the ids that stand in tables."""
    return [table["id"] for _, table in tables if isinstance(table.get("id"), str)]


def _doubles(data: dict[str, Any]) -> Iterator[Mistake]:
    for section in ("sensors", "stations", "areas", "trains", "limits", "people", "sources"):
        yield from _double(items(data, section))
    for key, train in items(data, "trains"):
        yield from _double(items(train, "pieces", key))


def _double(tables: Items) -> Iterator[Mistake]:
    seen: set[str] = set()
    for key, table in tables:
        name = table.get("id")
        if isinstance(name, str) and name in seen:
            yield Mistake((*key, "id"), "this id is already taken above")
        seen.add(name) if isinstance(name, str) else None


def _area_names(data: dict[str, Any]) -> Iterator[Mistake]:
    for key, area in items(data, "areas"):
        yield from _listed(data, key, area, "stations", "station")
        yield from _sensor_names(data, key, area, {"product_temperature": Quantity.PRODUCT_TEMPERATURE})
        for steel_key, steel in items(area, "steel", key):
            yield from _sensor_names(data, steel_key, steel, {"sensor": Quantity.STEEL_TEMPERATURE})


def _train_names(data: dict[str, Any]) -> Iterator[Mistake]:
    for key, train in items(data, "trains"):
        yield from _listed(data, key, train, "feeds", "area")
        yield from _named(data, key, train, "station", "station")
        for piece_key, piece in items(train, "pieces", key):
            yield from _sensor_names(data, piece_key, piece, _PIECE)
            yield from _not_vented(data, piece_key, piece)
            yield from _named(data, piece_key, piece, "wall_station", "station")


def _listed(data: dict[str, Any], key: Key, table: dict[str, Any], name: str, what: str) -> Iterator[Mistake]:
    listed = table.get(name)
    for at, word in enumerate(listed if isinstance(listed, list) else []):
        yield from _exists(items(data, f"{what}s"), (*key, name, at), word, what)


def _named(data: dict[str, Any], key: Key, table: dict[str, Any], name: str, what: str) -> Iterator[Mistake]:
    yield from _exists(items(data, f"{what}s"), (*key, name), table.get(name), what)


def _exists(tables: Items, key: Key, word: object, what: str) -> Iterator[Mistake]:
    if isinstance(word, str) and word and word not in ids(tables):
        yield Mistake(key, f"there is no {what} '{word}'{closest(word, ids(tables))}")


def _sensor_names(
    data: dict[str, Any], key: Key, table: dict[str, Any], wanted: dict[str, Quantity]
) -> Iterator[Mistake]:
    for name, quantity in wanted.items():
        word = table.get(name)
        yield from _exists(items(data, "sensors"), (*key, name), word, "sensor")
        measures = _sensor(data, word).get("quantity")
        if isinstance(measures, str) and measures in set(Quantity) and measures != quantity:
            yield Mistake((*key, name), f"sensor '{word}' measures {measures}, but {quantity} is needed here")


def _sensor(data: dict[str, Any], word: object) -> dict[str, Any]:
    return next((table for _, table in items(data, "sensors") if word and table.get("id") == word), {})


def _not_in_line(data: dict[str, Any], key: Key, station: dict[str, Any]) -> Iterator[Mistake]:
    for name in _STATION:
        if _sensor(data, station.get(name)).get("element") == "line":
            yield Mistake((*key, name), f"sensor '{station[name]}' sits in a line, not in open air")


def _not_vented(data: dict[str, Any], key: Key, piece: dict[str, Any]) -> Iterator[Mistake]:
    """A humidity at another pressure is not the humidity in the line; nothing here converts it."""
    for name in ("outlet_temperature", "outlet_relative_humidity"):
        element = _sensor(data, piece.get(name)).get("element")
        if element in ("vented cell", "ambient"):
            yield Mistake((*key, name), f"sensor '{piece[name]}' has element '{element}', not 'line'")
    dew_point = _sensor(data, piece.get("outlet_pressure_dew_point"))
    if dew_point.get("element") in ("vented cell", "ambient"):
        why = f"sensor '{dew_point['id']}' has element '{dew_point['element']}', so it tells the dew point at"
        yield Mistake((*key, "outlet_pressure_dew_point"), f"{why} the pressure there, not the one in the line")


def _limit_place(data: dict[str, Any], key: Key, limit: dict[str, Any]) -> Iterator[Mistake]:
    area, train = limit.get("area", ""), limit.get("train", "")
    if bool(area) is bool(train):
        yield Mistake(key, f"exactly one of area and train is needed, not {'both' if area else 'none'}")
        return
    yield from _named(data, key, limit, "area", "area")
    yield from _named(data, key, limit, "train", "train")
    yield from _limit_piece(data, key, limit)
    known, judged = limit.get("quantity"), AREA_QUANTITIES if area else PIECE_QUANTITIES
    if isinstance(known, str) and known in set(Quantity) and known not in judged:
        place = "an area" if area else "a piece of a train"
        yield Mistake((*key, "quantity"), f"not judged for {place}: use {', '.join(judged)}")


def _groups(data: dict[str, Any]) -> Iterator[Mistake]:
    """Limits that are a breach only together stand under one clause, at one place, for the same work."""
    first: dict[str, dict[str, Any]] = {}
    for key, limit in items(data, "limits"):
        group = limit.get("group")
        if not isinstance(group, str) or not group:
            continue
        told = first.setdefault(group, limit)
        for name in ("clause", "area", "train", "activities"):
            if limit.get(name) != told.get(name):
                why = f"limits of one group share their {name}; '{told.get('id')}' has another"
                yield Mistake((*key, name if name in limit else "group"), why)


def _limit_piece(data: dict[str, Any], key: Key, limit: dict[str, Any]) -> Iterator[Mistake]:
    piece, train = limit.get("piece", ""), limit.get("train", "")
    if not train:
        if piece:
            yield Mistake((*key, "piece"), "a piece belongs to a train; this limit names none")
        return
    if not piece:
        yield Mistake((*key, "piece"), "piece is missing: id of the piece of the train where the limit holds")
    for train_key, table in items(data, "trains"):
        if table.get("id") == train:
            yield from _exists(items(table, "pieces", train_key), (*key, "piece"), piece, "piece")
