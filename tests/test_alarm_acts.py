"""What persons do to alarms, through the whole fold: holds keep messages back and never an alarm."""

from __future__ import annotations

import pytest

from alerts.alarm import AlarmState
from gateway import acts, overview
from gateway.flow_state import State
from tests.sites import margin_limit
from tests.test_flow import Day, values

HOUR = 3_600_000


def titles(day: Day) -> list[str]:
    return [each.title for each in day.out.notices]


def a_breach(**changes: object) -> Day:
    day = Day(margin_limit(**changes))
    day.pass_time(90, **values(steel=11.0))
    assert titles(day) == ["A-1 Stop blasting area A"]
    return day


def state_of(day: Day) -> AlarmState:
    return day.flow.state.alarms["margin"].shown


def test_a_shelved_alarm_comes_back_by_itself_and_is_told_again() -> None:
    """Quiet until its time is over; then it still stands, unacknowledged, under its own number."""
    day = a_breach()
    day.act("shelve", number="A-1", until_ms=day.now + HOUR, reason="heater is on its way")
    assert day.changes()[-1] == ("A-1", "shelved") and state_of(day) is AlarmState.SHELVED
    day.pass_time(3590, **values(steel=11.0))
    assert len(titles(day)) == 1
    day.pass_time(30, **values(steel=11.0))
    assert day.changes()[-1] == ("A-1", "shelving ended") and state_of(day) is AlarmState.UNACKNOWLEDGED
    assert titles(day)[1:] == ["A-1 Stop blasting area A"]
    assert "lead" in day.out.events[2].decode() and "heater is on its way" in day.out.events[2].decode()


def test_the_end_of_a_shelving_needs_no_message_of_a_sensor() -> None:
    """All sensors fall silent under the shelf: the alarm stands when its time is over."""
    day = a_breach()
    day.act("shelve", number="A-1", until_ms=day.now + HOUR, reason="service")
    day.pass_time(2 * 3600)
    assert state_of(day) is AlarmState.UNACKNOWLEDGED and day.flow.state.alarms["margin"].active
    assert titles(day)[1:] == ["A-1 Stop blasting area A"]


def test_a_new_alarm_under_a_shelf_is_kept_back_with_the_reason() -> None:
    """Back and broken again while shelved: an event, no message, and the journal says why."""
    day = a_breach(off_delay_s=60.0)
    day.act("shelve", number="A-1", until_ms=day.now + HOUR, reason="service")
    day.pass_time(180, **values())
    day.pass_time(180, **values(steel=11.0))
    assert ("A-2", "outside limits") in day.changes()
    assert day.told()[-1] == ("A-2", "kept back", "shelved by lead: service")
    assert len(titles(day)) == 1
    day.act("unshelve", number="A-2", reason="done")
    day.pass_time(20, **values(steel=11.0))
    assert titles(day)[1:] == ["A-2 Stop blasting area A"]


def test_out_of_service_lasts_until_a_person_puts_it_back() -> None:
    """No time ends it; back in service it is told at once."""
    day = a_breach()
    day.act("out_of_service", limit="margin", reason="sensor sent in")
    day.pass_time(2 * 3600, **values(steel=11.0))
    assert state_of(day) is AlarmState.OUT_OF_SERVICE and len(titles(day)) == 1
    board = overview.board(day.flow, day.now)
    assert board is not None and [line.state for line in board.alarms] == ["out of service"]
    day.act("back_in_service", limit="margin", reason="sensor is back")
    day.pass_time(20, **values(steel=11.0))
    assert titles(day)[1:] == ["A-1 Stop blasting area A"]


def test_an_activity_that_does_not_go_on_suppresses_by_design_and_unset_does_not() -> None:
    """Unset: judged and told. Washing: quiet. Blasting begun: told at once, without another on-delay."""
    day = a_breach()
    day.act("begin", area="A", activity="washing")
    day.pass_time(600, **values(steel=11.0))
    assert day.changes()[-1] == ("A-1", "suppressed by design") and state_of(day) is AlarmState.SUPPRESSED
    assert titles(day)[1:] == ["A-1 Limit no longer applies, not back: area A shell"]
    day.act("begin", area="A", activity="blasting")
    day.pass_time(20, **values(steel=11.0))
    assert day.changes()[-1] == ("A-1", "suppression ended")
    assert titles(day)[2:] == ["A-1 Stop blasting area A"]
    day.act("end", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(60, **values(steel=11.0))
    assert state_of(day) is AlarmState.UNACKNOWLEDGED, "no activity at all is unset, not idle"


def test_under_suppression_nothing_is_said_until_the_activity_begins() -> None:
    """Outside through the night, calm in the messages; the first thing in the morning is the alarm."""
    day = Day(margin_limit())
    day.act("begin", area="A", activity="washing")
    day.pass_time(3600, **values(steel=11.0))
    assert titles(day) == [] and day.changes() == [("A-1", "outside limits")]
    assert day.told() == [("A-1", "kept back", "suppressed by design: none of its activities goes on")]
    day.act("begin", area="A", activity="coating")
    day.pass_time(20, **values(steel=11.0))
    assert titles(day) == ["A-1 Stop blasting area A"]


def test_a_latched_alarm_is_reset_by_a_person() -> None:
    """Back, acknowledged, still latched; then reset."""
    day = a_breach(latching=True)
    day.pass_time(700, **values())
    assert state_of(day) is AlarmState.LATCHED_UNACKNOWLEDGED
    day.act("acknowledge", number="A-1")
    assert state_of(day) is AlarmState.LATCHED
    day.act("reset", number="A-1")
    assert state_of(day) is AlarmState.NORMAL and day.changes()[-1] == ("A-1", "reset")


def test_one_acknowledgement_is_for_all_of_a_message() -> None:
    """The message had one number and two alarms; by its own number each is one alarm."""
    humid = margin_limit(id="second", threshold=4.0)
    for number, states in (("A-1", {"acknowledged"}), ("A-2", {"acknowledged", "unacknowledged"})):
        day = Day(margin_limit(), humid)
        day.pass_time(90, **values(steel=11.0))
        assert len(titles(day)) == 1
        day.act("acknowledge", number=number)
        assert {each.state.value for each in day.flow.state.alarms.values() if each.series == "A"} == states


def test_what_cannot_be_is_refused_in_a_sentence() -> None:
    """And a refused act changes nothing."""
    day = a_breach()
    until = day.now + HOUR
    for body, words in (
        ({"act": "acknowledge", "number": "A-9"}, "waits to be acknowledged"),
        ({"act": "reset", "number": "A-1"}, "not latched"),
        ({"act": "shelve", "number": "A-9", "until_ms": until, "reason": "x"}, "no alarm A-9"),
        ({"act": "shelve", "number": "A-1", "until_ms": day.now, "reason": "x"}, "within the next 12 hours"),
        ({"act": "shelve", "number": "A-1", "until_ms": day.now + 13 * HOUR, "reason": "x"}, "within the next 12"),
        ({"act": "shelve", "number": "A-1", "until_ms": "noon", "reason": "x"}, "milliseconds"),
        ({"act": "shelve", "number": "A-1", "until_ms": until}, "needs reason"),
        ({"act": "unshelve", "number": "A-1", "reason": "x"}, "not shelved"),
        ({"act": "out_of_service", "limit": "nothing", "reason": "x"}, "limits: margin"),
        ({"act": "back_in_service", "limit": "nothing", "reason": "x"}, "limits: margin"),
        ({"act": "back_in_service", "limit": "margin", "reason": "x"}, "is in service"),
    ):
        why = acts.refusal(day.flow.state, day.flow.site, {**body, "person": "lead"})
        assert why is not None and words in why, body
    before = day.flow.checkpoint()
    assert acts.refusal(State(), None, {"act": "reset"}) == "No jobsite is set."
    assert day.flow.checkpoint() == before


@pytest.mark.parametrize("act", ["shelve", "out_of_service"])
def test_a_second_time_is_refused(act: str) -> None:
    """A second click changes nothing."""
    day = a_breach()
    body = {"number": "A-1", "until_ms": day.now + HOUR} if act == "shelve" else {"limit": "margin"}
    day.act(act, reason="x", **body)
    why = acts.refusal(day.flow.state, day.flow.site, {"act": act, "person": "lead", "reason": "x", **body})
    assert why is not None and "already" in why
