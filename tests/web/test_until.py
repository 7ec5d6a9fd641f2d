"""Until when a verdict stands: the forecast's own minutes as times of day; the first or last limit decides."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.limits import Verdict
from alerts.time_to_limit import NOT_OFFERED, Outlook
from gateway.board import JudgedLimit
from gateway.web.tongue import translated
from gateway.web.until import until
from tests.web.made import area, judged

AT = 29_732_440  # minutes from 1970: 2026-07-13 12:40 UTC, 14:40 in Oslo
INSIDE = Outlook(utc_minute=AT, inside=True, reach_min=120)
OUTSIDE = replace(INSIDE, inside=False)
SILENT = Outlook(NOT_OFFERED)


def limit(verdict: Verdict, outlook: Outlook | None) -> JudgedLimit:
    return replace(judged(verdict), outlook=outlook)


def said(verdict: Verdict, *limits: tuple[Verdict, Outlook | None]) -> list[str]:
    return until(area(verdict, "A", "blasting", *(limit(*each) for each in limits)), "Europe/Oslo")


@pytest.mark.parametrize(
    ("sentence", "outlooks"),
    [
        ("No crossing is expected until 16:40.", [{}]),
        ("No crossing is expected until 16:40.", [{"reach_min": 480}, {}]),
        ("May be outside from 15:40 on, more likely not before 16:40.", [{"earliest_min": 60.0}]),
        (
            "Expected to be outside from about 15:10, maybe from 14:50 on.",
            [{"earliest_min": 20.0, "likely_min": 30.0}, {"earliest_min": 10.0, "likely_min": 90.0}],
        ),
    ],
)
def test_the_first_limit_to_be_crossed_decides(sentence: str, outlooks: list[dict[str, float]]) -> None:
    """Of several, the earliest of each; without any, as far as all of them see."""
    ahead = [(Verdict.INSIDE, replace(INSIDE, **each)) for each in outlooks]  # type: ignore[arg-type]
    assert said(Verdict.INSIDE, *ahead) == [sentence]
    assert translated(sentence, "es") != sentence


def test_the_last_limit_to_return_decides() -> None:
    """One that is not expected back holds the area; a limit that is inside has no say."""
    back, later = replace(OUTSIDE, again_min=15.0), replace(OUTSIDE, again_min=40.0)
    inside = (Verdict.INSIDE, replace(INSIDE, earliest_min=1.0, likely_min=2.0))
    both = [(Verdict.OUTSIDE, back), (Verdict.OUTSIDE, later)]
    assert said(Verdict.OUTSIDE, *both, inside) == ["Expected inside again at about 15:20."]
    never = [*both, (Verdict.OUTSIDE, OUTSIDE)]
    assert said(Verdict.OUTSIDE, *never) == ["Not expected inside again within 2 h."]


def test_what_is_not_forecast_is_named_and_nothing_is_said_of_the_unknown() -> None:
    """Silence is never a promise."""
    crossing = (Verdict.CLOSE, INSIDE)
    assert said(Verdict.CLOSE, crossing, (Verdict.INSIDE, SILENT), (Verdict.INSIDE, None)) == [
        "No crossing is expected until 16:40.", "No forecast of: dew point margin.",
    ]  # fmt: skip
    assert said(Verdict.INSIDE, (Verdict.INSIDE, SILENT)) == ["No forecast of: dew point margin."]
    assert said(Verdict.UNKNOWN, (Verdict.UNKNOWN, INSIDE)) == []
