"""Along an air train: which values it gives, from the margin and dew point at each piece to the pressures.

The vapour measured at an outlet is met by every wall from there to the next probe. That a train has these values
follows from its sensors alone; `conditions` asks for each again when a sensor it is made from says something else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from math import inf
from typing import NamedTuple

from alerts.measured import Measured, Quantity
from gateway.jobsite import Piece, Station, Train
from gateway.measured_air import gap, measured, minus
from gateway.probes import Elsewhere, Probe, Source, at_outlet
from gateway.said import Channel, Channels


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


class Value(NamedTuple):
    """A value of a jobsite: how it is made, from which sensors and from which points of vapour."""

    key: Key
    make: Callable[[], Condition]
    names: tuple[str, ...]
    sources: tuple[Source, ...] = ()


class _Wall:
    """The wall of one piece and the point of the vapour that meets it there; the margin is kept."""

    def __init__(self, number: int, wall: Channel, source: Source) -> None:
        self.number, self.wall, self.source = number, wall, source
        self._of: tuple[object, object] = (None, None)

    def margin(self) -> Measured:
        """Return the margin as of now, made again only where wall or point are others than before."""
        of = (self.wall.measured, self.source.point)
        if of != self._of:
            self._of, self._margin = of, gap(self.wall, self.source.point)
        return self._margin


class _Line:
    """The air in a train from where its vapour was measured on; each pressure has its point."""

    def __init__(self, probe: Probe, pressure: Channel, baro: Channel) -> None:
        self.probe = probe
        self._baro = baro
        self._points: dict[str, Source] = {pressure.name: probe}

    def point_at(self, pressure: Channel) -> Source:
        """Return the condensation point of this vapour at a gauge pressure."""
        if pressure.name not in self._points:
            self._points[pressure.name] = Elsewhere(self.probe, pressure, self._baro)
        return self._points[pressure.name]


def walk(train: Train, stations: dict[str, Station], channels: Channels) -> Iterator[Value]:
    """Walk along the train; humidity or dew point at an outlet ends the stretch of the vapour before it.

    A pot, hose or regulator with a probe of its own is judged by the air that arrives, too: what leaves a wet pot
    is in equilibrium with its water and says nothing of it. Behind a regulator without a gauge a probe gives no
    dew point, since the pressure before it is not the pressure there.
    """
    baro = channels[stations[train.station].station_pressure]
    line: _Line | None = None
    pressure: Channel | None = None
    start, walls, let_down = 0, list[_Wall](), False
    for number, piece in enumerate(train.pieces):
        outlet, wall = piece.outlet, _wall_of(piece, stations, channels)
        yield from _pressures(train, piece, pressure, channels)
        pressure = channels[outlet.pressure] if outlet.pressure else pressure
        let_down = not outlet.pressure and (let_down or piece.kind == "regulator")
        if outlet.relative_humidity or outlet.pressure_dew_point:
            if wall and line and pressure and piece.kind in KEEPS_WATER:
                walls.append(_Wall(number, wall, line.point_at(pressure)))
            yield from _margins(train, range(start, number), walls)
            start, line = number, None
            if pressure and not let_down and (outlet.pressure_dew_point or outlet.temperature):
                line = _Line(at_outlet(outlet, pressure, baro, channels), pressure, baro)
                yield _pressure_dew_point(train, piece, line.probe)
        if wall and line and pressure:
            walls.append(_Wall(number, wall, line.point_at(pressure)))
    yield from _margins(train, range(start, len(train.pieces)), walls)


def _pressures(train: Train, piece: Piece, before: Channel | None, channels: Channels) -> Iterator[Value]:
    """The pressure behind a piece, what was lost in it since the gauge before, and pot minus blast line."""
    if not piece.outlet.pressure:
        return
    subject, label, own = f"{train.id}/{piece.id}", piece.label, channels[piece.outlet.pressure]
    yield Value((subject, Quantity.GAUGE_PRESSURE), lambda: Condition(label, own.measured), (own.name,))
    if before is not None and before.name != own.name:
        yield _difference((subject, Quantity.PRESSURE_LOSS), label, before, own)
    if piece.blast_line:
        yield _difference((subject, Quantity.POT_MINUS_LINE), label, own, channels[piece.blast_line])


def _difference(key: Key, label: str, one: Channel, other: Channel) -> Value:
    return Value(key, lambda: Condition(label, minus(one, other)), (one.name, other.name))


def _pressure_dew_point(train: Train, piece: Piece, probe: Probe) -> Value:
    def make() -> Condition:
        point = probe.point
        return Condition(piece.label, measured(point.told, point.exact, point.skew))

    return Value((f"{train.id}/{piece.id}", Quantity.PRESSURE_DEW_POINT), make, (), (probe,))


def _wall_of(piece: Piece, stations: dict[str, Station], channels: Channels) -> Channel | None:
    if piece.wall:
        return channels[piece.wall]
    return channels[stations[piece.wall_station].air_temperature] if piece.wall_station else None


def _margins(train: Train, numbers: range, walls: list[_Wall]) -> Iterator[Value]:
    """Condensation margin of each piece of a stretch: the worst of the walls from there to its end."""
    for number in numbers:
        ahead = [wall for wall in walls if wall.number >= number]
        if not ahead:
            return
        piece = train.pieces[number]
        names, sources = tuple(wall.wall.name for wall in ahead), tuple(wall.source for wall in ahead)
        make = partial(_margin, piece.label, ahead, [wall for wall in ahead if wall.number == number])
        yield Value((f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN), make, names, sources)


def _margin(label: str, ahead: list[_Wall], own: list[_Wall]) -> Condition:
    worst = _worst([wall.margin() for wall in ahead])
    if not own:
        return Condition(label, worst)
    at = min(own, key=_margin_k)
    return Condition(label, worst, at.source.point.value_c, at.wall.measured.value, at.source.point.frost)


def _margin_k(wall: _Wall) -> float:
    value = wall.margin().value
    return -inf if value is None else value


def _worst(margins: list[Measured]) -> Measured:
    """The least, or the first that is missing."""
    worst, least = margins[0], inf
    for each in margins:
        if each.value is None:
            return each
        if each.value < least:
            worst, least = each, each.value
    return worst
