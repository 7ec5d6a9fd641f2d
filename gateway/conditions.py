"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit. The air of a
station or an outlet is worked out once and met by every wall: what a wall adds is its own reading.
"""

from __future__ import annotations

from typing import NamedTuple

from alerts.measured import Measured, Quantity
from gateway.jobsite import Area, Jobsite, Piece, Station, Train
from gateway.measured_air import (
    Air,
    Channel,
    Channels,
    Point,
    Read,
    air_of,
    gap,
    humidity_at,
    joined,
    measured,
    point_of,
)
from gateway.uncertainty import Uncertain, weighted

RUNNING_PA = 20_000.0  # gauge; below this a train counts as vented (our choice, see DEVELOPERS.md)


class Condition(NamedTuple):
    """One derived value at one place, with the two ends of its gap [°C] where it is a margin."""

    place: str
    measured: Measured
    point_c: float | None = None
    temperature_c: float | None = None
    frost: bool = False


Conditions = dict[tuple[str, Quantity], list[Condition]]


def conditions(site: Jobsite, read: Read) -> Conditions:
    """Return every derived value of the jobsite, keyed by (area or train/piece, quantity)."""
    found: Conditions = {}
    channels = Channels(site, read)
    stations = {station.id: station for station in site.stations}
    breathed = {name for area in site.areas for name in area.stations}
    open_air = {name: _open_air(stations[name], channels) for name in breathed}
    for area in site.areas:
        _area(found, area, [open_air[name] for name in area.stations], channels)
    for train in site.trains:
        _train(found, train, stations, channels)
    return found


class _OpenAir(NamedTuple):
    """The air of one station and its condensation point, for all the steel that stands in it."""

    label: str
    t: Channel
    rh: Channel
    air: Air
    point: Point


def _open_air(station: Station, channels: Channels) -> _OpenAir:
    t, rh = channels[station.air_temperature], channels[station.relative_humidity]
    baro = channels[station.station_pressure]
    air = air_of(t, rh, baro.exact, baro.measured)
    return _OpenAir(station.label, t, rh, air, point_of(air, baro.exact))


def _area(found: Conditions, area: Area, stations: list[_OpenAir], channels: Channels) -> None:
    for around in stations:
        _put(found, area.id, Quantity.RELATIVE_HUMIDITY, Condition(around.label, around.rh.measured))
        _put(found, area.id, Quantity.AIR_TEMPERATURE, Condition(around.label, around.t.measured))
        for spot in area.steel:
            place = f"{channels.label(spot.sensor)} ({spot.spot})"
            _steel(found, area.id, place, around, channels[spot.sensor])


def _put(found: Conditions, subject: str, quantity: Quantity, condition: Condition) -> None:
    found.setdefault((subject, quantity), []).append(condition)


def _steel(found: Conditions, area: str, place: str, around: _OpenAir, steel: Channel) -> None:
    point, said = around.point, steel.measured
    margin = Condition(place, gap(steel, point), point.value_c, said.value, point.frost)
    _put(found, area, Quantity.DEW_POINT_MARGIN, margin)
    _put(found, area, Quantity.RH_AT_STEEL, Condition(place, humidity_at(steel, around.air)))
    _put(found, area, Quantity.STEEL_TEMPERATURE, Condition(place, said))


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

    def __init__(self, t: Channel, rh: Channel, pressure: Channel, baro: Channel) -> None:
        self._baro = baro
        self._air = air_of(t, rh, _absolute(pressure, baro), joined(pressure.measured, baro.measured))
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


def _train(found: Conditions, train: Train, stations: dict[str, Station], channels: Channels) -> None:
    """Walk along the train; a piece with a humidity at its outlet ends the stretch of the vapour before it."""
    baro = channels[stations[train.station].station_pressure]
    line: _Line | None = None
    pressure: Channel | None = None
    start, walls = 0, list[_Wall]()
    for number, piece in enumerate(train.pieces):
        outlet = piece.outlet
        pressure = channels[outlet.pressure] if outlet.pressure else pressure
        if outlet.relative_humidity:
            _margins(found, train, range(start, number), walls)
            start = number
            if outlet.temperature and pressure:
                t, rh = channels[outlet.temperature], channels[outlet.relative_humidity]
                line = _Line(t, rh, pressure, baro)
                _pressure_dew_point(found, train, piece, line)
        wall = _wall_of(piece, stations, channels)
        if wall and line and pressure:
            point = line.point_at(pressure)
            walls.append(_Wall(number, wall, point, gap(wall, point)))
    _margins(found, train, range(start, len(train.pieces)), walls)


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
