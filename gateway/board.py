"""What the board shows, as plain values: made by the flow once a second, read by the pages.

Words first, then the gaps in the order the air flows. Nothing here is drawn and nothing is decided.
"""

from __future__ import annotations

from dataclasses import dataclass

from alerts.limits import Verdict
from alerts.measured import Quantity, Validity
from alerts.time_to_limit import Outlook
from gateway.steel_lines import SteelLine


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that the pages write in the reader's unit: in the unit used inside, u its standard uncertainty."""

    quantity: Quantity
    value: float
    u: float | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """One bar from dew point to temperature, with the limit as a notch and the uncertainty as a soft edge.

    Temperatures in °C, differences in K; None where not known (then drawn hatched, with the reason).
    limit_k: the margin the specification asks for, None when no limit is set. frost: the lower end is a
    frost point ("ice may block"). group: "steel" or the train's label; place: what is drawn.
    """

    group: str
    place: str
    condensation_point_c: float | None
    temperature_c: float | None
    margin_k: float | None
    expanded_u_k: float | None
    limit_k: float | None
    frost: bool
    validity: Validity
    reason: str


@dataclass(frozen=True, slots=True)
class JudgedLimit:
    """One limit's say: its words, the number ± expanded uncertainty, the limit as written, the clause.

    rule: the decision rule in force and the four-state note beside it, empty where nothing is judged. amount,
    threshold: the same value and limit as numbers, None where not known. outlook: what is expected of it; ahead:
    the same in words.
    """

    verdict: Verdict
    quantity: str
    value: str
    limit: str
    clause: str
    reason: str
    since_utc_ms: int
    rule: str = ""
    amount: Amount | None = None
    threshold: Amount | None = None
    outlook: Outlook | None = None
    ahead: str = ""


@dataclass(frozen=True, slots=True)
class AreaVerdict:
    """The verdict of one area for one activity, worst limit first."""

    area: str
    area_label: str
    activity: str
    verdict: Verdict
    limits: tuple[JudgedLimit, ...]


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """One alarm in the words of ISA-18.2 / IEC 62682."""

    number: str
    limit_id: str
    state: str
    title: str
    body: str
    since_utc_ms: int
    priority: str


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """How the newest messages by one channel fared: failing and why, since when; words empty while they arrive."""

    channel: str
    words: str
    since_utc_ms: int


@dataclass(frozen=True, slots=True)
class FindingLine:
    """One open finding: which piece of which train fails, on what evidence, how sure, what to look at first.

    confidence: "low", "medium" or "high"; also: what else would explain it.
    """

    number: str
    train: str
    piece: str
    kind: str
    title: str
    evidence: str
    confidence: str
    check_first: str
    also: str
    since_utc_ms: int


@dataclass(frozen=True, slots=True)
class SensorLine:
    """One sensor: its newest value as written, the age, and why it is not used if it is not."""

    sensor: str
    label: str
    value: str
    age_ms: int | None
    validity: Validity
    reason: str
    amount: Amount | None = None


@dataclass(frozen=True, slots=True)
class GoingOn:
    """One activity that a person began; until_utc_ms: it ends by itself then, None = a person ends it."""

    activity: str
    since_utc_ms: int
    by: str
    until_utc_ms: int | None


@dataclass(frozen=True, slots=True)
class ExposureLine:
    """One exposure that still needs the inspector's disposition; ended_utc_ms None: it goes on."""

    code: str
    coat: str
    activity: str
    since_utc_ms: int
    ended_utc_ms: int | None
    worst_k: float | None


@dataclass(frozen=True, slots=True)
class AreaWork:
    """What goes on in an area, what was done to its steel, and what waits for the inspector. Nothing going on is
    unset, not idle. products: what may be put on, as id and name."""

    area: str
    label: str
    stage: str
    stage_since_utc_ms: int
    going_on: tuple[GoingOn, ...]
    exposures: tuple[ExposureLine, ...]
    products: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Counts:
    """What came in since the journal began."""

    messages: int
    rejected: int
    duplicates: int
    late: int
    rejected_by_code: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Board:
    """Everything on the board at one whole second. trouble: what stands in the gateway's own way, in sentences.

    faults: alarms of instruments and of the gateway itself. notes: rules of thumb in sentences that say so, such
    as what a low pressure at the pot may be costing.
    """

    jobsite: str
    time_zone: str
    simulated: bool
    utc_ms: int
    verdicts: tuple[AreaVerdict, ...]
    gaps: tuple[Gap, ...]
    alarms: tuple[AlarmLine, ...]
    sensors: tuple[SensorLine, ...]
    people: tuple[str, ...]
    counts: Counts
    notices_sent: int
    record_code: str
    trouble: tuple[str, ...] = ()
    findings: tuple[FindingLine, ...] = ()
    works: tuple[AreaWork, ...] = ()
    notes: tuple[str, ...] = ()
    steel: tuple[SteelLine, ...] = ()
    faults: tuple[AlarmLine, ...] = ()
    channels: tuple[ChannelLine, ...] = ()
