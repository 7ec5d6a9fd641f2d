"""Two humidity sensors in the same air, compared hour by hour: who reads what the other cannot explain?

Vapour pressure is compared, not relative humidity, since the air of a place has one vapour pressure but many
temperatures (ASHRAE Handbook Fundamentals 2017, chapter 1). Only well-mixed hours count; the figures that say
which hours those are, and how long a difference must stay, are ours: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations
from math import exp, log

from gateway import psychrometrics
from gateway.jobsite import Jobsite, Sensor, Station
from gateway.sensor_track import Track
from gateway.uncertainty import propagate

SAME_AIR_K = 1.0  # both temperatures, as hourly means
SLOW_K = 2.0  # each temperature, within the hour
LEAST_READINGS = 4  # of each channel in the hour
WINDOW_H = 24
LEAST_HOURS = 5
FLOOR = 0.03  # of vapour pressure, about 0.45 K of dew point: air is never mixed better
CALM = 0.75  # a flag is taken back only when the difference has fallen to this share


@dataclass(frozen=True, slots=True)
class Probe:
    """Temperature and humidity of one probe, by sensor id."""

    temperature: str
    humidity: str


@dataclass(slots=True)
class Pair:
    """The last day's well-mixed hours of two probes: (hour, ln(e1/e2), its expanded uncertainty).

    off is the mean of ln(e1/e2) while the two disagree, None while they do not.
    """

    hours: list[tuple[int, float, float]] = field(default_factory=list)
    off: float | None = None


def probes_to_compare(site: Jobsite) -> list[tuple[Probe, Probe]]:
    """Return the probes that stand in the same air: of one area, or of any areas that are outside."""
    together = [set(area.stations) for area in site.areas]
    together.append({name for area in site.areas if area.air_space == "outside" for name in area.stations})
    return [
        (_probe(one), _probe(other))
        for one, other in combinations(site.stations, 2)
        if one.relative_humidity != other.relative_humidity
        and any({one.id, other.id} <= names for names in together)
    ]


def _probe(station: Station) -> Probe:
    return Probe(station.air_temperature, station.relative_humidity)


def key_of(one: Probe, other: Probe) -> str:
    """Return the name of a pair in the state; a sensor id holds no blank."""
    return f"{one.humidity} {other.humidity}"


def end_hour(
    pair: Pair, one: Probe, other: Probe, tracks: Mapping[str, Track], sensors: Mapping[str, Sensor], hour: int
) -> None:
    """Take in an hour that ended, and say whether the two disagree over the last day.

    Fewer than five well-mixed hours say nothing: a flag then stays as it was.
    """
    found = _difference(one, other, tracks, sensors)
    if found is not None:
        pair.hours.append((hour, *found))
    pair.hours = [each for each in pair.hours if each[0] > hour - WINDOW_H]
    count = len(pair.hours)
    if count < LEAST_HOURS:
        return
    off = sum(each[1] for each in pair.hours) / count
    # Sensor errors stay the same all day: the mean is no better known than one hour.
    explained = max(sum(each[2] for each in pair.hours) / count, FLOOR)
    beyond = abs(off) > explained * (1.0 if pair.off is None else CALM)
    pair.off = round(off, 4) if beyond else None


def _difference(
    one: Probe, other: Probe, tracks: Mapping[str, Track], sensors: Mapping[str, Sensor]
) -> tuple[float, float] | None:
    """Return ln(e1/e2) of the hour's means and its expanded uncertainty; None when the hour is not well mixed."""
    names = (one.temperature, one.humidity, other.temperature, other.humidity)
    channels = [tracks[name] for name in names if name in tracks]
    if len(channels) < len(names) or any(c.count < LEAST_READINGS or c.spoilt for c in channels):
        return None
    values = [
        c.total / c.count + sensors[name].calibration.correction for c, name in zip(channels, names, strict=True)
    ]
    slow = all(c.high - c.low <= SLOW_K for c in (channels[0], channels[2]))
    if not slow or abs(values[0] - values[2]) > SAME_AIR_K:
        return None
    try:
        u = propagate(_ln_ratio, values, [sensors[name].u for name in names])
        return None if u is None else (_ln_ratio(*values), 2.0 * u)
    except ValueError:  # outside the physics, or no humidity at all: nothing to compare
        return None


def _ln_ratio(t1_c: float, rh1: float, t2_c: float, rh2: float) -> float:
    """ln(e1/e2) of air at two states of nearly one temperature; the enhancement factors cancel."""
    saturation = psychrometrics.saturation_pressure_water_pa
    return log(rh1 * saturation(t1_c)) - log(rh2 * saturation(t2_c))


def words(pair: Pair, other: str, sign: int) -> str:
    """Return what is said of a sensor whose pair disagrees. sign +1: it is the first of the two."""
    percent = (exp(sign * (pair.off or 0.0)) - 1.0) * 100.0
    over = f"over {len(pair.hours)} well-mixed hours of the last day"
    return f"vapour pressure {percent:+.0f} % against {other} {over}: check both"
