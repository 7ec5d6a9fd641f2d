"""Time to limit and warnings ahead through the whole fold: from messages to event, notice and board."""

from __future__ import annotations

import dataclasses
import json

import pytest

from alerts import time_to_limit
from alerts.measured import Quantity, unknown
from alerts.time_to_limit import Outlook
from gateway import entry, flow_ahead, overview
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from tests.sites import margin_limit, site
from tests.test_flow import Day, values

DEW_C = 9.26  # of 20 °C and 50 %RH: the margin is the steel's temperature less this


def fall(day: Day, from_k: float, to_k: float, minutes: int) -> None:
    """The steel falls evenly from one margin to another; every sensor speaks every 20 s, none stands still."""
    for step in range(minutes * 3):
        day.now += 20_000
        share = step / (minutes * 3)
        alive = 0.02 * (step % 3)
        for name, value in values(steel=round(DEW_C + from_k + (to_k - from_k) * share, 2)).items():
            day.send(name, round(value + alive, 2))


def steady(day: Day, margin_k: float, minutes: int) -> None:
    fall(day, margin_k, margin_k, minutes)


def events(found: Outcomes, *changes: str) -> list[dict[str, object]]:
    limits = (each for each in map(json.loads, found.events) if not each["number"].startswith("K-"))
    return [each for each in limits if each["change"] in changes]


@pytest.fixture(scope="module")
def evening() -> Day:
    """An hour at 12 K, then down to 0 K within an hour and a half."""
    day = Day(margin_limit())
    steady(day, 12.0, 60)
    fall(day, 12.0, 0.0, 96)
    return day


def test_a_fall_is_warned_of_before_the_limit_is_crossed(evening: Day) -> None:
    """A site that knows nothing yet, and steel that falls by 1 K in 8 min: five minutes or more, once."""
    said = events(evening.out, "close ahead", "outside limits")
    assert [e["change"] for e in said] == ["close ahead", "outside limits"]
    assert said[0]["verdict"] in ("inside limits", "close to limit")
    ahead_min = (said[1]["core_ms"] - said[0]["core_ms"]) / 60_000  # type: ignore[operator]
    assert 5 <= ahead_min <= 60
    assert "crosses in about" in str(said[0]["reason"])
    assert time_to_limit.NO_HISTORY in str(said[0]["reason"])
    assert said[0]["number"] != said[1]["number"]


def test_the_warning_reaches_a_person_one_step_lower_and_says_it_is_a_forecast(evening: Day) -> None:
    """Its own title, the expected clock times, and no advice to stop: nothing is outside yet."""
    ahead = next(n for n in evening.out.notices if "Likely to leave limits soon" in n.title)
    assert ahead.priority == "medium"
    assert "Expected about " in ahead.body
    assert "A forecast, not a reading." in ahead.body
    assert "Stop blasting" not in ahead.title + ahead.body


def test_folding_the_entries_again_says_the_same_also_across_a_checkpoint(evening: Day) -> None:
    """The forecast is a function of the entries alone: byte for byte, and the whole state."""
    again, out = Flow(), Outcomes()
    half = len(evening.entries) // 2
    again.advance(evening.entries[:half], out)
    again = Flow.from_checkpoint(again.checkpoint())
    again.advance(evening.entries[half:], out)
    assert out.events == evening.out.events
    assert again.state.ahead == evening.flow.state.ahead


def test_what_is_expected_is_on_the_board(evening: Day) -> None:
    """Outside now: when it may be inside again, or that it is not expected; with what it is from."""
    board = overview.board(evening.flow, evening.now)
    assert board is not None
    limit = board.verdicts[0].limits[0]
    assert limit.outlook is not None
    assert not limit.outlook.inside
    assert limit.ahead.startswith("outside now; ")
    assert overview.standing_still(board, "disk full", 0).verdicts[0].limits[0].ahead == ""


def test_silence_ends_the_forecast_and_is_no_good_one() -> None:
    """A minute after the last word nothing is expected any more; after a pause it begins anew."""
    day = Day(margin_limit())
    steady(day, 8.0, 30)
    state, limit = day.flow.state, day.flow.judging.limits["margin"]
    assert flow_ahead.outlook(state, limit, day.flow.judged["margin"], day.now).within
    day.pass_time(300)
    found = flow_ahead.outlook(state, limit, day.flow.judged["margin"], day.now)
    assert found == Outlook(why_not=time_to_limit.UNKNOWN)
    day.pass_time(900)
    steady(day, 8.0, 3)
    found = flow_ahead.outlook(state, limit, day.flow.judged["margin"], day.now)
    assert found == Outlook(why_not=time_to_limit.TOO_SHORT)


def test_an_old_forecast_is_not_shown() -> None:
    """The same word four minutes later, without a closed minute since, is none."""
    day = Day(margin_limit())
    steady(day, 8.0, 30)
    state, limit, judged = day.flow.state, day.flow.judging.limits["margin"], day.flow.judged["margin"]
    assert flow_ahead.outlook(state, limit, judged, day.now + 60_000).within
    assert flow_ahead.outlook(state, limit, judged, day.now + 240_000).why_not == time_to_limit.UNKNOWN


def test_a_minute_is_the_mean_of_what_was_judged_in_it() -> None:
    """Noise within a minute is averaged: 7.5 and 8.5 K by turns are 8 K, so 5 K inside the limit."""
    day = Day(margin_limit())
    for turn in range(3 * 20):
        fall(day, 8.0, 8.0, 0)
        day.now += 20_000
        for name, value in values(steel=DEW_C + (7.5 if turn % 2 else 8.5)).items():
            day.send(name, value)
    track = day.flow.state.ahead["margin"].track
    assert track.now is not None
    assert time_to_limit.Scale.of(day.flow.judging.limits["margin"]).distance(track.now) == pytest.approx(
        5.0, abs=0.25
    )


def test_another_threshold_is_another_limit_and_a_withdrawn_one_is_forgotten() -> None:
    """What was learned of 3 K says nothing of 5 K."""
    day = Day(margin_limit())
    steady(day, 8.0, 20)
    assert day.flow.state.ahead["margin"].track.known > 10
    body = canonical.config_set(site(margin_limit(threshold=5.0)), "keeper", "test")
    day.add(entry.plain(Kind.CONFIG_SET, day.now, body))
    steady(day, 8.0, 3)
    assert day.flow.state.ahead["margin"].track.known < 5
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(site(), "keeper", "test")))
    steady(day, 8.0, 1)
    assert day.flow.state.ahead == {}


def test_nothing_is_promised_of_the_humidity_of_the_air_nor_of_limits_that_count_together() -> None:
    """The board says why instead."""
    rh = Quantity.RELATIVE_HUMIDITY
    air = margin_limit(id="air", quantity=rh, relation="at most", threshold=85.0, unit="%RH",
                       deadband=2.0, deadband_unit="%RH")  # fmt: skip
    first, second = margin_limit(group="g"), margin_limit(id="other", threshold=5.0, group="g")
    day = Day(air, first, second)
    steady(day, 8.0, 20)
    assert day.flow.state.ahead == {}
    board = overview.board(day.flow, day.now)
    assert board is not None
    assert {limit.ahead for limit in board.verdicts[0].limits} == {time_to_limit.TOO_FAST, flow_ahead.GROUPED}


def test_a_warning_is_kept_back_while_another_activity_suppresses_the_limit() -> None:
    """Washing: written down with why, told to nobody."""
    day = Day(margin_limit())
    day.put(Kind.ACTION, {"act": "begin", "area": "A", "activity": "washing", "person": "lead"})
    steady(day, 12.0, 60)
    fall(day, 12.0, 3.2, 70)
    said = events(day.out, "close ahead", "kept back")
    assert [e["change"] for e in said[:2]] == ["close ahead", "kept back"]
    assert day.out.notices == []


def test_a_budget_of_none_warns_of_the_nearly_certain_only() -> None:
    """The site lead's word: with no false warning allowed the same evening brings none, or a later one."""
    day = Day(margin_limit())
    strict = dataclasses.replace(site(margin_limit()), false_warnings_a_week=0.0)
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(strict, "keeper", "test")))
    steady(day, 12.0, 60)
    fall(day, 12.0, 3.2, 70)
    assert events(day.out, "close ahead") == []


def test_a_value_lost_this_second_has_no_forecast_and_spoils_its_minute() -> None:
    """The last closed minute may be good: what is unknown now has none, and its minute is unknown."""
    day = Day(margin_limit())
    steady(day, 8.0, 30)
    state, limit, judged = day.flow.state, day.flow.judging.limits["margin"], day.flow.judged["margin"]
    gone = dataclasses.replace(judged, condition=judged.condition._replace(measured=unknown("broken", 0)))
    assert flow_ahead.outlook(state, limit, judged, day.now).within
    assert flow_ahead.outlook(state, limit, gone, day.now).why_not == time_to_limit.UNKNOWN
    list(flow_ahead.take(state, [(limit, state.ahead["margin"])], {"margin": gone}, 2.0))
    assert state.ahead["margin"].count == 0
