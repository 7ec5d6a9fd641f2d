"""Every second that is judged: conditions against limits, limits to alarms, alarms to events and messages.

Lives as long as the jobsite in force; what must outlive it is in the flow's state. `flow` says when a second is
judged and what the sensors say, `flow_telling` whom a message goes to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from alerts import figures, time_to_limit
from alerts.alarm import Change
from alerts.fault import Watched, flaps
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
from gateway.flow_alarms import Alarms, Groups
from gateway.flow_faults import Faults
from gateway.flow_lasting import BY_HAND, Lasting
from gateway.flow_state import Judged, Outcomes, State
from gateway.flow_telling import Teller
from gateway.jobsite import Jobsite, Train
from gateway.said import Read
from gateway.sensor_sense import Watch
from gateway.train_state import Run


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
        self._verdicts: dict[str, Verdict] = {}  # by limit, what its alarm heard at the last judging
        self._waits = [limit for limit in site.limits if limit.quantity is Quantity.TIME_INSIDE]
        self._concerned = _concerned(self.groups)
        self._ahead = flow_ahead.of_limits(state, site.limits)
        self._gauges = {train.id: frozenset(train_state.gauges(train)) for train in site.trains}
        self.alarms = Alarms(
            state, self.groups, self.teller, self._cause, self._where, self.place, self.faults.all
        )

    def judge(self, now_ms: int, before_ms: int, heard: Sequence[str], outcomes: Outcomes) -> None:
        """Judge everything as of now; before_ms: the second judged before; heard: who may say other than then."""
        made, minute = self.workings.update(heard), flow_history.is_minute(self.state, before_ms)
        made = [*(self.workings.all() if minute else made), *self.lasting.update()]
        self.derived.take(outcomes.sheet, made, minute)
        anew, events = {key for key, _ in made}, self.state.events
        turned = self._judge_limits(anew, self._follow(heard, now_ms), now_ms, outcomes)
        if now_ms // flow_trends.MINUTE != self.state.trends_minute:
            self.state.trends_minute = now_ms // flow_trends.MINUTE
            flow_trends.take(self.state.trends, self.judged, now_ms)
        self.alarms.suppress(outcomes)
        self.faults.update(heard, now_ms)
        deaf = flow_health.is_deaf(self.state)
        self.alarms.step_faults(self.faults.stands, now_ms, outcomes, deaf=deaf, acted=self.acted)
        self._look_ahead(outcomes)
        whole = turned or self.acted or self.state.events != events
        self.areas.judge(self._verdicts, anew, whole, minute, before_ms, outcomes)
        self.acted = False
        flow_findings.judged(self.state, self.site, self.read, now_ms, outcomes)
        self.teller.run(now_ms, outcomes)

    def _judge_limits(self, anew: set[Key], turned: set[str], now_ms: int, outcomes: Outcomes) -> bool:
        """Judge the limits that are due; return whether the alarm of one hears another verdict than before."""
        due = self.groups if self.acted else self._due(anew, turned, now_ms)
        self._moved = set()
        for group in due:
            self._judge_group(group, now_ms, outcomes)
        turns = [limit for group in due for limit in group if self._hears(limit)]
        return bool(turns)

    def _due(self, anew: set[Key], turned: set[str], now_ms: int) -> Groups:
        """Those of which judging may say, or do to the alarm, anything that the last time did not."""
        waits, over = (limit.id for limit in self._waits), self.alarms.over(now_ms)
        keys: tuple[Key | str, ...] = (*anew, *turned, *self._moved, *waits, *over)
        numbers = {at for each in keys for at in self._concerned.get(each, ())}
        return [self.groups[at] for at in sorted(numbers)]

    def _hears(self, limit: Limit) -> bool:
        """Keep what the alarm of a limit hears; return whether it is another verdict."""
        before = self._verdicts.get(limit.id)
        said = flow_inside.for_alarm(self.state, limit, self.judged[limit.id].judgement).verdict
        self._verdicts[limit.id] = said
        return said is not before

    def _look_ahead(self, outcomes: Outcomes) -> None:
        """Warn of what is inside now and expected to cross."""
        budget = self.site.false_warnings_a_week
        for limit, outlook in flow_ahead.take(self.state, self._ahead, self.judged, budget):
            said = self.judged[limit.id]
            value = said.condition.measured._replace(reason=time_to_limit.words(outlook))
            self.alarms.ahead(limit, said.judgement.verdict, value, outcomes)

    def _follow(self, heard: Sequence[str], now_ms: int) -> set[str]:
        """Bring what trains do up to now; return those that do something else than before."""
        runs, turned = self.state.trains, set()
        for train in self.site.trains:
            before = runs.get(train.id)
            if before is None or self._may_turn(before, train, heard, now_ms):
                runs[train.id] = train_state.follow(before, train, train_state.seen(train, self.read), now_ms)
                if runs[train.id] is not before:
                    turned.add(train.id)
        return turned

    def _may_turn(self, run: Run, train: Train, heard: Sequence[str], now_ms: int) -> bool:
        """Whether one of its gauges may say other than before, or time alone ends its warming up."""
        due_ms = train_state.deadline_ms(run, train)
        return (
            self.acted or (due_ms is not None and due_ms <= now_ms) or not self._gauges[train.id].isdisjoint(heard)
        )

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
        now, runs = self.state.judged_ms, self.state.trains
        times = [
            *self.alarms.due.values(),
            *self.lasting.deadlines(),
            self.faults.next_ms(),
            self.teller.next_ms(now),
        ]
        times += [train_state.deadline_ms(runs[train.id], train) for train in self.site.trains]
        times += [flow_inside.deadline_ms(self.state, limit) for limit in self._waits]
        return min((each for each in times if each is not None and each > now), default=None)


def _concerned(groups: Groups) -> dict[Key | str, list[int]]:
    """By value, by train and by the id of a limit, the numbers of the groups that hear of it."""
    found: dict[Key | str, list[int]] = {}
    for at, group in enumerate(groups):
        for limit in group:
            keys: tuple[Key | str, ...] = ((limit.subject, limit.quantity), limit.train, limit.id)
            for each in keys:
                found.setdefault(each, []).append(at)
    return found


def _groups(limits: Iterable[Limit]) -> Groups:
    """Limits that are a breach only together, and each of the others by itself; last what asks of others."""
    found: dict[tuple[str, str], list[Limit]] = {}
    for limit in sorted(limits, key=lambda each: each.quantity is Quantity.TIME_INSIDE):
        found.setdefault((limit.group, limit.area or limit.train) if limit.group else ("", limit.id), []).append(
            limit
        )
    return [tuple(each) for each in found.values()]
