"""The air where probes stand, kept up to date: made again only when a sensor of it says something else."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Protocol

from gateway.jobsite import Point as Outlet
from gateway.jobsite import Station
from gateway.measured_air import Air, Point, air_of, air_of_dew_point, point_of
from gateway.said import Channel, Channels, Said, joined
from gateway.uncertainty import Uncertain, weighted


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
        self._pressure, self._airs = pressure, airs
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
        airs = [breathe(p, p_said) for breathe in self._airs]
        air = max(airs, key=_wetness) if len(airs) > 1 else airs[0]
        return air, point_of(air, p)


class Elsewhere:
    """The point of a probe's vapour where another gauge stands; renewed after its probe."""

    def __init__(self, probe: Probe, gauge: Channel, baro: Channel) -> None:
        self.names = (*probe.names, gauge.name)
        self._probe, self._gauge = probe, gauge
        self._pressure = absolute(gauge, baro)
        self.point = self._renewed()

    def renew(self) -> bool:
        """Ask its sensors' channels again; return whether it says anything else than before."""
        before, self.point = self.point, self._renewed()
        return self.point != before

    def _renewed(self) -> Point:
        return point_of(self._probe.air, self._pressure()[0], self._gauge.measured)


def _wetness(air: Air) -> float:
    """Its vapour pressure [Pa]; less than nothing where it is not known."""
    return air.vapour.e.value if air.vapour else -1.0


def at_station(station: Station, channels: Channels) -> Probe:
    """Return the open air of a station."""
    t, rh, baro = (
        channels[name] for name in (station.air_temperature, station.relative_humidity, station.station_pressure)
    )
    return Probe((t.name, rh.name, baro.name), lambda: (baro.exact, baro.measured), [partial(air_of, t, rh)])


def at_outlet(outlet: Outlet, pressure: Channel, baro: Channel, channels: Channels) -> Probe:
    """Return the air of a line where it is measured; at least one source of its vapour is fitted."""
    names, airs = [pressure.name, baro.name], list[Breath]()
    if outlet.pressure_dew_point:
        names.append(outlet.pressure_dew_point)
        airs.append(partial(air_of_dew_point, channels[outlet.pressure_dew_point]))
    if outlet.temperature and outlet.relative_humidity:
        names += [outlet.temperature, outlet.relative_humidity]
        airs.append(partial(air_of, channels[outlet.temperature], channels[outlet.relative_humidity]))
    return Probe(tuple(names), absolute(pressure, baro), airs)


def absolute(gauge: Channel, baro: Channel) -> Pressure:
    """Return the absolute pressure [Pa] at a gauge, by the station's own barometer, and what both said."""

    def pressure() -> tuple[Uncertain, Said]:
        one, other = gauge.exact, baro.exact
        return weighted(one.value + other.value, (1.0, one), (1.0, other)), joined(gauge.measured, baro.measured)

    return pressure
