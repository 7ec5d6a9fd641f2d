"""What is wrong now with the instruments and with the gateway itself, of all that may be.

Asked only of sensors that may say other than at the last judging, and of what an entry or a date changed: a quiet
site costs a few comparisons. Where the broker is away nothing is said of silence, since nobody could be heard.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from alerts.fault import Fault, Watched
from gateway import sensor_pairs, sensor_sense, sensor_track
from gateway.flow_health import GOOD, STEP_STANDS_MS
from gateway.flow_state import Figure, Newest, State
from gateway.jobsite import Jobsite, Piece
from gateway.sensor_sense import Watch

MINUTE, HOUR = 60_000, 3_600_000
OF_SENSORS = (Fault.SILENT, Fault.STUCK, Fault.IMPOSSIBLE, Fault.SENSOR_CLOCK)
OF_DATES = (Fault.DUE_SOON, Fault.PAST_DUE)
FIGURES: dict[str, dict[str, tuple[Fault, ...]]] = {
    "broker": {"away": (Fault.BROKER,), "unfit": (Fault.UNFIT,)},
    "disk": {"low": (Fault.DISK_LOW,), "nearly full": (Fault.DISK_LOW, Fault.DISK_SHORT)},
    "messenger": {"idle": (Fault.MESSENGER,)},
    "head": {"unsigned": (Fault.HEAD,)},
}
"""By figure of the gateway's health: which classes are which faults."""
OF_CLOCK = f"gateway {Fault.CLOCK}"
Standing = dict[str, str]
"""By id of what is wrong: the reason."""


def watched_of(site: Jobsite, causes: dict[str, str]) -> Iterator[Watched]:
    """Yield everything that may go wrong on a jobsite. causes: by sensor, the label of what explains it."""
    areas, in_line = areas_of(site), _in_line(site)
    for sensor in site.sensors:
        kinds = OF_SENSORS + (OF_DATES if sensor.calibration.until else ())
        for kind in kinds:
            known = tuple(areas.get(sensor.id, ()))
            name, cause = f"sensor {sensor.id} {kind}", causes[sensor.id]
            yield Watched(name, kind, sensor.label, cause, known, sensor.id in in_line)
    labels = {sensor.id: sensor.label for sensor in site.sensors}
    for two in sensor_pairs.to_compare(site):
        both = f"{labels[two.first]}, {labels[two.second]}"
        known = tuple(dict.fromkeys((*areas.get(two.first, ()), *areas.get(two.second, ()))))
        line = two.first in in_line or two.second in in_line
        yield Watched(f"pair {two.key} {Fault.DISAGREEING}", Fault.DISAGREEING, both, two.key, known, line)
    for figure, classes in FIGURES.items():
        for kind in dict.fromkeys(kind for kinds in classes.values() for kind in kinds):
            yield Watched(f"gateway {kind}", kind, figure, figure)
    yield Watched(OF_CLOCK, Fault.CLOCK, "clock", "clock")
    for channel in dict.fromkeys(name for person in site.people for name in person.channels):
        yield Watched(f"channel {channel}", Fault.CHANNEL, channel, channel, channel=channel)


def areas_of(site: Jobsite) -> dict[str, list[str]]:
    """By sensor, the areas whose verdict needs it, as people call them."""
    stations = {each.id: each for each in site.stations}
    found: dict[str, list[str]] = {}
    for area in site.areas:
        trains = [train for train in site.trains if area.id in train.feeds]
        names = [*(spot.sensor for spot in area.steel), area.product_temperature]
        for station in (stations[name] for name in (*area.stations, *(train.station for train in trains))):
            names += [
                station.air_temperature,
                station.relative_humidity,
                station.station_pressure,
                station.wind_speed,
            ]
        names += [name for train in trains for name in _of_train(train.pieces)]
        for name in filter(None, dict.fromkeys(names)):
            found.setdefault(name, []).append(f"{area.id} {area.label}")
    return found


def _of_train(pieces: Iterable[Piece]) -> Iterator[str]:
    """Every sensor id in the pieces of a train."""
    for piece in pieces:
        at = piece.outlet
        yield from (at.temperature, at.relative_humidity, at.pressure, at.pressure_dew_point)
        yield from (piece.wall, piece.blast_line)


def _in_line(site: Jobsite) -> frozenset[str]:
    return frozenset(sensor.id for sensor in site.sensors if sensor.element == "line")


class Faults:
    """What stands now on one jobsite. `stands` changes with `update`; all of it follows from the flow's state."""

    def __init__(self, state: State, site: Jobsite, watch: Watch, causes: dict[str, str]) -> None:
        self.state, self.site, self.watch = state, site, watch
        self.all = {each.id: each for each in watched_of(site, causes)}
        self.stands: Standing = {}
        self._said: dict[str, tuple[Fault, str] | None] = {}  # of each sensor, when it was last asked
        self._unheard_of: set[str] = set()  # silent, or not heard since the start
        self._waiting: set[str] = set()  # those of them that have not yet had their time
        self._hearing: tuple[int, int] | None = None  # since when sensors can be heard, and the hour, as of then
        self._compared: int | None = None  # the hour in which pairs were looked at last
        self._dates = sorted(_dates(site))
        self._moments = [at for at, *_ in self._dates]
        self._passed = -1  # how many of them
        self._figures: dict[str, Figure | None] = {}  # as last looked at

    def update(self, heard: Iterable[str], now_ms: int) -> None:
        """Hear these sensors again, and look at what else may have changed."""
        for name in {*heard, *self._due(now_ms)}:
            self._put(name, self._of_sensor(name, now_ms))
        self._of_pairs()
        self._of_the_gateway(now_ms)
        self._of_dates(now_ms)

    def next_ms(self) -> int | None:
        """Return the next core ms at which a date or a step of the clock changes something."""
        now, health = self.state.judged_ms, self.state.health
        later = bisect_right(self._moments, now + self.state.offset_ms)
        times = [each - self.state.offset_ms for each in self._moments[later : later + 1]]
        if health.stepped_ms is not None and health.stepped_ms + STEP_STANDS_MS > now:
            times.append(health.stepped_ms + STEP_STANDS_MS)
        ends = (self._patience_ends(name) + 1 for name in self._waiting)
        times += [each for each in ends if each > now]
        return min(times, default=None)

    # -- sensors -----------------------------------------------------------------------------------------

    def _due(self, now_ms: int) -> Iterable[str]:
        """Name the sensors that are not heard, and of which time alone may now say something else."""
        hearing, before = (self.state.health.hearing_ms, now_ms // HOUR), self._hearing
        self._hearing = hearing
        if hearing != before:
            return list(self._unheard_of)
        return [name for name in self._waiting if now_ms > self._patience_ends(name)]

    def _put(self, name: str, found: tuple[Fault, str] | None) -> None:
        before, self._said[name] = self._said.get(name), found
        self._waiting.discard(name)
        if found is None and name in self._unheard_of:
            self._waiting.add(name)
        if found == before:
            return
        if before:
            self.stands.pop(f"sensor {name} {before[0]}", None)
        if found:
            self.stands[f"sensor {name} {found[0]}"] = found[1]

    def _of_sensor(self, name: str, now_ms: int) -> tuple[Fault, str] | None:
        """What is wrong with a sensor: the first of these that holds, and the reason."""
        state, newest = self.state, self.state.newest.get(name)
        self._unheard_of.discard(name)
        if newest is None and name in state.impossible:
            return Fault.IMPOSSIBLE, state.why_unknown.get(name, "")
        if newest is None or now_ms - newest.received_ms > newest.patience_ms:
            self._unheard_of.add(name)
            return self._unheard(name, newest, now_ms)
        if why := sensor_sense.fault(state.sense, self.watch, name, self._value):
            return (Fault.STUCK if self._is_stuck(name) else Fault.IMPOSSIBLE), why
        return _clock(newest)

    def _unheard(self, name: str, newest: Newest | None, now_ms: int) -> tuple[Fault, str] | None:
        """Silent, or heard of old times only; neither before it has had its time since it can be heard."""
        if late := self._late(name, now_ms):
            return Fault.SENSOR_CLOCK, late
        if now_ms <= self._patience_ends(name):
            return None
        return Fault.SILENT, self.state.why_unknown.get(
            name, "nothing heard"
        ) if newest is None else "nothing heard"

    def _patience_ends(self, name: str) -> int:
        newest = self.state.newest.get(name)
        patience_ms = newest.patience_ms if newest else sensor_sense.patience_ms(self.watch.sensors[name])
        return self.state.health.hearing_ms + patience_ms

    def _late(self, name: str, now_ms: int) -> str:
        """What is said of a sensor that is heard, but of old times only: not silent, and of no use."""
        lag = self.state.lags.get(name)
        if lag is None or now_ms // HOUR - lag.hour > 1:
            return ""
        if lag.least <= sensor_sense.patience_ms(self.watch.sensors[name]):
            return ""
        return f"what it says is at least {lag.least // MINUTE} min old when it comes"

    def _is_stuck(self, name: str) -> bool:
        track = self.state.sense.tracks.get(name)
        return track is not None and track.odd is None and sensor_track.is_stuck(track, self.watch.rules[name])

    def _value(self, name: str) -> float | None:
        newest = self.state.newest.get(name)
        return None if newest is None else newest.value

    def _of_pairs(self) -> None:
        """Look at what is compared once an hour, when that hour is over."""
        if self._compared == self.state.sense.hour:
            return
        self._compared = self.state.sense.hour
        stands = self.stands
        for two in self.watch.pairs:
            pair, name = self.state.sense.pairs.get(two.key), f"pair {two.key} {Fault.DISAGREEING}"
            if pair is None or pair.off is None:
                stands.pop(name, None)
            elif name not in stands:
                stands[name] = sensor_pairs.words(pair, two, two.first)

    # -- the gateway ---------------------------------------------------------------------------------------

    def _of_the_gateway(self, now_ms: int) -> None:
        health = self.state.health
        for figure, classes in FIGURES.items():
            said = health.figures.get(figure)
            if said is self._figures.get(figure):
                continue
            self._figures[figure] = said
            bad = classes.get(said.level, ()) if said else ()
            for kind in dict.fromkeys(kind for kinds in classes.values() for kind in kinds):
                self._set(f"gateway {kind}", said.words if said and kind in bad else None)
        stepped = health.stepped_ms is not None and now_ms < health.stepped_ms + STEP_STANDS_MS
        self._set(OF_CLOCK, _set_by(health.by_ms) if stepped else None)
        for channel, said in health.channels.items():
            if f"channel {channel}" in self.all:
                self._set(f"channel {channel}", None if said.level == GOOD else said.words)

    def _set(self, name: str, why: str | None) -> None:
        if why is None:
            self.stands.pop(name, None)
        else:
            self.stands[name] = why

    # -- dates ---------------------------------------------------------------------------------------------

    def _of_dates(self, now_ms: int) -> None:
        passed = bisect_right(self._moments, now_ms + self.state.offset_ms)
        if passed == self._passed:
            return
        self._passed = passed
        for at, (_, name, why) in enumerate(self._dates):
            self._set(name, why if at < passed else None)


def _clock(newest: Newest) -> tuple[Fault, str] | None:
    if not newest.clock_fault:
        return None
    return Fault.SENSOR_CLOCK, "its messages come late all the time: judged on the time of receipt"


def _set_by(by_ms: int) -> str:
    away = timedelta(seconds=round(abs(by_ms) / 1000))
    return f"set {'forward' if by_ms > 0 else 'back'} by {away}"


def _dates(site: Jobsite) -> Iterator[tuple[int, str, str]]:
    """Yield (UTC ms, id, words) of each calibration: when the keeper is to be reminded, and when it is past."""
    for sensor in site.sensors:
        until = sensor.calibration.until
        if until is None:
            continue
        past = _midnight(until + timedelta(days=1), site.time_zone)
        certificate = sensor.calibration.certificate
        why = f"calibrated until {until}, certificate {certificate}"
        yield past, f"sensor {sensor.id} {Fault.PAST_DUE}", why
        if site.calibration_notice_s is not None:
            yield past - round(site.calibration_notice_s * 1000), f"sensor {sensor.id} {Fault.DUE_SOON}", why


def _midnight(day: date, zone: str) -> int:
    return round(datetime.combine(day, time(), ZoneInfo(zone)).timestamp() * 1000)
