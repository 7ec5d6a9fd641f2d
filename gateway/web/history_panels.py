"""Which panels the history of a place has, in which order, in the reader's units: the margin first.

Input: the jobsite and the channels there is history of. Output: panels of lines, and the limits that belong on
them. A place is an area of steel (with the trains that feed it) or one train.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from alerts.limits import Limit
from alerts.measured import DIMENSION, UNITS, Dimension, Quantity, Unit
from gateway.jobsite import Area, Jobsite, Piece, Train
from gateway.tiers import channel_of
from gateway.web.taste import Taste

_DIGITS = {Dimension.PRESSURE: 3}
_TITLES = {
    Quantity.DEW_POINT_MARGIN: "Margin over the dew point",
    Quantity.CONDENSATION_MARGIN: "Condensation margin",
    Quantity.STEEL_TEMPERATURE: "Temperatures",
    Quantity.GAS_TEMPERATURE: "Temperatures in the train",
    Quantity.RELATIVE_HUMIDITY: "Relative humidity",
    Quantity.GAUGE_PRESSURE: "Gauge pressure",
    Quantity.PRESSURE_DEW_POINT: "Pressure dew points",
    Quantity.AIR_FLOW: "Air flow",
    Quantity.DRAIN_COUNT: "Water drained: openings of drains, counted",
    Quantity.LIQUID_LEVEL: "Water standing in the train",
    Quantity.WIND_SPEED: "Wind",
    Quantity.PRODUCT_TEMPERATURE: "Temperature of the product",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line: a channel, or the mean of one minus the mean of another (less) where both stood at once."""

    channel: str
    label: str
    less: str = ""


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel: what it shows, in which unit and with how many decimals, and which limits belong on it."""

    id: str
    title: str
    unit: Unit
    digits: int
    lines: tuple[Line, ...]
    judged: frozenset[tuple[str, Quantity]]

    def takes(self, limit: Limit) -> bool:
        """Whether a limit's threshold is drawn here."""
        return (limit.subject, limit.quantity) in self.judged

    def holds_for(self, limit: Limit) -> list[int]:
        """Return the numbers of the lines a limit judges."""
        begins = f"{limit.subject}|{limit.quantity}|"
        return [at for at, line in enumerate(self.lines) if line.channel.startswith(begins) and not line.less]


def places(site: Jobsite) -> dict[str, str]:
    """Return what may be looked at: id and words of each area, then of each train."""
    areas = {area.id: f"Area {area.id}, {area.label}" for area in site.areas}
    return areas | {train.id: train.label for train in site.trains}


def sensors_of(site: Jobsite, place: str) -> list[str]:
    """Return the sensors a place is seen by: on its steel, at its stations, in its trains."""
    areas = [each for each in site.areas if each.id == place]
    trains = [each for each in site.trains if each.id == place or any(each.feeds.count(area.id) for area in areas)]
    stations = {name for area in areas for name in area.stations} | {train.station for train in trains}
    said = [
        name
        for each in site.stations
        if each.id in stations
        for name in (each.air_temperature, each.relative_humidity, each.station_pressure, each.wind_speed)
    ]
    said += [name for area in areas for name in (*(spot.sensor for spot in area.steel), area.product_temperature)]
    said += [name for train in trains for piece in train.pieces for name in fitted_to(piece)]
    return [name for name in dict.fromkeys(said) if name]


def fitted_to(piece: Piece) -> tuple[str, ...]:
    """Return the sensors of one piece; an empty name is none."""
    at = piece.outlet
    return (
        at.temperature, at.relative_humidity, at.pressure, at.pressure_dew_point, at.flow, piece.wall,
        piece.cooling_air, piece.level, piece.drain_count, piece.blast_line,
    )  # fmt: skip


def panels(site: Jobsite, place: str, known: Iterable[str], taste: Taste) -> list[Panel]:
    """Return the panels of a place; those without a line are there too, since nothing known is to be seen."""
    channels = list(known)
    area = next((each for each in site.areas if each.id == place), None)
    trains = [each for each in site.trains if each.id == place or (area is not None and area.id in each.feeds)]
    made = [*_of_area(area, channels), *_of_trains(site, trains, channels)]
    return [
        Panel(str(quantity), _TITLES[quantity], shown(quantity, taste), _digits(quantity), tuple(lines), judged)
        for quantity, lines, judged in made
    ]


_Made = tuple[Quantity, list[Line], frozenset[tuple[str, Quantity]]]


def _of_area(area: Area | None, channels: list[str]) -> Iterator[_Made]:
    if area is None:
        return
    q = Quantity
    margins = list(_derived(area.id, q.DEW_POINT_MARGIN, channels))
    steel = list(_derived(area.id, q.STEEL_TEMPERATURE, channels))
    air = [Line(each.channel, f"air, {each.label}") for each in _derived(area.id, q.AIR_TEMPERATURE, channels)]
    points = [
        Line(steel_channel, "condensation point", margin.channel)
        for margin in margins[:1]
        if (steel_channel := channel_of(area.id, q.STEEL_TEMPERATURE, margin.label)) in channels
    ]
    humidity = [
        Line(each.channel, f"air, {each.label}") for each in _derived(area.id, q.RELATIVE_HUMIDITY, channels)
    ]
    at_steel = [Line(each.channel, f"at {each.label}") for each in _derived(area.id, q.RH_AT_STEEL, channels)]
    yield q.DEW_POINT_MARGIN, margins, frozenset({(area.id, q.DEW_POINT_MARGIN)})
    temperatures = frozenset({(area.id, q.STEEL_TEMPERATURE), (area.id, q.AIR_TEMPERATURE)})
    yield q.STEEL_TEMPERATURE, [*steel, *points, *air], temperatures
    yield (
        q.RELATIVE_HUMIDITY,
        [*humidity, *at_steel],
        frozenset({(area.id, q.RELATIVE_HUMIDITY), (area.id, q.RH_AT_STEEL)}),
    )
    for alone in (q.WIND_SPEED, q.PRODUCT_TEMPERATURE):  # few areas have them
        if lines := list(_derived(area.id, alone, channels)):
            yield alone, lines, frozenset({(area.id, alone)})


def _derived(subject: str, quantity: Quantity, channels: list[str]) -> Iterator[Line]:
    begins = f"{subject}|{quantity}|"
    return (Line(each, each.removeprefix(begins)) for each in sorted(channels) if each.startswith(begins))


def _of_trains(site: Jobsite, trains: list[Train], channels: list[str]) -> Iterator[_Made]:
    if not trains:
        return
    q = Quantity
    for quantity in (q.CONDENSATION_MARGIN, q.PRESSURE_DEW_POINT):
        pieces = [(f"{train.id}/{piece.id}", train, piece.label) for train in trains for piece in train.pieces]
        many = len(trains) > 1
        lines = [
            Line(line.channel, f"{train.label}, {label}" if many else label)
            for subject, train, label in pieces
            for line in _derived(subject, quantity, channels)
        ]
        judged = frozenset((subject, quantity) for subject, _, _ in pieces)
        yield quantity, lines, judged
    for quantity, also in ((q.GAUGE_PRESSURE, ()), (q.GAS_TEMPERATURE, (q.WALL_TEMPERATURE,))):
        yield quantity, _sensors(site, trains, (quantity, *also), channels), frozenset()
    for quantity in (q.AIR_FLOW, q.DRAIN_COUNT, q.LIQUID_LEVEL):  # few trains have them
        if lines := _sensors(site, trains, (quantity,), channels):
            yield quantity, lines, frozenset()


def _sensors(site: Jobsite, trains: list[Train], asked: tuple[Quantity, ...], channels: list[str]) -> list[Line]:
    fitted = {name: None for train in trains for piece in train.pieces for name in fitted_to(piece)}
    sensors = {each.id: each for each in site.sensors}
    return [
        Line(name, sensors[name].label)
        for name in fitted
        if name in sensors and sensors[name].quantity in asked and name in channels
    ]


def shown(quantity: Quantity, taste: Taste) -> Unit:
    """Return the unit a reader sees a quantity in."""
    fahrenheit = taste.temperature == "°F"
    spelling = {
        Dimension.TEMPERATURE: taste.temperature,
        Dimension.DIFFERENCE: "Δ°F" if fahrenheit else "K",
        Dimension.PRESSURE: taste.pressure,
        Dimension.FRACTION: "%RH",
        Dimension.RATIO: "g/kg",
        Dimension.DENSITY: "g/m3",
        Dimension.FLOW: taste.flow.replace("m³", "m3"),
        Dimension.SHARE: "%FS",
        Dimension.COUNT: "count",
        Dimension.SPEED: "mph" if fahrenheit else "m/s",
        Dimension.TIME: "min",
        Dimension.WARMING: "Δ°F/h" if fahrenheit else "K/h",
        Dimension.MOISTENING: "%RH/h",
    }[DIMENSION[quantity]]
    return UNITS[spelling]


def _digits(quantity: Quantity) -> int:
    return _DIGITS.get(DIMENSION[quantity], 2)
