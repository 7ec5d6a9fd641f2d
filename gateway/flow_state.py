"""What the flow remembers, which leaves it only as checkpoint bytes or views, and what it brings about."""

from __future__ import annotations

from dataclasses import dataclass, field

from alerts import forecast
from alerts.alarm import Alarm
from alerts.limits import Judgement
from alerts.notification import Notice
from gateway.area_work import Exposure, Work
from gateway.conditions import Condition
from gateway.findings import Watched
from gateway.payload import sparkplug_state
from gateway.sensor_sense import Sense
from gateway.tiers import Cover, Sheet, Stood
from gateway.train_state import Run


@dataclass(frozen=True, slots=True)
class Event:
    """One change of one alarm: what the journal's events table keeps, byte for byte."""

    id: int
    core_ms: int
    number: str
    change: str
    limit: str
    verdict: str
    value: float | None
    u: float | None
    reason: str


@dataclass(slots=True)
class Outcomes:
    """What a stretch of entries brought about."""

    events: list[bytes] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    sheet: Sheet = field(default_factory=Sheet)


@dataclass(frozen=True, slots=True)
class Judged:
    """The newest word on one limit: which place it is about and what was said."""

    condition: Condition
    judgement: Judgement
    since_ms: int


@dataclass(slots=True)
class Newest:
    """The newest usable reading of one sensor, with core times. patience_ms: how long silence leaves it good."""

    value: float
    measured_ms: int
    received_ms: int
    patience_ms: int
    saturated: bool = False
    below_resolution: bool = False
    clock_fault: bool = False


@dataclass(slots=True)
class Begun:
    """An activity that goes on in an area: since when (core ms), and who began it. until_ms: it ends by itself."""

    since_ms: int
    by: str
    until_ms: int | None = None


@dataclass(slots=True)
class Track:
    """What one sensor said, in the order of its times [UTC ms]; firsts: the numbers of the entries.

    room: how many may come before the oldest are forgotten.
    """

    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    firsts: list[int] = field(default_factory=list)
    room: int = 2048


@dataclass(slots=True)
class Left:
    """How an alarm left a message without limits being back: a Change, when (core ms), by whose act, why.

    what: its place, as people call it; until_ms: of a shelving (core ms); work: the activities that ended.
    """

    change: str
    at_ms: int
    what: str
    by: str = ""
    why: str = ""
    until_ms: int | None = None
    work: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Message:
    """One message to persons: the alarms of one cause, and who has been told of them when (core ms).

    audience: what it is about (`fault.AUDIENCES`), and so whom it is for. around: channels it cannot go by.

    number: what people know it by. change: a Change. due_ms: until then further alarms of the cause join. members:
    number of each alarm by limit id; back: those whose limits are back, or that left without (left). kept: by
    person, the rule that holds it.
    later: who was off duty all the while and is told on coming to work that a coat was exposed. foresaw: whether
    what was told said when a limit is likely crossed.
    """

    number: str
    key: str
    change: str
    priority: str
    since_ms: int
    due_ms: int
    members: dict[str, str]
    back: list[str] = field(default_factory=list)
    acknowledged: bool = False
    told: dict[str, int] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)
    later: list[str] = field(default_factory=list)
    audience: str = "limits"
    around: list[str] = field(default_factory=list)
    foresaw: bool = False
    left: dict[str, Left] = field(default_factory=dict)


@dataclass(slots=True)
class Telling:
    """Messages that gather or stand, and when each person was told lately (core ms)."""

    messages: list[Message] = field(default_factory=list)
    lately: dict[str, list[int]] = field(default_factory=dict)
    flooded: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Figure:
    """What was last said of one figure of the gateway's own health: its class, words, since when (core ms)."""

    level: str
    words: str
    since_ms: int


@dataclass(slots=True)
class Health:
    """How the gateway itself is, from entries: its figures, the channels by name, and the last step of its clock.

    stepped_ms: the core time of that step, None = none yet; by_ms: how far the clock was set. hearing_ms: since
    when sensors can be heard, so that silence counts from then.
    """

    figures: dict[str, Figure] = field(default_factory=dict)
    channels: dict[str, Figure] = field(default_factory=dict)
    stepped_ms: int | None = None
    by_ms: int = 0
    hearing_ms: int = 0


@dataclass(slots=True)
class Ahead:
    """The forecast of one limit, and the sum of the distances judged in the minute [of UTC] that goes on."""

    of: str  # the limit it was learned of
    track: forecast.Track = field(default_factory=forecast.Track)
    minute: int = -1
    total: float = 0.0
    count: int = 0


@dataclass(slots=True)
class Trend:
    """One value of a limit a minute, the newest last; None where it was not known."""

    minute: int
    values: list[float | None] = field(default_factory=list)


@dataclass(slots=True)
class Drift:
    """One value a minute [core minutes, unit inside], the newest last; its change an hour with u, or None."""

    minutes: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    per_hour: float | None = None
    u: float | None = None


@dataclass(slots=True)
class Weather:
    """What a person saw of rain or fog by an area last: what, since when (core ms), who entered it."""

    seen: str
    since_ms: int
    by: str


@dataclass(slots=True)
class ByHand:
    """What a person read of the product of an area [°C], with its u [K], when (core ms), who entered it."""

    value: float
    u: float | None
    since_ms: int
    by: str


@dataclass(slots=True)
class Inside:
    """Since when (core ms) the other limits have been inside; the begin of work, and how long it was by then."""

    since_ms: int | None = None
    begun_ms: int | None = None
    stood_ms: int = 0


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
    core_version: str = ""
    peaks: list[tuple[int, bytes]] = field(default_factory=list)
    newest: dict[str, Newest] = field(default_factory=dict)
    why_unknown: dict[str, str] = field(default_factory=dict)
    impossible: dict[str, int] = field(default_factory=dict)  # sensors whose last word could not be, since when
    lags: dict[str, Lag] = field(default_factory=dict)
    covers: dict[str, Cover] = field(default_factory=dict)
    edges: sparkplug_state.State = field(default_factory=sparkplug_state.State)
    standing: dict[str, Stood] = field(default_factory=dict)
    sense: Sense = field(default_factory=Sense)
    tracks: dict[str, Track] = field(default_factory=dict)
    marks: list[tuple[int, int]] = field(default_factory=list)  # core ms, and the number of an entry of then
    seen: dict[str, tuple[float, int]] = field(default_factory=dict)
    untimed: dict[bytes, int] = field(default_factory=dict)
    rejects_per_topic: dict[str, int] = field(default_factory=dict)
    rejects_minute: int = 0
    alarms: dict[str, Alarm] = field(default_factory=dict)
    activities: dict[str, dict[str, Begun]] = field(default_factory=dict)  # by area; none: unset
    work: dict[str, Work] = field(default_factory=dict)  # by area: its stage, blast, coats and their clocks
    exposures: dict[int, Exposure] = field(default_factory=dict)
    exposure_numbers: int = 0
    held_heads: dict[str, tuple[int, int]] = field(default_factory=dict)  # by person: number and size of a head
    by_hand: int = 0  # entries by hand so far; each has its number
    refs: list[str] = field(
        default_factory=list
    )  # what the newest acts were sent under, so that none counts twice
    findings: dict[str, Watched] = field(default_factory=dict)  # by train
    findings_minute: int = -1
    finding_numbers: int = 0
    trains: dict[str, Run] = field(default_factory=dict)
    telling: Telling = field(default_factory=Telling)
    trends: dict[str, Trend] = field(default_factory=dict)
    trends_minute: int = -1
    ahead: dict[str, Ahead] = field(default_factory=dict)
    drifts: dict[str, Drift] = field(default_factory=dict)  # by area, quantity and place
    weather: dict[str, Weather] = field(default_factory=dict)  # by area, as entered by hand
    products: dict[str, ByHand] = field(default_factory=dict)  # by area, the temperature of the product
    inside: dict[str, Inside] = field(default_factory=dict)  # by limit
    counts: dict[str, int] = field(default_factory=dict)
    rejected: dict[str, int] = field(default_factory=dict)
    health: Health = field(default_factory=Health)
    numbers: int = 0
    fault_numbers: int = 0
    events: int = 0
