"""How well the alarms served a crew: how many each person was told, what repeats, what stands too long. Pure.

Read from events alone. A message of limits back calls for nothing and is not counted as a load.
Sources: EEMUA 191 (a person copes with one alarm in ten minutes, ten in ten minutes are a flood; standing alarms,
top repeaters; from memory), ISA-18.2, 16 (stale: standing for more than 24 hours; chattering).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from alerts.alarm import Alarm, Change

HOUR_MS, TEN_MIN_MS = 3_600_000, 600_000
CHATTER_MS = HOUR_MS
STALE_MS = 24 * HOUR_MS
MANAGEABLE_AN_HOUR = 6.0
FLOOD = 10
TOP = 5
ENDS = (
    Change.RETURNED, Change.OVER, Change.SUPPRESSED, Change.SHELVED, Change.OUT_OF_SERVICE, Change.WITHDRAWN,
)  # fmt: skip
"""What a message that an alarm is over ends with in the journal: it asks for nothing, so it is no load."""


@dataclass(frozen=True, slots=True)
class Happened:
    """One event of the journal. at_ms: core time. reason: of "told" it begins with the person."""

    at_ms: int
    number: str
    change: str
    limit: str
    reason: str


@dataclass(frozen=True, slots=True)
class Load:
    """What one person was told: messages, messages an hour, and the most within ten minutes."""

    person: str
    told: int
    an_hour: float
    most_in_ten_min: int

    @property
    def words(self) -> str:
        """How it compares with what a person copes with."""
        if self.most_in_ten_min >= FLOOD:
            return "a flood"
        return "manageable" if self.an_hour <= MANAGEABLE_AN_HOUR else "too many"


@dataclass(frozen=True, slots=True)
class Figures:
    """One stretch of time. raised: alarms by limit, most first; answer_s: median from told to acknowledged.

    faults: alarms of instruments and of the gateway itself, which count nowhere else but in loads.
    """

    loads: tuple[Load, ...]
    raised: tuple[tuple[str, int], ...]
    chattering: tuple[str, ...]
    stale: tuple[tuple[str, str, int], ...]  # number, limit, standing since
    kept_back: int
    answer_s: float | None
    faults: tuple[tuple[str, int], ...] = ()


def figures(events: Iterable[Happened], from_ms: int, until_ms: int) -> Figures:
    """Return the figures of a stretch of core time; events: all from the beginning of the journal, in order."""
    every = [each for each in events if each.at_ms < until_ms]
    now = [each for each in every if each.at_ms >= from_ms]
    hours = (until_ms - from_ms) / HOUR_MS
    raised = [each for each in now if each.change in (Change.BREACH, Change.UNKNOWN)]
    of_limits = [each for each in now if not each.number.startswith("K-")]
    faults = Counter(each.limit for each in now if each.change == Change.FAULT)
    return Figures(
        tuple(_loads(now, hours)),
        tuple(Counter(each.limit for each in raised).most_common(TOP)),
        tuple(sorted({each.limit for each in raised if _chatters(raised, each)})),
        tuple(_stale(every, until_ms)),
        sum(each.change == Change.KEPT_BACK for each in of_limits),
        _answer_s(of_limits),
        tuple(faults.most_common(TOP)),
    )


def _loads(now: Sequence[Happened], hours: float) -> Iterable[Load]:
    told: dict[str, list[int]] = {}
    for each in now:
        if each.change == Change.TOLD and not each.reason.endswith(ENDS):
            told.setdefault(each.reason.split(" ", 1)[0], []).append(each.at_ms)
    for person, times in sorted(told.items()):
        most = max(sum(at <= other < at + TEN_MIN_MS for other in times) for at in times)
        yield Load(person, len(times), len(times) / hours, most)


def often(alarm: Alarm, now_ms: int) -> bool:
    """Whether it chatters: raised three times within the hour. Ours; delays make three a minute impossible."""
    return len(alarm.raised_ms) == 3 and now_ms - alarm.raised_ms[0] <= CHATTER_MS


def _chatters(raised: Sequence[Happened], first: Happened) -> bool:
    within = [e for e in raised if e.limit == first.limit and 0 <= e.at_ms - first.at_ms <= CHATTER_MS]
    return len(within) >= 3


def _stale(every: Sequence[Happened], until_ms: int) -> Iterable[tuple[str, str, int]]:
    standing: dict[str, Happened] = {}
    for each in every:
        if each.change in (Change.BREACH, Change.UNKNOWN):
            standing.setdefault(each.limit, each)
        elif each.change in (Change.RETURNED, Change.WITHDRAWN):
            standing.pop(each.limit, None)
    for limit, each in standing.items():
        if until_ms - each.at_ms > STALE_MS:
            yield each.number, limit, each.at_ms


def _answer_s(now: Sequence[Happened]) -> float | None:
    """Median time from the first telling of a message to its acknowledgement."""
    told, answers = dict[str, int](), list[float]()
    for each in now:
        if each.change == Change.TOLD:
            told.setdefault(each.number, each.at_ms)
        elif each.change == Change.ACKNOWLEDGED and each.number in told:
            answers.append((each.at_ms - told.pop(each.number)) / 1000)
    return median(answers) if answers else None
