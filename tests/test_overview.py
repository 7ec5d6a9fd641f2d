"""The board's values: what the flow knows, in the words a person reads."""

from __future__ import annotations

from alerts.limits import Verdict
from gateway.board import Board
from gateway.entry import Arrival
from gateway.overview import board
from tests.sites import margin_limit
from tests.test_flow import Day, values


def shown(day: Day) -> Board:
    made = board(day.flow, day.now)
    assert made is not None
    return made


def test_without_a_limit_every_activity_says_so() -> None:
    """No limit set is a verdict of its own, never a good one."""
    day = Day()
    day.pass_time(60, **values())
    said = {(v.activity, v.verdict) for v in shown(day).verdicts}
    assert said == {("blasting", Verdict.NO_LIMIT), ("coating", Verdict.NO_LIMIT)}


def test_the_worst_limit_speaks_for_an_activity() -> None:
    """One limit inside and one outside: the area is outside, and both are shown, the worse first."""
    day = Day(margin_limit(), margin_limit(id="strict", threshold=12.0, activities=("coating",)))
    day.pass_time(60, **values())
    verdicts = {v.activity: v for v in shown(day).verdicts}
    assert verdicts["blasting"].verdict is Verdict.INSIDE
    assert [limit.verdict for limit in verdicts["coating"].limits] == [Verdict.OUTSIDE, Verdict.INSIDE]


def test_before_anything_is_heard_all_is_unknown_with_a_reason() -> None:
    """A new start shows no verdict but unknown, and no gap that looks dry."""
    day = Day(margin_limit())
    day.pass_time(10)
    made = shown(day)
    assert {v.verdict for v in made.verdicts} == {Verdict.UNKNOWN}
    assert all(limit.reason for v in made.verdicts for limit in v.limits)
    assert all(gap.margin_k is None and gap.reason for gap in made.gaps)


def test_a_gap_carries_both_ends_the_limit_and_the_uncertainty() -> None:
    """The bar runs from the dew point to the steel, the notch is the limit."""
    day = Day(margin_limit())
    day.pass_time(60, **values())
    (steel,) = [gap for gap in shown(day).gaps if gap.group.startswith("steel")]
    assert steel.condensation_point_c is not None and steel.temperature_c == 20.0
    assert steel.margin_k is not None
    assert abs(steel.temperature_c - steel.condensation_point_c - steel.margin_k) < 1e-4
    assert (steel.limit_k, steel.frost) == (3.0, False)
    assert steel.expanded_u_k is not None and 0.5 < steel.expanded_u_k < 1.5


def test_rejections_and_ages_are_on_the_board() -> None:
    """What was refused is counted by reason; each sensor shows its age or why it has none."""
    day = Day(margin_limit())
    day.arrive(Arrival("dewgate/test/steel", b"hello"))
    day.send("steel", 20.0)
    day.pass_time(30)
    made = shown(day)
    assert made.counts.rejected_by_code == (("not SenML", 1),)
    ages = {line.sensor: line for line in made.sensors}
    assert ages["steel"].age_ms == 30_000
    assert ages["air-t"].age_ms is None and "no current reading" in ages["air-t"].reason


def test_an_alarm_stands_on_the_board_until_it_is_over() -> None:
    """Number, state in the words of ISA-18.2, advice, value and limit."""
    day = Day(margin_limit())
    day.pass_time(120, **values(steel=11.0))
    (line,) = shown(day).alarms
    assert (line.number, line.state, line.title) == ("A-1", "unacknowledged", "Stop blasting area A")
    assert "at least 3 K (test specification 4.2)" in line.body
