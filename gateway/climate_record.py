"""The climate record of a job: what was measured, in force, done and said between two moments, as one value.

Made from entries that are no messages (`Deed`), from the events they brought, from the tables of history and from
the state of the flow at one entry, the as-of. Nothing here knows the present: the same journal and the same as-of
give the same record. What was not known is said to be missing and never filled in.
Fields after the forms seen for such records: area, activity, product, limits in force with their clause, its
instrument with its calibration, author, N/A stated where nothing applies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from alerts.limits import Limit
from gateway.area_work import Exposure, Work
from gateway.entry import Kind
from gateway.jobsite import Jobsite, Sensor
from gateway.record_channels import Column, Interval, Quarters, Total, joined
from gateway.tiers import QUARTER_MS, Deed

STEPS = {"15min": 1, "30min": 2, "1h": 4, "2h": 8, "4h": 16, "8h": 32, "12h": 48, "24h": 96}
"""How long an interval of the record may be, in quarters of an hour."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a record is to tell: from when until when [UTC ms, whole quarters], in which steps."""

    from_ms: int
    until_ms: int
    every_ms: int

    def length_ms(self, at_ms: int) -> int:
        """Return how long the interval that begins then is; the last may be shorter."""
        return min(self.every_ms, self.until_ms - at_ms)

    @property
    def starts(self) -> range:
        """When each interval begins."""
        return range(self.from_ms, self.until_ms, self.every_ms)


@dataclass(frozen=True, slots=True)
class Material:
    """What a record is made of, read at one moment of the journal.

    sequence, as_of_ms, root: the entry the record ends with, its UTC time and the root of the tree over all up to
    it. quarters: by channel, every quarter of the record in order. events: all up to the as-of. heads: record
    codes of the signed heads up to it. work, exposures: as the flow had them then.
    """

    asked: Asked
    site: Jobsite
    sequence: int
    as_of_ms: int
    root: bytes
    core_version: str
    deeds: Sequence[Deed]
    events: Sequence[Mapping[str, Any]]
    quarters: Mapping[str, Quarters]
    heads: Sequence[str]
    work: Mapping[str, Work]
    exposures: Sequence[Exposure]
    bodies: Callable[[Deed], Mapping[str, Any]]
    jobsite_of: Callable[[bytes], Jobsite]


@dataclass(frozen=True, slots=True)
class InForce:
    """A jobsite and the stretch [UTC ms] of the record in which it was in force, who set it and why."""

    site: Jobsite
    from_ms: int
    until_ms: int
    who: str
    why: str


def in_force(material: Material) -> list[InForce]:
    """Return the jobsites in force during the record, oldest first."""
    asked = material.asked
    sets = [deed for deed in material.deeds if deed.kind == Kind.CONFIG_SET and deed.utc_ms < asked.until_ms]
    first = max((i for i, deed in enumerate(sets) if deed.utc_ms <= asked.from_ms), default=0)
    found = []
    for i, deed in enumerate(sets[first:], first):
        body = material.bodies(deed)
        until = sets[i + 1].utc_ms if i + 1 < len(sets) else asked.until_ms
        site = material.jobsite_of(deed.body)
        found.append(InForce(site, max(deed.utc_ms, asked.from_ms), until, str(body["who"]), str(body["why"])))
    return found


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """One limit as the specification states it, and the stretches [UTC ms] in which it was in force."""

    limit: Limit
    spans: tuple[tuple[int, int], ...]


def limits_in_force(material: Material) -> list[LimitInForce]:
    """Return every limit of the record; one that was changed is another limit."""
    found: dict[Limit, list[tuple[int, int]]] = {}
    for each in in_force(material):
        for limit in each.site.limits:
            spans = found.setdefault(limit, [])
            if spans and spans[-1][1] == each.from_ms:
                spans[-1] = (spans[-1][0], each.until_ms)
            else:
                spans.append((each.from_ms, each.until_ms))
    return [LimitInForce(limit, tuple(spans)) for limit, spans in found.items()]


def utc_of(material: Material, core_ms: int) -> int:
    """Return the UTC of a core time, by the offset that was in force then."""
    offset_ms = 0
    for core, offset in _offsets(material):
        if core > core_ms:
            break
        offset_ms = offset
    return core_ms + offset_ms


def _offsets(material: Material) -> Iterator[tuple[int, int]]:
    """Yield from which core time on which offset was in force."""
    names = {Kind.STARTED: "offset_ms", Kind.CLOCK_STEP: "new_offset_ms"}
    for deed in material.deeds:
        if deed.kind in names:
            offset_ms = int(material.bodies(deed)[names[Kind(deed.kind)]])
            yield deed.utc_ms - offset_ms, offset_ms


def rows(material: Material, column: Column) -> list[Interval]:
    """Return the intervals of a column, one for each begin of the record, known or not."""
    each = material.asked.every_ms // QUARTER_MS
    channels = [material.quarters[name] for name in column.channels]
    firsts = range(0, len(material.asked.starts) * each, each)
    return [joined([channel.joined(first, first + each) for channel in channels]) for first in firsts]


def near(material: Material, channel: str, utc_ms: int) -> Interval | None:
    """Return the quarter of a channel that this moment lies in, None outside the record."""
    place = (utc_ms - material.asked.from_ms) // QUARTER_MS
    found = material.quarters.get(channel)
    if found is None or not 0 <= place < len(found.low):
        return None
    return found.joined(place, place + 1)


# -- time in and out of limits -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TimeInLimits:
    """Of one limit during one activity of an area: how long inside, outside, not running, unknown."""

    area: str
    activity: str
    limit: str
    going_on_ms: int
    inside_ms: int
    outside_ms: int
    stopped_ms: int

    @property
    def unknown_ms(self) -> int:
        """What is left of the activity."""
        return max(0, self.going_on_ms - self.inside_ms - self.outside_ms - self.stopped_ms)


def _totals(material: Material, kinds: tuple[str, ...]) -> dict[str, Total]:
    return {
        name: quarters.total() for name, quarters in material.quarters.items()
        if name.partition("|")[2].startswith(kinds)
    }  # fmt: skip


def times_in_limits(material: Material) -> list[TimeInLimits]:
    """Return the time in and out of each limit, by area and activity."""
    found, totals = [], _totals(material, ("activity|", "outside ", "stopped "))
    for channel, going_on in sorted(totals.items()):
        area, kind, activity = [*channel.split("|", 2), "", ""][:3]
        if kind != "activity" or not going_on.so_ms:
            continue
        start, end = f"{area}|outside ", f"|{activity}"
        judged = [name for name in sorted(totals) if name.startswith(start) and name.endswith(end)]
        for name in judged or [""]:
            limit = name[len(start) : -len(end)] if name else ""
            out = totals.get(name, Total(0, 0))
            stopped = totals.get(f"{area}|stopped {limit}{end}", Total(0, 0)).so_ms
            inside = out.known_ms - out.so_ms
            found.append(TimeInLimits(area, activity, limit, going_on.so_ms, inside, out.so_ms, stopped))
    return found


# -- gaps --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch [UTC ms] of whole quarters in which a sensor was silent or not believed for missing_ms of it."""

    sensor: str
    from_ms: int
    until_ms: int
    missing_ms: int


LEAST_GAP_MS = 1000


def gaps(material: Material) -> list[Gap]:
    """Return what is missing of every sensor, neighbouring quarters joined, longest first."""
    found = [gap for sensor in sensors(material) for gap in _gaps(material, sensor.id)]
    return sorted(found, key=lambda gap: (-gap.missing_ms, gap.sensor, gap.from_ms))


def _gaps(material: Material, name: str) -> list[Gap]:
    asked, found = material.asked, list[Gap]()
    channel = material.quarters.get(name)
    whole = (asked.until_ms - asked.from_ms) // QUARTER_MS
    for place, known_ms in enumerate(channel.known_ms if channel else [0] * whole):
        at, missing = asked.from_ms + place * QUARTER_MS, QUARTER_MS - known_ms
        if missing < LEAST_GAP_MS:
            continue
        if found and found[-1].until_ms == at:
            found[-1] = Gap(name, found[-1].from_ms, at + QUARTER_MS, found[-1].missing_ms + missing)
        else:
            found.append(Gap(name, at, at + QUARTER_MS, missing))
    return found


# -- sensors -------------------------------------------------------------------------------------------------


def sensors(material: Material) -> list[Sensor]:
    """Return every instrument of the record, with the newest statement of each."""
    newest = {sensor.id: sensor for each in in_force(material) for sensor in each.site.sensors}
    return list(newest.values())


def wet_hours(material: Material, area: str) -> dict[str, Total]:
    """Return the wet time of an area by each of the three readings."""
    start = f"{area}|wetness|"
    return {name[len(start) :]: each.total() for name, each in material.quarters.items() if name.startswith(start)}


def exposures(material: Material) -> list[Exposure]:
    """Return the exposures that went on during the record, oldest first."""
    asked = material.asked
    return [
        each for each in material.exposures
        if utc_of(material, each.opened_ms) < asked.until_ms
        and (each.ended_ms is None or not each.disposition or utc_of(material, each.ended_ms) >= asked.from_ms)
    ]  # fmt: skip
