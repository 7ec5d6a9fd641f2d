"""A Jobsite written as a jobsite file that reads back to the same value."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import fields
from typing import cast

from alerts.limits import Limit
from alerts.measured import UNITS, Dimension
from gateway.coatings import Product
from gateway.jobsite import Area, Edge, Jobsite, Person, Piece, Sensor, Source, Station, Train
from gateway.site_amounts import spread
from gateway.site_costs import written as written_costs

Table = dict[str, object]
_FRIENDLY = {
    Dimension.DIFFERENCE: "K", Dimension.FRACTION: "%RH", Dimension.PRESSURE: "hPa", Dimension.SHARE: "%FS",
    Dimension.FLOW: "m3/min", Dimension.COUNT: "count", Dimension.SPEED: "m/s",
}  # fmt: skip


def to_toml(jobsite: Jobsite) -> str:
    """Return the text of a jobsite file; it holds every key, also those that carry their default."""
    parts = [_written("[jobsite]", _about(jobsite))]
    parts += [_written("[[sensors]]", _sensor(each)) for each in jobsite.sensors]
    parts += [_written("[[stations]]", _station(each)) for each in jobsite.stations]
    parts += [part for each in jobsite.areas for part in _area(each)]
    parts += [part for each in jobsite.trains for part in _train(each)]
    parts += [_written("[[limits]]", _limit(each)) for each in jobsite.limits]
    parts += [_written("[[people]]", _person(each)) for each in jobsite.people]
    parts += [part for each in jobsite.sources for part in _source(each)]
    parts += [part for each in jobsite.edges for part in _edge(each)]
    parts += [part for each in jobsite.products for part in _product(each)]
    return "\n".join(parts)


def _written(header: str, table: Table) -> str:
    """Return one table; what is empty is left out, as it was in the file."""
    lines = [f"{key} = {_value(value)}" for key, value in table.items() if value not in ("", ())]
    return "\n".join([header, *lines, ""])


def _value(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_value(each) for each in value)}]"
    # TOML's basic strings escape as JSON's do, but forbid one character more.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    """Return a number that reads back to the very same one."""
    return repr(float(value)).removesuffix(".0")


def _flat(record: Station | Person) -> Table:
    return {each.name: getattr(record, each.name) for each in fields(record)}


def _station(station: Station) -> Table:
    table = _flat(station)
    return table | {"above_site": f"{_number(cast('float', table.pop('above_site_m')))} m"}


def _person(person: Person) -> Table:
    table = _flat(person)
    for key in ("after", "repeat"):
        table[key] = f"{_number(cast('float', table.pop(f'{key}_s')))} s"
    return table


def _about(jobsite: Jobsite) -> Table:
    notice = jobsite.calibration_notice_s
    return {
        "id": jobsite.id,
        "label": jobsite.label,
        "time_zone": jobsite.time_zone,
        "altitude": f"{_number(jobsite.altitude_m)} m",
        "simulated": jobsite.simulated,
        "shift_ends": jobsite.shift_ends,
        "false_warnings_a_week": jobsite.false_warnings_a_week,
        "calibration_notice": "" if notice is None else f"{_number(notice)} s",
    }


def _sensor(sensor: Sensor) -> Table:
    return {
        "id": sensor.id,
        "label": sensor.label,
        "quantity": str(sensor.quantity),
        "unit": sensor.scale.raw_unit if sensor.scale else sensor.unit,
        "scale": _scale(sensor),
        "accuracy": _width(sensor.accuracy.half_width, sensor) or "not stated",
        "accuracy_means": sensor.accuracy.meaning,
        "basis": sensor.basis,
        "element": sensor.element,
        "interval": f"{_number(sensor.interval_s)} s",
        "topic": sensor.topic,
        "calibration_date": sensor.calibration.date,
        "calibration_due": sensor.calibration.due,
        "calibration_certificate": sensor.calibration.certificate,
        "calibration_correction": _width(sensor.calibration.correction or None, sensor),
        "calibration_uncertainty": _width(sensor.calibration.expanded_u, sensor),
        "calibration_drift": _width(sensor.calibration.drift, sensor),
        "classified_area": sensor.classified_area,
        "equipment_rating": sensor.equipment_rating,
    }


def _scale(sensor: Sensor) -> str:
    """Return both points as written; none is empty."""
    if sensor.scale is None:
        return ""
    points = (sensor.scale.low, sensor.scale.high)
    return ", ".join(
        f"{_number(raw)} {sensor.scale.raw_unit} = {_number(value)} {sensor.unit}" for raw, value in points
    )


def _width(inside: float | None, sensor: Sensor) -> str:
    """Return a difference in a friendly unit where that is exact, else in the unit used inside; none is empty."""
    if inside is None:
        return ""
    dimension = spread(sensor.quantity)
    friendly = UNITS[_FRIENDLY[dimension]]
    written = round(inside / friendly.factor, 6)
    if written * friendly.factor == inside:
        return f"{_number(written)} {friendly.spelling}"
    plain = next(unit for unit in UNITS.values() if unit.dimension is dimension and unit.factor == 1)
    return f"{_number(inside)} {plain.spelling}"


def _area(area: Area) -> Iterable[str]:
    about: Table = {"id": area.id, "label": area.label}
    within = "" if area.prime_within_s is None else f"{_number(area.prime_within_s)} s"
    table = {**about, "stations": area.stations, "air_space": area.air_space}
    table |= {"prime_within": within, "prime_clause": area.prime_clause}
    table["product_temperature"] = area.product_temperature
    yield _written("[[areas]]", table)
    for spot in area.steel:
        yield _written("[[areas.steel]]", {each.name: getattr(spot, each.name) for each in fields(spot)})


def _train(train: Train) -> Iterable[str]:
    table: Table = {"id": train.id, "label": train.label, "feeds": train.feeds, "station": train.station}
    yield _written(
        "[[trains]]", {**table, "warm_up": f"{_number(train.warm_up_s)} s", **written_costs(train.costs)}
    )
    for piece in train.pieces:
        yield _written("[[trains.pieces]]", _piece(piece))


def _piece(piece: Piece) -> Table:
    return {
        "id": piece.id,
        "label": piece.label,
        "kind": piece.kind,
        "outlet_temperature": piece.outlet.temperature,
        "outlet_relative_humidity": piece.outlet.relative_humidity,
        "outlet_pressure": piece.outlet.pressure,
        "outlet_pressure_dew_point": piece.outlet.pressure_dew_point,
        "wall": piece.wall,
        "wall_station": piece.wall_station,
        "salt": piece.salt,
        "outlet_flow": piece.outlet.flow,
        "cooling_air": piece.cooling_air,
        "level": piece.level,
        "drain_count": piece.drain_count,
        "position": piece.position,
        "blast_line": piece.blast_line,
        "rated_inlet": "" if piece.rated_inlet_c is None else f"{_number(piece.rated_inlet_c)} °C",
    }


def _source(source: Source) -> Iterable[str]:
    about = {each.name: getattr(source, each.name) for each in fields(source) if each.name != "values"}
    if source.form == "number":
        about["sensor"], about["numbers_as_text"] = source.values[0].sensor, ""
    yield _written("[[sources]]", about)
    for value in source.values if source.form == "json" else ():
        yield _written("[[sources.values]]", {each.name: getattr(value, each.name) for each in fields(value)})


def _edge(edge: Edge) -> Iterable[str]:
    yield _written("[[edges]]", {"group": edge.group, "node": edge.node})
    for value in edge.values:
        yield _written("[[edges.values]]", {each.name: getattr(value, each.name) for each in fields(value)})


def _product(product: Product) -> Iterable[str]:
    about: Table = {each.name: getattr(product, each.name) for each in fields(product) if each.name != "recoat"}
    yield _written("[[products]]", about)
    for row in product.recoat:
        times = {"earliest": f"{_number(row.earliest_h)} h"}
        times |= {} if row.latest_h is None else {"latest": f"{_number(row.latest_h)} h"}
        steel = {"steel_from": f"{_number(row.from_c)} °C", "steel_to": f"{_number(row.to_c)} °C"}
        yield _written("[[products.recoat]]", {**steel, **times})


def _limit(limit: Limit) -> Table:
    return {
        "id": limit.id,
        "quantity": str(limit.quantity),
        "relation": limit.relation,
        "threshold": f"{_number(limit.threshold)} {limit.unit}",
        "clause": limit.clause,
        "area": limit.area,
        "train": limit.train,
        "piece": limit.piece,
        "activities": limit.activities,
        "deadband": f"{_number(limit.deadband)} {limit.deadband_unit}",
        "on_delay": f"{_number(limit.on_delay_s)} s",
        "off_delay": f"{_number(limit.off_delay_s)} s",
        "unknown_delay": f"{_number(limit.unknown_delay_s)} s",
        "advice": limit.advice,
        "advice_es": limit.advice_es,
        "decision_rule": limit.decision_rule,
        "priority": limit.priority,
        "group": limit.group,
        "latching": limit.latching,
    }
