"""Every second that is judged: conditions against limits, limits to alarms, alarms to events and messages.

Lives as long as the jobsite in force; what must outlive it is in the flow's state. `flow` says when a second is
judged and what the sensors say, `flow_telling` whom a message goes to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from alerts import alarm as life
from alerts import figures, time_to_limit
from alerts.alarm import Change
from alerts.fault import Watched, flaps, patient
from alerts.fault_words import Wrong
from alerts.limits import Judgement, Limit, Verdict, judge, together, worst
from alerts.measured import Quantity, unknown
from alerts.notification import NOTHING, Foreseen, Standing
from gateway import (
    flow_ahead,
    flow_findings,
    flow_health,
    flow_history,
    flow_inside,
    flow_trends,
    flow_work,
    last_start,
    train_state,
)
from gateway.conditions import Condition, Key, Workings
from gateway.flow_alarms import Alarms
from gateway.flow_faults import Faults
from gateway.flow_lasting import BY_HAND, Lasting
from gateway.flow_state import Judged, Outcomes, State
from gateway.flow_telling import Teller
from gateway.jobsite import Jobsite, Train
from gateway.said import Read
from gateway.sensor_sense import Watch


class Judging:
    """What is judged of one jobsite, and the newest word on each of its limits."""

    def __init__(self, state: State, site: Jobsite, read: Read, watch: Watch) -> None:
        self.state = state
        self.site = site
        self.read = read
        self.workings = Workings(site, read)
        self.conditions = self.workings.found
        self.lasting = Lasting(state, site, self.conditions)
        self.derived = flow_history.Derived(state)
        self.areas = flow_work.Areas(state, site, self.conditions)
        self.judged: dict[str, Judged] = {}
        self.limits: dict[str, Limit] = {limit.id: limit for limit in site.limits}
        self.groups = _groups(site.limits)
        self.trains = {train.id: train for train in site.trains}
        self.labels = {a.id: f"area {a.id} {a.label}" for a in site.areas}
        self.labels |= {f"{t.id}/{p.id}": f"{t.label}, {p.label}" for t in site.trains for p in t.pieces}
        self.causes = {sensor.id: sensor.label for sensor in site.sensors}
        for station in site.stations:  # a station that is dead is one cause, not three
            for name in (station.air_temperature, station.relative_humidity, station.station_pressure):
                self.causes[name] = station.label
        self.faults = Faults(state, site, watch, self.causes)
        self.teller = Teller(state, site, self.limits | self.faults.all, self.describe, self._settles)
        self.acted = True  # an act or a start may have changed what no value shows
        self._moved: set[str] = set()  # limits whose alarm changed: it begins its next timer at the next judging
        self._heard: dict[str, Verdict] = {}  # as of the last judging
        self.alarms = Alarms(
            state, self.groups, self.teller, self._cause, self._where, self.place, self.faults.all
        )

    def judge(self, now_ms: int, before_ms: int, heard: Iterable[str], outcomes: Outcomes) -> None:
        """Judge everything as of now; before_ms: the second judged before; heard: who may say other than then."""
        heard = list(heard)
        made, minute = self.workings.update(heard), flow_history.is_minute(self.state, before_ms)
        made = [*(self.workings.all() if minute else made), *self.lasting.update()]
        self.derived.take(outcomes.sheet, made, minute)
        anew, events = {key for key, _ in made}, self.state.events
        turned = {train.id for train in self.site.trains if self._follow(train, now_ms)}
        moved, self._moved = self._moved, set()
        for group in self.groups:
            if group[0].id in moved or self._is_due(group, anew, turned, now_ms):
                self._judge_group(group, now_ms, outcomes)
        if now_ms // flow_trends.MINUTE != self.state.trends_minute:
            self.state.trends_minute = now_ms // flow_trends.MINUTE
            flow_trends.take(self.state.trends, self.judged, now_ms)
        self.alarms.suppress(outcomes)
        self.faults.update(heard, now_ms)
        deaf = flow_health.is_deaf(self.state)
        self.alarms.step_faults(self.faults.stands, now_ms, outcomes, deaf=deaf, acted=self.acted)
        self._look_ahead(outcomes)
        verdicts = self._verdicts()
        whole = self.acted or self.state.events != events or verdicts != self._heard
        self.areas.judge(verdicts, {subject for subject, _ in anew}, whole, minute, before_ms, outcomes)
        self._heard, self.acted = verdicts, False
        flow_findings.judged(self.state, self.site, self.read, now_ms, outcomes)
        self.teller.run(now_ms, outcomes)

    def _is_due(self, group: tuple[Limit, ...], anew: set[Key], turned: set[str], now_ms: int) -> bool:
        """Whether judging it may say, or do to its alarm, anything that the last time did not."""
        alarm = self.state.alarms.get(group[0].id)
        if alarm is None or self.acted:
            return True
        if any(self._is_anew(limit, anew) or limit.train in turned for limit in group):
            return True
        due_ms = life.deadline_ms(alarm, group[0])
        return due_ms is not None and due_ms <= now_ms

    def _is_anew(self, limit: Limit, anew: set[Key]) -> bool:
        new = limit.id not in self.judged or limit.quantity is Quantity.TIME_INSIDE
        return new or (limit.subject, limit.quantity) in anew

    def _verdicts(self) -> dict[str, Verdict]:
        """By limit, what its alarm hears."""
        heard = flow_inside.for_alarm
        return {
            name: heard(self.state, self.limits[name], each.judgement).verdict
            for name, each in self.judged.items()
        }

    def _look_ahead(self, outcomes: Outcomes) -> None:
        """Warn of what is inside now and expected to cross."""
        budget = self.site.false_warnings_a_week
        for limit, outlook in flow_ahead.take(self.state, self.site.limits, self.judged, budget):
            said = self.judged[limit.id]
            value = said.condition.measured._replace(reason=time_to_limit.words(outlook))
            self.alarms.ahead(limit, said.judgement.verdict, value, outcomes)

    def _follow(self, train: Train, now_ms: int) -> bool:
        """Bring what a train does up to now; return whether that is something else than before."""
        runs, before = self.state.trains, self.state.trains.get(train.id)
        runs[train.id] = train_state.follow(before, train, train_state.seen(train, self.read), now_ms)
        return runs[train.id] is not before

    def _judge_group(self, group: tuple[Limit, ...], now_ms: int, outcomes: Outcomes) -> None:
        """Judge one limit, or several that are a breach only together; these share the first one's alarm."""
        first = group[0]
        condition, judgement = self._say(first)
        if len(group) > 1:
            said = [(condition, judgement), *(self._say(limit) for limit in group[1:])]
            judgement = together([each for _, each in said])
            for limit, (at, own) in zip(group[1:], said[1:], strict=True):
                self._keep(limit, at, replace(own, verdict=judgement.verdict), now_ms)
            self._keep(first, condition, replace(said[0][1], verdict=judgement.verdict), now_ms)
        else:
            self._keep(first, condition, judgement, now_ms)
        heard = flow_inside.for_alarm(self.state, first, judgement)
        if self.alarms.step(first, condition, heard, now_ms, outcomes):
            self._moved.add(first.id)

    def _keep(self, limit: Limit, condition: Condition, judgement: Judgement, now_ms: int) -> None:
        before = self.judged.get(limit.id)
        changed = before is None or before.judgement.verdict is not judgement.verdict
        since = now_ms if before is None or changed else before.since_ms
        self.judged[limit.id] = Judged(condition, judgement, since)

    def _say(self, limit: Limit) -> tuple[Condition, Judgement]:
        """Return the place and judgement this limit shows: the worst of the places it holds for."""
        found = self._found(limit)
        if not found:
            nothing = unknown("no sensors that give this value", self.state.judged_ms)
            found = [Condition(self.labels.get(limit.subject, limit.subject), nothing)]
        if limit.train and (run := self.state.trains[limit.train]).doing in train_state.NOT_JUDGED:
            return found[0], Judgement(Verdict.NOT_RUNNING, None, False, train_state.words(run))
        if found[0].place == BY_HAND and found[0].measured.value is None:
            return found[0], Judgement(Verdict.NOT_ENTERED, None, False, found[0].measured.reason)
        judgements = [judge(limit, each.measured) for each in found]
        at = worst(judgements)
        return found[at], judgements[at]

    def _found(self, limit: Limit) -> list[Condition]:
        if limit.quantity is Quantity.TIME_INSIDE:
            return [flow_inside.condition(self.state, limit, self.limits, self.judged)]
        return self.conditions.get((limit.subject, limit.quantity), [])

    def _cause(self, limit: Limit) -> str:
        """The station or sensor that is why a value is not known, by its label; or nothing."""
        judged = self.judged.get(limit.id)
        if judged is None or judged.condition.measured.value is not None:
            return ""
        if flow_health.is_deaf(self.state):  # one cause, whatever fell silent
            return "the broker"
        return self.causes.get(judged.condition.measured.reason.partition(":")[0], "")

    def describe(self, name: str, number: str, change: Change) -> Standing | Wrong:
        """Return an alarm of a limit, or of what is wrong, as a message tells it."""
        watched = self.faults.all.get(name)
        return self._wrong(watched, number, change) if watched else self.standing(name, number, change)

    def _wrong(self, watched: Watched, number: str, change: Change) -> Wrong:
        alarm = self.state.alarms[watched.id]
        since = alarm.since_ms if alarm.breach_since is None else alarm.breach_since
        if change is Change.OVER:
            since = self.state.judged_ms
        reason = self.faults.stands.get(watched.id, "")
        return Wrong(number, change, watched, reason, since + self.state.offset_ms, flaps(alarm))

    def standing(self, limit_id: str, number: str, change: Change) -> Standing:
        """Return an alarm as a message tells it."""
        limit, alarm, judged = self.limits[limit_id], self.state.alarms[limit_id], self.judged.get(limit_id)
        where = self.labels.get(limit.subject, limit.subject)
        said = judged.condition if judged else Condition(where, unknown("not judged yet", alarm.since_ms))
        since = alarm.since_ms
        if change is Change.CLOSE:
            since = self.state.judged_ms if alarm.close_since is None else alarm.close_since
        elif change in (Change.RETURNED, Change.AHEAD):
            since = self.state.judged_ms
        return Standing(
            number, change, limit, where, said.place, said.measured, since + self.state.offset_ms,
            self._cause(limit), self._activities(limit), flow_trends.per_hour(self.state.trends, limit_id),
            figures.often(alarm, self.state.judged_ms), self._foreseen(limit, change),
        )  # fmt: skip

    def _foreseen(self, limit: Limit, change: Change) -> Foreseen:
        judged = self.judged.get(limit.id)
        if judged is None:
            return NOTHING
        found = last_start.foreseen(flow_ahead.outlook(self.state, limit, judged, self.state.judged_ms), change)
        area = next((each for each in self.site.areas if each.id == limit.area), None)
        if not found.moments or area is None or area.prime_within_s is None:
            return found
        start = last_start.of_area(self.state, self.site, area, self.judged, self.state.judged_ms)
        return found if start is None else last_start.beside(found, start, area)

    def place(self, name: str) -> str:
        """Return what an alarm is of, by the id of its limit or fault, as people call it."""
        if watched := self.faults.all.get(name):
            return watched.label
        limit = self.limits.get(name)
        return name if limit is None else self.labels.get(limit.subject, limit.subject)

    def _settles(self, limit_id: str) -> bool:
        judged, alarm = self.judged.get(limit_id), self.state.alarms[limit_id]
        stopped = judged is not None and judged.judgement.verdict is Verdict.NOT_RUNNING
        return stopped or alarm.clearing_since is not None

    def _activities(self, limit: Limit) -> frozenset[str]:
        """The activities begun where a limit holds; a train's are those of the areas it feeds."""
        going_on = self.state.activities
        return frozenset(name for area in self._where(limit) for name in going_on.get(area, ()))

    def _where(self, limit: Limit) -> tuple[str, ...]:
        return (limit.area,) if limit.area else self.trains[limit.train].feeds

    def next_timer_ms(self) -> int | None:
        """Return the next core ms at which a timer changes something, or somebody is told, without a message."""
        return min((due for due in self._timers() if due is not None and due > self.state.judged_ms), default=None)

    def _timers(self) -> Iterable[int | None]:
        for limit, *_ in self.groups:
            yield life.deadline_ms(self.state.alarms[limit.id], limit)
            yield flow_inside.deadline_ms(self.state, limit)
        yield from self.lasting.deadlines()
        for train in self.site.trains:
            yield train_state.deadline_ms(self.state.trains[train.id], train)
        for name in self.alarms.restless:
            alarm = self.state.alarms[name]
            yield life.deadline_ms(alarm, patient(alarm, self.faults.all[name]))
        yield self.faults.next_ms()
        yield self.teller.next_ms(self.state.judged_ms)


def _groups(limits: Iterable[Limit]) -> list[tuple[Limit, ...]]:
    """Limits that are a breach only together, and each of the others by itself; last what asks of others."""
    found: dict[tuple[str, str], list[Limit]] = {}
    for limit in sorted(limits, key=lambda each: each.quantity is Quantity.TIME_INSIDE):
        found.setdefault((limit.group, limit.area or limit.train) if limit.group else ("", limit.id), []).append(
            limit
        )
    return [tuple(each) for each in found.values()]
