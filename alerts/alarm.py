"""The life of one alarm, in the words of ISA-18.2 / IEC 62682. Pure: it is given the time.

One alarm belongs to one limit. Silence never clears it: only a known value, past the deadband for the whole
off-delay, does. Timers are moments, never counters, so that any evaluation rhythm gives the same life.
Sources: ANSI/ISA-18.2 (states; deadband 10.5.5.2), OPC UA Part 9, 4.8 and B.1.5 (delays).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from alerts.limits import Judgement, Limit, Verdict


class AlarmState(StrEnum):
    """States in use. Latched, shelved, suppressed by design and out of service are not built yet."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal unacknowledged"


class Change(StrEnum):
    """What happened to an alarm; each is one event in the journal."""

    CLOSE = "close to limit"
    BREACH = "outside limits"
    UNKNOWN = "unknown"
    RETURNED = "limits back"
    ACKNOWLEDGED = "acknowledged"
    WITHDRAWN = "limit withdrawn"


@dataclass(slots=True)
class Alarm:
    """Where one limit's alarm stands. Times are core ms; None = that timer does not run.

    breach_since and unknown_since are reset by a good value only, so that a sensor that comes and goes
    cannot keep putting the alarm off.
    """

    state: AlarmState = AlarmState.NORMAL
    cause: str = ""  # a Change: BREACH | UNKNOWN, while not normal
    number: int = 0
    since_ms: int = 0
    breach_since: int | None = None
    unknown_since: int | None = None
    close_since: int | None = None
    clearing_since: int | None = None
    inside_since: int | None = None
    warned: bool = False

    @property
    def active(self) -> bool:
        """Whether the cause still stands."""
        return self.state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


def step(alarm: Alarm, limit: Limit, judgement: Judgement, now_ms: int) -> Change | None:
    """Bring the alarm up to now and return what changed, if anything did."""
    match judgement.verdict:
        case Verdict.OUTSIDE:
            return _outside(alarm, limit, now_ms)
        case Verdict.UNKNOWN:
            return _unknown(alarm, limit, now_ms)
        case Verdict.INSIDE | Verdict.CLOSE:
            return _good(alarm, limit, judgement, now_ms)
        case _:  # a train that does not run raises nothing and clears nothing
            stop_timers(alarm)
            return None


def stop_timers(alarm: Alarm) -> None:
    """Forget every running timer: nothing is derived from time in which nothing was judged."""
    alarm.breach_since = alarm.unknown_since = alarm.close_since = None
    alarm.clearing_since = alarm.inside_since = None


def _outside(alarm: Alarm, limit: Limit, now_ms: int) -> Change | None:
    alarm.clearing_since = alarm.inside_since = alarm.close_since = None
    if alarm.breach_since is None:
        alarm.breach_since = now_ms
    if now_ms - alarm.breach_since < limit.on_delay_s * 1000:
        return None
    if alarm.active and alarm.cause == Change.BREACH:
        return None
    return _raise(alarm, Change.BREACH, now_ms)


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


def _good(alarm: Alarm, limit: Limit, judgement: Judgement, now_ms: int) -> Change | None:
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


def _clearing(alarm: Alarm, limit: Limit, judgement: Judgement, now_ms: int) -> Change | None:
    if not (judgement.well_inside or alarm.cause == Change.UNKNOWN):
        alarm.clearing_since = None
        return None
    if alarm.clearing_since is None:
        alarm.clearing_since = now_ms
    if now_ms - alarm.clearing_since < limit.off_delay_s * 1000:
        return None
    acknowledged = alarm.state is AlarmState.ACKNOWLEDGED
    alarm.state = AlarmState.NORMAL if acknowledged else AlarmState.RETURNED
    alarm.clearing_since = None
    return Change.RETURNED


def _close(alarm: Alarm, limit: Limit, now_ms: int) -> Change | None:
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
    if alarm.state is AlarmState.UNACKNOWLEDGED:
        alarm.state = AlarmState.ACKNOWLEDGED
    elif alarm.state is AlarmState.RETURNED:
        alarm.state = AlarmState.NORMAL
    else:
        return None
    return Change.ACKNOWLEDGED


def deadline_ms(alarm: Alarm, limit: Limit) -> int | None:
    """Return the next core time at which a running timer may change something, or None."""
    timers = [
        (alarm.breach_since, limit.on_delay_s, not (alarm.active and alarm.cause == Change.BREACH)),
        (alarm.unknown_since, limit.unknown_delay_s, not alarm.active),
        (alarm.close_since, limit.on_delay_s, not alarm.warned),
        (alarm.clearing_since, limit.off_delay_s, True),
        (alarm.inside_since, limit.off_delay_s, alarm.warned),
    ]
    return min(
        (since + round(delay * 1000) for since, delay, runs in timers if since is not None and runs),
        default=None,
    )
