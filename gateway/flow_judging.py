"""Every second that is judged: conditions against limits, limits to alarms, alarms to events and messages.

Lives as long as the jobsite in force; what must outlive it is in the flow's state. `flow` says when a second is
judged and what the sensors say.
"""

from __future__ import annotations

from collections.abc import Iterable

from alerts import alarm as life
from alerts import notification
from alerts.alarm import Alarm, Change
from alerts.limits import Judgement, Limit, Verdict, judge, worst
from alerts.measured import unknown
from alerts.notification import Notice
from gateway import flow_findings, flow_history, flow_work
from gateway.conditions import Condition, Workings, is_running
from gateway.flow_state import Event, Judged, Outcomes, State
from gateway.jobsite import Jobsite
from gateway.measured_air import Read
from gateway.payload import canonical


class Judging:
    """What is judged of one jobsite, and the newest word on each of its limits."""

    def __init__(self, state: State, site: Jobsite, read: Read) -> None:
        self.state = state
        self.site = site
        self.read = read
        self.workings = Workings(site, read)
        self.conditions = self.workings.found
        self.judged: dict[str, Judged] = {}
        self.limits: dict[str, Limit] = {limit.id: limit for limit in site.limits}
        self.trains = {train.id: train for train in site.trains}
        self.labels = {a.id: f"area {a.id} {a.label}" for a in site.areas}
        self.labels |= {f"{t.id}/{p.id}": f"{t.label}, {p.label}" for t in site.trains for p in t.pieces}

    def judge(self, now_ms: int, before_ms: int, heard: Iterable[str], outcomes: Outcomes) -> None:
        """Judge everything as of now; before_ms: the second judged before; heard: who may say other than then."""
        made, minute = self.workings.update(heard), flow_history.is_minute(self.state, before_ms)
        flow_history.derived(self.state, outcomes.sheet, self.workings.all() if minute else made, minute)
        for limit in self.site.limits:
            self._judge_limit(limit, now_ms, outcomes)
        verdicts = {name: each.judgement.verdict for name, each in self.judged.items()}
        flow_work.judged(self.state, self.site, self.conditions, verdicts, before_ms, outcomes)
        flow_findings.judged(self.state, self.site, self.read, now_ms, outcomes)

    def _judge_limit(self, limit: Limit, now_ms: int, outcomes: Outcomes) -> None:
        condition, judgement = self._say(limit)
        before = self.judged.get(limit.id)
        changed = before is None or before.judgement.verdict is not judgement.verdict
        since = now_ms if before is None or changed else before.since_ms
        self.judged[limit.id] = Judged(condition, judgement, since)
        alarm = self.state.alarms.setdefault(limit.id, Alarm())
        change = life.step(alarm, limit, judgement, now_ms)
        if change is not None:
            self._event(outcomes, alarm, limit.id, change, judgement.verdict, condition)

    def _say(self, limit: Limit) -> tuple[Condition, Judgement]:
        """Return the place and judgement this limit shows: the worst of the places it holds for."""
        found = self.conditions.get((limit.subject, limit.quantity))
        if not found:
            nothing = unknown("no sensors that give this value", self.state.judged_ms)
            found = [Condition(self.labels.get(limit.subject, limit.subject), nothing)]
        if limit.train and is_running(self.trains[limit.train], self.read) is False:
            return found[0], Judgement(Verdict.NOT_RUNNING, None, False, "the train is not under pressure")
        judgements = [judge(limit, each.measured) for each in found]
        at = worst(judgements)
        return found[at], judgements[at]

    def acknowledge(self, number: str, person: str, outcomes: Outcomes) -> None:
        """Take a person's acknowledgement of an alarm by its number."""
        for limit_id, alarm in self.state.alarms.items():
            if f"A-{alarm.number}" == number and (change := life.acknowledge(alarm)):
                self._event(outcomes, alarm, limit_id, change, Verdict.UNKNOWN, None, by=person)

    def withdraw(self, outcomes: Outcomes) -> None:
        """Let the alarms go whose limits are no more in force."""
        for gone in self.state.alarms.keys() - self.limits.keys():
            alarm = self.state.alarms.pop(gone)
            if alarm.active:
                self._event(outcomes, alarm, gone, Change.WITHDRAWN, Verdict.NO_LIMIT, None)

    def next_timer_ms(self) -> int | None:
        """Return the next core ms at which a timer of an alarm may change something without a message."""
        alarms = self.state.alarms
        return min(
            (
                due for limit in self.site.limits
                if (due := life.deadline_ms(alarms[limit.id], limit)) is not None and due > self.state.judged_ms
            ), default=None,
        )  # fmt: skip

    def _event(
        self,
        outcomes: Outcomes,
        alarm: Alarm,
        limit_id: str,
        change: Change,
        verdict: Verdict,
        condition: Condition | None,
        by: str = "",
    ) -> None:
        state = self.state
        if change in (Change.BREACH, Change.UNKNOWN, Change.CLOSE):
            state.numbers += 1
            alarm.number = state.numbers
        state.events += 1
        value = condition.measured if condition else unknown(by and f"acknowledged by {by}", state.core_ms)
        now = state.core_ms if condition is None else state.judged_ms
        number = f"A-{alarm.number}"
        event = Event(state.events, now, number, change, limit_id, verdict, value.value, value.u, value.reason)
        outcomes.events.append(canonical.to_bytes(event))
        if condition is not None:
            outcomes.notices += self._notices(number, change, self.limits[limit_id], condition, now)

    def _notices(self, number: str, change: Change, limit: Limit, at: Condition, now_ms: int) -> list[Notice]:
        where = self.labels.get(limit.subject, limit.subject)
        since = notification.clock_words(now_ms + self.state.offset_ms)
        title = notification.title(number, change, limit, where)
        body = notification.body(change, limit, f"{where}, {at.place}", at.measured, since)
        return [
            Notice(number, person.id, channel, limit.priority, title, body)
            for person in self.site.people if limit.priority in person.priorities
            for channel in person.channels
        ]  # fmt: skip
