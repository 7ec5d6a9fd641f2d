"""The same journal judged by other limits: what would have been told, and what would not.

Both judgements are made now, from the entries, with the same program, so that only the limits differ between them.
Acts that name an alarm by its number are left out of both: under other limits that number is another alarm. The
journal is only read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import islice, pairwise
from typing import Any

from alerts.alarm import Change
from alerts.limits import Limit
from gateway import entry
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.payload import canonical

CHUNK = 4096
TELLING = frozenset((Change.TOLD, Change.KEPT_BACK))  # who was told follows from the alarms, and from who answered


class WrongLimits(Exception):
    """A limit is for a place that the record does not have."""


@dataclass(frozen=True, slots=True)
class Happened:
    """One event without its numbers: when (UTC ms), of which limit, what, and with what value."""

    utc_ms: int
    limit: str
    change: str
    said: str

    @property
    def key(self) -> tuple[int, str, str]:
        """What makes two events the same."""
        return self.utc_ms, self.limit, self.change

    def words(self, sign: str) -> str:
        """Return a line: - only by the limits of then, + only by the others."""
        at = datetime.fromtimestamp(self.utc_ms / 1000, UTC)
        return f"{sign} {at:%Y-%m-%d %H:%M:%S} UTC  {self.limit}: {self.change}{self.said}"


@dataclass(frozen=True, slots=True)
class Compared:
    """How many entries were judged and how many acts left out; the events of both, in order."""

    entries: int
    acts: int
    then: list[Happened]
    other: list[Happened]

    def lines(self) -> list[str]:
        """Return what only one of both has, in the order of time."""
        then, other = Counter(each.key for each in self.then), Counter(each.key for each in self.other)
        found = [(each.key, each.words("-")) for each in _only(self.then, then - other)]
        found += [(each.key, each.words("+")) for each in _only(self.other, other - then)]
        return [words for _, words in sorted(found)]

    def table(self) -> list[str]:
        """Return for each limit and kind of event how many there were, and how many there would have been."""
        then = Counter((each.limit, each.change) for each in self.then)
        other = Counter((each.limit, each.change) for each in self.other)
        return [f"{limit}, {change}: {then[limit, change]} then, {other[limit, change]} by the other limits"
                for limit, change in sorted(then | other)]  # fmt: skip


def compare(
    entries: Iterable[bytes], limits: tuple[Limit, ...], tell: Callable[[int], None], begin: bytes = b""
) -> Compared:
    """Judge entries twice. tell: called with how many are done.

    begin: checkpoint of the flow before the first entry, where entries before it were dropped.

    Raises WrongLimits where a limit is for an area, a train or a piece that the record does not have.
    """
    begin = begin or Flow().checkpoint()
    flows = Flow.from_checkpoint(begin), _other(begin, limits)
    found: tuple[list[Happened], list[Happened]] = ([], [])
    counted, acts, source = 0, 0, iter(entries)
    while chunk := list(islice(source, CHUNK)):
        kept = [each for each in chunk if not _names_an_alarm(each)]
        acts += len(chunk) - len(kept)
        counted += len(chunk)
        found[0].extend(_judged(flows[0], kept))
        found[1].extend(_judged(flows[1], [_by(each, limits) for each in kept]))
        tell(counted)
    return Compared(counted, acts, *found)


def _other(begin: bytes, limits: tuple[Limit, ...]) -> Flow:
    """The flow before the first entry, with other limits from there on; its alarms of before stay as they are."""
    state = Flow.from_checkpoint(begin).state
    if state.config:
        state.config = _with(state.config, limits)
    return Flow(state)


def _judged(flow: Flow, entries: list[bytes]) -> Iterator[Happened]:
    for stretch in _of_one_clock(entries):
        outcomes = Outcomes()
        flow.advance(stretch, outcomes)
        for body in outcomes.events:
            event = canonical.to_dict(body)
            if event["change"] not in TELLING:
                yield _happened(event, flow.state.offset_ms)


def _of_one_clock(entries: list[bytes]) -> Iterator[list[bytes]]:
    """Cut before each entry that may change what UTC is."""
    cuts = [at for at, made in enumerate(entries) if made[0] in (Kind.STARTED, Kind.CLOCK_STEP)]
    for begin, end in pairwise([0, *cuts, len(entries)]):
        yield entries[begin:end]


def _happened(event: dict[str, Any], offset_ms: int) -> Happened:
    value = "" if event["value"] is None else f" at {event['value']:g}"
    said = f"{value} ({event['reason']})" if event["reason"] else value
    return Happened(event["core_ms"] + offset_ms, event["limit"], event["change"], said)


def _only(happened: list[Happened], left: Counter[tuple[int, str, str]]) -> Iterator[Happened]:
    for each in happened:
        if left[each.key] > 0:
            left[each.key] -= 1
            yield each


def _names_an_alarm(made: bytes) -> bool:
    if made[0] != Kind.ACTION:
        return False
    return str(canonical.to_dict(entry.body_of(made)).get("number", "")).startswith("A-")


def _by(made: bytes, limits: tuple[Limit, ...]) -> bytes:
    """An entry as it is, but a jobsite with other limits."""
    kind, core_ms = entry.kind_and_time(made)
    if kind is not Kind.CONFIG_SET:
        return made
    return entry.plain(kind, core_ms, _with(entry.body_of(made), limits))


def _with(body: bytes, limits: tuple[Limit, ...]) -> bytes:
    said = canonical.to_dict(body)
    site = replace(canonical.jobsite_of(body), limits=limits)
    _check(site)
    return canonical.config_set(site, said["who"], said["why"])


def _check(site: Jobsite) -> None:
    areas = {area.id for area in site.areas}
    places = {(train.id, piece.id) for train in site.trains for piece in train.pieces}
    for limit in site.limits:
        if limit.area and limit.area not in areas:
            raise WrongLimits(f"limit {limit.id} is for area {limit.area}, which the record does not have")
        if limit.train and (limit.train, limit.piece) not in places:
            raise WrongLimits(
                f"limit {limit.id} is for {limit.train}/{limit.piece}, which the record does not have"
            )
