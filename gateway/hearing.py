"""What each sensor says as of the second being judged, kept until it may be something else.

A sensor may say other than before when it has spoken, when it falls silent, when one that it is held to has done
either, and at the end of an hour, when pairs are compared. Of a silent one the words change every second.
"""

from __future__ import annotations

from collections.abc import Iterator

from alerts.measured import BOUND, GOOD, SATURATED, Measured, Validity, unknown
from gateway import sensor_sense
from gateway.flow_state import Newest, State
from gateway.sensor_sense import Watch

SECOND = 1000


class Hearing:
    """The sensors of one jobsite; all it keeps follows from the flow's state."""

    def __init__(self, state: State, watch: Watch) -> None:
        self.state = state
        self.watch = watch
        self._order = {name: at for at, name in enumerate(watch.sensors)}
        self._held = _held(watch)
        self._u = {name: sensor.u for name, sensor in watch.sensors.items()}
        self._said: dict[str, Measured] = {}
        self._anew: set[str] = set()
        self._ends: dict[str, int] = {}  # of those heard, the first core ms at which they count as silent
        self._silent: set[str] = set()
        self.begin()

    def begin(self) -> None:
        """Hear every sensor as it is in the state."""
        self._silent.clear()
        self._ends = {name: _ends(newest) for name, newest in self.state.newest.items()}
        self.all_anew()

    def all_anew(self) -> None:
        """Every sensor may say other than before."""
        self._said.clear()
        self._anew.update(self._order)

    def hear(self, name: str) -> None:
        """Take note that a sensor has spoken, or that nothing is known of it any more."""
        newest = self.state.newest.get(name)
        self._silent.discard(name)
        self._ends.pop(name, None)
        if newest is not None:
            self._ends[name] = _ends(newest)
        self._turn(name)

    def _turn(self, name: str) -> None:
        for each in self._held.get(name, (name,)):
            self._said.pop(each, None)
            self._anew.add(each)

    def anew(self) -> list[str]:
        """Name the sensors that may say other than when this was last asked."""
        now_ms = self.state.judged_ms
        if self._ends and min(self._ends.values()) <= now_ms:
            for name in [name for name, end_ms in self._ends.items() if end_ms <= now_ms]:
                del self._ends[name]
                self._silent.add(name)
                self._turn(name)
        found, self._anew = self._anew | self._silent, set()
        return sorted(found & self._order.keys(), key=self._order.__getitem__)

    def next_ms(self) -> int | None:
        """Return the next core ms at which a sensor falls silent."""
        return min(self._ends.values(), default=None)

    def read(self, name: str) -> Measured:
        """Return the newest value of a sensor as of the second being judged, or why it is unknown."""
        newest = self.state.newest.get(name)
        if newest is None:
            why = self.state.why_unknown.get(name, "no current reading yet")
            return unknown(f"{name}: {why}", self.state.judged_ms)
        silent_ms = self.state.judged_ms - newest.received_ms
        if silent_ms > newest.patience_ms:
            return unknown(f"{name}: silent since {silent_ms // SECOND} s", newest.received_ms)
        said = self._said.get(name)
        if said is None:
            said = self._said[name] = self._hear(name, newest)
        return said

    def _hear(self, name: str, newest: Newest) -> Measured:
        sense, watch = self.state.sense, self.watch
        if why := sensor_sense.fault(sense, watch, name, self._as_it_came):
            return unknown(f"{name}: {why}", newest.measured_ms)
        sensor, said = watch.sensors[name], sensor_sense.notes(sense, watch, name, self._as_it_came)
        if newest.clock_fault:
            said = ["its clock is wrong, judged on the time of receipt", *said]
        value, validity = sensor.corrected(newest.value, _validity(newest))
        if validity is SATURATED:
            said = ["saturated, judged wet", *said]
        elif validity is BOUND:
            said = ["below what this sensor resolves", *said]
        reason = f"{name}: {'; '.join(said)}" if said else ""
        return Measured(value, self._u[name], newest.measured_ms, validity, reason)

    def suspicions(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield what readings hold against each sensor: a fault, or notes. Silence is told by `read`."""
        sense, watch = self.state.sense, self.watch
        for name in watch.sensors:
            why = sensor_sense.fault(sense, watch, name, self._as_it_came)
            said = (why,) if why else tuple(sensor_sense.notes(sense, watch, name, self._as_it_came))
            if said:
                yield name, said

    def _as_it_came(self, name: str) -> float | None:
        newest = self.state.newest.get(name)
        silent = newest is None or self.state.judged_ms - newest.received_ms > newest.patience_ms
        return None if newest is None or silent else newest.value


def _ends(newest: Newest) -> int:
    return newest.received_ms + newest.patience_ms + 1


def _held(watch: Watch) -> dict[str, tuple[str, ...]]:
    """By sensor, itself and those of which something else may be said once it has spoken."""
    found: dict[str, dict[str, None]] = {}
    for name, others in sensor_sense.held_to(watch):
        for other in (name, *others):
            found.setdefault(other, {other: None})[name] = None
    return {name: tuple(names) for name, names in found.items()}


def _validity(newest: Newest) -> Validity:
    if newest.saturated:
        return SATURATED
    return BOUND if newest.below_resolution else GOOD
