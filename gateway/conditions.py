"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit. The air of a
station or an outlet is worked out once and met by every wall: what a wall adds is its own reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import NamedTuple

from alerts.measured import Quantity, unknown
from gateway.jobsite import Area, Jobsite, Station, SteelSpot, Train
from gateway.measured_air import Air, Channel, Channels, Point, Read, air_of, gap, humidity_at, minus, point_of
from gateway.train_walk import Condition, Conditions, Key, Made, names_of, walk

__all__ = ["Condition", "Conditions", "Key", "Made", "Workings", "conditions"]

_NOT_YET = Condition("", unknown("not made yet", 0))


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
            self._add(partial(self._walk, train), names_of(train, self._stations))

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
            if wind := self._stations[name].wind_speed:
                self._add_alone((area.id, Quantity.WIND_SPEED), wind)
            for place, spot in enumerate(area.steel, at * len(area.steel)):
                self._add(partial(self._steel, area.id, name, spot, place), [*self._around(name), spot.sensor])

        if area.product_temperature:
            self._add_alone((area.id, Quantity.PRODUCT_TEMPERATURE), area.product_temperature)

    def _add_alone(self, key: Key, name: str) -> None:
        """A value of an area that is one sensor's, made from no other."""
        places = self.found.setdefault(key, [])
        self._add(partial(self._alone, key, name, len(places)), [name])
        places.append(_NOT_YET)

    def _alone(self, key: Key, name: str, at: int) -> Iterable[Made]:
        found = self._channels[name]
        return self._put(key[0], at, (key[1], Condition(found.sensor.label, found.measured)))

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
        made = walk(train, self._stations, self._channels)
        self.found |= made
        return [(key, each) for key, found in made.items() for each in found]


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
