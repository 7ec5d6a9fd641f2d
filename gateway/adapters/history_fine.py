"""History finer than a quarter of an hour, made from the entries when asked for: the same fold, narrower buckets.

For ranges up to a day. A few minutes before the range are folded first, so that the newest values are there when
it begins. Sensors have every reading; derived values are worked out once a column. What the fold learns over hours
(a sensor that stands still, neighbours that disagree) it has to learn again here, so a derived value may be drawn
that was not judged then: the quarters say what was.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from alerts.measured import Validity
from gateway import entry, flow_edges, flow_history
from gateway.adapters import history_day
from gateway.adapters.history import Drawn, drawn
from gateway.adapters.landmarks import Clocks, clocks, config_at
from gateway.adapters.spans import entries_between
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes, State
from gateway.payload import canonical, sparkplug_state
from gateway.reading import News, Reading, Rejected
from gateway.tiers import Sheet, unit_of

DAY_MS = 86_400_000
BEFORE_MS = 900_000  # folded before the range begins
AFTER_MS = 600_000  # a reading that came later than this is in the quarters and in the entries, not here
LEAST_EACH_MS = 1000  # limits are judged on whole seconds


@dataclass(frozen=True, slots=True)
class Said:
    """One reading as an entry has it. value: as it came, in the unit used inside; corrected: with its calibration.

    measured_ms, received_ms: UTC; a reading without a time of its own was measured when it was received.
    validity: "good", or what the payload had to say about a humidity.
    """

    seq: int
    sensor: str
    measured_ms: int
    received_ms: int
    value: float
    corrected: float
    validity: Validity


def draw_fine(
    db: sqlite3.Connection, names: Sequence[str], from_ms: int, until_ms: int, count: int
) -> Mapping[str, Drawn]:
    """Return about `count` columns of each channel over at most a day of UTC ms, a second wide or more.

    Raises: ValueError for an empty range, no columns, or more than a day.
    """
    _check(from_ms, until_ms)
    if count < 1:
        raise ValueError("nothing to draw in no columns")
    each = max(LEAST_EACH_MS, -(-(until_ms - from_ms) // count))
    first, last = from_ms // each, -(-until_ms // each)
    sheet = _fold(db, from_ms, until_ms, each)
    columns = {name: history_day.empty(last - first) for name in names}
    present = set()
    for (name, at_ms), sums in sheet.buckets.items():
        at = at_ms // each
        if name in columns:
            present.add(name)
            if first <= at < last:
                row = (at, sums.count, sums.low, sums.high, sums.total, sums.known_ms)
                history_day.add(columns[name], first, [row])
    return {name: drawn(columns[name], first * each, each, 1, unit_of(name)) for name in names if name in present}


def _check(from_ms: int, until_ms: int) -> None:
    if not 0 < until_ms - from_ms <= DAY_MS:
        raise ValueError(f"{from_ms} to {until_ms} ms: not a range of up to a day")


def _fold(db: sqlite3.Connection, from_ms: int, until_ms: int, each_ms: int) -> Sheet:
    outcomes = Outcomes(sheet=Sheet(each_ms=each_ms))
    flow = Coarse(each_ms)
    flow.advance(heard_between(db, from_ms, until_ms + AFTER_MS), outcomes)
    if flow.site is not None:
        flow_history.take_all_down(flow.state, outcomes.sheet)
    return outcomes.sheet


def heard_between(db: sqlite3.Connection, from_ms: int, until_ms: int) -> Iterator[bytes]:
    """Yield entries as a fold of a stretch of UTC ms needs them: the jobsite in force, then BEFORE_MS, then it."""
    time = clocks(db)
    begin, end = time.core_span(from_ms - BEFORE_MS, until_ms)
    config = config_at(db, begin)
    if config is not None:
        yield _started(begin, time.offset_at(begin))
        yield entry.plain(Kind.CONFIG_SET, begin, config)
        yield from _as_heard(db, begin, end)


class Coarse(Flow):
    """The fold, judging no oftener than once a column: a day of seconds takes a minute to judge."""

    def __init__(self, each_ms: int) -> None:
        super().__init__(State())
        self._each_ms = each_ms

    def due_ms(self) -> int | None:
        """Return the end of the column in which something is due."""
        due = super().due_ms()
        return None if due is None else -(-due // self._each_ms) * self._each_ms


def _as_heard(db: sqlite3.Connection, begin: int, end: int) -> Iterator[bytes]:
    """The entries of a range; a start in it names no version, since sessions of before may be missing here."""
    for _, made in entries_between(db, begin, end):
        kind, core_ms = entry.kind_and_time(made)
        if kind is Kind.STARTED:
            yield _started(core_ms, canonical.to_dict(entry.body_of(made))["offset_ms"])
        else:
            yield made


def _started(core_ms: int, offset_ms: int) -> bytes:
    return entry.plain(Kind.STARTED, core_ms, canonical.to_bytes({"offset_ms": offset_ms}))


def raw(
    db: sqlite3.Connection, from_ms: int, until_ms: int, sensors: frozenset[str] | None = None
) -> Iterator[Said]:
    """Yield the readings of at most a day of UTC ms by sequence number, decoded with the jobsite in force then.

    What was measured in the range and came later than AFTER_MS after it is not among them; an edge node's data
    are from its first birth in the range on. sensors: only of these. Raises: ValueError for an empty range or
    more than a day.
    """
    _check(from_ms, until_ms)
    time = clocks(db)
    begin, end = time.core_span(from_ms, until_ms + AFTER_MS)
    decode = Decoder(config_at(db, begin))
    for seq, made in entries_between(db, begin, end):
        for said in said_of(decode, time, seq, made):
            if from_ms <= said.measured_ms < until_ms and (sensors is None or said.sensor in sensors):
                yield said


def said_of(decode: Decoder, time: Clocks, seq: int, made: bytes) -> Iterator[Said]:
    """Yield the readings of one entry; another jobsite in it holds from there on."""
    kind, core_ms = entry.kind_and_time(made)
    if kind is Kind.CONFIG_SET:
        decode.set(entry.body_of(made))
    elif kind is Kind.MESSAGE:
        received = time.utc_ms(core_ms)
        for each in decode.readings(entry.message_of(entry.body_of(made)), received):
            measured = received if each.measured_ms is None else each.measured_ms
            validity = _validity(each)
            corrected, validity = decode.sensors[each.sensor].corrected(each.value, validity)
            yield Said(seq, each.sensor, measured, received, each.value, corrected, validity)


def _validity(reading: Reading) -> Validity:
    if reading.saturated:
        return Validity.SATURATED
    return Validity.BOUND if reading.below_resolution else Validity.GOOD


class Decoder:
    """Bytes to readings, as the jobsite in force reads them."""

    def __init__(self, config: bytes | None, edges: sparkplug_state.State | None = None) -> None:
        self._flow = Flow(State(config=config or b"", edges=edges or sparkplug_state.State()))
        self.sensors = self._flow.sensors if config else {}

    @property
    def jobsite(self) -> str:
        """The id of the jobsite in force, empty before any."""
        return self._flow.site.id if self._flow.site else ""

    @property
    def edges(self) -> sparkplug_state.State | None:
        """What edge nodes have said so far, None where the jobsite has none."""
        return self._flow.state.edges if self._flow.site and self._flow.edges else None

    def set(self, config: bytes) -> None:
        """Another jobsite is in force from here on."""
        edges = self._flow.state.edges
        self._flow = Flow(State(config=config, edges=edges))
        self.sensors = self._flow.sensors

    def readings(self, arrival: entry.Arrival, received_ms: int) -> list[Reading]:
        """Return the readings of one message, none of one that is refused now."""
        found = self.news(arrival, received_ms)
        return [] if isinstance(found, Rejected) else [each for each in found if isinstance(each, Reading)]

    def news(self, arrival: entry.Arrival, received_ms: int) -> Sequence[News] | Rejected:
        """Return what one message says; of an edge node's, what its session is known for."""
        flow = self._flow
        if flow.site is None:
            return []
        if flow_edges.is_edge(arrival.topic):
            return flow_edges.changes(flow.state, flow.edges, arrival, received_ms)
        return flow.forms.decode(arrival.topic, arrival.payload, received_ms)

    def session(self, body: bytes, utc_ms: int) -> None:
        """Take in that our own session with the edge nodes changed; before any jobsite there are none."""
        if self._flow.site is not None:
            flow_edges.session(self._flow.state, self._flow.edges, canonical.to_dict(body), utc_ms)
