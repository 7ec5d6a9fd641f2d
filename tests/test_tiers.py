"""History's figures: whole numbers that no order changes, and time known that nobody vouched for twice."""

from __future__ import annotations

import random

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from alerts.measured import Quantity
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.tiers import HOLES, QUARTER_MS, Cover, Sheet, Sums, channel_of, pieces
from tests.sites import T0, margin_limit, pack
from tests.test_flow import Day, values

QUARTER = T0 - T0 % QUARTER_MS


def test_values_are_counted_and_summed_in_their_quarter() -> None:
    """The last millisecond of a quarter is still its own."""
    sheet = Sheet()
    for at, value in ((QUARTER, 20.5), (QUARTER + QUARTER_MS - 1, -3.25), (QUARTER + QUARTER_MS, 7.0)):
        sheet.add("a", at, value)
    assert sheet.buckets["a", QUARTER] == Sums(2, -3_250_000, 20_500_000, 17_250_000, 0)
    assert sheet.buckets["a", QUARTER + QUARTER_MS] == Sums(1, 7_000_000, 7_000_000, 7_000_000, 0)


def test_a_stretch_of_time_is_split_at_the_quarters() -> None:
    """Half a minute before to a minute after two whole quarters."""
    found = list(pieces(QUARTER - 30_000, QUARTER + 2 * QUARTER_MS + 60_000))
    assert found == [
        (QUARTER - QUARTER_MS, 30_000), (QUARTER, QUARTER_MS), (QUARTER + QUARTER_MS, QUARTER_MS),
        (QUARTER + 2 * QUARTER_MS, 60_000),
    ]  # fmt: skip
    assert list(pieces(QUARTER, QUARTER)) == []


def test_a_value_that_stands_weighs_as_long_as_it_stood_in_each_quarter() -> None:
    """2 for ten seconds up to a quarter's end and for twenty after it, then -1 for five."""
    sheet = Sheet()
    sheet.stand("m", QUARTER - 10_000, QUARTER + 20_000, 2)
    sheet.stand("m", QUARTER + 20_000, QUARTER + 25_000, -1)
    sheet.stand("m", QUARTER + 25_000, QUARTER + 25_000, 9)
    sheet.stand("m", QUARTER + 2 * QUARTER_MS, QUARTER + 2 * QUARTER_MS, 9)
    assert sheet.buckets == {
        ("m", QUARTER - QUARTER_MS): Sums(10_000, 2, 2, 20_000, 10_000),
        ("m", QUARTER): Sums(25_000, -1, 2, 35_000, 25_000),
    }


times = st.lists(st.tuples(st.integers(0, 3_000), st.integers(1, 200)), min_size=1, max_size=40)


@given(times, st.randoms(use_true_random=False))
def test_time_known_is_the_same_in_whatever_order_readings_come(
    taken: list[tuple[int, int]], chance: random.Random
) -> None:
    """The measure of the union of all vouched-for stretches, by counting milliseconds one by one."""
    vouched = {ms for at, patience in taken for ms in range(at, at + patience)}
    mixed = list(taken)
    chance.shuffle(mixed)
    for order in (taken, sorted(taken), mixed):
        cover, found = Cover(0), list[int]()
        for at, patience in order:
            found += [ms for one, other in cover.take(at, at + patience) for ms in range(one, other)]
        assert len(found) == len(set(found)), "a moment was counted twice"
        assert set(found) == vouched


@given(times)
@example([(1000, 10), (1050, 10), (1020, 60)])  # fills a hole and goes beyond what was known
def test_a_reading_and_its_time_are_taken_as_one_by_one(taken: list[tuple[int, int]]) -> None:
    """Buckets of 100 ms: the short way for the usual reading gives what the long way gives, holes included."""
    at_once, apart = Sheet(each_ms=100), Sheet(each_ms=100)
    one, other = Cover(0), Cover(0)
    for at, patience in taken:
        at_once.hear("a", at, at / 7, one, patience)
        apart.add("a", at, at / 7)
        for stretch in other.take(at, at + patience):
            apart.know("a", *stretch)
        assert one == other
    assert at_once == apart


def test_holes_are_remembered_only_so_far() -> None:
    """What comes for a hole long forgotten adds nothing: silence rather than a guess."""
    cover = Cover(0)
    for number in range(1, HOLES + 3):
        cover.take(1000 * number, 1000 * number + 10)
    assert len(cover.holes) == HOLES
    assert cover.take(500, 600) == []
    assert cover.take(HOLES * 1000 + 500, HOLES * 1000 + 600) == [(HOLES * 1000 + 500, HOLES * 1000 + 600)]


MARGIN = channel_of("A", Quantity.DEW_POINT_MARGIN, "steel (coldest)")


def total(day: Day, channel: str) -> Sums:
    found = Sums()
    for (name, _), sums in day.out.sheet.buckets.items():
        if name == channel:
            add(found, sums)
    return found


def add(found: Sums, sums: Sums) -> None:
    """Take another bucket of the same channel in."""
    lows, highs = (
        [each for each in pair if each is not None] for pair in zip(*map(ends, (found, sums)), strict=True)
    )
    found.low, found.high = min(lows, default=None), max(highs, default=None)
    found.count, found.total = found.count + sums.count, found.total + sums.total
    found.known_ms += sums.known_ms


def ends(sums: Sums) -> tuple[int | None, int | None]:
    return sums.low, sums.high


def test_a_sensor_that_falls_silent_is_known_for_its_patience_only() -> None:
    """An hour of readings every 10 s, an hour of silence, ten minutes more; patience is a minute (3 x 10 s)."""
    day = Day(margin_limit())
    day.pass_time(3600, **values())
    day.now += 3_600_000
    day.pass_time(600, **values())
    steel = total(day, "steel")
    assert steel.count == 420
    assert steel.known_ms == 3_590_000 + 60_000 + 590_000 + 60_000
    assert (steel.low, steel.high) == (20_000_000, 20_000_000)


def test_a_derived_value_is_known_from_one_judging_to_the_next() -> None:
    """It becomes unknown with its sensor, at the second its patience has passed."""
    day = Day(margin_limit())
    day.pass_time(3600, **values())
    day.now += 3_600_000
    day.pass_time(600, **values())
    margin = total(day, MARGIN)
    # From a second after the first reading to silence; again until the last whole minute was taken down.
    assert margin.known_ms == pytest.approx(3_590_000 + 60_000 + 550_000, abs=3000)
    assert margin.count == margin.known_ms and margin.total == margin.count * (margin.low or 0)
    assert margin.low is not None and margin.low == margin.high == pytest.approx(10_744_000, abs=20_000)


def test_a_late_reading_is_history_and_is_not_judged() -> None:
    """It fills the silence it was measured in; the margin of then was not known, and stays so."""
    day = Day(margin_limit())
    day.pass_time(600, **values())
    gone = day.now
    day.now += 3_600_000
    day.pass_time(600, **values())
    before, margin = total(day, "steel"), total(day, MARGIN)
    day.arrive(Arrival("dewgate/test/steel", pack("steel", 35.0, gone + 1_800_000)))
    day.flow.tick(day.now + 2000, day.out.sheet)
    after = total(day, "steel")
    assert (after.count, after.high) == (before.count + 1, 35_000_000)
    assert after.known_ms == before.known_ms + 60_000
    assert total(day, MARGIN).high == margin.high
    assert day.flow.state.counts["late"] == 1


def test_nothing_derived_is_known_across_downtime() -> None:
    """Stopped for an hour: no judging, so no time known."""
    day = Day(margin_limit())
    day.pass_time(600, **values())
    known = total(day, MARGIN).known_ms
    day.now += 3_600_000
    day.put(Kind.STARTED, {"offset_ms": 0})
    day.flow.tick(day.now + 60_000, day.out.sheet)
    assert total(day, MARGIN).known_ms == known


def test_batches_and_a_restart_from_a_checkpoint_give_the_same_sheets() -> None:
    """All at once, one by one, and from checkpoints in between: equal to the last digit."""
    day, chance = Day(margin_limit()), random.Random(7)
    for _ in range(120):
        day.now += chance.randrange(1, 40_000)
        name = chance.choice(sorted(values()))
        day.send(name, values()[name] + chance.random())
    whole = Outcomes()
    Flow().advance(day.entries, whole)
    flow, parts = Flow(), Sheet()
    for each in day.entries:
        flow, outcomes = Flow.from_checkpoint(flow.checkpoint()), Outcomes()
        flow.advance([each], outcomes)
        for key, sums in outcomes.sheet.buckets.items():
            add(parts.buckets.setdefault(key, Sums()), sums)
    assert parts.buckets == whole.sheet.buckets == day.out.sheet.buckets
    assert {name for name, _ in parts.buckets} > {"steel", MARGIN}
