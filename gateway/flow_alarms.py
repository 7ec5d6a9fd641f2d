"""The alarms of one jobsite, of limits and of faults, as values and persons move them: events, messages, holds.

An alarm's state is in the flow's state; what is told of it goes through `flow_telling`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from alerts import alarm as life
from alerts import fault
from alerts.alarm import Alarm, Change, Hold
from alerts.fault import Fault, Watched
from alerts.limits import Judgement, Limit, Verdict
from alerts.measured import Measured, Quantity, unknown
from alerts.minded import Minded
from gateway import alarm_acts
from gateway.alarm_acts import hold_words, known_verdict
from gateway.area_work import applies
from gateway.conditions import Condition
from gateway.flow_state import Left, Outcomes, State
from gateway.flow_telling import Teller, put_event

Groups = list[tuple[Limit, ...]]
FAULTS = "K"  # numbers of what whoever minds the instruments is told, for the keeper


class Alarms:
    """Every limit, or group of limits, has one alarm; the first limit of a group gives it its name. So has every
    fault that has stood.

    faults: all that may be, by id. cause: the station or sensor that is why a limit's value is not known. where:
    the areas a limit speaks of. place: what an alarm is of, as people call it, by the id of its limit or fault.
    """

    def __init__(
        self, state: State, groups: Groups, teller: Teller, cause: Callable[[Limit], str],
        where: Callable[[Limit], tuple[str, ...]], place: Callable[[str], str], faults: Mapping[str, Watched],
    ) -> None:  # fmt: skip
        self.state = state
        self.groups = groups
        self.faults = faults
        self.all: dict[str, Limit | Watched] = {limit.id: limit for limit, *_ in groups} | dict(faults)
        self._order = {name: at for at, name in enumerate(faults)}
        self.teller = teller
        self.cause = cause
        self.where = where
        self.place = place
        self.due: dict[str, int] = {}  # by the id of its limit or fault, when time alone may change an alarm
        self._stood: frozenset[str] = frozenset()  # faults at the last judging
        self._moved: set[str] = set()  # faults whose alarm changed: it begins its next timer at the next judging
        self._deaf = False
        self._going_on: dict[str, frozenset[str]] | None = None

    def step(
        self, limit: Limit, condition: Condition, judgement: Judgement, now_ms: int, outcomes: Outcomes
    ) -> bool:
        """Bring the alarm of a limit up to what was judged of it now; return whether it changed."""
        alarm = self.state.alarms.get(limit.id)
        if alarm is None:
            alarm = self.state.alarms[limit.id] = Alarm()
        self._end_shelving(limit, alarm, now_ms, outcomes)
        change = life.step(alarm, limit, judgement, now_ms)
        self._stepped(limit, alarm, change, judgement.verdict, condition.measured, outcomes)
        self._time(limit, alarm)
        return change is not None

    def _time(self, minded: Minded, alarm: Alarm) -> None:
        self.due.pop(minded.id, None)
        if (due_ms := life.deadline_ms(alarm, minded)) is not None:
            self.due[minded.id] = due_ms

    def over(self, now_ms: int) -> list[str]:
        """Return, by the id of its limit or fault, the alarms of which time alone may now change something."""
        return [name for name, due_ms in self.due.items() if due_ms <= now_ms]

    def step_faults(
        self, standing: Mapping[str, str], now_ms: int, outcomes: Outcomes, *, deaf: bool, acted: bool
    ) -> None:
        """Bring the alarms of faults up to what stands now, by id with its reason.

        deaf: no sensor can be heard, so that nothing can be said of their silence. acted: any alarm may be other
        than this left it; else only what came, went, changed or had a timer that is over can change.
        """
        alarms = self.state.alarms
        if deaf or acted or self._deaf:
            known = standing.keys() | {name for name, alarm in alarms.items() if alarm.series == FAULTS}
        else:
            known = (standing.keys() ^ self._stood) | self._moved | set(self.over(now_ms))
        if not known:  # nearly every second
            return
        self._stood, self._deaf, self._moved = frozenset(standing), deaf, set()
        for name in sorted(known & self.faults.keys(), key=self._order.__getitem__):
            watched, alarm = self.faults[name], alarms.setdefault(name, Alarm(series=FAULTS))
            self._end_shelving(watched, alarm, now_ms, outcomes)
            if deaf and watched.kind is Fault.SILENT:
                life.stop_timers(alarm)
            else:
                self._step_fault(watched, alarm, standing.get(name), now_ms, outcomes)
            self._time(fault.patient(alarm, watched), alarm)

    def _step_fault(self, of: Watched, alarm: Alarm, why: str | None, now_ms: int, outcomes: Outcomes) -> None:
        """why: the reason it stands, None where it does not."""
        if (change := fault.step(alarm, of, now_ms, stands=why is not None)) is not None:
            self._moved.add(of.id)
        self._stepped(of, alarm, change, Verdict.NO_LIMIT, unknown(why or "", now_ms), outcomes)

    def _end_shelving(self, minded: Minded, alarm: Alarm, now_ms: int, outcomes: Outcomes) -> None:
        if alarm.shelf is not None and alarm.shelf.until_ms is not None and alarm.shelf.until_ms <= now_ms:
            self._release(minded, alarm, life.unshelve(alarm), "its time is over", now_ms, outcomes)

    def _stepped(
        self, minded: Minded, alarm: Alarm, change: Change | None, verdict: Verdict, said: Measured,
        outcomes: Outcomes,
    ) -> None:  # fmt: skip
        """Write down what a step brought about; tell what a hold that ended had kept back."""
        if change is not None:
            self._changed(minded, alarm, change, verdict, said, outcomes)
        elif alarm.untold and alarm.active and not alarm.held:
            self._announce(minded, alarm, Change(alarm.cause), self.state.judged_ms, outcomes)
        alarm.untold = False

    # -- alarms --------------------------------------------------------------------------------------

    def _changed(
        self, limit: Minded, alarm: Alarm, change: Change, verdict: Verdict, said: Measured, outcomes: Outcomes
    ) -> None:
        """Write down what the value did to an alarm, and have it told."""
        now = self.state.judged_ms
        if change is Change.FAULT:
            self.state.fault_numbers += 1
            alarm.number = self.state.fault_numbers
        elif change in (Change.BREACH, Change.UNKNOWN, Change.CLOSE):
            self.state.numbers += 1
            alarm.number = self.state.numbers
        if change is Change.RETURNED and isinstance(limit, Limit) and limit.quantity is Quantity.TIME_INSIDE:
            said = said._replace(reason="the work it is for has ended")  # too early is not made up for
            work = self._ended(limit, self._going_on or {})
            self.teller.leave(limit.id, Left(Change.SUPPRESSED, now, self.place(limit.id), work=work))
        elif change in (Change.RETURNED, Change.OVER):
            self.teller.back(limit.id)
        self._event(limit.id, alarm, change, verdict, said, now, outcomes)
        if change in (Change.RETURNED, Change.OVER):
            return
        if change is not Change.CLOSE:
            alarm.raised_ms = [*alarm.raised_ms[-2:], now]
        if alarm.held:
            self._kept_back(limit, alarm, hold_words(alarm), now, outcomes)
        else:
            self._announce(limit, alarm, change, now, outcomes)

    def _announce(self, minded: Minded, alarm: Alarm, change: Change, now_ms: int, outcomes: Outcomes) -> None:
        of = self.all[minded.id]
        if isinstance(of, Watched):
            key = of.key
        else:
            unknown_by = self.cause(of) or of.subject
            key = f"{change}: {unknown_by if change is Change.UNKNOWN else of.area or of.train}"
        if why := self.teller.announce(of, alarm.name, change, key, now_ms):
            self._kept_back(minded, alarm, why, now_ms, outcomes)

    def _kept_back(self, limit: Minded, alarm: Alarm, why: str, now_ms: int, outcomes: Outcomes) -> None:
        self._event(
            limit.id,
            alarm,
            Change.KEPT_BACK,
            known_verdict(alarm),
            unknown(why, now_ms),
            now_ms,
            outcomes,
        )

    def _event(
        self, limit_id: str, alarm: Alarm, change: Change, verdict: Verdict, value: Measured, now_ms: int,
        outcomes: Outcomes,
    ) -> None:  # fmt: skip
        put_event(self.state, outcomes, now_ms, alarm.name, change, limit_id, verdict, value)

    def ahead(self, limit: Limit, verdict: Verdict, value: Measured, outcomes: Outcomes) -> None:
        """Warn that a value inside now is expected to cross; value: as it is now, the outlook for its reason.

        The warning has a number of its own, so that an alarm that waits for a person keeps its own.
        """
        alarm, now = self.state.alarms[limit.id], self.state.judged_ms
        if alarm.active:
            return
        self.state.numbers += 1
        number = f"A-{self.state.numbers}"
        put_event(self.state, outcomes, now, number, Change.AHEAD, limit.id, verdict, value)
        key = f"{Change.AHEAD}: {limit.area or limit.train}"
        why = hold_words(alarm) if alarm.held else ""
        why = why or self.teller.announce(limit, number, Change.AHEAD, key, now)
        if why:
            kept = unknown(why, now)
            put_event(self.state, outcomes, now, number, Change.KEPT_BACK, limit.id, verdict, kept)

    # -- holds ---------------------------------------------------------------------------------------

    def suppress(self, outcomes: Outcomes) -> None:
        """Where an activity is set, limits of others are suppressed by design; unset is not idle."""
        going_on = {area: frozenset(names) for area, names in self.state.activities.items()}
        if going_on == self._going_on:
            return
        before, self._going_on = self._going_on or {}, going_on
        for limit, *_ in self.groups:
            alarm, now = self.state.alarms[limit.id], self.state.judged_ms
            idle = not any(applies(limit, going_on.get(area, ())) for area in self.where(limit))
            change = life.suppress(alarm, idle)
            if change is Change.SUPPRESSED:
                self._hold(limit, alarm, change, Left(change, now, "", work=self._ended(limit, before)), outcomes)
            elif change is not None:
                self._release(limit, alarm, change, "its activity goes on", now, outcomes)
                if alarm.untold:
                    self._announce(limit, alarm, Change(alarm.cause), now, outcomes)
                    alarm.untold = False

    def _ended(self, limit: Limit, before: Mapping[str, frozenset[str]]) -> list[str]:
        """The activities a limit is for that have ended since."""
        now = self.state.activities
        gone = [before.get(area, frozenset()) - now.get(area, {}).keys() for area in self.where(limit)]
        return sorted(name for names in gone for name in names if applies(limit, (name,)))

    def _hold(self, limit: Minded, alarm: Alarm, change: Change, left: Left, outcomes: Outcomes) -> None:
        """Write down that an alarm is put aside, and take it out of messages."""
        left.what = self.place(limit.id)
        self.teller.leave(limit.id, left)
        if change is not Change.SUPPRESSED or alarm.state != life.AlarmState.NORMAL:
            why, now_ms = unknown(hold_words(alarm), left.at_ms), left.at_ms
            self._event(limit.id, alarm, change, known_verdict(alarm), why, now_ms, outcomes)

    def _release(
        self, limit: Minded, alarm: Alarm, change: Change | None, why: str, now_ms: int, outcomes: Outcomes
    ) -> None:
        """Write down that a hold ended; where its cause stands, the alarm is told at this second's judging."""
        stands = alarm.active and not alarm.held
        if change is not None and (stands or change is not Change.UNSUPPRESSED):
            self._event(limit.id, alarm, change, known_verdict(alarm), unknown(why, now_ms), now_ms, outcomes)
        alarm.untold = change is not None and stands

    # -- what persons do -------------------------------------------------------------------------------

    def act(self, body: Mapping[str, Any], outcomes: Outcomes) -> None:
        """Take an act on an alarm that is not refused (see `alarm_acts`)."""
        now, by = self.state.core_ms, str(body["person"])
        match body["act"]:
            case "acknowledge":
                self._acknowledge(body["number"], by, outcomes)
            case "reset":
                for name in alarm_acts.of_number(self.state, body["number"]):
                    self._said_by(name, life.reset(self.state.alarms[name]), f"reset by {by}", outcomes)
            case "shelve":
                hold = Hold(by, body["reason"], body["until_ms"] - self.state.offset_ms)
                for name in alarm_acts.of_number(self.state, body["number"]):
                    self._put_aside(name, life.shelve(self.state.alarms[name], hold, now), outcomes)
            case "unshelve":
                for name in alarm_acts.shelved_with(self.state, body["number"]):
                    alarm = self.state.alarms[name]
                    self._back(name, life.unshelve(alarm), f"{by}: {body['reason']}", outcomes)
            case "out_of_service":
                alarm = self.state.alarms[body["limit"]]
                change = life.take_out_of_service(alarm, Hold(by, body["reason"]))
                self._put_aside(body["limit"], change, outcomes)
            case "back_in_service":
                alarm = self.state.alarms[body["limit"]]
                self._back(body["limit"], life.put_in_service(alarm), f"{by}: {body['reason']}", outcomes)
            case _:
                pass

    def _acknowledge(self, number: str, by: str, outcomes: Outcomes) -> None:
        for name in alarm_acts.of_number(self.state, number):
            alarm = self.state.alarms[name]
            self._said_by(name, life.acknowledge(alarm), f"acknowledged by {by}", outcomes)
        self.teller.acknowledged()

    def _said_by(self, name: str, change: Change | None, why: str, outcomes: Outcomes) -> None:
        if change is not None:
            now, alarm = self.state.core_ms, self.state.alarms[name]
            self._event(name, alarm, change, Verdict.UNKNOWN, unknown(why, now), now, outcomes)

    def _put_aside(self, name: str, change: Change | None, outcomes: Outcomes) -> None:
        if change is not None:
            alarm, now = self.state.alarms[name], self.state.core_ms
            hold = alarm.shelf if change is Change.SHELVED else alarm.out
            assert hold is not None, "what was put aside has its hold"
            self._hold(
                self.all[name], alarm, change, Left(change, now, "", hold.by, hold.why, hold.until_ms), outcomes
            )

    def _back(self, name: str, change: Change | None, why: str, outcomes: Outcomes) -> None:
        self._release(self.all[name], self.state.alarms[name], change, why, self.state.core_ms, outcomes)

    def withdraw(self, place: Callable[[str], str], outcomes: Outcomes) -> None:
        """Let the alarms go whose limits are no more in force. place: as `place` of the jobsite before."""
        for gone in [name for name in self.state.alarms if name not in self.all]:  # in their order, for replay
            alarm = self.state.alarms.pop(gone)
            self.teller.leave(gone, Left(Change.WITHDRAWN, self.state.core_ms, place(gone)))
            if alarm.active:
                why = unknown("", self.state.core_ms)
                self._event(gone, alarm, Change.WITHDRAWN, Verdict.NO_LIMIT, why, self.state.core_ms, outcomes)
