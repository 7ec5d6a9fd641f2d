"""What a train is doing, from its gauges; and that only a flowing train is judged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.limits import Limit, Verdict
from alerts.measured import Measured, Quantity, Validity, unknown
from gateway.jobsite import Piece, Point, Train
from gateway.train_state import CONDENSED, Doing, Run, deadline_ms, follow, gauges, seen, words
from tests.sites import margin_limit, site
from tests.test_flow import Day, values

GAUGES = Train(
    "T1", "air train 1", ("A",), "deck",
    (
        Piece("receiver", "receiver", "receiver", Point(pressure="line")),
        Piece("pot", "pot", "pot", Point(pressure="pot")),
        Piece("hose", "hose", "hose", Point(pressure="nozzle")),
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("line", "pot", "nozzle", "doing"),
    [
        (7.0, 6.8, 6.2, Doing.FLOWING),
        (7.0, 6.8, 0.0, Doing.STANDING),  # nobody holds the nozzle open
        (7.0, 0.0, 0.0, Doing.VENTED),  # the pot is down, the receiver is not
        (0.1, 0.1, 0.0, Doing.OFF),
        (0.19, 0.0, None, Doing.OFF),
        (None, None, None, Doing.UNKNOWN),
        (7.0, None, None, Doing.FLOWING),  # a silent gauge never says "not running"
        (7.0, 6.8, None, Doing.FLOWING),
        (7.0, None, 0.0, Doing.STANDING),
        (None, 6.8, 6.2, Doing.FLOWING),
    ],
)
def test_the_gauges_say_what_a_train_is_doing(
    line: float | None, pot: float | None, nozzle: float | None, doing: Doing
) -> None:
    """Bar gauge; below 0.2 bar a piece counts as vented."""
    said = {"line": line, "pot": pot, "nozzle": nozzle}

    def read(name: str) -> Measured:
        bar = said[name]
        return unknown("silent", 0) if bar is None else Measured(bar * 1e5, 1.0, 0, Validity.GOOD)

    assert seen(GAUGES, read) is doing


@pytest.mark.parametrize(("flow", "doing"), [(0.1, Doing.FLOWING), (0.019, Doing.STANDING), (None, Doing.FLOWING)])
def test_a_flow_meter_says_it_too(flow: float | None, doing: Doing) -> None:
    """m³/s: below 0.02 a leak; a silent meter never says "not running"."""
    metered = replace(
        GAUGES, pieces=(*GAUGES.pieces[:1], Piece("pot", "pot", "pot", Point(pressure="pot", flow="m")))
    )

    def read(name: str) -> Measured:
        value = flow if name == "m" else 7e5
        return unknown("silent", 0) if value is None else Measured(value, 0.01, 0, Validity.GOOD)

    assert seen(metered, read) is doing
    asked: list[str] = []
    seen(metered, lambda name: (asked.append(name), read(name))[1])
    assert set(gauges(metered)) == set(asked), "it is looked at again when one of these speaks"


def test_warming_up_counts_from_the_pressure_and_not_from_the_first_sight() -> None:
    """Ten minutes after it came under pressure it flows; a train first seen under pressure flows at once."""
    train, minute = replace(GAUGES, warm_up_s=600.0), 60_000
    assert follow(None, train, Doing.FLOWING, 0).doing is Doing.FLOWING
    run = follow(None, train, Doing.OFF, 0)
    run = follow(run, train, Doing.FLOWING, minute)
    assert (run.doing, run.since_ms, deadline_ms(run, train)) == (Doing.WARMING_UP, minute, 11 * minute)
    run = follow(run, train, Doing.STANDING, 5 * minute)
    run = follow(run, train, Doing.FLOWING, 6 * minute)
    assert (run.doing, run.since_ms) == (Doing.WARMING_UP, 6 * minute)
    assert follow(run, train, Doing.FLOWING, 11 * minute - 1).doing is Doing.WARMING_UP
    run = follow(run, train, Doing.FLOWING, 11 * minute)
    assert (run.doing, deadline_ms(run, train)) == (Doing.FLOWING, None)
    run = follow(run, train, Doing.UNKNOWN, 12 * minute)
    assert follow(run, train, Doing.FLOWING, 13 * minute).doing is Doing.FLOWING


def test_after_a_stop_a_person_reads_that_water_may_have_condensed() -> None:
    """ASTM D4285, 4.1: blow out before abrasive."""
    for doing in (Doing.OFF, Doing.VENTED, Doing.STANDING):
        assert words(Run(doing, 0)) == f"the train is {doing}; {CONDENSED}"
    assert words(Run(Doing.FLOWING, 0)) == words(Run(Doing.UNKNOWN, 0)) == ""


def pot_limit() -> Limit:
    return margin_limit(
        id="pot", area="", train="T1", piece="pot", quantity=Quantity.CONDENSATION_MARGIN, threshold=0.0,
        activities=("blasting",),
    )  # fmt: skip


RUN = {"dryer-t": 30.0, "dryer-rh": 60.0, "line-p": 7.0, "pot-skin": 5.0}


def test_a_stopped_train_says_not_running_and_keeps_its_alarm() -> None:
    """The alarm of the flowing train stands through the stop; nothing is raised or cleared meanwhile."""
    day = Day(pot_limit())
    day.pass_time(120, **values(**RUN))
    assert day.changes() == [("A-1", "outside limits")]
    day.pass_time(1800, **values(**{**RUN, "line-p": 0.0, "pot-skin": 29.0}))
    assert day.flow.judged["pot"].judgement.verdict is Verdict.NOT_RUNNING
    assert CONDENSED in day.flow.judged["pot"].judgement.reason
    assert day.changes() == [("A-1", "outside limits")]
    assert day.flow.state.trains["T1"].doing is Doing.OFF


def test_a_train_that_warms_up_is_judged_after_its_time_without_a_message_at_that_moment() -> None:
    """Off, then under pressure and wet: the alarm comes one on-delay after the ten minutes."""
    made = site(pot_limit())
    made = replace(made, trains=(replace(made.trains[0], warm_up_s=600.0),))
    day = Day(at=made)
    day.pass_time(60, **values(**{**RUN, "line-p": 0.0}))
    day.pass_time(600, **values(**RUN))
    assert day.flow.state.trains["T1"].doing is Doing.WARMING_UP
    assert day.changes() == []
    day.pass_time(120, **values(**RUN))
    assert day.changes() == [("A-1", "outside limits")]
