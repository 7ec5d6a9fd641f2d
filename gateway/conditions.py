"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit. The air of a
station or an outlet is worked out once and met by every wall: what a wall adds is its own reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache

from alerts.measured import Quantity, unknown
from gateway.jobsite import Area, Jobsite, SteelSpot
from gateway.measured_air import gap, humidity_at, minus, saturation
from gateway.probes import Probe, Source, at_station
from gateway.said import Channel, Channels, Read
from gateway.train_walk import Condition, Conditions, Key, Made, Value, walk

__all__ = ["Condition", "Conditions", "Key", "Made", "Workings", "conditions"]

_NOT_YET = Condition("", unknown("not made yet", 0))
OF_STEEL = (
    Quantity.DEW_POINT_MARGIN, Quantity.RH_AT_STEEL, Quantity.STEEL_TEMPERATURE, Quantity.STEEL_MINUS_AIR,
)  # fmt: skip


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
        self._air = {name: at_station(each, self._channels) for name, each in self._stations.items()}
        self._values: list[tuple[Callable[[], Condition], Key, list[Condition], int]] = []  # where it is found
        self._sources: list[Source] = []
        self._met_by: list[list[int]] = []  # by source, the values made from it
        self._made_from = {sensor.id: list[int]() for sensor in site.sensors}  # by sensor, its values
        self._breathed = {sensor.id: list[int]() for sensor in site.sensors}  # by sensor, its sources
        for area in site.areas:
            self._begin(area)
            for value in self._of_area(area):
                self._add(value)
        for train in site.trains:
            for value in walk(train, self._stations, self._channels):
                self._add(value)

    def update(self, names: Iterable[str]) -> list[Made]:
        """Hear these sensors again; return the values that are others than before."""
        changed = self._channels.renew(names)
        due = {number for name in changed for number in self._made_from[name]}
        for at in sorted({at for name in changed for at in self._breathed[name]}):
            if self._sources[at].renew():
                due.update(self._met_by[at])
        made = []
        for number in sorted(due):
            make, key, places, place = self._values[number]
            condition = make()
            if condition != places[place]:
                places[place] = condition
                made.append((key, condition))
        return made

    def all(self) -> list[Made]:
        """Return every value."""
        return [(key, each) for key, found in self.found.items() for each in found]

    def _add(self, value: Value) -> None:
        number, places = len(self._values), self.found.setdefault(value.key, [])
        self._values.append((value.make, value.key, places, len(places)))
        places.append(_NOT_YET)
        for name in value.names:
            self._made_from[name].append(number)
        for source in value.sources:
            self._met_by[self._at(source)].append(number)

    def _at(self, source: Source) -> int:
        """Return the number of a source, after those that were met before it."""
        if source in self._sources:
            return self._sources.index(source)
        for name in source.names:
            self._breathed[name].append(len(self._sources))
        self._sources.append(source)
        self._met_by.append([])
        return len(self._sources) - 1

    def _begin(self, area: Area) -> None:
        """An area has its keys in this order, also where nothing measures them."""
        steel = OF_STEEL if area.steel and area.stations else ()
        for quantity in (Quantity.RELATIVE_HUMIDITY, Quantity.AIR_TEMPERATURE, *steel):
            self.found[area.id, quantity] = []

    def _of_area(self, area: Area) -> Iterator[Value]:
        channels = self._channels
        for name in area.stations:
            at, probe = self._stations[name], self._air[name]
            t = channels[at.air_temperature]
            yield _alone((area.id, Quantity.RELATIVE_HUMIDITY), channels[at.relative_humidity], at.label)
            yield _alone((area.id, Quantity.AIR_TEMPERATURE), t, at.label)
            if at.wind_speed:
                wind = channels[at.wind_speed]
                yield _alone((area.id, Quantity.WIND_SPEED), wind, wind.sensor.label)
            for spot in area.steel:
                yield from _of_steel(area.id, spot, channels[spot.sensor], t, probe)
        if area.product_temperature:
            product = channels[area.product_temperature]
            yield _alone((area.id, Quantity.PRODUCT_TEMPERATURE), product, product.sensor.label)


def _alone(key: Key, channel: Channel, place: str) -> Value:
    """A value that is one sensor's, made from no other."""
    return Value(key, lambda: Condition(place, channel.measured), (channel.name,))


def _of_steel(area: str, spot: SteelSpot, steel: Channel, t: Channel, probe: Probe) -> Iterator[Value]:
    """What `OF_STEEL` names, for one spot in one station's air."""
    place, at_wall = f"{steel.sensor.label} ({spot.spot})", lru_cache(maxsize=1)(saturation)

    def margin() -> Condition:
        point = probe.point
        return Condition(place, gap(steel, point), point.value_c, steel.measured.value, point.frost)

    margin_of, humidity, own, colder = ((area, quantity) for quantity in OF_STEEL)
    yield Value(margin_of, margin, (steel.name,), (probe,))
    yield Value(
        humidity, lambda: Condition(place, humidity_at(steel, probe.air, at_wall)), (steel.name,), (probe,)
    )
    yield _alone(own, steel, place)
    yield Value(colder, lambda: Condition(place, minus(steel, t)), (steel.name, t.name))
