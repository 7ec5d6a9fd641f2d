"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit. The air of a
station or an outlet is worked out once and met by every wall: what a wall adds is its own reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from operator import is_
from typing import Any, NamedTuple, TypeVar

from alerts.measured import Measured, Quantity
from gateway.jobsite import Area, Jobsite, Piece, Station, SteelSpot, Train
from gateway.jobsite import Point as Outlet
from gateway.measured_air import (
    Air,
    Channel,
    Channels,
    Point,
    Read,
    air_of,
    air_of_dew_point,
    gap,
    humidity_at,
    joined,
    measured,
    point_of,
)
from gateway.uncertainty import Uncertain, weighted

Made = TypeVar("Made")
RUNNING_PA = 20_000.0  # gauge; below this a train counts as vented (our choice, see DEVELOPERS.md)


class Condition(NamedTuple):
    """One derived value at one place, with the two ends of its gap [°C] where it is a margin."""

    place: str
    measured: Measured
    point_c: float | None = None
    temperature_c: float | None = None
    frost: bool = False


Conditions = dict[tuple[str, Quantity], list[Condition]]


def conditions(site: Jobsite, read: Read, kept: Kept | None = None) -> Conditions:
    """Return every derived value of the jobsite, keyed by (area or train/piece, quantity).

    kept: what the last call made of the same jobsite; where every input is the very same object, so is the value.
    """
    found: Conditions = {}
    kept = Kept() if kept is None else kept
    channels = Channels(site, read, kept.channels)
    stations = {station.id: station for station in site.stations}
    breathed = {name for area in site.areas for name in area.stations}
    open_air = {name: _open_air(stations[name], channels, kept) for name in breathed}
    for area in site.areas:
        for name in area.stations:
            _area(found, area, open_air[name], channels, kept)
    for train in site.trains:
        inputs = tuple(channels[name] for name in _names(train, stations))
        found.update(kept.again(train.id, inputs, lambda: _train(train, stations, channels)))  # noqa: B023 - called at once
    return found


class Kept:
    """What was made last time, with the inputs it was made from: most sensors are silent most seconds."""

    def __init__(self) -> None:
        self.channels: dict[str, Channel] = {}
        self._made: dict[object, tuple[tuple[object, ...], Any]] = {}

    def again(self, name: object, inputs: tuple[object, ...], make: Callable[[], Made]) -> Made:
        """Return what was made under this name, or make it where an input is another object than then."""
        known = self._made.get(name)
        if known is not None and all(map(is_, known[0], inputs)):
            made: Made = known[1]
            return made
        made = make()
        self._made[name] = (inputs, made)
        return made


def _names(train: Train, stations: dict[str, Station]) -> Iterator[str]:
    """Every sensor a train's values are made from."""
    yield stations[train.station].station_pressure
    for piece in train.pieces:
        at = piece.outlet
        wall = piece.wall or (stations[piece.wall_station].air_temperature if piece.wall_station else "")
        yield from filter(None, (at.temperature, at.relative_humidity, at.pressure_dew_point, at.pressure, wall))


class _OpenAir(NamedTuple):
    """The air of one station and its condensation point, for all the steel that stands in it."""

    station: str
    t: Condition
    rh: Condition
    air: Air
    point: Point


def _open_air(station: Station, channels: Channels, kept: Kept) -> _OpenAir:
    t, rh = channels[station.air_temperature], channels[station.relative_humidity]
    baro = channels[station.station_pressure]

    def make() -> _OpenAir:
        air = air_of(t, rh, baro.exact, baro.measured)
        spoken = Condition(station.label, t.measured), Condition(station.label, rh.measured)
        return _OpenAir(station.id, *spoken, air, point_of(air, baro.exact))

    return kept.again(station.id, (t, rh, baro), make)


def _area(found: Conditions, area: Area, around: _OpenAir, channels: Channels, kept: Kept) -> None:
    _put(found, area.id, Quantity.RELATIVE_HUMIDITY, around.rh)
    _put(found, area.id, Quantity.AIR_TEMPERATURE, around.t)
    for spot in area.steel:
        steel = channels[spot.sensor]
        made = kept.again((area.id, around.station, spot), (around, steel), lambda: _steel(spot, around, steel))  # noqa: B023
        for quantity, condition in made:
            _put(found, area.id, quantity, condition)


def _put(found: Conditions, subject: str, quantity: Quantity, condition: Condition) -> None:
    found.setdefault((subject, quantity), []).append(condition)


def _steel(spot: SteelSpot, around: _OpenAir, steel: Channel) -> list[tuple[Quantity, Condition]]:
    place, point, said = f"{steel.sensor.label} ({spot.spot})", around.point, steel.measured
    margin = Condition(place, gap(steel, point), point.value_c, said.value, point.frost)
    return [
        (Quantity.DEW_POINT_MARGIN, margin),
        (Quantity.RH_AT_STEEL, Condition(place, humidity_at(steel, around.air))),
        (Quantity.STEEL_TEMPERATURE, Condition(place, said)),
    ]


def is_running(train: Train, read: Read) -> bool | None:
    """Whether the train is under pressure; None when no pressure in it is known."""
    pressures = [read(p.outlet.pressure).value for p in train.pieces if p.outlet.pressure]
    known = [p for p in pressures if p is not None]
    return max(known) >= RUNNING_PA if known else None


class _Wall(NamedTuple):
    """The wall of one piece, the condensation point of the vapour that meets it there, and the margin."""

    number: int
    wall: Channel
    point: Point
    margin: Measured


class _Line:
    """The air in a train from where its vapour was measured on; each pressure has its point, worked out once."""

    def __init__(self, outlet: Outlet, pressure: Channel, baro: Channel, channels: Channels) -> None:
        self._baro = baro
        at, said = _absolute(pressure, baro), joined(pressure.measured, baro.measured)
        if outlet.pressure_dew_point:  # the nearer of the two, where both are fitted
            self._air = air_of_dew_point(channels[outlet.pressure_dew_point], at, said)
        else:
            self._air = air_of(channels[outlet.temperature], channels[outlet.relative_humidity], at, said)
        self._points: dict[str, Point] = {pressure.name: point_of(self._air, _absolute(pressure, baro))}
        self.point = self._points[pressure.name]

    def point_at(self, pressure: Channel) -> Point:
        """Return the condensation point of this vapour at a gauge pressure."""
        known = self._points.get(pressure.name)
        if known is None:
            known = point_of(self._air, _absolute(pressure, self._baro), pressure.measured)
            self._points[pressure.name] = known
        return known


def _absolute(pressure: Channel, baro: Channel) -> Uncertain:
    gauge_pa, station_pa = pressure.exact, baro.exact
    return weighted(gauge_pa.value + station_pa.value, (1.0, gauge_pa), (1.0, station_pa))


def _train(train: Train, stations: dict[str, Station], channels: Channels) -> Conditions:
    """Walk along the train; humidity or dew point at an outlet ends the stretch of the vapour before it."""
    found: Conditions = {}
    baro = channels[stations[train.station].station_pressure]
    line: _Line | None = None
    pressure: Channel | None = None
    start, walls = 0, list[_Wall]()
    for number, piece in enumerate(train.pieces):
        outlet = piece.outlet
        pressure = channels[outlet.pressure] if outlet.pressure else pressure
        if outlet.relative_humidity or outlet.pressure_dew_point:
            _margins(found, train, range(start, number), walls)
            start = number
            if pressure and (outlet.pressure_dew_point or outlet.temperature):
                line = _Line(outlet, pressure, baro, channels)
                _pressure_dew_point(found, train, piece, line)
        wall = _wall_of(piece, stations, channels)
        if wall and line and pressure:
            point = line.point_at(pressure)
            walls.append(_Wall(number, wall, point, gap(wall, point)))
    _margins(found, train, range(start, len(train.pieces)), walls)
    return found


def _pressure_dew_point(found: Conditions, train: Train, piece: Piece, line: _Line) -> None:
    point = measured(line.point.told, line.point.exact, line.point.skew)
    found[f"{train.id}/{piece.id}", Quantity.PRESSURE_DEW_POINT] = [Condition(piece.label, point)]


def _wall_of(piece: Piece, stations: dict[str, Station], channels: Channels) -> Channel | None:
    if piece.wall:
        return channels[piece.wall]
    return channels[stations[piece.wall_station].air_temperature] if piece.wall_station else None


def _margins(found: Conditions, train: Train, numbers: range, walls: list[_Wall]) -> None:
    """Condensation margin of each piece of a stretch: the worst of the walls from there to its end."""
    for number in numbers:
        ahead = [wall for wall in walls if wall.number >= number]
        if not ahead:
            return
        piece, own = train.pieces[number], ahead[0] if ahead[0].number == number else None
        point = (own.point.value_c, own.wall.measured.value, own.point.frost) if own else (None, None, False)
        key = (f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN)
        found[key] = [Condition(piece.label, _worst([wall.margin for wall in ahead]), *point)]


def _worst(margins: list[Measured]) -> Measured:
    missing = [m for m in margins if m.value is None]
    return missing[0] if missing else min(margins, key=lambda m: m.value or 0.0)
