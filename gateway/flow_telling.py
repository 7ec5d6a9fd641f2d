"""Who is told of what and when: alarms of one cause are one message, and every "no" has its reason in the journal.

A message gathers for a few seconds, goes to whom it concerns, is repeated and escalated while nobody acknowledges,
and ends with one "limits back". Everything follows from entries and core time, so that replay tells the same. An
alarm of high priority is never kept back for want of a person on duty, nor by a flood.
"""

from __future__ import annotations

from alerts import ended_words, fault_words, notification
from alerts.alarm import WARNINGS, AlarmState, Change
from alerts.ended_words import Ended
from alerts.fault import LIMITS, MOMENTS, Watched
from alerts.fault_words import Wrong
from alerts.limits import PRIORITIES, Limit, Verdict
from alerts.measured import Measured, unknown
from alerts.notification import Notice, Reader, Standing
from gateway import flow_endings
from gateway.flow_endings import Describe
from gateway.flow_state import Event, Left, Message, Outcomes, State
from gateway.flow_turns import CALM, FLOOD, FLOOD_MS, MINUTE, Settles, Turns, concerns
from gateway.jobsite import Jobsite, Person
from gateway.payload import canonical

GATHER_MS = 10_000  # alarms of one cause that come within it are one message: ours
GATHER_FAULTS_MS = 60_000  # of instruments: they fall silent each after its own patience. Ours
CLOSE_MS = 3_600_000  # for so long a warning that asks for the same is not told again: ours


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

    def __init__(
        self, state: State, site: Jobsite, limits: dict[str, Limit | Watched], describe: Describe, settles: Settles
    ) -> None:
        self.state = state
        self.site = site
        self.limits = limits
        self.describe = describe
        self.turns = Turns(state, site, settles)

    # -- what alarms do ---------------------------------------------------------------------------------

    def announce(self, limit: Limit | Watched, number: str, change: Change, key: str, now_ms: int) -> str:
        """Take an alarm that is to be told; return why it is not told by itself, or nothing."""
        if joined := flow_endings.rejoin(self.state, limit.id, number, change):
            return f"told as {joined}, its work goes on again"
        priority = _lower(limit.priority) if change in WARNINGS else limit.priority
        message = self._fitting(limit, change, key, priority, now_ms)
        if message is None or message.change == change:
            self.drop(limit.id, message)  # what was said of it before, under another number, is over
        if message is None:
            self._begin(
                limit, Message(number, key, change, priority, now_ms, now_ms + GATHER_MS, {limit.id: number})
            )
            return ""
        if message.change == change:  # a mere warning beside a breach has no limits to come back to
            message.members[limit.id] = number
            if limit.id in message.back:
                message.back.remove(limit.id)
        if now_ms < message.due_ms and message.key == key:
            message.priority = min(message.priority, priority, key=PRIORITIES.index)
        return f"told as {message.number}, the same cause"

    def _begin(self, limit: Limit | Watched, message: Message) -> None:
        if isinstance(limit, Watched):
            message.audience, message.around = limit.manner.audience, [limit.channel] if limit.channel else []
            message.due_ms = message.since_ms + (GATHER_MS if message.priority == "high" else GATHER_FAULTS_MS)
        self.state.telling.messages.append(message)

    def _fitting(
        self, limit: Limit | Watched, change: Change, key: str, priority: str, now_ms: int
    ) -> Message | None:
        """The message of the same cause that this alarm joins: one that gathers, or one that has said as much."""
        for message in self.state.telling.messages:
            if message.key == key and now_ms < message.due_ms:
                return message
            said = message.key == key or (change in WARNINGS and message.key in _more(key, change))
            if said and self._says(message, limit, change, priority, now_ms):
                return message
        return None

    def _says(self, message: Message, limit: Limit | Watched, change: Change, priority: str, now_ms: int) -> bool:
        """Whether those told know what to do about it; never of a lower priority than this alarm's."""
        will_be_told = message.told or now_ms < message.due_ms
        if not will_be_told or PRIORITIES.index(priority) < PRIORITIES.index(message.priority):
            return False
        if change is Change.AHEAD and message.change == Change.CLOSE and message.told and not message.foresaw:
            return False  # that it is near was said, not that it will be crossed
        members = [self.limits[each] for each in message.members if each not in message.back]
        if isinstance(limit, Watched):
            return any(isinstance(each, Watched) and each.cause == limit.cause for each in members)
        return change is Change.UNKNOWN or any(each.advice == limit.advice for each in members)

    def back(self, limit_id: str) -> None:
        """Take note that limits are back."""
        for message in self.state.telling.messages:
            message.left.pop(limit_id, None)
            if limit_id in message.members and limit_id not in message.back:
                message.back.append(limit_id)

    def leave(self, limit_id: str, left: Left) -> None:
        """Take an alarm out of every message without its limits being back: whoever was told hears of it."""
        flow_endings.leave(self.state, limit_id, left)

    def drop(self, limit_id: str, but: Message | None = None) -> None:
        """Take an alarm out of every other message: it is told anew."""
        telling = self.state.telling
        for message in telling.messages:
            if message is not but and limit_id in message.members:
                del message.members[limit_id]
                message.left.pop(limit_id, None)
                message.back = [each for each in message.back if each != limit_id]
        telling.messages = [each for each in telling.messages if each.members]

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
            self._to_nobody(message, now_ms, outcomes)
            if self._over(message) and now_ms >= flow_endings.until_ms(message):
                self._limits_back(message, now_ms, outcomes)
        telling.messages = [each for each in telling.messages if not self._ended(each, now_ms)]

    def next_ms(self, now_ms: int) -> int | None:
        """Return the next core ms at which somebody may have to be told."""
        times: list[int] = []
        for message in self.state.telling.messages:
            if now_ms < message.due_ms:
                times.append(message.due_ms)
            else:
                words = [self.turns.word(message, person, now_ms) for person in self.site.people]
                times += [word.again_ms for word in words if word and word.again_ms is not None]
                times += [flow_endings.until_ms(message)] if message.left else []
        return min(times, default=None)

    def _over(self, message: Message) -> bool:
        return len(message.back) == len(message.members) and message.change not in WARNINGS

    def _ended(self, message: Message, now_ms: int) -> bool:
        if message.change in WARNINGS:
            return now_ms >= message.due_ms + CLOSE_MS
        is_time = now_ms >= max(message.due_ms, flow_endings.until_ms(message))
        return is_time and self._over(message) and not message.later

    def _person(self, message: Message, person: Person, now_ms: int, outcomes: Outcomes) -> None:
        word = self.turns.word(message, person, now_ms)
        if word is None or (self._over(message) and (message.told or message.later or message.left)):
            return
        if word.tell:
            self._tell(message, person, word.why, now_ms, outcomes)
        elif word.why and message.kept.get(person.id) != word.why:
            message.kept[person.id] = word.why
            self._record(message, Change.KEPT_BACK, f"{person.id}: {word.why}", now_ms, outcomes)

    def _to_nobody(self, message: Message, now_ms: int, outcomes: Outcomes) -> None:
        """Write down that nobody on this jobsite wants to know of such things."""
        why = f"nobody is told of {message.audience}: see told_of in the jobsite file"
        if message.kept or message.told or any(message.audience in each.told_of for each in self.site.people):
            return
        message.kept[""] = why
        self._record(message, Change.KEPT_BACK, why, now_ms, outcomes)

    def _tell(self, message: Message, person: Person, why: str, now_ms: int, outcomes: Outcomes) -> None:
        reader = self._reader(person)
        standing = [each for each in message.members if each not in message.back] or list(message.members)
        alarms = self._described(message, standing, Change(message.change))
        message.foresaw = any(isinstance(each, Standing) and each.foreseen.moments for each in alarms)
        title, body = _words(message, alarms, reader)
        if person.id in message.told:
            title = notification.still(title, reader)
        elif person.after_s:
            title = notification.escalated(title, (now_ms - message.since_ms) // MINUTE, reader)
        self._send(message, person, title, body, outcomes)
        message.told[person.id] = now_ms
        message.kept.pop(person.id, None)
        by = ", ".join(self.turns.ways(message, person))
        self._record(message, Change.TOLD, f"{person.id} ({by}): {why}", now_ms, outcomes)
        self._count(message, person, now_ms, outcomes)

    def _described(self, message: Message, names: list[str], change: Change) -> list[Standing | Wrong]:
        worst = sorted(names, key=lambda each: PRIORITIES.index(self.limits[each].priority))
        return [self.describe(each, message.members[each], change) for each in worst]

    def _limits_back(self, message: Message, now_ms: int, outcomes: Outcomes) -> None:
        """One message when all of it is back or has left, to whoever was told that it was not.

        Who was off duty all the while is told of an exposed coat on coming to work, since it waits for them.
        """
        change = Change.RETURNED if message.audience == LIMITS else Change.OVER
        alarms = self._described(message, [each for each in message.members if each not in message.left], change)
        left = flow_endings.ended(message, self.limits, self.describe, self.state.offset_ms)
        exposed = any(each.going_on & notification.COATED for each in alarms) or any(each.exposed for each in left)
        first, silent = not message.later, flow_endings.actor(message)
        for person in self.site.people:
            word = self.turns.word(message, person, now_ms) if person.id in message.later else None
            told = person.id in message.told and person.id != silent and not (_is_past(alarms) and not left)
            if (first and told) or (word and word.tell):
                self._end(message, person, alarms, left, now_ms, outcomes)
            elif first and exposed and concerns(message, person):
                message.later.append(person.id)

    def _end(
        self, message: Message, person: Person, alarms: list[Standing | Wrong], left: list[Ended], now_ms: int,
        outcomes: Outcomes,
    ) -> None:  # fmt: skip
        reader = self._reader(person)
        if left:
            title, body = ended_words.title(message.number, left, reader), ended_words.body(left, reader)
        else:
            title, body = _words(message, alarms, reader)
        self._send(message, person, title, body, outcomes)
        change = left[0].change if left else alarms[0].change
        said = f"{person.id} ({', '.join(self.turns.ways(message, person))}): {change}"
        self._record(message, Change.TOLD, said, now_ms, outcomes)
        if person.id in message.later:
            message.later.remove(person.id)

    def _reader(self, person: Person) -> Reader:
        return Reader(person.language, person.units, self.site.time_zone)

    def _send(self, message: Message, person: Person, title: str, body: str, outcomes: Outcomes) -> None:
        outcomes.notices += [
            Notice(message.number, person.id, channel, message.priority, title, body)
            for channel in self.turns.ways(message, person)
        ]

    def _record(self, message: Message, change: Change, why: str, now_ms: int, outcomes: Outcomes) -> None:
        verdict = _VERDICTS.get(message.change, Verdict.OUTSIDE)
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


_VERDICTS: dict[str, Verdict] = {Change.UNKNOWN: Verdict.UNKNOWN, Change.FAULT: Verdict.NO_LIMIT}


def _words(message: Message, alarms: list[Standing | Wrong], reader: Reader) -> tuple[str, str]:
    """Title and text of a message: of limits, or of what is wrong with instruments or gateway."""
    wrong = [each for each in alarms if isinstance(each, Wrong)]
    limits = [each for each in alarms if isinstance(each, Standing)]
    if message.audience != LIMITS:
        return fault_words.title(message.number, wrong, reader), fault_words.body(wrong, reader)
    return notification.title(message.number, limits, reader), notification.body(limits, reader)


def _is_past(alarms: list[Standing | Wrong]) -> bool:
    """Whether all of it was a moment, whose end is no news."""
    return all(isinstance(each, Wrong) and each.watched.kind in MOMENTS for each in alarms)


def _more(key: str, change: Change) -> tuple[str, ...]:
    """The causes that say as much as a warning of this one: limits broken, expected to be, or close."""
    return tuple(key.replace(change, each, 1) for each in (Change.BREACH, *WARNINGS) if each is not change)


def _lower(priority: str) -> str:
    return PRIORITIES[min(PRIORITIES.index(priority) + 1, len(PRIORITIES) - 1)]
