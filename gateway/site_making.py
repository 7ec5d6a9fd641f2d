"""From the checked tables of a jobsite file to the Jobsite, in the units used inside."""

from __future__ import annotations

from alerts.limits import Limit
from alerts.measured import DIMENSION, UNITS, Quantity
from gateway.accuracy import Accuracy, Calibration
from gateway.jobsite import (
    Area,
    Jobsite,
    Person,
    Piece,
    Point,
    Sensor,
    Station,
    SteelSpot,
    Train,
)
from gateway.site_amounts import amount, celsius_or_nothing, metres, scale, seconds, seconds_or_nothing, spread
from gateway.site_costs import costs
from gateway.site_file import (
    AreaTable,
    LimitTable,
    PersonTable,
    PieceTable,
    SiteFile,
    StationTable,
    TrainTable,
)
from gateway.site_products import product
from gateway.site_sensors import NOT_STATED, SensorTable
from gateway.site_sources import edge, source


def jobsite(file: SiteFile) -> Jobsite:
    """Return the jobsite of a checked file."""
    about = file.jobsite
    return Jobsite(
        about.id,
        about.label,
        about.time_zone,
        metres(about.altitude),
        about.simulated,
        tuple(_sensor(each) for each in file.sensors),
        tuple(_station(each) for each in file.stations),
        tuple(_area(each) for each in file.areas),
        tuple(_train(each) for each in file.trains),
        tuple(_limit(each) for each in file.limits),
        tuple(_person(each) for each in file.people),
        tuple(source(each) for each in file.sources),
        tuple(edge(each) for each in file.edges),
        tuple(product(each) for each in file.products),
        tuple(about.shift_ends),
        about.false_warnings_a_week,
        seconds_or_nothing(about.calibration_notice),
    )


def _sensor(table: SensorTable) -> Sensor:
    quantity = Quantity(table.quantity)
    line, unit = scale(table.scale, DIMENSION[quantity]) if table.scale else (None, table.unit)
    half_width = None if table.accuracy == NOT_STATED else _width(table.accuracy, quantity)
    return Sensor(
        table.id,
        table.label,
        quantity,
        unit,
        Accuracy(half_width, table.accuracy_means or "limit"),
        table.basis,
        table.element,
        seconds(table.interval),
        table.topic or table.id,
        _calibration(table, quantity),
        table.classified_area,
        table.equipment_rating,
        line,
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


def _station(table: StationTable) -> Station:
    return Station(
        table.id, table.label, table.air_temperature, table.relative_humidity, table.station_pressure,
        table.wind_speed, metres(table.above_site),
    )  # fmt: skip


def _width(text: str, quantity: Quantity) -> float | None:
    """Return a difference of this quantity in the unit used inside, None where nothing is written."""
    if not text:
        return None
    number, unit = amount(text, spread(quantity))
    return number * UNITS[unit].factor


def _area(table: AreaTable) -> Area:
    steel = tuple(SteelSpot(**each.model_dump()) for each in table.steel)
    within = seconds(table.prime_within) if table.prime_within else None
    return Area(
        table.id, table.label, tuple(table.stations), steel, table.air_space, within, table.prime_clause,
        table.product_temperature,
    )  # fmt: skip


def _train(table: TrainTable) -> Train:
    pieces = tuple(_piece(each) for each in table.pieces)
    spent = costs(table.pot_set_point, table.hour_price, table.abrasive_rate, table.abrasive_price)
    feeds, warm_up_s = tuple(table.feeds), seconds(table.warm_up)
    return Train(table.id, table.label, feeds, table.station, pieces, warm_up_s, spent)


def _person(table: PersonTable) -> Person:
    return Person(
        table.id,
        table.role,
        tuple(table.channels),
        tuple(table.priorities),
        table.holds_heads,
        seconds(table.after),
        seconds(table.repeat),
        table.hours,
        table.language,
        table.units,
        tuple(table.told_of),
    )


def _piece(table: PieceTable) -> Piece:
    outlet = Point(
        table.outlet_temperature,
        table.outlet_relative_humidity,
        table.outlet_pressure,
        table.outlet_pressure_dew_point,
        table.outlet_flow,
    )
    return Piece(
        table.id, table.label, table.kind, outlet, table.wall, table.wall_station, table.salt, table.cooling_air,
        table.level, table.drain_count, table.position, table.blast_line, celsius_or_nothing(table.rated_inlet),
    )  # fmt: skip


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
        group=table.group,
        latching=table.latching,
        advice_es=table.advice_es,
    )
