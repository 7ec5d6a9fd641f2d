"""What the flow remembers, and nothing else: it leaves only as checkpoint bytes or read-only views."""

from __future__ import annotations

from dataclasses import dataclass, field

from alerts.alarm import Alarm
from gateway.sensor_sense import Sense


@dataclass(slots=True)
class Newest:
    """The newest usable reading of one sensor, with core times."""

    value: float
    measured_ms: int
    received_ms: int
    saturated: bool = False
    below_resolution: bool = False
    clock_fault: bool = False


@dataclass(slots=True)
class Lag:
    """The smallest lag [ms] of one sensor in this hour of core time, and in the whole live hour before."""

    hour: int
    least: int
    whole: bool = False
    before: int | None = None


@dataclass(slots=True)
class State:
    """Everything the flow knows, a function of the entries alone."""

    sequence: int = 0
    core_ms: int = 0
    offset_ms: int = 0
    judged_ms: int = 0
    dirty_ms: int | None = None
    deadline_ms: int | None = None
    config: bytes = b""
    peaks: list[tuple[int, bytes]] = field(default_factory=list)
    newest: dict[str, Newest] = field(default_factory=dict)
    ages_unknown: dict[str, str] = field(default_factory=dict)
    lags: dict[str, Lag] = field(default_factory=dict)
    sense: Sense = field(default_factory=Sense)
    seen: dict[str, tuple[float, int]] = field(default_factory=dict)
    untimed: dict[bytes, int] = field(default_factory=dict)
    rejects_per_topic: dict[str, int] = field(default_factory=dict)
    rejects_minute: int = 0
    alarms: dict[str, Alarm] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    rejected: dict[str, int] = field(default_factory=dict)
    numbers: int = 0
    events: int = 0
