"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit. The air of a
station or an outlet is worked out once and met by every wall: what a wall adds is its own reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from math import inf
from typing import NamedTuple

from alerts.measured import Measured, Quantity, unknown
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
    minus,
    point_of,
)
from gateway.uncertainty import Uncertain, weighted


class Condition(NamedTuple):
    """One derived value at one place, with the two ends of its gap [°C] where it is a margin."""

    place: str
    measured: Measured
    point_c: float | None = None
    temperature_c: float | None = None
    frost: bool = False


KEEPS_WATER = frozenset({"pot", "hose", "regulator"})  # pieces that are not there to take water out
_NOT_YET = Condition("", unknown("not made yet", 0))
Key = tuple[str, Quantity]
Conditions = dict[Key, list[Condition]]
Made = tuple[Key, Condition]


def conditions(site: Jobsite, read: Read) -> Conditions:
    """Return every derived value of the jobsite, keyed by (area or train/piece, quantity)."""
    made = Workings(site, read)
    made.update(sensor.id for sensor in site.sensors)
    return made.found


class Workings:
    """Every derived value of a jobsite, kept up to date: only what a sensor that says something new is part of is
    made again, since most sensors are silent most seconds.
    """

    def __init__(self, site: Jobsite, read: Read) -> None:
        self.found: Conditions = {}
        self._stations = {station.id: station for station in site.stations}
        self._channels = Channels(site, read)
        self._air: dict[str, _OpenAir] = {}
        self._units: list[Callable[[], Iterable[Made]]] = []
        self._used_by: dict[str, list[int]] = {sensor.id: [] for sensor in site.sensors}
        for name in dict.fromkeys(name for area in site.areas for name in area.stations):
            self._add(partial(self._breathe, name), self._around(name))
        for area in site.areas:
            self._add_area(area)
        for train in site.trains:
            self._add(partial(self._walk, train), _names(train, self._stations))

    def update(self, names: Iterable[str]) -> list[Made]:
        """Hear these sensors again; return what was made again."""
        changed = self._channels.renew(names)
        due = {unit for name in changed for unit in self._used_by[name]}
        return [made for unit in sorted(due) for made in self._units[unit]()]

    def all(self) -> list[Made]:
        """Return every value."""
        return [(key, each) for key, found in self.found.items() for each in found]

    def _add(self, unit: Callable[[], Iterable[Made]], names: Iterable[str]) -> None:
        for name in names:
            self._used_by[name].append(len(self._units))
        self._units.append(unit)

    def _around(self, station: str) -> list[str]:
        at = self._stations[station]
        return [at.air_temperature, at.relative_humidity, at.station_pressure]

    def _add_area(self, area: Area) -> None:
        for quantity in (Quantity.RELATIVE_HUMIDITY, Quantity.AIR_TEMPERATURE):
            self.found[area.id, quantity] = [_NOT_YET] * len(area.stations)
        for quantity in OF_STEEL if area.steel and area.stations else ():
            self.found[area.id, quantity] = [_NOT_YET] * (len(area.stations) * len(area.steel))
        for at, name in enumerate(area.stations):
            self._add(partial(self._open, area.id, name, at), self._around(name))
            for place, spot in enumerate(area.steel, at * len(area.steel)):
                self._add(partial(self._steel, area.id, name, spot, place), [*self._around(name), spot.sensor])

    def _breathe(self, name: str) -> Iterable[Made]:
        self._air[name] = _open_air(self._stations[name], self._channels)
        return ()

    def _open(self, area: str, station: str, at: int) -> Iterable[Made]:
        around = self._air[station]
        return self._put(area, at, (Quantity.RELATIVE_HUMIDITY, around.rh), (Quantity.AIR_TEMPERATURE, around.t))

    def _steel(self, area: str, station: str, spot: SteelSpot, at: int) -> Iterable[Made]:
        said = _steel(spot, self._air[station], self._channels[spot.sensor])
        return self._put(area, at, *zip(OF_STEEL, said, strict=True))

    def _put(self, area: str, at: int, *made: tuple[Quantity, Condition]) -> list[Made]:
        for quantity, condition in made:
            self.found[area, quantity][at] = condition
        return [((area, quantity), condition) for quantity, condition in made]

    def _walk(self, train: Train) -> Iterable[Made]:
        made = _train(train, self._stations, self._channels)
        self.found |= made
        return [(key, each) for key, found in made.items() for each in found]


def _names(train: Train, stations: dict[str, Station]) -> Iterator[str]:
    """Every sensor a train's values are made from."""
    yield stations[train.station].station_pressure
    for piece in train.pieces:
        at = piece.outlet
        wall = piece.wall or (stations[piece.wall_station].air_temperature if piece.wall_station else "")
        of_air = (at.temperature, at.relative_humidity, at.pressure_dew_point, at.pressure)
        yield from filter(None, (*of_air, wall, piece.blast_line))


class _OpenAir(NamedTuple):
    """The air of one station and its condensation point, for all the steel that stands in it."""

    t: Condition
    rh: Condition
    thermometer: Channel
    air: Air
    point: Point


def _open_air(station: Station, channels: Channels) -> _OpenAir:
    t, rh = channels[station.air_temperature], channels[station.relative_humidity]
    baro = channels[station.station_pressure]
    air = air_of(t, rh, baro.exact, baro.measured)
    spoken = Condition(station.label, t.measured), Condition(station.label, rh.measured)
    return _OpenAir(*spoken, t, air, point_of(air, baro.exact))


OF_STEEL = (
    Quantity.DEW_POINT_MARGIN, Quantity.RH_AT_STEEL, Quantity.STEEL_TEMPERATURE, Quantity.STEEL_MINUS_AIR,
)  # fmt: skip


def _steel(spot: SteelSpot, around: _OpenAir, steel: Channel) -> tuple[Condition, ...]:
    """Return what `OF_STEEL` names, for one spot in one station's air."""
    place, point, said = f"{steel.sensor.label} ({spot.spot})", around.point, steel.measured
    return (
        Condition(place, gap(steel, point), point.value_c, said.value, point.frost),
        Condition(place, humidity_at(steel, around.air)),
        Condition(place, said),
        Condition(place, minus(steel, around.thermometer)),
    )


class _Wall(NamedTuple):
    """The wall of one piece, the condensation point of the vapour that meets it there, and the margin."""

    number: int
    wall: Channel
    point: Point
    margin: Measured


class _Line:
    """The air in a train from where its vapour was measured on; each pressure has its point, worked out once.

    Where an outlet has two sources of its vapour, the wetter of those that are known is believed.
    """

    def __init__(self, outlet: Outlet, pressure: Channel, baro: Channel, channels: Channels) -> None:
        self._baro = baro
        at, said = _absolute(pressure, baro), joined(pressure.measured, baro.measured)
        airs = []
        if outlet.pressure_dew_point:
            airs.append(air_of_dew_point(channels[outlet.pressure_dew_point], at, said))
        if outlet.temperature and outlet.relative_humidity:
            airs.append(air_of(channels[outlet.temperature], channels[outlet.relative_humidity], at, said))
        self._air = max(airs, key=_share)
        self._points: dict[str, Point] = {pressure.name: point_of(self._air, _absolute(pressure, baro))}
        self.point = self._points[pressure.name]

    def point_at(self, pressure: Channel) -> Point:
        """Return the condensation point of this vapour at a gauge pressure."""
        known = self._points.get(pressure.name)
        if known is None:
            known = point_of(self._air, _absolute(pressure, self._baro), pressure.measured)
            self._points[pressure.name] = known
        return known


def _share(air: Air) -> float:
    """The vapour's share of the pressure; less than nothing where it is not known."""
    return air.vapour.share.value if air.vapour else -1.0


def _absolute(pressure: Channel, baro: Channel) -> Uncertain:
    gauge_pa, station_pa = pressure.exact, baro.exact
    return weighted(gauge_pa.value + station_pa.value, (1.0, gauge_pa), (1.0, station_pa))


def _train(train: Train, stations: dict[str, Station], channels: Channels) -> Conditions:
    """Walk along the train; humidity or dew point at an outlet ends the stretch of the vapour before it.

    A pot, hose or regulator with a probe of its own is judged by the air that arrives, too: what leaves a wet pot
    is in equilibrium with its water and says nothing of it. Behind a regulator without a gauge a probe gives no
    dew point, since the pressure before it is not the pressure there.
    """
    found: Conditions = {}
    baro = channels[stations[train.station].station_pressure]
    line: _Line | None = None
    pressure: Channel | None = None
    start, walls, let_down = 0, list[_Wall](), False
    for number, piece in enumerate(train.pieces):
        outlet, wall = piece.outlet, _wall_of(piece, stations, channels)
        _pressures(found, train, piece, pressure, channels)
        pressure = channels[outlet.pressure] if outlet.pressure else pressure
        let_down = not outlet.pressure and (let_down or piece.kind == "regulator")
        if outlet.relative_humidity or outlet.pressure_dew_point:
            if wall and line and pressure and piece.kind in KEEPS_WATER:
                point = line.point_at(pressure)
                walls.append(_Wall(number, wall, point, gap(wall, point)))
            _margins(found, train, range(start, number), walls)
            start, line = number, None
            if pressure and not let_down and (outlet.pressure_dew_point or outlet.temperature):
                line = _Line(outlet, pressure, baro, channels)
                _pressure_dew_point(found, train, piece, line)
        if wall and line and pressure:
            point = line.point_at(pressure)
            walls.append(_Wall(number, wall, point, gap(wall, point)))
    _margins(found, train, range(start, len(train.pieces)), walls)
    return found


def _pressures(found: Conditions, train: Train, piece: Piece, before: Channel | None, channels: Channels) -> None:
    """The pressure behind a piece, what was lost in it since the gauge before, and pot minus blast line."""
    if not piece.outlet.pressure:
        return
    subject, own = f"{train.id}/{piece.id}", channels[piece.outlet.pressure]
    found[subject, Quantity.GAUGE_PRESSURE] = [Condition(piece.label, own.measured)]
    if before is not None and before.name != own.name:
        found[subject, Quantity.PRESSURE_LOSS] = [Condition(piece.label, minus(before, own))]
    if piece.blast_line:
        found[subject, Quantity.POT_MINUS_LINE] = [Condition(piece.label, minus(own, channels[piece.blast_line]))]


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
        piece = train.pieces[number]
        own = min((wall for wall in ahead if wall.number == number), key=_margin_k, default=None)
        point = (own.point.value_c, own.wall.measured.value, own.point.frost) if own else (None, None, False)
        key = (f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN)
        found[key] = [Condition(piece.label, _worst([wall.margin for wall in ahead]), *point)]


def _margin_k(wall: _Wall) -> float:
    return -inf if wall.margin.value is None else wall.margin.value


def _worst(margins: list[Measured]) -> Measured:
    missing = [m for m in margins if m.value is None]
    return missing[0] if missing else min(margins, key=lambda m: m.value or 0.0)
