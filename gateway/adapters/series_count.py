"""Proof by counting that a time-series server has every reading of the journal: as many samples a day and sensor.

Asked with PromQL (`count_over_time`), which victoria-metrics, its cluster and others answer. What came in the last
minute is left out: a server shows new samples only after a while.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import httpx

from gateway.adapters import brief
from gateway.adapters.journal import entries_after, open_reader
from gateway.adapters.timeseries import CHUNK, Place, Unreachable, batches

DAY_MS = 86_400_000
SETTLED_MS = 60_000
TIMEOUT_S = 60
MOST_ANSWER = 16 << 20  # a day of thousands of sensors
_LINE = re.compile(r"reading,jobsite=(?P<jobsite>.+),sensor=(?P<sensor>.+) value=\S+ (?P<at>-?\d+)")
Counts = dict[tuple[str, str, int], int]
"""How many different times, by jobsite, sensor and day [days since 1970]."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A day of a sensor where the server has another number of samples than the journal has readings."""

    sensor: str
    day: int
    journal: int
    server: int


def in_journal(home: Path, from_ms: int, until_ms: int) -> Counts:
    """Count the readings of a journal in a range of UTC, as `follow` sends them; equal times are one sample."""
    seen: dict[tuple[str, str, int], set[int]] = defaultdict(set)
    for line in _lines(home):
        found = _LINE.fullmatch(line)
        if found is None:
            raise ValueError(f"no line of a reading: {line}")
        at = int(found["at"])
        if from_ms <= at < until_ms:
            seen[_plain(found["jobsite"]), _plain(found["sensor"]), at // DAY_MS].add(at)
    return {key: len(times) for key, times in seen.items()}


def _lines(home: Path) -> Iterator[str]:
    place = Place()
    with closing(open_reader(home / "journal.db")) as reader:
        entries = entries_after(reader, 0)
        while chunk := list(islice(entries, CHUNK)):
            for batch in batches(chunk, place):
                place = batch.reached
                yield from batch.lines


def _plain(tag: str) -> str:
    return re.sub(r"\\(.)", r"\1", tag)


def in_server(url: str, token: str, jobsite: str, day: int, from_ms: int, until_ms: int) -> dict[str, int]:
    """Count a server's samples of one day by sensor. Raises Unreachable."""
    begin, end = max(from_ms, day * DAY_MS), min(until_ms, (day + 1) * DAY_MS)
    # From after `time` minus the range up to `time`, both to the ms.
    name = jobsite.replace("\\", "\\\\").replace('"', '\\"')
    asked = f'count_over_time(reading_value{{jobsite="{name}"}}[{end - begin}ms])'
    params = {"query": asked, "time": f"{(end - 1) / 1000:.3f}", "nocache": "1"}
    headers = {"Authorization": f"Token {token}"} if token else {}
    try:
        with httpx.Client(timeout=TIMEOUT_S, headers=headers) as client:
            address = f"{url.rstrip('/')}/api/v1/query"
            answer = brief.ask(client, "GET", address, MOST_ANSWER, TIMEOUT_S, params=params)
        said: dict[str, Any] = answer.raise_for_status().json()
        return {each["metric"]["sensor"]: int(each["value"][1]) for each in said["data"]["result"]}
    except (httpx.HTTPError, httpx.InvalidURL, ValueError, KeyError, TypeError) as error:
        raise Unreachable(f"{url} gives no count ({type(error).__name__}: {error})") from error


def compared(home: Path, url: str, token: str, from_ms: int, until_ms: int) -> tuple[int, list[Missing]]:
    """Return how many samples there should be in a range of UTC, and each day of a sensor where there are not."""
    counts = in_journal(home, from_ms, until_ms)
    missing = []
    for jobsite, day in sorted({(jobsite, day) for jobsite, _, day in counts}):
        there = in_server(url, token, jobsite, day, from_ms, until_ms)
        here = {sensor: many for (of, sensor, on), many in counts.items() if (of, on) == (jobsite, day)}
        missing += [
            Missing(sensor, day, many, there.get(sensor, 0))
            for sensor, many in sorted(here.items()) if many != there.get(sensor, 0)
        ]  # fmt: skip
    return sum(counts.values()), missing
