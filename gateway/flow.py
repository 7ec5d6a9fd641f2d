"""The whole path, pure: entries in, the same outcomes out, whatever the batches and however often replayed.

message -> reading -> conditions -> judgement -> event and notice. The state is a function of the entries
alone. A reading only updates the newest value; limits and alarms are judged on whole seconds of core time,
and only when something changed or a deadline is due. Those ticks are not journalled: they follow from the core
times of the entries, except that a tick with outcomes is anchored by a heartbeat (see service).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from alerts import alarm as life
from alerts.measured import Measured
from gateway import (
    __version__,
    acts,
    entry,
    flow_edges,
    flow_findings,
    flow_health,
    flow_history,
    flow_inside,
    flow_repeats,
    flow_work,
    sensor_sense,
    tree,
)
from gateway.conditions import Conditions
from gateway.entry import Arrival, Kind, Refusal
from gateway.flow_judging import Judging
from gateway.flow_state import Judged, Lag, Newest, Outcomes, State
from gateway.hearing import Hearing
from gateway.jobsite import Jobsite, Sensor
from gateway.payload import canonical
from gateway.payload.forms import Forms
from gateway.reading import News, Reading, Rejected, Silent
from gateway.sensor_sense import NOBODY, Watch
from gateway.tiers import Cover, Deed, Sheet

CORE = 27  # raised with what the state holds or how it is judged
CORE_VERSION = f"{__version__}/{CORE}"
CORE_READ_FROM = 13  # the oldest state this program goes on from; raised when a field changes its meaning
OF_THE_SENSOR = frozenset({"signal fault", "beyond range", "impossible value", "not finite"})
AHEAD = "bad time"
KEPT_REJECTIONS = 10  # per topic and minute with their bytes; further ones keep hash and reason only
DEEDS = frozenset({Kind.CONFIG_SET, Kind.STARTED, Kind.STOPPING, Kind.CLOCK_STEP})
SECOND = 1000
MINUTE = 60_000
HOUR = 3_600_000
NEVER_AHEAD_MS = 2**53  # as the time of reception: nothing a message can say is after it


def goes_on_from(core_version: str) -> bool:
    """Whether the state a program of this version left can be gone on from, so that years are not folded again."""
    number = core_version.rpartition("/")[2]
    return number.isdecimal() and CORE_READ_FROM <= int(number) <= CORE


class Flow:
    """The fold over the journal. `receive` makes an entry of an arrival, `advance` folds entries in."""

    def __init__(self, state: State | None = None) -> None:
        self.state = state or State()
        self.site: Jobsite | None = None
        self.judging: Judging | None = None
        self.hearing = Hearing(self.state, NOBODY)
        self._ran_to_ms = -1
        if self.state.config:
            self._configure(self.state.config)

    @classmethod
    def from_checkpoint(cls, body: bytes) -> Flow:
        """Return the flow a checkpoint holds. Raises ValueError when it does not fit this version."""
        return cls(canonical.from_checkpoint(body, State))

    @property
    def judged(self) -> dict[str, Judged]:
        """The newest word on each limit."""
        return self.judging.judged if self.judging else {}

    @property
    def conditions(self) -> Conditions:
        """Every derived value as of the last judging."""
        return self.judging.conditions if self.judging else {}

    def checkpoint(self) -> bytes:
        """Return the whole state as bytes."""
        return canonical.checkpoint(self.state)

    # -- one message ---------------------------------------------------------------------------------

    def receive(self, arrival: Arrival, core_ms: int, outcomes: Outcomes) -> bytes:
        """Make the entry of one arrival, fold it in and return it for the journal."""
        self._run_to(core_ms, outcomes)
        readings = self._decode(arrival, core_ms)
        if first := self._first_of(arrival, readings):
            made = entry.duplicate(arrival, first, core_ms)
            self._fold(made, Kind.DUPLICATE, core_ms, outcomes)
        elif isinstance(readings, Rejected):
            kept = self._kept(arrival.topic, core_ms, readings.code)
            made = entry.rejection(arrival, readings, core_ms, kept)
            self._fold(made, Kind.REJECTION, core_ms, outcomes)
        else:
            made = entry.message(arrival, core_ms)
            self._message(arrival, readings, core_ms, outcomes.sheet)
        tree.append(self.state.peaks, made)
        return made

    def advance(self, entries: Iterable[bytes], outcomes: Outcomes) -> None:
        """Fold journalled entries in, in order."""
        leaves: list[bytes] = []  # nothing in the fold asks for the tree, and many at once take half the time
        try:
            for each in entries:
                if each[0] == Kind.MESSAGE:
                    arrival, core_ms = entry.message_and_time(each)
                    self._run_to(core_ms, outcomes)
                    self._message(arrival, self._as_then(arrival, core_ms), core_ms, outcomes.sheet)
                else:
                    kind, core_ms = entry.kind_and_time(each)
                    if kind is not Kind.STARTED:  # nothing is derived across downtime
                        self._run_to(core_ms, outcomes)
                    self._fold(each, kind, core_ms, outcomes)
                leaves.append(each)
                if len(leaves) == tree.SEAL:
                    tree.extend(self.state.peaks, leaves)
                    leaves.clear()
        finally:
            tree.extend(self.state.peaks, leaves)

    def tick(self, core_ms: int, sheet: Sheet | None = None) -> Outcomes:
        """Judge what is due by core_ms. The caller anchors outcomes with a heartbeat at core_ms.

        What it adds to history goes to `sheet`, which the caller keeps until entries are committed with it.
        """
        outcomes = Outcomes(sheet=sheet or Sheet())
        self._run_to(core_ms, outcomes)
        return outcomes

    def due_ms(self) -> int | None:
        """Return the next whole second of core time at which something is to be judged."""
        state = self.state
        due = None if state.dirty_ms is None else (state.dirty_ms // SECOND + 1) * SECOND
        if state.deadline_ms is not None:
            deadline = -(-state.deadline_ms // SECOND) * SECOND
            due = deadline if due is None else min(due, deadline)
        return None if due is None else max(due, state.judged_ms + SECOND)

    def _decode(self, arrival: Arrival, core_ms: int) -> Sequence[News] | Rejected:
        if self.site is None:
            return Rejected("no jobsite", "no jobsite is set; use dewgate apply FILE")
        if flow_edges.is_edge(arrival.topic):
            return flow_edges.changes(self.state, self.edges, arrival, core_ms + self.state.offset_ms)
        return self.forms.decode(arrival.topic, arrival.payload, core_ms + self.state.offset_ms)

    def would_take(self, arrival: Arrival, core_ms: int) -> bool:
        """Whether a message that was refused before would be read now, and is none that was read since."""
        if self.site is None or flow_edges.is_edge(
            arrival.topic
        ):  # to read an edge node's would change its session
            return False
        readings = self._decode(arrival, core_ms)
        return not isinstance(readings, Rejected) and not self._first_of(arrival, readings)

    def _kept(self, topic: str, core_ms: int, code: str) -> int:
        """How much of a rejected message is kept: a flood on one topic may not fill the disk.

        What is ahead of our clock is kept: it may be the clock that is wrong, and then it is read again.
        """
        if code == AHEAD:
            return entry.KEPT_OF_REJECTED
        fresh = core_ms // MINUTE != self.state.rejects_minute
        known = 0 if fresh else self.state.rejects_per_topic.get(topic, 0)
        return entry.KEPT_OF_REJECTED if known < KEPT_REJECTIONS else 0

    def _first_of(self, arrival: Arrival, readings: Sequence[News] | Rejected) -> int:
        if flow_edges.is_edge(arrival.topic):  # it has changed the node's session, so it must be kept as it is
            return 0
        if isinstance(readings, Rejected):
            return flow_repeats.refused_first_of(self.state, arrival, self._ahead(arrival, readings))
        return flow_repeats.first_of(self.state, arrival, readings)

    def _ahead(self, arrival: Arrival, why: Rejected) -> Sequence[News]:
        """Return the readings of a message that is refused only for being measured after now."""
        if why.code != AHEAD:
            return []
        found = self.forms.decode(arrival.topic, arrival.payload, NEVER_AHEAD_MS)
        return [] if isinstance(found, Rejected) else found

    def edges_to_ask(self, core_ms: int) -> list[tuple[tuple[str, str], str]]:
        """Return the edge nodes to be asked for a rebirth, each with why; that it was asked is an entry."""
        return flow_edges.to_ask(self.state, core_ms + self.state.offset_ms)

    # -- folding -------------------------------------------------------------------------------------

    def _fold(self, made: bytes, kind: Kind, core_ms: int, outcomes: Outcomes) -> None:
        """Fold in an entry that is no message, judged up to its time."""
        self.state.sequence += 1
        self.state.core_ms = core_ms
        body = entry.body_of(made)
        match kind:
            case Kind.REJECTION:
                refusal = entry.rejection_of(body)
                self._rejection(refusal, core_ms)
            case Kind.DUPLICATE:
                self._count("duplicate")
            case Kind.CONFIG_SET:
                self._config_set(body, outcomes)
            case Kind.STARTED:
                self._started(body, core_ms)
            case Kind.CLOCK_STEP | Kind.DELIVERY | Kind.HEALTH:
                self._of_the_gateway(kind, canonical.to_dict(body))
            case Kind.ACTION:
                self._action(body, outcomes)
            case Kind.EDGE_SESSION:
                utc_ms = core_ms + self.state.offset_ms
                found = flow_edges.session(self.state, self.edges, canonical.to_dict(body), utc_ms)
                self._changes(found, False, core_ms, outcomes.sheet)
            case _:
                pass
        self._deed(kind, body, outcomes, kind in DEEDS)

    def _deed(self, kind: Kind, body: bytes, outcomes: Outcomes, is_one: bool = True) -> None:
        """Keep for the record what is no message; an act that is refused is none."""
        state = self.state
        if is_one:
            outcomes.sheet.deeds.append(Deed(state.sequence, state.core_ms + state.offset_ms, kind, body))

    def _as_then(self, arrival: Arrival, core_ms: int) -> Sequence[News]:
        """Read an accepted message again. What another version took and this one refuses counts as not read."""
        readings = self._decode(arrival, core_ms)
        if not isinstance(readings, Rejected):
            return readings
        if self.state.core_version == CORE_VERSION:
            number = self.state.sequence + 1
            raise ValueError(f"entry {number} was accepted and is now refused: {readings.detail}")
        self._count("no longer read")
        return []

    def _message(self, arrival: Arrival, readings: Sequence[News], core_ms: int, sheet: Sheet) -> None:
        state = self.state
        state.sequence += 1
        state.core_ms = core_ms
        state.counts["message"] = state.counts.get("message", 0) + 1
        if core_ms // HOUR != state.sense.hour:
            sensor_sense.end_hour(state.sense, self.watch, core_ms)
            self.hearing.all_anew()
        if self._changes(readings, arrival.retain or arrival.before_marker, core_ms, sheet):
            flow_repeats.remember_untimed(state, arrival)

    def _changes(self, found: Sequence[News], may_be_old: bool, core_ms: int, sheet: Sheet) -> bool:
        """Take in readings, and sensors of which nothing is known any more; return whether one had no time."""
        untimed = False
        for each in found:
            if isinstance(each, Silent):
                self._silence(each.sensor, each.reason, core_ms)
            else:
                untimed = untimed or each.relative or each.measured_ms is None
                self._reading(each, may_be_old, core_ms, sheet)
        return untimed

    def _of_the_gateway(self, kind: Kind, body: dict[str, Any]) -> None:
        """Take in what an entry says of the gateway's own clock, messages or health."""
        if kind is Kind.DELIVERY:
            self._count(f"delivery {body['outcome']}")
            flow_health.delivered(self.state, body)
        elif kind is Kind.HEALTH:
            flow_health.said(self.state, body)
        else:
            flow_health.stepped(self.state, body["new_offset_ms"] - self.state.offset_ms)
            self.state.offset_ms = body["new_offset_ms"]

    def _silence(self, sensor: str, reason: str, core_ms: int) -> None:
        """Nothing is known of a sensor from now on, until it says something new."""
        state = self.state
        state.newest.pop(sensor, None)
        state.why_unknown[sensor] = reason
        self.hearing.hear(sensor)
        if state.dirty_ms is None:
            state.dirty_ms = core_ms

    def _reading(self, reading: Reading, may_be_old: bool, core_ms: int, sheet: Sheet) -> None:
        state, name, value, absolute = self.state, reading.sensor, reading.value, reading.absolute
        if absolute and not flow_repeats.is_new(state, reading):
            return
        if may_be_old and not absolute:
            self._count("age unknown")
            state.why_unknown[name] = "age unknown: it may have waited at the broker"
            self.hearing.hear(name)
            return
        measured, fault = core_ms, False
        if reading.measured_ms is not None:
            measured = reading.measured_ms - state.offset_ms
            fault = not may_be_old and self._clock_fault(name, core_ms - measured, core_ms)
        if fault:
            measured = core_ms
        own = patience = self.patience_ms[name]
        if reading.next_within_ms is not None:
            patience = sensor_sense.silence_ms(own, reading.next_within_ms)
        cover = state.covers.get(name)
        if cover is None:
            cover = state.covers[name] = Cover(0)
        sheet.hear(name, measured + state.offset_ms, value, cover, patience)
        if reading.historical or core_ms - measured > own:
            self._count("historical" if reading.historical else "late")
            self.hearing.hear(name)
            return
        newest = state.newest.get(name)
        if newest is None:
            newest = state.newest[name] = Newest(value, measured, core_ms, patience)
            state.impossible.pop(name, None)
        elif measured < newest.measured_ms:
            return
        newest.patience_ms, newest.clock_fault = patience, fault
        newest.value, newest.measured_ms, newest.received_ms = value, measured, core_ms
        newest.saturated, newest.below_resolution = reading.saturated, reading.below_resolution
        sensor_sense.take(state.sense, self.watch, reading, measured)
        self.hearing.hear(name)
        if state.dirty_ms is None:
            state.dirty_ms = core_ms

    def _clock_fault(self, sensor: str, lag_ms: int, core_ms: int) -> bool:
        """Whether even the quickest message of the last live hour came late: then the sensor's clock is wrong."""
        hour = core_ms // HOUR
        lag = self.state.lags.get(sensor)
        if lag is None or hour - lag.hour > 1:  # nothing was heard for an hour: begin again
            lag = self.state.lags[sensor] = Lag(hour, lag_ms)
        elif hour > lag.hour:
            lag = self.state.lags[sensor] = Lag(hour, lag_ms, True, lag.least if lag.whole else None)
        elif lag_ms < lag.least:
            lag.least = lag_ms
        return lag.before is not None and min(lag.before, lag.least) > self.patience_ms[sensor]

    def _rejection(self, refusal: Refusal, core_ms: int) -> None:
        state, topic, code = self.state, refusal.topic, refusal.code
        flow_repeats.remember_refused(state, refusal.key)
        sensor = refusal.detail.partition(":")[0]  # these refusals begin with their sensor's id
        if code in OF_THE_SENSOR and sensor in self.sensors:
            self._silence(sensor, refusal.detail.partition(": ")[2], core_ms)
            state.impossible.setdefault(sensor, core_ms)
        if core_ms // MINUTE != state.rejects_minute:
            state.rejects_minute = core_ms // MINUTE
            state.rejects_per_topic.clear()
        if len(state.rejects_per_topic) < flow_repeats.WINDOW or topic in state.rejects_per_topic:
            state.rejects_per_topic[topic] = state.rejects_per_topic.get(topic, 0) + 1
        state.rejected[code] = state.rejected.get(code, 0) + 1
        self._count("rejected")

    def _count(self, what: str) -> None:
        self.state.counts[what] = self.state.counts.get(what, 0) + 1

    def _config_set(self, body: bytes, outcomes: Outcomes) -> None:
        before, old_site, old = dict(self.sensors) if self.site else {}, self.site, self.judging
        self.state.config = body
        judging = self._configure(body)
        flow_findings.keep_only(self.state, old_site, judging.site)
        same = {name for name, sensor in self.sensors.items() if before.get(name) == sensor}
        sensor_sense.keep_only(self.state.sense, self.watch, same)
        flow_history.take_all_down(self.state, outcomes.sheet)
        judging.alarms.withdraw(old.place if old else str, outcomes)
        self.state.health.hearing_ms = self.state.core_ms
        self.state.dirty_ms = self.state.core_ms if self.state.dirty_ms is None else self.state.dirty_ms

    def _configure(self, body: bytes) -> Judging:
        site = canonical.jobsite_of(body)
        self.site = site
        self.forms, self.edges = Forms.of(site), flow_edges.bindings(site)
        self.sensors: dict[str, Sensor] = {sensor.id: sensor for sensor in site.sensors}
        self.watch = Watch.of(site)
        self.hearing = Hearing(self.state, self.watch)
        self.patience_ms = {sensor.id: sensor_sense.patience_ms(sensor) for sensor in site.sensors}
        judging = self.judging = Judging(self.state, site, self.hearing.read, self.watch)
        return judging

    def _started(self, body: bytes, core_ms: int) -> None:
        """Begin again: nothing measured before counts as current, and no timer ran meanwhile."""
        state = self.state
        started = canonical.to_dict(body)
        state.offset_ms, state.core_version = started["offset_ms"], started.get("core_version", "")
        flow_health.started(state)
        state.newest.clear()
        state.standing.clear()
        flow_work.started(state)
        flow_findings.started(state)
        state.why_unknown.clear()
        state.lags.clear()
        state.trends.clear()
        state.drifts.clear()
        flow_inside.started(state)
        state.trends_minute = -1
        state.trains.clear()
        state.judged_ms, state.dirty_ms, state.deadline_ms = core_ms // SECOND * SECOND, core_ms, None
        if self.judging:
            self.hearing.begin()
            self.judging.judged.clear()
            self.judging.acted = True
        for alarm in state.alarms.values():
            life.stop_timers(alarm)

    def _action(self, body: bytes, outcomes: Outcomes) -> None:
        action = canonical.to_dict(body)
        if acts.refusal(self.state, self.site, action):
            self._count("act refused")
            return
        acts.fold(self.state, action)
        flow_findings.acted(self.state, self.site, action, outcomes)
        self._deed(Kind.ACTION, body, outcomes)
        self.state.dirty_ms = self.state.core_ms if self.state.dirty_ms is None else self.state.dirty_ms
        if self.judging:
            self.judging.acted = True
            self.judging.alarms.act(action, outcomes)

    # -- judging -------------------------------------------------------------------------------------

    def _run_to(self, core_ms: int, outcomes: Outcomes) -> None:
        if core_ms == self._ran_to_ms:  # nothing folded in at an instant can be due at that same instant
            return
        while core_ms >= self.state.judged_ms + SECOND and (due := self.due_ms()) is not None and due <= core_ms:
            self._judge(due, outcomes)
        self._ran_to_ms = core_ms

    def read(self, sensor_id: str) -> Measured:
        """Return the newest value of a sensor as of the second being judged, or why it is unknown."""
        return self.hearing.read(sensor_id)

    def suspicions(self) -> dict[str, tuple[str, ...]]:
        """Return what readings hold against each sensor: a fault, or notes. Silence is told by `read`."""
        return dict(self.hearing.suspicions())

    def _judge(self, now_ms: int, outcomes: Outcomes) -> None:
        state = self.state
        before_ms = state.judged_ms
        state.judged_ms, state.dirty_ms = now_ms, None
        flow_work.expire(state, now_ms)
        if self.judging:
            self.judging.judge(now_ms, before_ms, self.hearing.anew(), outcomes)
        state.deadline_ms = self._next_deadline()

    def _next_deadline(self) -> int | None:
        """Return the next core ms at which silence or a timer changes something without a message."""
        times = [*flow_work.deadlines(self.state, self.site), self.hearing.next_ms()]
        times += [self.judging.next_timer_ms()] if self.judging else []
        return min((t for t in times if t is not None and t > self.state.judged_ms), default=None)
