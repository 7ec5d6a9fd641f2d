"""The four-state note beside a verdict, and how probable it is that the true value conforms."""

from __future__ import annotations

import pytest

from alerts.alarm import Change
from alerts.limits import Verdict, conformity_note, judge, probability_of_conformance
from alerts.measured import Measured, Quantity, Validity, unknown
from alerts.notification import Reader, Standing, body
from gateway.overview import board
from tests.sites import margin_limit
from tests.test_flow import Day, values

HUMIDITY = {"quantity": Quantity.RELATIVE_HUMIDITY, "relation": "at most", "threshold": 85.0, "unit": "%RH"}


def read(value: float, u: float | None = 0.35, validity: Validity = Validity.GOOD) -> Measured:
    return Measured(value, u, 0, validity)


@pytest.mark.parametrize(
    ("margin_k", "state"),
    [
        (3.70, "conforms"),  # at the edge of the guard band, U = 0.7 K
        (3.69, "conforms, within the uncertainty"),
        (3.00, "conforms, within the uncertainty"),  # at least 3 K holds at 3 K
        (2.99, "does not conform, within the uncertainty"),
        (2.30, "does not conform, within the uncertainty"),
        (2.29, "does not conform"),
    ],
)
def test_four_states_by_a_guard_band_of_u(margin_k: float, state: str) -> None:
    """ILAC-G8:09/2019, 4.2.3 with w = U = 0.7 K about a lower limit of 3 K."""
    assert conformity_note(margin_limit(), read(margin_k)) == f"simple acceptance; {state}"


@pytest.mark.parametrize(
    ("rh", "state"),
    [(0.80, "conforms"), (0.84, "conforms, within the uncertainty"),
     (0.86, "does not conform, within the uncertainty"), (0.90, "does not conform")],
)  # fmt: skip
def test_an_upper_limit_has_the_same_states_the_other_way_round(rh: float, state: str) -> None:
    """At most 85 %RH with U = 2 %RH."""
    assert conformity_note(margin_limit(**HUMIDITY), read(rh, 0.01)).endswith(f"; {state}")


def test_what_is_not_known_or_not_stated_is_said() -> None:
    """No value, a bound that does not decide, an accuracy not stated: none of them reads like a plain state."""
    limit = margin_limit()
    assert conformity_note(limit, unknown("silent", 0)).endswith("; not known whether it conforms")
    assert conformity_note(limit, read(2.0, 0.1, Validity.BOUND)).endswith("; not known whether it conforms")
    assert conformity_note(limit, read(5.0, 0.1, Validity.BOUND)).endswith("; conforms")
    assert conformity_note(limit, read(5.0, None)).endswith("; conforms, uncertainty not stated")
    assert conformity_note(limit, read(1.0, None)).endswith("; does not conform, uncertainty not stated")


def test_the_note_names_the_rule_and_leaves_the_verdict_alone() -> None:
    """A guarded limit refuses what lies in its guard band; the note tells where the value itself is."""
    guarded = margin_limit(decision_rule="guarded")
    assert judge(guarded, read(3.5)).verdict is Verdict.OUTSIDE
    said = "guarded by U; before the guard band: conforms, within the uncertainty"
    assert conformity_note(guarded, read(3.5)) == said
    assert judge(margin_limit(), read(3.5)).verdict is Verdict.CLOSE


@pytest.mark.parametrize(
    ("margin_k", "expected"), [(3.0, 0.500), (3.3, 0.804), (3.576, 0.950), (3.7, 0.977), (2.5, 0.077)]
)
def test_probability_for_a_lower_limit_of_3_k(margin_k: float, expected: float) -> None:
    """u = 0.35 K, normal: JCGM 106:2012, 7.2, to three decimals. A displayed 3.0 K is even odds."""
    assert probability_of_conformance(margin_k - 3.0, 0.35) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(("guard_in_u", "percent"), [(2.0, 2.28), (1.645, 5.0), (0.0, 50.0)])
def test_probability_of_false_acceptance_at_the_edge_of_a_guard_band(guard_in_u: float, percent: float) -> None:
    """w = 2u leaves 2.28 % (JCGM 106:2012, 8.3; ILAC-G8:09/2019, table 1: below 2.5 %), simple acceptance 50 %."""
    assert 100 * (1 - probability_of_conformance(guard_in_u * 0.2, 0.2)) == pytest.approx(percent, abs=0.005)


def test_the_note_stands_on_the_board_and_in_the_alert() -> None:
    """Simple acceptance never stands alone; before anything is known, nothing is said of it."""
    day = Day(margin_limit())
    day.pass_time(120, **values(steel=11.0))
    made = board(day.flow, day.now)
    assert made is not None
    assert {limit.rule for v in made.verdicts for limit in v.limits} == {"simple acceptance; does not conform"}
    (notice,) = day.out.notices
    assert "Rule: simple acceptance; does not conform." in notice.body
    said = Standing("A-1", Change.UNKNOWN, margin_limit(), "shell", "", unknown("silent", 0), 0)
    silent = body([said], Reader())
    assert "Rule" not in silent
