"""The life of one alarm, in the words of ISA-18.2 / IEC 62682. Pure: it is given the time.

One alarm belongs to one limit. Silence never clears it: only a known value, past the deadband for the whole
off-delay, does. Timers are moments, never counters, so that any evaluation rhythm gives the same life.
Shelved, suppressed by design and out of service are holds: the alarm lives on underneath, nobody is told of it,
and where its cause still stands when the last hold ends it is unacknowledged again. So no hold can lose an alarm.
Sources: ANSI/ISA-18.2 (states; deadband 10.5.5.2), OPC UA Part 9, 4.8 and B.1.5 (delays).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from alerts.limits import Judgement, Limit, Verdict
from alerts.minded import Minded

LONGEST_SHELVING_MS = 12 * 3_600_000
"""One shift: what is shelved comes back by itself. Ours; ISA-18.2, 11.6 asks for a limit and leaves it open."""


class AlarmState(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched unacknowledged"  # back, but a person must reset it
    LATCHED = "latched"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


WAITING = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, AlarmState.LATCHED_UNACKNOWLEDGED)
"""States in which a person's acknowledgement is awaited."""


class Change(StrEnum):
    """What happened to an alarm; each is one event in the journal."""

    CLOSE = "close to limit"
    AHEAD = "close ahead"  # inside now, expected to cross; from the forecast, never from `step`
    BREACH = "outside limits"
    UNKNOWN = "unknown"
    RETURNED = "limits back"
    ACKNOWLEDGED = "acknowledged"
    WITHDRAWN = "limit withdrawn"
    RESET = "reset"
    SHELVED = "shelved"
    UNSHELVED = "shelving ended"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "back in service"
    SUPPRESSED = "suppressed by design"
    UNSUPPRESSED = "suppression ended"
    FAULT = "fault"  # of an instrument or the gateway itself (`fault`), never of a limit
    OVER = "fault over"
    TOLD = "told"  # these two say who was told, and who was not and why
    KEPT_BACK = "kept back"


WARNINGS = frozenset({Change.CLOSE, Change.AHEAD})
"""What is said once and waits for nobody: nothing is outside yet."""


@dataclass(slots=True)
class Hold:
    """Who put an alarm aside, why, and until when (core ms; None = until a person ends it)."""

    by: str
    why: str
    until_ms: int | None = None


@dataclass(slots=True)
class Alarm:
    """Where one alarm stands. Times are core ms; None = that timer does not run. series: A of limits, K of faults.

    state: without holds. breach_since and unknown_since are reset by a good value only, so that a sensor that
    comes and goes cannot keep putting the alarm off. untold: a hold ended while its cause stands,
    so that it is to be told at the next judging. raised_ms: when it was raised, the last three times.
    """

    state: AlarmState = AlarmState.NORMAL
    cause: str = ""  # a Change: BREACH | UNKNOWN | FAULT, while not normal
    number: int = 0
    since_ms: int = 0
    breach_since: int | None = None
    unknown_since: int | None = None
    close_since: int | None = None
    clearing_since: int | None = None
    inside_since: int | None = None
    warned: bool = False
    shelf: Hold | None = None
    out: Hold | None = None
    suppressed: bool = False
    untold: bool = False
    raised_ms: list[int] = field(default_factory=list)
    series: str = "A"

    @property
    def name(self) -> str:
        """The number people know it by, such as A-1042; empty before the first."""
        return f"{self.series}-{self.number}" if self.number else ""

    @property
    def active(self) -> bool:
        """Whether the cause still stands."""
        return self.state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)

    @property
    def held(self) -> bool:
        """Whether somebody or the design keeps it from being told."""
        return self.suppressed or self.shelf is not None or self.out is not None

    @property
    def shown(self) -> AlarmState:
        """The state a person is shown: a hold before what lies under it."""
        if self.out is not None:
            return AlarmState.OUT_OF_SERVICE
        if self.shelf is not None:
            return AlarmState.SHELVED
        return AlarmState.SUPPRESSED if self.suppressed else self.state


def step(alarm: Alarm, limit: Limit, judgement: Judgement, now_ms: int) -> Change | None:
    """Bring the alarm up to now and return what changed, if anything did."""
    match judgement.verdict:
        case Verdict.OUTSIDE:
            return outside(alarm, limit, now_ms)
        case Verdict.UNKNOWN:
            return _unknown(alarm, limit, now_ms)
        case Verdict.INSIDE | Verdict.CLOSE:
            return good(alarm, limit, judgement, now_ms)
        case _:  # a train that does not run raises nothing and clears nothing
            stop_timers(alarm)
            return None


def stop_timers(alarm: Alarm) -> None:
    """Forget every running timer: nothing is derived from time in which nothing was judged."""
    alarm.breach_since = alarm.unknown_since = alarm.close_since = None
    alarm.clearing_since = alarm.inside_since = None


def outside(alarm: Alarm, limit: Minded, now_ms: int, cause: Change = Change.BREACH) -> Change | None:
    """Take in that what the alarm is of stands, and why."""
    alarm.clearing_since = alarm.inside_since = alarm.close_since = None
    if alarm.breach_since is None:
        alarm.breach_since = now_ms
    if now_ms - alarm.breach_since < limit.on_delay_s * 1000:
        return None
    if alarm.active and alarm.cause == cause:
        return None
    return _raise(alarm, cause, now_ms)


def _unknown(alarm: Alarm, limit: Limit, now_ms: int) -> Change | None:
    alarm.clearing_since = alarm.inside_since = alarm.close_since = None
    if alarm.unknown_since is None:
        alarm.unknown_since = now_ms
    if alarm.active or now_ms - alarm.unknown_since < limit.unknown_delay_s * 1000:
        return None
    return _raise(alarm, Change.UNKNOWN, now_ms)


def _raise(alarm: Alarm, cause: Change, now_ms: int) -> Change:
    alarm.state, alarm.cause, alarm.since_ms, alarm.warned = AlarmState.UNACKNOWLEDGED, cause, now_ms, True
    return cause


def good(alarm: Alarm, limit: Minded, judgement: Judgement, now_ms: int) -> Change | None:
    """Take in a good value."""
    alarm.breach_since = alarm.unknown_since = None
    if alarm.active:
        return _clearing(alarm, limit, judgement, now_ms)
    if judgement.verdict is Verdict.CLOSE:
        return _close(alarm, limit, now_ms)
    alarm.close_since = None
    if alarm.inside_since is None:
        alarm.inside_since = now_ms
    if now_ms - alarm.inside_since >= limit.off_delay_s * 1000:
        alarm.warned = False
    return None


def _clearing(alarm: Alarm, limit: Minded, judgement: Judgement, now_ms: int) -> Change | None:
    if not (judgement.well_inside or alarm.cause == Change.UNKNOWN):
        alarm.clearing_since = None
        return None
    if alarm.clearing_since is None:
        alarm.clearing_since = now_ms
    if now_ms - alarm.clearing_since < limit.off_delay_s * 1000:
        return None
    acknowledged = alarm.state is AlarmState.ACKNOWLEDGED
    if limit.latching:
        alarm.state = AlarmState.LATCHED if acknowledged else AlarmState.LATCHED_UNACKNOWLEDGED
    else:
        alarm.state = AlarmState.NORMAL if acknowledged else AlarmState.RETURNED
    alarm.clearing_since = None
    return Change.RETURNED


def _close(alarm: Alarm, limit: Minded, now_ms: int) -> Change | None:
    """Warn once when the value stays within its uncertainty of the limit; again only after a calm spell."""
    alarm.inside_since = None
    if alarm.close_since is None:
        alarm.close_since = now_ms
    if alarm.warned or now_ms - alarm.close_since < limit.on_delay_s * 1000:
        return None
    alarm.warned = True
    return Change.CLOSE


def acknowledge(alarm: Alarm) -> Change | None:
    """Take a person's acknowledgement; None when there is nothing to acknowledge."""
    if alarm.state not in _ACKNOWLEDGED:
        return None
    alarm.state = _ACKNOWLEDGED[alarm.state]
    return Change.ACKNOWLEDGED


_ACKNOWLEDGED = {
    AlarmState.UNACKNOWLEDGED: AlarmState.ACKNOWLEDGED,
    AlarmState.RETURNED: AlarmState.NORMAL,
    AlarmState.LATCHED_UNACKNOWLEDGED: AlarmState.LATCHED,
}


def reset(alarm: Alarm) -> Change | None:
    """Let a latched alarm go that is acknowledged; None when it is not latched."""
    if alarm.state is not AlarmState.LATCHED:
        return None
    alarm.state = AlarmState.NORMAL
    return Change.RESET


def shelve(alarm: Alarm, hold: Hold, now_ms: int) -> Change | None:
    """Put an alarm aside until a time that is at most LONGEST_SHELVING_MS from now; None when it cannot be."""
    if alarm.shelf is not None or hold.until_ms is None or not 0 < hold.until_ms - now_ms <= LONGEST_SHELVING_MS:
        return None
    alarm.shelf = hold
    return Change.SHELVED


def unshelve(alarm: Alarm) -> Change | None:
    """End a shelving; None when there is none."""
    if alarm.shelf is None:
        return None
    alarm.shelf = None
    return _released(alarm, Change.UNSHELVED)


def take_out_of_service(alarm: Alarm, hold: Hold) -> Change | None:
    """Take an alarm out of service until a person puts it back; None when it is already out."""
    if alarm.out is not None:
        return None
    alarm.out = hold
    return Change.OUT_OF_SERVICE


def put_in_service(alarm: Alarm) -> Change | None:
    """Put an alarm back in service; None when it is in service."""
    if alarm.out is None:
        return None
    alarm.out = None
    return _released(alarm, Change.IN_SERVICE)


def suppress(alarm: Alarm, by_design: bool) -> Change | None:
    """Suppress by design (the activity does not go on), or end that; None when nothing changes."""
    if alarm.suppressed == by_design:
        return None
    alarm.suppressed = by_design
    return Change.SUPPRESSED if by_design else _released(alarm, Change.UNSUPPRESSED)


def _released(alarm: Alarm, change: Change) -> Change:
    if alarm.active and not alarm.held:  # whoever acknowledged it did so before; now it is to be seen again
        alarm.state = AlarmState.UNACKNOWLEDGED
    return change


def deadline_ms(alarm: Alarm, limit: Minded) -> int | None:
    """Return the next core time at which a running timer may change something, or None."""
    due = list[float]()  # asked every second: what does not run costs nothing
    if alarm.breach_since is not None and not (alarm.active and alarm.cause != Change.UNKNOWN):
        due.append(alarm.breach_since + limit.on_delay_s * 1000)
    if alarm.unknown_since is not None and not alarm.active:
        due.append(alarm.unknown_since + limit.unknown_delay_s * 1000)
    if alarm.close_since is not None and not alarm.warned:
        due.append(alarm.close_since + limit.on_delay_s * 1000)
    if alarm.clearing_since is not None:
        due.append(alarm.clearing_since + limit.off_delay_s * 1000)
    if alarm.inside_since is not None and alarm.warned:
        due.append(alarm.inside_since + limit.off_delay_s * 1000)
    if alarm.shelf is not None and alarm.shelf.until_ms is not None:
        due.append(alarm.shelf.until_ms)
    return round(min(due)) if due else None
