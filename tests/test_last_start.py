"""The last blast start and "inside again by": from a forecast to the board and the phone."""

from __future__ import annotations

import dataclasses

import pytest

from alerts.alarm import Change
from alerts.measured import Measured, Quantity, Validity
from alerts.notification import NOTHING, Foreseen, Reader, Standing, body
from alerts.time_to_limit import HISTORY, NO_HISTORY, TOO_SHORT, Outlook
from gateway import flow_ahead, last_start, overview
from gateway.jobsite import Area, Jobsite
from gateway.last_start import Start
from gateway.web.tongue import whole
from tests.sites import margin_limit, site
from tests.test_flow import Day
from tests.test_flow_ahead import fall, steady

MIN = 60_000
UTC_MIN = 29_672_640  # 2026-06-02 00:00 UTC
NOW = UTC_MIN * MIN
CROSSING = ((60, 0.05), (120, 0.3), (240, 0.9))


def place(hours: float | None = 2.0, *others: object) -> tuple[Jobsite, Area]:
    made = site(margin_limit(), *others)  # type: ignore[arg-type]
    (area,) = made.areas
    area = dataclasses.replace(
        area, prime_within_s=hours and hours * 3600, prime_clause="spec 5.1" if hours else ""
    )
    return dataclasses.replace(made, areas=(area,)), area


def expected(early: float | None, likely: float | None = None, reach: int = 480) -> Outlook:
    """A margin that is inside and crosses so many minutes on."""
    return Outlook("", HISTORY, UTC_MIN, True, reach, CROSSING, early, likely, None)


@pytest.fixture
def outlooks(monkeypatch: pytest.MonkeyPatch) -> dict[str, Outlook]:
    """What the forecast says of each limit."""
    said: dict[str, Outlook] = {}
    monkeypatch.setattr(flow_ahead, "outlook", lambda state, limit, judged, core_ms: said[limit.id])
    return said


def clock(outlook: Outlook, outlooks: dict[str, Outlook], hours: float = 2.0) -> tuple[str, bool]:
    outlooks["margin"] = outlook
    made, area = place(hours)
    start = last_start.of_area(Day().flow.state, made, area, {"margin": object()}, 0)  # type: ignore[dict-item]
    assert start is not None
    found = last_start.clock(start, made, area, NOW)
    return str(found.says), found.due


@pytest.mark.parametrize(
    ("outlook", "hours", "begins", "due"),
    [
        (expected(300.0, 360.0), 2.0, "03:00 UTC+00:00 in nine of ten: a limit may be crossed from 05:00", False),
        (expected(60.0), 2.0, "passed: a limit may be crossed from 01:00 UTC+00:00 on; to prime 2 h 00 min", True),
        (expected(None), 2.0, "06:00 UTC+00:00 or later: no crossing within 8 h", False),
        (expected(None, reach=120), 8.0, "not foreseen: steel may stand 8 h 00 min", False),
        (Outlook(TOO_SHORT), 2.0, TOO_SHORT, False),
        (Outlook("", HISTORY, UTC_MIN, False, 480), 2.0, "outside limits now", False),
    ],
    ids=[
        "crossing less the time to prime",
        "too late",
        "beyond reach",
        "reach too short",
        "no history",
        "outside",
    ],
)
def test_the_start_is_the_crossing_less_the_time_to_prime(
    outlook: Outlook, hours: float, begins: str, due: bool, outlooks: dict[str, Outlook]
) -> None:
    """Crossed in one of ten cases 5 h on, 2 h to prime: 3 h on. What is not known is said, with its grounds."""
    text, passed = clock(outlook, outlooks, hours)
    assert text.startswith(begins)
    assert passed is due
    if outlook.basis and outlook.inside:
        assert text.endswith(f"({HISTORY})")


def test_the_limit_that_allows_least_decides_and_unknown_comes_before_it(outlooks: dict[str, Outlook]) -> None:
    """Steel at most 40 C crosses sooner than the margin; where one is not known, nothing is promised."""
    hot = margin_limit(
        id="hot", quantity=Quantity.STEEL_TEMPERATURE, relation="at most", threshold=40.0, unit="°C"
    )
    made, area = place(2.0, hot)
    state, judged = Day().flow.state, {"margin": object(), "hot": object()}
    outlooks |= {"margin": expected(300.0), "hot": expected(200.0)}
    start = last_start.of_area(state, made, area, judged, 0)  # type: ignore[arg-type]
    assert start is not None
    assert (start.limit.id, start.utc_ms) == ("hot", NOW + 80 * MIN)
    outlooks["margin"] = Outlook(TOO_SHORT)
    start = last_start.of_area(state, made, area, judged, 0)  # type: ignore[arg-type]
    assert start is not None
    assert (start.limit.id, start.utc_ms) == ("margin", None)


def test_without_a_time_to_prime_nothing_is_said(outlooks: dict[str, Outlook]) -> None:
    """The program knows none of its own; and a site whose humidity is limited says that it is not foreseen."""
    made, area = place(None)
    assert last_start.of_area(Day().flow.state, made, area, {}, 0) is None
    damp = margin_limit(
        id="rh", quantity=Quantity.RELATIVE_HUMIDITY, relation="at most", threshold=85.0, unit="%RH"
    )
    made, area = place(2.0, damp)
    said = Start(margin_limit(), expected(300.0), NOW + 180 * MIN)
    assert last_start.clock(said, made, area, NOW).warning == last_start.OTHERS
    assert whole(last_start.clock(said, made, area, NOW).says.text, "es").startswith("{last} en nueve de diez")


def test_a_breach_says_when_it_is_likely_over_and_a_warning_when_it_crosses() -> None:
    """Half past and four hours on; not at all within reach; of other changes nothing."""
    outside = Outlook("", NO_HISTORY, UTC_MIN, False, 120, again_min=30.0, again_by_min=90.0)
    found = last_start.foreseen(outside, Change.BREACH)
    assert found == Foreseen((), (NOW + 30 * MIN, NOW + 90 * MIN), "2 h", False)
    never = dataclasses.replace(outside, again_min=None, again_by_min=None)
    assert last_start.foreseen(never, Change.BREACH).again == (None, None)
    assert last_start.foreseen(expected(60.0, 90.0), Change.CLOSE).moments == (
        NOW + 60 * MIN,
        NOW + 90 * MIN,
        None,
    )
    for nothing in (expected(None), Outlook(TOO_SHORT)):
        assert last_start.foreseen(nothing, Change.CLOSE) == NOTHING
    assert last_start.foreseen(outside, Change.RETURNED) == NOTHING


def told(foreseen: Foreseen, change: Change = Change.BREACH, language: str = "en") -> str:
    value = Measured(2.5, 0.2, 0, Validity.GOOD)
    return body([Standing("A-1", change, margin_limit(), "area A", "", value, NOW, foreseen=foreseen)],
                Reader(language))  # fmt: skip


def test_the_phone_says_it_as_a_forecast_and_that_there_is_no_history() -> None:
    """In both languages, with the clock of the site."""
    again = Foreseen((), (NOW + 30 * MIN, NOW + 90 * MIN), "2 h", False)
    text = told(again)
    assert "Inside again about 00:30, in nine of ten by 01:30. A forecast" in text
    assert "No history of this site yet" in text
    assert "De nuevo en límites hacia las 00:30" in told(again, language="es")
    assert "Not expected inside again within 2 h" in told(
        dataclasses.replace(again, again=(None, None), history=True)
    )
    ahead = Foreseen((NOW, NOW, None), (), "8 h", True, NOW + 60 * MIN, "2 h", "spec 5.1")
    text = told(ahead, Change.AHEAD)
    assert "Last blast start 01:00, in nine of ten: to prime 2 h (spec 5.1)." in text
    assert "No history" not in text
    assert "Expected about 00:00, in nine of ten not before 00:00. A forecast" in text
    closed = dataclasses.replace(ahead, moments=(NOW, NOW + 30 * MIN, NOW + 90 * MIN))
    assert "Expected about 00:30, in eight of ten from 00:00 to 01:30. A" in told(closed, Change.AHEAD)
    assert "hacia las 00:30; ocho de diez, 00:00 a 01:30" in told(closed, Change.AHEAD, "es")
    late = dataclasses.replace(ahead, start=NOW - MIN)
    assert "not likely primed in time" in told(late, Change.AHEAD)


def test_a_site_of_one_evening_says_it_on_the_board_and_the_phone() -> None:
    """An hour at 12 K, then down: the warning has its last start, the breach its way back; no history."""
    made, _ = place(0.5)
    day = Day(at=made)
    steady(day, 12.0, 60)
    board = overview.board(day.flow, day.now)
    assert board is not None
    (line,) = [each for each in board.steel[0].clocks if each.name == last_start.NAME]
    assert NO_HISTORY in str(line.says)
    fall(day, 12.0, 2.0, 96)
    bodies = {each.title.partition(" ")[2]: each.body for each in day.out.notices}
    warned = next(text for title, text in bodies.items() if "Close to limit" in title or "Likely" in title)
    assert "Last blast start" in warned or "not likely primed in time" in warned
    assert "No history of this site yet" in warned
    assert "inside again" in bodies["Stop blasting area A"].lower()
