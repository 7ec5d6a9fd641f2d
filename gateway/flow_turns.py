"""Whose turn it is to be told of a message: priority, acknowledgement, escalation, repeats, duty, floods.

Pure questions about the flow's state; `flow_telling` acts on the answers and writes the reasons down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from alerts.alarm import WARNINGS
from gateway.duty import on_duty, wait_ms
from gateway.flow_state import Message, State
from gateway.jobsite import Jobsite, Person

FLOOD, CALM, FLOOD_MS = 10, 5, 600_000
"""More than FLOOD messages to one person within ten minutes are a flood (EEMUA 191, ISA-18.2: ten in ten minutes);
it is over at CALM (ISA-18.2: five)."""
AGAIN_MS = 60_000
MINUTE = 60_000
Settles = Callable[[str], bool]
"""Limit id: whether its alarm is on its way back, or its train does not run, so that nobody need be told again."""


class Word(NamedTuple):
    """What becomes of a message for one person now: tell, or why not; and when to ask again (core ms)."""

    tell: bool
    why: str
    again_ms: int | None


def concerns(message: Message, person: Person) -> bool:
    """Whether a message is a person's from the first, not only where nobody acknowledges."""
    return message.audience in person.told_of and message.priority in person.priorities and not person.after_s


class Turns:
    """Asks of one person at a time."""

    def __init__(self, state: State, site: Jobsite, settles: Settles) -> None:
        self.state = state
        self.site = site
        self.settles = settles

    def word(self, message: Message, person: Person, now_ms: int) -> Word | None:
        """Return what becomes of a message for one person, or None when there is nothing left to do."""
        if message.audience not in person.told_of and not self._nobody_minds(message):
            return None
        if why := self._cannot(message, person):
            return Word(False, why, None)
        last = message.told.get(person.id)
        if last is not None:
            return self._again(message, person, last, now_ms)
        return self._first(message, person, now_ms)

    def _first(self, message: Message, person: Person, now_ms: int) -> Word:
        """Not told yet: whether it is their turn."""
        if person.id in message.later:
            return self._on_duty(message, person, "limits back", now_ms)
        if message.acknowledged:
            return Word(False, "acknowledged before it was their turn", None)
        if person.after_s:
            return self._escalated(message, person, now_ms)
        return self._on_duty(message, person, "first told", now_ms)

    def ways(self, message: Message, person: Person) -> tuple[str, ...]:
        """Return the channels a person can be told by: not the one that the message says fails."""
        return tuple(each for each in person.channels if each not in message.around)

    def _cannot(self, message: Message, person: Person) -> str:
        """Why a message is none of a person's or does not reach them, or nothing."""
        if message.priority not in person.priorities:
            return f"not told of {message.priority} priority"
        if not self.ways(message, person):
            return f"reached only by {', '.join(person.channels)}, which fails"
        return ""

    def _nobody_minds(self, message: Message) -> bool:
        """Whether it is urgent, and none of those it is for can be told: then it is everybody's."""
        theirs = (each for each in self.site.people if concerns(message, each))
        return message.priority == "high" and not any(self.ways(message, each) for each in theirs)

    def _escalated(self, message: Message, person: Person, now_ms: int) -> Word:
        """Whom it reaches only when nobody acknowledges; a mere warning never does."""
        due_ms, minutes = message.since_ms + round(person.after_s * 1000), round(person.after_s / 60)
        if message.change in WARNINGS or now_ms < due_ms:
            asks = None if message.change in WARNINGS else due_ms
            return Word(False, f"told only if nobody acknowledges within {minutes} min", asks)
        if self._settle(message):
            return Word(False, "", now_ms + AGAIN_MS)
        return self._on_duty(message, person, f"nobody acknowledged within {minutes} min", now_ms)

    def _again(self, message: Message, person: Person, last_ms: int, now_ms: int) -> Word | None:
        """Told already: again only where the person wants it while nobody acknowledges."""
        if not person.repeat_s or message.acknowledged or message.change in WARNINGS:
            return None
        due_ms = last_ms + round(person.repeat_s * 1000)
        if now_ms < due_ms or self._settle(message):
            return Word(False, "", max(due_ms, now_ms + AGAIN_MS))
        return self._on_duty(message, person, "told again: nobody has acknowledged", now_ms)

    def _settle(self, message: Message) -> bool:
        return all(self.settles(each) for each in message.members if each not in message.back)

    def _on_duty(self, message: Message, person: Person, why: str, now_ms: int) -> Word:
        utc_ms, zone = now_ms + self.state.offset_ms, self.site.time_zone
        if not on_duty(person, utc_ms, zone):
            if message.priority != "high" or any(on_duty(each, utc_ms, zone) for each in self._concerned(message)):
                return Word(False, f"off duty (hours {person.hours})", now_ms + wait_ms(person, utc_ms, zone))
            why = f"{why}; nobody is on duty"
        if message.priority != "high" and self.flooded(person, now_ms):
            return Word(False, f"flood: more than {FLOOD} messages in {FLOOD_MS // MINUTE} min", now_ms + AGAIN_MS)
        return Word(True, why, None)

    def _concerned(self, message: Message) -> Iterable[Person]:
        people = (
            self.site.people
            if self._nobody_minds(message)
            else filter(lambda each: concerns(message, each), self.site.people)
        )
        return (each for each in people if not each.after_s and not self._cannot(message, each))

    def flooded(self, person: Person, now_ms: int) -> bool:
        """Whether a person has been told so much lately that only high priority is told at once."""
        telling = self.state.telling
        lately = telling.lately.get(person.id, [])
        count = sum(now_ms - each < FLOOD_MS for each in lately)
        return count > CALM if person.id in telling.flooded else count >= FLOOD
