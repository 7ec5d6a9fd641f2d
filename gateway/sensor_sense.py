"""Why a sensor's newest value is not believed, or what a person should know of it.

Each sensor is judged by its own readings (`sensor_track`), by its neighbours (`sensor_pairs`), and here by what
cannot be at its place: a pressure that no weather brings to this altitude, dryer air beyond what salt can do.
Impossible values, saturated air and humidities below what a sensor resolves are sorted out when a message is read
(`payload.senml`). A fault makes the value unknown; a note keeps it and goes with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import hypot

from gateway import psychrometrics, sensor_gauges, sensor_pairs, sensor_track
from gateway.compressed_air import standard_atmosphere_pa
from gateway.jobsite import Jobsite, Sensor, Train
from gateway.reading import Reading
from gateway.sensor_beds import Bed, Value, beds_of, beyond_salt
from gateway.sensor_pairs import Pair, Two
from gateway.sensor_track import HOUR_MS, MINUTE_MS, Rule, Track

WEATHER_PA = 4_000.0  # about the standard atmosphere: common practice, no source
IMPOSSIBLE_PA = 15_000.0  # sea-level records are 870 and 1084 hPa (WMO extremes archive, from memory)


@dataclass(slots=True)
class Sense:
    """What is remembered of all sensors: part of the flow's state. hour: core time in hours, of the sums."""

    hour: int = 0
    tracks: dict[str, Track] = field(default_factory=dict)
    pairs: dict[str, Pair] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Watch:
    """What is expected of the sensors of one jobsite; made once per jobsite, changes nothing."""

    sensors: Mapping[str, Sensor]
    rules: Mapping[str, Rule]
    pairs: tuple[Two, ...]
    beds: Mapping[str, Bed]
    gases: Mapping[str, str]
    gauges: Mapping[str, sensor_gauges.Witness]
    pressures: frozenset[str]
    expected_pa: float | None
    pairs_of: Mapping[str, tuple[Two, ...]]

    @classmethod
    def of(cls, site: Jobsite) -> Watch:
        """Return what is expected of the sensors of a jobsite."""
        in_line = {p.outlet.relative_humidity for train in site.trains for p in train.pieces}
        dry = {name for train in site.trains for name in _behind_adsorption(train)}
        pairs = tuple(sensor_pairs.to_compare(site))
        compared = {name for two in pairs for name in two.names}
        stations = {station.id: station for station in site.stations}
        return cls(
            {sensor.id: sensor for sensor in site.sensors},
            {
                s.id: sensor_track.rule_of(
                    s,
                    patience_ms(s),
                    in_line=s.id in in_line,
                    dry_by_design=s.id in dry,
                    compared=s.id in compared,
                )
                for s in site.sensors
                if s.quantity in sensor_track.JUDGED
            },
            pairs,
            {bed.humidity: bed for train in site.trains for bed in beds_of(train, stations)},
            {
                p.outlet.pressure_dew_point: p.outlet.temperature
                for train in site.trains
                for p in train.pieces
                if p.outlet.pressure_dew_point and p.outlet.temperature
            },
            sensor_gauges.witnesses(site),
            frozenset(station.station_pressure for station in site.stations),
            _expected_pa(site.altitude_m),
            {name: tuple(two for two in pairs if name in (two.first, two.second)) for name in compared},
        )


NOBODY = Watch({}, {}, (), {}, {}, {}, frozenset(), None, {})
"""Before there is a jobsite."""


def patience_ms(sensor: Sensor) -> int:
    """Return how long a sensor may be silent: three of its intervals, at least a minute (ours)."""
    return max(MINUTE_MS, round(3000 * sensor.interval_s))


def silence_ms(own_ms: int, promised_ms: int | None) -> int:
    """Return how long silence leaves a reading good: as its sensor promised, a minute to an hour, else own_ms.

    own_ms: its `patience_ms`, which is also the longest a promise is believed where it is more than an hour.
    """
    return own_ms if promised_ms is None else max(MINUTE_MS, min(promised_ms, max(own_ms, HOUR_MS)))


def _expected_pa(altitude_m: float) -> float | None:
    try:
        return standard_atmosphere_pa(altitude_m)
    except psychrometrics.OutOfRange:
        return None


def _behind_adsorption(train: Train) -> list[str]:
    """The sensors of vapour at and after an adsorption dryer: there a reading at the low end is no fault."""
    kinds = [piece.kind for piece in train.pieces]
    first = kinds.index("adsorption dryer") if "adsorption dryer" in kinds else len(kinds)
    outlets = [piece.outlet for piece in train.pieces[first:]]
    return [name for out in outlets for name in (out.relative_humidity, out.pressure_dew_point) if name]


# -- what comes in -----------------------------------------------------------------------------------------


def take(sense: Sense, watch: Watch, reading: Reading, measured_ms: int) -> None:
    """Take in a reading that became the newest of its sensor, measured at this core time: O(1)."""
    name = reading.sensor
    rule = watch.rules.get(name)
    if rule is None:
        return
    track = sense.tracks.get(name)
    if track is None:
        track = sense.tracks[name] = Track(reading.value, measured_ms, reading.value, measured_ms)
    sensor_track.take(track, rule, reading.value, measured_ms, reading.saturated, reading.below_resolution)


def end_hour(sense: Sense, watch: Watch, core_ms: int) -> None:
    """Close the hour before core_ms: compare the pairs and begin the sums again. Called when the hour changes."""
    for two in watch.pairs:
        pair = sense.pairs.setdefault(two.key, Pair())
        sensor_pairs.end_hour(pair, two, sense.tracks, watch.sensors, sense.hour)
    for track in sense.tracks.values():
        track.count, track.total, track.spoilt = 0, 0.0, False
    sense.hour = core_ms // HOUR_MS


def keep_only(sense: Sense, watch: Watch, same: set[str]) -> None:
    """Forget the sensors not among these (gone, or described anew) and the pairs no longer compared."""
    for gone in sense.tracks.keys() - same:
        del sense.tracks[gone]
    kept = {two.key for two in watch.pairs if {two.first, two.second} <= same}
    for key in sense.pairs.keys() - kept:
        del sense.pairs[key]


# -- what is said ------------------------------------------------------------------------------------------


def fault(sense: Sense, watch: Watch, sensor_id: str, value: Value) -> str:
    """Return why a sensor's newest value is not believed, or nothing."""
    track = sense.tracks.get(sensor_id)
    if track is not None and (why := sensor_track.fault(track, watch.rules[sensor_id])):
        return why
    if sensor_id in watch.beds and (why := beyond_salt(watch.sensors[sensor_id], watch.beds[sensor_id], value)):
        return why
    if sensor_id in watch.gauges and (
        why := sensor_gauges.contradicted(sensor_id, watch.gauges[sensor_id], value)
    ):
        return why
    if sensor_id in watch.gases and (why := _above_its_gas(watch, sensor_id, value)):
        return why
    # Beyond any weather the humidity ratio, and every dew point taken to another pressure, would be wrong. Within
    # it the value is kept: the margin of the steel moves by less than 0.01 K in 40 hPa.
    off = _pressure_off_pa(watch, sensor_id, value)
    if off is not None and abs(off) > IMPOSSIBLE_PA:
        return f"{_pressure_words(off)}; no weather brings that"
    return ""


def held_to(watch: Watch) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield each sensor that others are asked about in `fault`, and those others."""
    for name, bed in watch.beds.items():
        yield name, bed.names
    for name, gas in watch.gases.items():
        yield name, (gas,)
    for name, witness in watch.gauges.items():
        yield name, (*witness.pressures, *witness.flows)


def notes(sense: Sense, watch: Watch, sensor_id: str, value: Value) -> list[str]:
    """Return what a person should know of a value that is used all the same."""
    track = sense.tracks.get(sensor_id)
    found = sensor_track.notes(track) if track is not None else []
    off = _pressure_off_pa(watch, sensor_id, value)
    if off is not None and WEATHER_PA < abs(off) <= IMPOSSIBLE_PA:
        found.append(_pressure_words(off))
    return found + _disagreements(sense, watch, sensor_id)


def _disagreements(sense: Sense, watch: Watch, sensor_id: str) -> list[str]:
    found = []
    for two in watch.pairs_of.get(sensor_id, ()):
        pair = sense.pairs.get(two.key)
        if pair is not None and pair.off is not None:
            found.append(sensor_pairs.words(pair, two, sensor_id))
    return found


def _pressure_off_pa(watch: Watch, sensor_id: str, value: Value) -> float | None:
    """How far a station's pressure is off the standard atmosphere at the site's altitude."""
    if sensor_id not in watch.pressures or watch.expected_pa is None:
        return None
    newest = value(sensor_id)
    return None if newest is None else newest - watch.expected_pa


def _pressure_words(off_pa: float) -> str:
    why = (
        "looks like sea-level pressure or a wrong altitude" if off_pa > 0 else "check the sensor and the altitude"
    )
    return f"{off_pa / 100.0:+.0f} hPa off the standard atmosphere at the site's altitude: {why}"


def _above_its_gas(watch: Watch, sensor_id: str, value: Value) -> str:
    """Whether a dew point lies above the temperature of its own gas by more than both sensors explain."""
    gas = watch.gases[sensor_id]
    point_c, gas_c = value(sensor_id), value(gas)
    if point_c is None or gas_c is None:
        return ""
    explained_k = 2.0 * hypot(watch.sensors[sensor_id].u or 0.0, watch.sensors[gas].u or 0.0)
    if point_c - gas_c <= explained_k:
        return ""
    return f"dew point {point_c - gas_c:.1f} K above its own gas ({gas}), which cannot be: check both"
