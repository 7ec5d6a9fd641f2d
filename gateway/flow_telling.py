"""Who is told of what and when: alarms of one cause are one message, and every "no" has its reason in the journal.

A message gathers for a few seconds, goes to whom it concerns, is repeated and escalated while nobody acknowledges,
and ends with one "limits back". Everything follows from entries and core time, so that replay tells the same. An
alarm of high priority is never kept back for want of a person on duty, nor by a flood.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from alerts import notification
from alerts.alarm import WARNINGS, AlarmState, Change
from alerts.limits import PRIORITIES, Limit, Verdict
from alerts.measured import Measured, unknown
from alerts.notification import Notice, Reader, Standing
from gateway.duty import on_duty, wait_ms
from gateway.flow_state import Event, Message, Outcomes, State
from gateway.jobsite import Jobsite, Person
from gateway.payload import canonical

GATHER_MS = 10_000  # alarms of one cause that come within it are one message: ours
FLOOD, CALM, FLOOD_MS = 10, 5, 600_000
"""More than FLOOD messages to one person within ten minutes are a flood (EEMUA 191, ISA-18.2: ten in ten minutes);
it is over at CALM (ISA-18.2: five)."""
AGAIN_MS = 60_000
MINUTE = 60_000
Describe = Callable[[str, str, Change], Standing]
"""Limit id, number and change: the alarm as a message tells it."""


class Word(NamedTuple):
    """What becomes of a message for one person now: tell, or why not; and when to ask again (core ms)."""

    tell: bool
    why: str
    again_ms: int | None


def put_event(
    state: State, outcomes: Outcomes, now_ms: int, number: str, change: str, limit: str, verdict: str,
    value: Measured,
) -> None:  # fmt: skip
    """Add one event, with its number in the journal."""
    state.events += 1
    event = Event(state.events, now_ms, number, change, limit, verdict, value.value, value.u, value.reason)
    outcomes.events.append(canonical.to_bytes(event))


class Teller:
    """Tells the persons of one jobsite."""

    def __init__(self, state: State, site: Jobsite, limits: dict[str, Limit], describe: Describe) -> None:
        self.state = state
        self.site = site
        self.limits = limits
        self.describe = describe

    # -- what alarms do ---------------------------------------------------------------------------------

    def announce(self, limit: Limit, number: str, change: Change, key: str, now_ms: int) -> str:
        """Take an alarm that is to be told; return why it is not told by itself, or nothing."""
        message = self._fitting(limit, change, key, now_ms)
        if message is None:
            priority = _lower(limit.priority) if change in WARNINGS else limit.priority
            made = Message(number, key, change, priority, now_ms, now_ms + GATHER_MS, {limit.id: number})
            self.state.telling.messages.append(made)
            return ""
        message.members[limit.id] = number
        if limit.id in message.back:
            message.back.remove(limit.id)
        if now_ms < message.due_ms:
            message.priority = min(message.priority, limit.priority, key=PRIORITIES.index)
            return ""
        return f"told as {message.number}, the same cause"

    def _fitting(self, limit: Limit, change: Change, key: str, now_ms: int) -> Message | None:
        """The message of the same cause that this alarm joins: one that gathers, or one that has said as much."""
        for message in self.state.telling.messages:
            if message.key == key and (now_ms < message.due_ms or self._says(message, limit, change)):
                return message
        return None

    def _says(self, message: Message, limit: Limit, change: Change) -> bool:
        """Whether those told know what to do about it; never of a lower priority than this alarm's."""
        if not message.told or PRIORITIES.index(limit.priority) < PRIORITIES.index(message.priority):
            return False
        members = [self.limits[each] for each in message.members if each not in message.back]
        return change is Change.UNKNOWN or any(each.advice == limit.advice for each in members)

    def back(self, limit_id: str) -> None:
        """Take note that limits are back."""
        for message in self.state.telling.messages:
            if limit_id in message.members and limit_id not in message.back:
                message.back.append(limit_id)

    def drop(self, limit_id: str) -> None:
        """Take an alarm out of every message: it is held, or its limit is withdrawn."""
        telling = self.state.telling
        for message in telling.messages:
            message.members.pop(limit_id, None)
            if limit_id in message.back:
                message.back.remove(limit_id)
        telling.messages = [each for each in telling.messages if each.members]

    def members(self, number: str) -> list[str]:
        """Return the limits whose alarms are acknowledged with this number: a message's all, an alarm's own."""
        for message in self.state.telling.messages:
            if message.number == number:
                return list(message.members)
        return [name for name, alarm in self.state.alarms.items() if f"A-{alarm.number}" == number]

    def acknowledged(self) -> None:
        """Take note of messages in which nothing waits for a person any more."""
        for message in self.state.telling.messages:
            standing = [self.state.alarms[each] for each in message.members if each not in message.back]
            if standing and all(each.state is not AlarmState.UNACKNOWLEDGED for each in standing):
                message.acknowledged = True

    # -- telling ----------------------------------------------------------------------------------------

    def run(self, now_ms: int, outcomes: Outcomes) -> None:
        """Tell whom it is time to tell."""
        telling = self.state.telling
        for message in telling.messages:
            if now_ms < message.due_ms:
                continue
            for person in self.site.people:
                self._person(message, person, now_ms, outcomes)
            if self._over(message):
                self._limits_back(message, now_ms, outcomes)
        telling.messages = [each for each in telling.messages if now_ms < each.due_ms or not self._ended(each)]

    def next_ms(self, now_ms: int) -> int | None:
        """Return the next core ms at which somebody may have to be told."""
        times: list[int] = []
        for message in self.state.telling.messages:
            if now_ms < message.due_ms:
                times.append(message.due_ms)
            else:
                words = [self._word(message, person, now_ms) for person in self.site.people]
                times += [word.again_ms for word in words if word and word.again_ms is not None]
        return min(times, default=None)

    def _over(self, message: Message) -> bool:
        return len(message.back) == len(message.members) and message.change not in WARNINGS

    def _ended(self, message: Message) -> bool:
        return self._over(message) or message.change in WARNINGS

    def _person(self, message: Message, person: Person, now_ms: int, outcomes: Outcomes) -> None:
        word = self._word(message, person, now_ms)
        if word is None or (self._over(message) and message.told):
            return
        if word.tell:
            self._tell(message, person, word.why, now_ms, outcomes)
        elif message.kept.get(person.id) != word.why:
            message.kept[person.id] = word.why
            self._record(message, Change.KEPT_BACK, f"{person.id}: {word.why}", now_ms, outcomes)

    def _word(self, message: Message, person: Person, now_ms: int) -> Word | None:
        """Return what becomes of a message for one person, or None when there is nothing left to do."""
        if message.priority not in person.priorities:
            return Word(False, f"not told of {message.priority} priority", None)
        last = message.told.get(person.id)
        if last is not None:
            return self._again(message, person, last, now_ms)
        if message.acknowledged:
            return Word(False, "acknowledged before it was their turn", None)
        due_ms = message.since_ms + round(person.after_s * 1000)
        minutes = round(person.after_s / 60)
        if person.after_s and (now_ms < due_ms or message.change in WARNINGS):
            asks = None if message.change in WARNINGS else due_ms
            return Word(False, f"told only if nobody acknowledges within {minutes} min", asks)
        why = f"nobody acknowledged within {minutes} min" if person.after_s else "first told"
        return self._on_duty(message, person, why, now_ms)

    def _again(self, message: Message, person: Person, last_ms: int, now_ms: int) -> Word | None:
        if not person.repeat_s or message.acknowledged or message.change in WARNINGS:
            return None
        due_ms = last_ms + round(person.repeat_s * 1000)
        if now_ms < due_ms:
            return Word(False, message.kept.get(person.id, ""), due_ms)
        return self._on_duty(message, person, "told again: nobody has acknowledged", now_ms)

    def _on_duty(self, message: Message, person: Person, why: str, now_ms: int) -> Word:
        utc_ms, zone = now_ms + self.state.offset_ms, self.site.time_zone
        if not on_duty(person, utc_ms, zone):
            if message.priority != "high" or any(on_duty(each, utc_ms, zone) for each in self._concerned(message)):
                return Word(False, f"off duty (hours {person.hours})", now_ms + wait_ms(person, utc_ms, zone))
            why = f"{why}; nobody is on duty"
        if message.priority != "high" and self._flooded(person, now_ms):
            return Word(False, f"flood: more than {FLOOD} messages in {FLOOD_MS // MINUTE} min", now_ms + AGAIN_MS)
        return Word(True, why, None)

    def _concerned(self, message: Message) -> Iterable[Person]:
        return (each for each in self.site.people if message.priority in each.priorities and not each.after_s)

    def _flooded(self, person: Person, now_ms: int) -> bool:
        telling = self.state.telling
        lately = telling.lately.get(person.id, [])
        count = sum(now_ms - each < FLOOD_MS for each in lately)
        return count > CALM if person.id in telling.flooded else count >= FLOOD

    def _tell(self, message: Message, person: Person, why: str, now_ms: int, outcomes: Outcomes) -> None:
        reader = self._reader(person)
        standing = [each for each in message.members if each not in message.back] or list(message.members)
        alarms = self._described(message, standing, Change(message.change))
        title = notification.title(message.number, alarms, reader)
        if person.id in message.told:
            title = notification.still(title, reader)
        elif person.after_s:
            title = notification.escalated(title, (now_ms - message.since_ms) // MINUTE, reader)
        self._send(message, person, title, notification.body(alarms, reader), outcomes)
        message.told[person.id] = now_ms
        message.kept.pop(person.id, None)
        self._record(message, Change.TOLD, f"{person.id} ({', '.join(person.channels)}): {why}", now_ms, outcomes)
        self._count(message, person, now_ms, outcomes)

    def _described(self, message: Message, names: list[str], change: Change) -> list[Standing]:
        worst = sorted(names, key=lambda each: PRIORITIES.index(self.limits[each].priority))
        return [self.describe(each, message.members[each], change) for each in worst]

    def _limits_back(self, message: Message, now_ms: int, outcomes: Outcomes) -> None:
        """One message when all of it is back, to whoever was told that it was not."""
        alarms = self._described(message, list(message.members), Change.RETURNED)
        for person in self.site.people:
            if person.id in message.told:
                reader = self._reader(person)
                title = notification.title(message.number, alarms, reader)
                self._send(message, person, title, notification.body(alarms, reader), outcomes)
                said = f"{person.id} ({', '.join(person.channels)}): limits back"
                self._record(message, Change.TOLD, said, now_ms, outcomes)

    def _reader(self, person: Person) -> Reader:
        return Reader(person.language, person.units, self.site.time_zone)

    def _send(self, message: Message, person: Person, title: str, body: str, outcomes: Outcomes) -> None:
        outcomes.notices += [
            Notice(message.number, person.id, channel, message.priority, title, body)
            for channel in person.channels
        ]

    def _record(self, message: Message, change: Change, why: str, now_ms: int, outcomes: Outcomes) -> None:
        verdict = Verdict.UNKNOWN if message.change == Change.UNKNOWN else Verdict.OUTSIDE
        limit = next(iter(message.members), "")
        put_event(self.state, outcomes, now_ms, message.number, change, limit, verdict, unknown(why, now_ms))

    def _count(self, message: Message, person: Person, now_ms: int, outcomes: Outcomes) -> None:
        """Count towards a flood; when one begins, say so once."""
        telling = self.state.telling
        lately = [each for each in telling.lately.get(person.id, []) if now_ms - each < FLOOD_MS]
        telling.lately[person.id] = [*lately, now_ms]
        if person.id in telling.flooded and len(lately) <= CALM:
            telling.flooded.remove(person.id)
        if person.id not in telling.flooded and len(lately) + 1 >= FLOOD:
            telling.flooded.append(person.id)
            title, body = notification.flood(FLOOD, FLOOD_MS // MINUTE, self._reader(person))
            said = f"{message.number} {title}"
            self._send(message, person, said, body, outcomes)


def _lower(priority: str) -> str:
    return PRIORITIES[min(PRIORITIES.index(priority) + 1, len(PRIORITIES) - 1)]
