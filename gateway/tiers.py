"""What history is drawn from: how often a channel spoke in a quarter of an hour, its least, mean and greatest
value, and for how long it was known.

A channel is a sensor as it came, or one derived value at one place. The fold fills sheets as it goes; the journal
adds them up in the transaction of their entries. Every figure is a whole number (values in millionths of the unit
used inside), so that neither order nor batches change a sum, and history made again is equal to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from alerts.measured import DIMENSION, Dimension

QUARTER_MS = 900_000
SIX_HOURS_MS = 21_600_000
MILLION = 1_000_000
PRESSURES = frozenset(each for each, of in DIMENSION.items() if of is Dimension.PRESSURE)
HOLES = 64
Key = tuple[str, int]
"""Channel, and when its quarter of an hour began, UTC ms."""


@dataclass(slots=True)
class Sums:
    """One bucket: readings taken, least, greatest and sum of them [millionths], time the value was known [ms].

    A derived value is no reading: it counts, and is summed, once for each millisecond it stood.
    """

    count: int = 0
    low: int | None = None
    high: int | None = None
    total: int = 0
    known_ms: int = 0


class Deed(NamedTuple):
    """An entry that is no message: what a record tells of persons, settings, starts and clocks.

    utc_ms: when it was, by the offset it leaves in force. kind: the entry's; body: its bytes.
    """

    sequence: int
    utc_ms: int
    kind: int
    body: bytes


@dataclass(slots=True)
class Sheet:
    """What some entries add to history. each_ms: width of its buckets; the journal keeps quarters of an hour."""

    buckets: dict[Key, Sums] = field(default_factory=dict)
    each_ms: int = QUARTER_MS
    deeds: list[Deed] = field(default_factory=list)

    def add(self, channel: str, utc_ms: int, value: float) -> Sums:
        """Take one value in, and return its bucket; its time known is told once it is clear when it ended."""
        key = (channel, utc_ms - utc_ms % self.each_ms)
        sums = self.buckets.get(key)
        if sums is None:
            sums = self.buckets[key] = Sums()
        whole = round(value * MILLION)
        sums.count += 1
        sums.total += whole
        if sums.low is None or whole < sums.low:
            sums.low = whole
        if sums.high is None or whole > sums.high:
            sums.high = whole
        return sums

    def hear(self, channel: str, utc_ms: int, value: float, cover: Cover, patience_ms: int) -> None:
        """Take a reading in, late or not, and the time it vouches for: from when it was measured, its patience."""
        sums, known_ms, until_ms = self.add(channel, utc_ms, value), cover.until_ms, utc_ms + patience_ms
        late = cover.holes and utc_ms < cover.holes[-1][1]
        if utc_ms <= known_ms < until_ms <= utc_ms - utc_ms % self.each_ms + self.each_ms and not late:
            sums.known_ms += until_ms - known_ms  # nearly every one: it goes on from the one before
            cover.until_ms = until_ms
        else:
            for stretch in cover.take(utc_ms, until_ms):
                self.know(channel, *stretch)

    def stand(self, channel: str, from_ms: int, until_ms: int, whole: int) -> None:
        """A derived value [millionths] stood from one UTC time to another: it weighs as long as it stood [ms]."""
        each_ms, buckets = self.each_ms, self.buckets
        while from_ms < until_ms:  # nearly always once: most that stands changes long before its quarter ends
            bucket_ms = from_ms - from_ms % each_ms
            sums = buckets.get((channel, bucket_ms))
            if sums is None:
                sums = buckets[channel, bucket_ms] = Sums()
            end_ms = bucket_ms + each_ms
            length_ms = (until_ms if until_ms < end_ms else end_ms) - from_ms  # noqa: FURB136 - one call less
            sums.count += length_ms
            sums.total += whole * length_ms
            sums.known_ms += length_ms
            if sums.low is None or whole < sums.low:
                sums.low = whole
            if sums.high is None or whole > sums.high:
                sums.high = whole
            from_ms = end_ms

    def know(self, channel: str, from_ms: int, until_ms: int) -> None:
        """Add a stretch of time [UTC ms] in which the channel was known."""
        for bucket_ms, length_ms in pieces(from_ms, until_ms, self.each_ms):
            sums = self.buckets.get((channel, bucket_ms))
            if sums is None:
                sums = self.buckets[channel, bucket_ms] = Sums()
            sums.known_ms += length_ms


def pieces(from_ms: int, until_ms: int, each_ms: int = QUARTER_MS) -> Iterable[tuple[int, int]]:
    """Yield (when it began, how much of it) [ms] for each bucket so wide that a stretch of time touches."""
    at = from_ms
    while at < until_ms:
        bucket_ms = at - at % each_ms
        end = min(bucket_ms + each_ms, until_ms)
        yield bucket_ms, end - at
        at = end


@dataclass(slots=True)
class Stood:
    """A derived value [millionths] that stands, and since when [core ms]."""

    since_ms: int
    whole: int


@dataclass(slots=True)
class Cover:
    """For which times (UTC ms) somebody vouched: all before until_ms but the holes, oldest first.

    Each reading vouches for its patience from the time it was measured. It may come late or out of order: it then
    fills what it can of a hole. Of holes older than the last HOLES no more is remembered; what comes for them
    adds no time known, which errs on the side of silence.
    """

    until_ms: int
    holes: list[tuple[int, int]] = field(default_factory=list)

    def take(self, from_ms: int, end_ms: int) -> list[tuple[int, int]]:
        """Return the stretches that were not covered before, and cover them."""
        new = []
        if from_ms > self.until_ms:
            self.holes.append((self.until_ms, from_ms))
            del self.holes[:-HOLES]
            self.until_ms = from_ms
        elif self.holes and from_ms < self.holes[-1][1]:
            new = self._fill(from_ms, end_ms)
        if end_ms > self.until_ms:
            new.append((self.until_ms, end_ms))
            self.until_ms = end_ms
        return new

    def _fill(self, from_ms: int, end_ms: int) -> list[tuple[int, int]]:
        filled, left = [], []
        for start, stop in self.holes:
            low, high = max(start, from_ms), min(stop, end_ms)
            if low >= high:
                left.append((start, stop))
                continue
            filled.append((low, high))
            left += [(one, other) for one, other in ((start, low), (high, stop)) if one < other]
        self.holes = left[-HOLES:]
        return filled


def unit_of(channel: str) -> float:
    """Return what one whole of a channel is in the unit inside: a millionth, of derived pressures a thousandth.

    A pascal's millionth would not fit: 7 bar that stand for six hours [ms] are more than 2^63 of them.
    """
    parts = channel.split("|")
    return 1e-3 if len(parts) == 3 and parts[1] in PRESSURES else 1e-6


def channel_of(subject: str, quantity: str, place: str) -> str:
    """Return the name of a derived value's channel; a sensor's own is its id, which holds no bar."""
    return f"{subject}|{quantity}|{place}"
