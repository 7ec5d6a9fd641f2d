"""Two sensors that should agree, compared hour by hour: who reads what the other cannot explain?

Humidities of the same air are compared by vapour pressure, since the air of a place has one vapour pressure but
many temperatures (ASHRAE Handbook Fundamentals 2017, chapter 1); a dew-point probe with the dew point of the
humidity beside it; barometers of one jobsite with each other, brought to one height. What two may differ by is
their own stated uncertainty and nothing else, save `FLOOR`. Which hours can be compared, and how long a
difference must stay, is ours: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations
from math import exp, log
from typing import NamedTuple

from gateway import psychrometrics
from gateway.compressed_air import pressure_dew_point_c, standard_atmosphere_pa
from gateway.jobsite import Jobsite, Piece, Sensor, Station
from gateway.sensor_track import Track
from gateway.uncertainty import propagate

SAME_AIR_K = 1.0  # both temperatures, as hourly means
SLOW_K = 2.0  # each temperature, within the hour
LEAST_READINGS = 4  # of each channel in the hour
WINDOW_H = 24
LEAST_HOURS = 5
FLOOR = 0.03  # of vapour pressure, about 0.45 K of dew point: air is never mixed better
CALM = 0.75  # a flag is taken back only when the difference has fallen to this share
ANY_LINE_PA = 800_000.0  # a point from T and RH moves by at most 0.12 K from 1 to 16 bar(a) (test_sensor_pairs)


class Kind(NamedTuple):
    """How two of a kind are compared: what is always allowed, and how a difference is said.

    floor: in the unit of the difference; said: with holes for the difference, the other and the hours.
    """

    floor: float
    amount: Callable[[float], str]
    said: str
    hours: str


AIR = Kind(FLOOR, lambda off: f"{(exp(off) - 1.0) * 100.0:+.0f} %", "vapour pressure {}", "well-mixed hours")
DEW_POINT = Kind(0.0, lambda off: f"{off:+.1f} K", "dew point {}", "steady hours")
PRESSURE = Kind(0.0, lambda off: f"{off / 100.0:+.1f} hPa", "station pressure {}", "hours")


@dataclass(frozen=True, slots=True)
class Two:
    """Two sensors to compare, and what they are compared by.

    first, second: the two that are named; names: all channels of `difference`, in its order. slow: how many of
    these, from the front, stay within SLOW_K in an hour that counts; one_air: whether temperatures must agree.
    """

    kind: Kind
    first: str
    second: str
    names: tuple[str, ...]
    slow: int
    one_air: bool
    difference: Callable[..., float]

    @property
    def key(self) -> str:
        """Its name in the state; a sensor id holds no blank."""
        return f"{self.first} {self.second}"


@dataclass(slots=True)
class Pair:
    """The last day's hours of two that were compared: (hour, difference, its expanded uncertainty).

    off is the mean of the differences while the two disagree, None while they do not.
    """

    hours: list[tuple[int, float, float]] = field(default_factory=list)
    off: float | None = None


def to_compare(site: Jobsite) -> list[Two]:
    """Return every two sensors of a jobsite that should agree."""
    beside = [two for train in site.trains for piece in train.pieces for two in _beside(piece, site)]
    return [*_probes(site), *_barometers(site), *beside]


def _probes(site: Jobsite) -> Iterator[Two]:
    """Probes that stand in the same air: of one area, or of any areas that are outside."""
    together = [set(area.stations) for area in site.areas]
    together.append({name for area in site.areas if area.air_space == "outside" for name in area.stations})
    for one, other in combinations(site.stations, 2):
        if one.relative_humidity != other.relative_humidity and any(
            {one.id, other.id} <= names for names in together
        ):
            yield of_air(one, other)


def of_air(one: Station, other: Station) -> Two:
    """Return the comparison of two probes by their vapour pressure, as ln(e1/e2)."""
    names = (one.air_temperature, other.air_temperature, one.relative_humidity, other.relative_humidity)
    return Two(AIR, names[2], names[3], names, 2, True, _ln_ratio)


def _barometers(site: Jobsite) -> Iterator[Two]:
    """Each barometer with each other: what height explains is taken off [Pa]."""
    heights = {each.station_pressure: site.altitude_m + each.above_site_m for each in reversed(site.stations)}
    names = dict.fromkeys(each.station_pressure for each in site.stations)
    for one, other in combinations(names, 2):
        try:
            share = standard_atmosphere_pa(heights[one]) / standard_atmosphere_pa(heights[other])
        except psychrometrics.OutOfRange:
            continue
        yield Two(PRESSURE, one, other, (one, other), 0, False, partial(_pressures, share))


def _beside(piece: Piece, site: Jobsite) -> Iterator[Two]:
    """A dew-point probe with the temperature and humidity at the same outlet."""
    at = piece.outlet
    names = (at.pressure_dew_point, at.temperature, at.relative_humidity)
    if all(names):
        frost = any(each.id == names[0] and each.basis == "frost" for each in site.sensors)
        yield Two(DEW_POINT, names[0], names[2], names, 2, False, partial(_points, frost))


def end_hour(pair: Pair, two: Two, tracks: Mapping[str, Track], sensors: Mapping[str, Sensor], hour: int) -> None:
    """Take in an hour that ended, and say whether the two disagree over the last day.

    Fewer than five hours that could be compared say nothing: a flag then stays as it was.
    """
    found = _difference(two, tracks, sensors)
    if found is not None:
        pair.hours.append((hour, *found))
    pair.hours = [each for each in pair.hours if each[0] > hour - WINDOW_H]
    count = len(pair.hours)
    if count < LEAST_HOURS:
        return
    off = sum(each[1] for each in pair.hours) / count
    # Sensor errors stay the same all day: the mean is no better known than one hour.
    explained = max(sum(each[2] for each in pair.hours) / count, two.kind.floor)
    beyond = abs(off) > explained * (1.0 if pair.off is None else CALM)
    pair.off = round(off, 4) if beyond else None


def _difference(
    two: Two, tracks: Mapping[str, Track], sensors: Mapping[str, Sensor]
) -> tuple[float, float] | None:
    """Return the difference of the hour's means and its expanded uncertainty; None when it cannot be compared."""
    channels = [tracks[name] for name in two.names if name in tracks]
    if len(channels) < len(two.names) or any(c.count < LEAST_READINGS or c.spoilt for c in channels):
        return None
    values = [
        c.total / c.count + sensors[name].calibration.correction
        for c, name in zip(channels, two.names, strict=True)
    ]
    slow = all(c.high - c.low <= SLOW_K for c in channels[: two.slow])
    if not slow or (two.one_air and abs(values[0] - values[1]) > SAME_AIR_K):
        return None
    try:
        u = propagate(two.difference, values, [sensors[name].u for name in two.names])
        return None if u is None else (two.difference(*values), 2.0 * u)
    except ValueError:  # outside the physics, or no humidity at all: nothing to compare
        return None


def _ln_ratio(t1_c: float, t2_c: float, rh1: float, rh2: float) -> float:
    """ln(e1/e2) of air at two states of nearly one temperature; the enhancement factors cancel."""
    saturation = psychrometrics.saturation_pressure_water_pa
    return log(rh1 * saturation(t1_c)) - log(rh2 * saturation(t2_c))


def _pressures(share: float, one_pa: float, other_pa: float) -> float:
    """How far one barometer [Pa] is above the other brought to its height; share: of the standard atmosphere."""
    return one_pa - other_pa * share


def _points(frost: bool, point_c: float, t_c: float, rh: float) -> float:
    """How far a dew-point probe is above the point of the humidity beside it [K]; frost: over ice below 0."""
    if frost:
        return point_c - pressure_dew_point_c(t_c, rh, ANY_LINE_PA)[0]
    return point_c - psychrometrics.dew_point_c(t_c, rh, ANY_LINE_PA)


def words(pair: Pair, two: Two, of: str) -> str:
    """Return what is said of a sensor whose pair disagrees, from its own side. of: the first or the second."""
    first, kind = of == two.first, two.kind
    said = kind.said.format(kind.amount((1.0 if first else -1.0) * (pair.off or 0.0)))
    count = len(pair.hours)
    over = f"over {count} {kind.hours} of the last day" if count >= LEAST_HOURS else "when last compared"
    return f"{said} against {two.second if first else two.first} {over}: check both"
