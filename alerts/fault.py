"""What can be wrong with an instrument or with the gateway itself: an alarm for whoever minds them.

Such an alarm lives as one of a limit does (`alarm`), but nobody states a limit for it: it stands or it does not.
Its delays are ours: common practice, no source. They are long on the way back, so that a sensor that comes and
goes is told of once and not each time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from alerts.alarm import Alarm, Change, good, outside
from alerts.limits import Judgement, Verdict

LIMITS, INSTRUMENTS, GATEWAY = "limits", "instruments", "gateway"
AUDIENCES = (LIMITS, INSTRUMENTS, GATEWAY)
"""What a person can be told of."""
MINUTE_S, HOUR_S, DAY_MS = 60.0, 3600.0, 86_400_000
FLAPPING = 12.0  # how many times as long it must stay away, once it came three times within a day


class Fault(StrEnum):
    """The kinds. A word of each stands in events and on the board."""

    SILENT = "silent"
    STUCK = "stuck"
    IMPOSSIBLE = "not believed"
    DISAGREEING = "disagreeing"
    SENSOR_CLOCK = "clock off"
    DUE_SOON = "calibration due"
    PAST_DUE = "calibration past"
    BROKER = "broker away"
    UNFIT = "broker unfit"
    DISK_LOW = "disk low"
    DISK_SHORT = "disk nearly full"
    CHANNEL = "channel failing"
    MESSENGER = "nobody sends"
    HEAD = "record unsigned"
    CLOCK = "clock set"


class Manner(NamedTuple):
    """How a kind is told: to whom, how urgently, after how long; and how long it must be gone to be over."""

    audience: str
    priority: str
    on_delay_s: float
    off_delay_s: float


MANNERS = {
    Fault.SILENT: Manner(INSTRUMENTS, "medium", 5 * MINUTE_S, 30 * MINUTE_S),
    Fault.STUCK: Manner(INSTRUMENTS, "medium", 0.0, 10 * MINUTE_S),
    Fault.IMPOSSIBLE: Manner(INSTRUMENTS, "medium", 5 * MINUTE_S, 30 * MINUTE_S),
    Fault.DISAGREEING: Manner(INSTRUMENTS, "low", 0.0, 10 * MINUTE_S),
    Fault.SENSOR_CLOCK: Manner(INSTRUMENTS, "low", 10 * MINUTE_S, 10 * MINUTE_S),
    Fault.DUE_SOON: Manner(INSTRUMENTS, "low", 0.0, 0.0),
    Fault.PAST_DUE: Manner(INSTRUMENTS, "medium", 0.0, 0.0),
    Fault.BROKER: Manner(GATEWAY, "medium", MINUTE_S, 5 * MINUTE_S),
    Fault.UNFIT: Manner(GATEWAY, "medium", MINUTE_S, 5 * MINUTE_S),
    Fault.DISK_LOW: Manner(GATEWAY, "medium", 0.0, 0.0),
    Fault.DISK_SHORT: Manner(GATEWAY, "high", 0.0, 0.0),
    Fault.CHANNEL: Manner(GATEWAY, "high", 0.0, 0.0),
    Fault.MESSENGER: Manner(GATEWAY, "high", 0.0, 0.0),
    Fault.HEAD: Manner(GATEWAY, "medium", 0.0, 0.0),
    Fault.CLOCK: Manner(GATEWAY, "medium", 0.0, 0.0),
}
MOMENTS = frozenset({Fault.CLOCK})
"""What has happened and is not taken back: its end is told to nobody."""


@dataclass(frozen=True, slots=True)
class Watched:
    """One thing that may go wrong. id: its name in events; no id of a limit holds a blank.

    label: what people call it; cause: the station or sensor that explains it, by its label; areas: whose verdict
    needs it, as people call them; in_line: it sits in a piece that may be under pressure; channel: of a channel
    that fails, its name.
    """

    id: str
    kind: Fault
    label: str
    cause: str
    areas: tuple[str, ...] = ()
    in_line: bool = False
    channel: str = ""
    off_factor: float = 1.0

    unknown_delay_s = 0.0
    latching = False
    advice = ""

    @property
    def manner(self) -> Manner:
        """How its kind is told."""
        return MANNERS[self.kind]

    @property
    def priority(self) -> str:
        """Of its kind."""
        return self.manner.priority

    @property
    def on_delay_s(self) -> float:
        """How long it stands before it is an alarm."""
        return self.manner.on_delay_s

    @property
    def off_delay_s(self) -> float:
        """How long it must be gone before it is over."""
        return self.manner.off_delay_s * self.off_factor

    @property
    def key(self) -> str:
        """What gathers into one message: all that fall silent, or come due, together; else one cause."""
        together = self.kind in (Fault.SILENT, Fault.DUE_SOON, Fault.PAST_DUE)
        return f"fault: {self.kind}" if together else f"fault: {self.kind}: {self.cause}"


def flaps(alarm: Alarm) -> bool:
    """Whether it came three times within a day."""
    came = alarm.raised_ms
    return len(came) == 3 and came[-1] - came[0] < DAY_MS


def patient(alarm: Alarm, watched: Watched) -> Watched:
    """Return it with the delay that its past asks for: what comes again and again must stay away for long."""
    return replace(watched, off_factor=FLAPPING) if flaps(alarm) else watched


def step(alarm: Alarm, watched: Watched, now_ms: int, *, stands: bool) -> Change | None:
    """Bring an alarm up to now and return what changed, if anything did."""
    if stands:
        return outside(alarm, watched, now_ms, Change.FAULT)
    change = good(alarm, patient(alarm, watched), _GONE, now_ms)
    return Change.OVER if change is Change.RETURNED else change


_GONE = Judgement(Verdict.INSIDE, None, True, "")
