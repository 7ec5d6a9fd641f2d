"""What a soak is counted by: growth, the longest blind time, and how long until the crew was told."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from gateway import entry
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Arrival, Kind
from gateway.payload import canonical
from tests.faults.soak_box import SURELY_WET_C, TITLE, UNKNOWN

WARM, LAST = (0.73, 0.80), (0.88, 0.95)
"""Warm: every sensor has spoken 2,048 times, the most that is remembered of each: 5.7 of the eight hours."""
ON_DELAY_S = 60.0
PATIENCE_MS = 60_000  # of a sensor that speaks every ten seconds: what is older when it comes is history only
Sample = tuple[float, float, float, int]


def growth(samples: list[Sample]) -> tuple[float, float, int]:
    """Return how far the last part lies above the warm one: percent of memory of run, of deliver, open files."""
    warm, last = (
        [each for each in samples if low <= each[0] < high] or samples[-1:] for low, high in (WARM, LAST)
    )
    percent = [
        100 * (sum(s[n] for s in last) / len(last) / (sum(s[n] for s in warm) / len(warm)) - 1) for n in (1, 2)
    ]
    return percent[0], percent[1], max(each[3] for each in last) - max(each[3] for each in warm)


def longest_blind_s(home: Path) -> float:
    """The longest time between two messages in the journal, by the site's time at which each was taken in."""
    before, longest = None, 0
    with closing(open_reader(home / "journal.db")) as reader:
        for each in entries_after(reader, 0):
            kind, core_ms = entry.kind_and_time(each)
            if kind in (Kind.MESSAGE, Kind.REJECTION):
                longest = max(longest, core_ms - (core_ms if before is None else before))
                before = core_ms
    return longest / 1000


def delays_s(
    wet_s: list[float], told: list[tuple[float, str]], end_s: float, heard: list[bool] | None = None
) -> list[float | None]:
    """Return for each time the steel got wet how long until the phone said so; None: it never did.

    A message belongs to the last time before it. Where the alarm of the time before still stood, the crew has been
    told and nothing of "limits back": 0, since it is not told twice. heard: whether the gateway could know. Where
    it could not, "unknown, treat as outside limits" is what the crew must hear.
    """
    until = [*wet_s[1:], end_s][: len(wet_s)]
    could = [True] * len(wet_s) if heard is None else heard
    return [_delay_s(low, high, told, knew) for low, high, knew in zip(wet_s, until, could, strict=True)]


def _delay_s(low: float, high: float, told: list[tuple[float, str]], knew: bool) -> float | None:
    about = [(at, title) for at, title in told if "area A" in title]
    for words in (TITLE,) if knew else (TITLE, UNKNOWN):
        if at := [at for at, title in about if words in title and low <= at < high]:
            return min(at) - low
        before = [title for at, title in about if at < low]
        if before and words in before[-1]:
            return 0.0
    return None


def could_know(home: Path, wet_ms: list[int]) -> list[bool]:
    """Return for each time the steel got wet [UTC ms of the site] whether the gateway heard enough of it to judge.

    Enough: without a restart or a hole between them, for longer than the limit's delay and in time to be judged.
    """
    longest, began, last = [0] * len(wet_ms), 0, 0
    for wet in _in_time(home):
        if wet is None or (at := bisect_right(wet_ms, wet) - 1) < 0:
            last = 0
            continue
        began = wet if wet - last > PATIENCE_MS else began
        last = max(last, wet)
        longest[at] = max(longest[at], wet - began)
    return [each > 1000 * ON_DELAY_S + PATIENCE_MS for each in longest]


def _in_time(home: Path) -> Iterator[int | None]:
    """Yield the time of each wet reading of the steel that came in time to be judged, and None for each start."""
    offset_ms = 0
    with closing(open_reader(home / "journal.db")) as reader:
        for each in entries_after(reader, 0):
            kind, core_ms, body = entry.unpack(each)
            if kind is Kind.STARTED:
                offset_ms = canonical.to_dict(body)["offset_ms"]
                yield None
            elif kind is Kind.CLOCK_STEP:
                offset_ms = canonical.to_dict(body)["new_offset_ms"]
            elif kind is Kind.MESSAGE and (wet := _wet_ms(entry.message_of(body))) is not None:
                yield from (wet,) if core_ms + offset_ms - wet <= PATIENCE_MS else ()


def _wet_ms(arrival: Arrival) -> int | None:
    """When the steel of area A was measured surely wet; None where a message says nothing of the kind."""
    if not arrival.topic.endswith("/steel"):
        return None
    record = json.loads(arrival.payload)[0]
    return round(record["t"] * 1000) if record["v"] < SURELY_WET_C else None


def fault_s(times: list[tuple[float, float]], low: float, high: float) -> float:
    """Return how much of a time was faults."""
    return sum(max(0.0, min(high, end) - max(low, began)) for began, end in times)
