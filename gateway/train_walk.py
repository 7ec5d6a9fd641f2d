"""Along an air train: from its newest readings to the margin, dew point and pressures at each piece.

The vapour measured at an outlet is met by every wall from there to the next probe. `conditions` says when a train
is walked again.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf
from typing import NamedTuple

from alerts.measured import Measured, Quantity
from gateway.jobsite import Piece, Station, Train
from gateway.jobsite import Point as Outlet
from gateway.measured_air import (
    Air,
    Channel,
    Channels,
    Point,
    air_of,
    air_of_dew_point,
    gap,
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
Key = tuple[str, Quantity]
Conditions = dict[Key, list[Condition]]
Made = tuple[Key, Condition]


def names_of(train: Train, stations: dict[str, Station]) -> Iterator[str]:
    """Every sensor a train's values are made from."""
    yield stations[train.station].station_pressure
    for piece in train.pieces:
        at = piece.outlet
        wall = piece.wall or (stations[piece.wall_station].air_temperature if piece.wall_station else "")
        of_air = (at.temperature, at.relative_humidity, at.pressure_dew_point, at.pressure)
        yield from filter(None, (*of_air, wall, piece.blast_line))


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


def walk(train: Train, stations: dict[str, Station], channels: Channels) -> Conditions:
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
