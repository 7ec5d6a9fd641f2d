"""Alarms that leave a message without their limits being back: nobody who was told is left with one that vanished.

The work a limit is for has ended, a person has put the alarm aside, or its limit is no more. It is told a little
later, since work that ends often begins again at once as another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from alerts.alarm import WARNINGS, Change
from alerts.ended_words import Ended
from alerts.fault import Watched
from alerts.fault_words import Wrong
from alerts.limits import PRIORITIES, Limit
from alerts.notification import COATED, Standing
from gateway.flow_state import Left, Message, State

Describe = Callable[[str, str, Change], Standing | Wrong]
"""Limit id, number and change: the alarm as a message tells it."""
WAIT_MS = 60_000  # from one activity to the next on a page: ours


def leave(state: State, limit_id: str, left: Left) -> None:
    """Take an alarm out of every message; where somebody was told, that is to be told."""
    telling = state.telling
    for message in telling.messages:
        if limit_id not in message.members or limit_id in message.left:
            continue
        if limit_id in message.back:
            if left.change == Change.WITHDRAWN:  # what is no more cannot be described at its end
                _forget(message, limit_id)
        elif _is_heard(message, left):
            message.left[limit_id] = left
            message.back.append(limit_id)
        else:
            _forget(message, limit_id)
    telling.messages = [each for each in telling.messages if each.members]


def _forget(message: Message, limit_id: str) -> None:
    del message.members[limit_id]
    message.back = [each for each in message.back if each != limit_id]


def _is_heard(message: Message, left: Left) -> bool:
    """Whether somebody knows of it, or will have to on coming to work, since a coat was exposed."""
    if message.change in WARNINGS:
        return False
    return bool(message.told) or (exposes(left) and left.at_ms >= message.due_ms)


def exposes(left: Left) -> bool:
    """Whether a film on the steel was in what ended."""
    return left.change == Change.SUPPRESSED and not COATED.isdisjoint(left.work)


def rejoin(state: State, limit_id: str, number: str, change: Change) -> str:
    """Put an alarm back into the message it left a moment ago, if it did; return that message's number."""
    for message in state.telling.messages:
        left = message.left.get(limit_id)
        same = message.change == change and message.members.get(limit_id) == number
        if left is not None and left.change == Change.SUPPRESSED and same:
            del message.left[limit_id]
            message.back.remove(limit_id)
            message.acknowledged = False  # whoever acknowledged it did so for the work that has ended
            return message.number
    return ""


def until_ms(message: Message) -> int:
    """Return until when (core ms) it is waited for what left to come back."""
    return max((each.at_ms + WAIT_MS for each in message.left.values()), default=0)


def actor(message: Message) -> str:
    """Return the person by whose act alone all of it left: they need not be told."""
    by = {each.by for each in message.left.values()}
    return next(iter(by)) if len(by) == 1 and len(message.left) == len(message.members) else ""


def ended(
    message: Message, limits: Mapping[str, Limit | Watched], describe: Describe, offset_ms: int
) -> list[Ended]:
    """Return what has left a message without being back, as it is told: the most urgent first."""
    known = [name for name in message.left if name in limits]
    known.sort(key=lambda name: PRIORITIES.index(limits[name].priority))
    of = {name: describe(name, message.members[name], Change(message.left[name].change)) for name in known}
    gone = [name for name in message.left if name not in of]
    return [_ended(message, name, of.get(name), offset_ms) for name in (*known, *gone)]


def _ended(message: Message, name: str, of: Standing | Wrong | None, offset_ms: int) -> Ended:
    left = message.left[name]
    until = None if left.until_ms is None else left.until_ms + offset_ms
    return Ended(
        message.members[name], Change(left.change), left.what, left.at_ms + offset_ms, of, tuple(left.work),
        left.by, left.why, until,
    )  # fmt: skip
