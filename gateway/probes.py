"""The air where probes stand, kept up to date: made again only when a sensor of it says something else.

Numbers are worked out again only where a value or its uncertainty has changed; that a sensor said the same again
moves no more than since when it is known.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar, TypeVarTuple

from gateway.jobsite import Point as Outlet
from gateway.jobsite import Station
from gateway.measured_air import (
    Air,
    Point,
    air_of,
    air_of_dew_point,
    point_of,
    vapour_of,
    vapour_of_dew_point,
    where_it_condenses,
)
from gateway.said import Channel, Channels, Said, joined
from gateway.uncertainty import Uncertain, weighted

Asked = TypeVarTuple("Asked")
Answer = TypeVar("Answer")


def kept(f: Callable[[*Asked], Answer]) -> Callable[[*Asked], Answer]:
    """Return f with a memory of one: it is not asked again what it was asked last."""
    last: tuple[tuple[*Asked], Answer] | None = None

    def again(*asked: *Asked) -> Answer:
        nonlocal last
        if last is None or last[0] != asked:
            last = asked, f(*asked)
        return last[1]

    return again


class Source(Protocol):
    """Where vapour that some sensors give condenses at one pressure."""

    names: tuple[str, ...]
    point: Point

    def renew(self) -> bool:
        """Ask its sensors' channels again; return whether it says anything else than before."""


Pressure = Callable[[], tuple[Uncertain, Said]]
Breath = Callable[[Uncertain, Said], Air]


class Probe:
    """The air of one probe and the point of its vapour at its own pressure.

    Where there are two sources of its vapour, the wetter of those that are known is believed.
    """

    def __init__(self, names: tuple[str, ...], pressure: Pressure, airs: list[Breath]) -> None:
        self.names = names
        self._pressure, self._airs, self._where = pressure, airs, kept(where_it_condenses)
        self.air, self.point = self._renewed()

    def renew(self) -> bool:
        """Ask its sensors' channels again; return whether it says anything else than before."""
        air, point = self._renewed()
        if air == self.air and point == self.point:
            return False
        self.air, self.point = air, point
        return True

    def _renewed(self) -> tuple[Air, Point]:
        p, p_said = self._pressure()
        air = max([breathe(p, p_said) for breathe in self._airs], key=_share)
        return air, point_of(air, p, None, self._where)


class Elsewhere:
    """The point of a probe's vapour where another gauge stands; renewed after its probe."""

    def __init__(self, probe: Probe, gauge: Channel, baro: Channel) -> None:
        self.names = (*probe.names, gauge.name)
        self._probe, self._gauge = probe, gauge
        self._pressure, self._where = absolute(gauge, baro), kept(where_it_condenses)
        self.point = self._renewed()

    def renew(self) -> bool:
        """Ask its sensors' channels again; return whether it says anything else than before."""
        before, self.point = self.point, self._renewed()
        return self.point != before

    def _renewed(self) -> Point:
        return point_of(self._probe.air, self._pressure()[0], self._gauge.measured, self._where)


def _share(air: Air) -> float:
    """The vapour's share of the pressure; less than nothing where it is not known."""
    return air.vapour.share.value if air.vapour else -1.0


def at_station(station: Station, channels: Channels) -> Probe:
    """Return the open air of a station."""
    t, rh, baro = (
        channels[name] for name in (station.air_temperature, station.relative_humidity, station.station_pressure)
    )
    return Probe((t.name, rh.name, baro.name), lambda: (baro.exact, baro.measured), [_by_humidity(t, rh)])


def at_outlet(outlet: Outlet, pressure: Channel, baro: Channel, channels: Channels) -> Probe:
    """Return the air of a line where it is measured; at least one source of its vapour is fitted."""
    names, airs = [pressure.name, baro.name], list[Breath]()
    if outlet.pressure_dew_point:
        names.append(outlet.pressure_dew_point)
        airs.append(_by_dew_point(channels[outlet.pressure_dew_point]))
    if outlet.temperature and outlet.relative_humidity:
        names += [outlet.temperature, outlet.relative_humidity]
        airs.append(_by_humidity(channels[outlet.temperature], channels[outlet.relative_humidity]))
    return Probe(tuple(names), absolute(pressure, baro), airs)


def _by_humidity(t: Channel, rh: Channel) -> Breath:
    kept_vapour = kept(vapour_of)
    return lambda p, said: air_of(t, rh, p, said, kept_vapour)


def _by_dew_point(point: Channel) -> Breath:
    kept_vapour = kept(vapour_of_dew_point)
    return lambda p, said: air_of_dew_point(point, p, said, kept_vapour)


def absolute(gauge: Channel, baro: Channel) -> Pressure:
    """Return the absolute pressure [Pa] at a gauge, by the station's own barometer, and what both said."""
    kept_sum = kept(_sum)
    return lambda: (kept_sum(gauge.exact, baro.exact), joined(gauge.measured, baro.measured))


def _sum(one: Uncertain, other: Uncertain) -> Uncertain:
    return weighted(one.value + other.value, (1.0, one), (1.0, other))
