"""Who is told of what, who is not, and that the journal says why; through the whole fold."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.limits import Limit
from alerts.measured import Quantity
from gateway.duty import on_duty, wait_ms
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite, Person
from tests.sites import T0, margin_limit, site
from tests.test_flow import Day, values

LEAD = Person("lead", "site lead", ("lead-phone",))
CHIEF = Person("chief", "project manager", ("chief-phone",), after_s=600.0)
HUMID = {
    "id": "humidity", "quantity": Quantity.RELATIVE_HUMIDITY, "relation": "at most", "threshold": 85.0,
    "unit": "%RH", "deadband": 2.0, "deadband_unit": "%RH",
}  # fmt: skip
MINUTE = 60_000


def crew(*people: Person, limits: tuple[Limit, ...] = (margin_limit(),)) -> Jobsite:
    return replace(site(*limits), people=people or (LEAD,))


def messages(day: Day) -> list[tuple[str, str]]:
    return [(each.person, each.title) for each in day.out.notices]


def whys(day: Day) -> list[str]:
    return [why for _, _, why in day.told()]


def test_a_dead_station_is_one_message_not_nine() -> None:
    """Nine limits that need the air of one station: one message names the station and how many are unknown."""
    limits = tuple(
        margin_limit(id=f"{quantity}{n}", quantity=quantity, unit=unit, threshold=50.0, deadband_unit=unit)
        for n in range(3)
        for quantity, unit in (
            (Quantity.DEW_POINT_MARGIN, "K"), (Quantity.RELATIVE_HUMIDITY, "%RH"), (Quantity.RH_AT_STEEL, "%RH"),
        )
    )  # fmt: skip
    day = Day(at=crew(limits=tuple(replace(each, threshold=0.0, relation="at least") for each in limits)))
    day.pass_time(300, **values())
    alive = {"steel": 20.0}
    day.pass_time(900, **alive)
    assert messages(day) == [("lead", "A-1 Nothing usable from deck: 9 limits unknown. Treat as outside limits.")]
    assert sum(change == "unknown" for _, change in day.changes()) == 9
    assert "power, antenna and cable of deck" in day.out.notices[0].body


def test_alarms_of_one_cause_within_the_gathering_time_are_one_message() -> None:
    """Margin and humidity break in the same second; the advice of both is in the one message."""
    humid = margin_limit(**HUMID, advice="Do not start the coat on area A")
    day = Day(at=crew(limits=(margin_limit(), humid)))
    day.pass_time(120, **values(air_rh=95.0))
    day.pass_time(20, **values(air_rh=95.0))
    assert messages(day) == [("lead", "A-1 Stop blasting area A (+1 more)")]
    assert "Also A-2: Do not start the coat on area A" in day.out.notices[0].body


def test_unknown_that_turns_out_to_be_outside_is_told_anew_and_no_more_as_unknown() -> None:
    """The repeat is of the breach; acknowledging the old number does not acknowledge the new alarm."""
    day = Day(at=crew(replace(LEAD, repeat_s=1800.0)))
    day.pass_time(420, **{name: value for name, value in values().items() if name != "steel"})
    day.pass_time(120, **values(steel=11.0))
    assert messages(day) == [
        ("lead", "A-1 Unknown: area A shell. Treat as outside limits."), ("lead", "A-2 Stop blasting area A"),
    ]  # fmt: skip
    day.act("acknowledge", number="A-1")
    assert day.flow.state.alarms["margin"].state == "unacknowledged"
    day.pass_time(2400, **values(steel=11.0))
    assert messages(day)[2:] == [("lead", "A-2 Still: Stop blasting area A")]


def test_a_warning_that_came_before_is_not_acknowledged_in_its_place() -> None:
    """Close to limit, then outside: the number of the warning acknowledges nothing."""
    day = Day(at=crew())
    day.pass_time(180, **values(steel=12.8))
    day.pass_time(180, **values(steel=11.0))
    assert [title.split(",")[0] for _, title in messages(day)] == [
        "A-1 Close to limit: area A shell", "A-2 Stop blasting area A",
    ]  # fmt: skip
    day.act("acknowledge", number="A-1")
    assert day.flow.state.alarms["margin"].state == "unacknowledged"


def test_warnings_of_one_place_that_ask_for_the_same_come_once_an_hour() -> None:
    """Margin and humidity at the steel come close minutes apart: the second is kept back, with its reason."""
    second = margin_limit(id="second", threshold=2.0)
    day = Day(at=crew(limits=(margin_limit(threshold=3.5), second)))
    day.pass_time(180, **values(steel=13.2))
    day.pass_time(180, **values(steel=11.8))
    assert [title.split(",")[0] for _, title in messages(day)][:1] == ["A-1 Close to limit: area A shell"]
    assert sum("Close" in title for _, title in messages(day)) == 1
    assert any("the same cause" in why for why in whys(day))


def test_nobody_is_told_again_while_the_alarm_is_on_its_way_back_or_the_train_stands() -> None:
    """Repeats wait while the value is past the deadband; they come again when it falls back."""
    day = Day(at=crew(replace(LEAD, repeat_s=600.0), limits=(margin_limit(off_delay_s=3600.0),)))
    day.pass_time(120, **values(steel=11.0))
    day.pass_time(1800, **values())
    assert len(messages(day)) == 1
    day.pass_time(120, **values(steel=11.0))
    assert len(messages(day)) == 2


def test_a_second_alarm_that_asks_for_the_same_is_kept_back_and_another_advice_is_not() -> None:
    """An hour later humidity breaks, too: told only when it says something new."""
    for advice, count in (("Stop blasting area A", 1), ("Do not start the coat on area A", 2)):
        day = Day(at=crew(limits=(margin_limit(), margin_limit(**HUMID, advice=advice))))
        day.pass_time(300, **values(steel=11.0))
        day.pass_time(300, **values(steel=11.0, air_rh=95.0))
        assert len(messages(day)) == count
        assert ("told as A-1, the same cause" in whys(day)) == (count == 1)


def test_an_alarm_of_higher_priority_is_told_though_the_advice_is_the_same() -> None:
    """What was told as low priority may have gone unread."""
    low, high = margin_limit(priority="low"), margin_limit(**HUMID)
    day = Day(at=crew(limits=(low, high)))
    day.pass_time(300, **values(steel=11.0))
    day.pass_time(300, **values(steel=11.0, air_rh=95.0))
    assert [each.priority for each in day.out.notices] == ["low", "high"]


def test_limits_back_is_told_once_and_only_when_all_of_the_message_is_back() -> None:
    """One limit of two back says nothing yet."""
    humid = margin_limit(**HUMID)
    day = Day(at=crew(limits=(margin_limit(), humid)))
    day.pass_time(180, **values(air_rh=95.0))
    day.pass_time(1500, **values(air_rh=70.0, steel=15.0))  # the humidity is back, the margin not
    assert [change for _, change in day.changes()].count("limits back") == 1
    assert len(messages(day)) == 1
    day.pass_time(700, **values())
    assert messages(day)[1:] == [("lead", "A-1 Limits back: area A shell")]
    day.pass_time(3600, **values())
    assert len(messages(day)) == 2


def test_escalation_reaches_the_next_person_only_if_nobody_acknowledges() -> None:
    """Ten minutes after the alarm, by core time; acknowledged in time it does not."""
    for minutes, reached in ((8, False), (12, True)):
        day = Day(at=crew(LEAD, CHIEF))
        day.pass_time(80, **values(steel=11.0))
        day.pass_time(minutes * 60, **values(steel=11.0))
        day.act("acknowledge", number="A-1")
        day.pass_time(1200, **values(steel=11.0))
        told = [("chief", "A-1 Nobody acknowledged for 10 min: Stop blasting area A")] if reached else []
        assert messages(day) == [("lead", "A-1 Stop blasting area A"), *told]
        assert ("chief: acknowledged before it was their turn" in whys(day)) != reached
    assert "chief: told only if nobody acknowledges within 10 min" in whys(day)


def test_silence_does_not_stop_the_escalation() -> None:
    """Not a single message after the breach: the clock alone escalates, and heartbeats carry it."""
    day = Day(at=crew(LEAD, CHIEF))
    day.pass_time(90, **values(steel=11.0))
    day.pass_time(900)
    assert [person for person, _ in messages(day)] == ["lead", "chief"]


def test_an_unacknowledged_alarm_is_told_again_until_somebody_acknowledges() -> None:
    """Every thirty minutes, and no more after the acknowledgement."""
    day = Day(at=crew(replace(LEAD, repeat_s=1800.0)))
    day.pass_time(3900, **values(steel=11.0))
    assert [title for _, title in messages(day)] == ["A-1 Stop blasting area A"] + 2 * [
        "A-1 Still: Stop blasting area A"
    ]
    day.act("acknowledge", number="A-1")
    day.pass_time(7200, **values(steel=11.0))
    assert len(messages(day)) == 3


def at_hour(hour: int) -> str:
    """Hours of duty that do not hold the moment the tests begin (T0 is 20:26:40 UTC)."""
    return f"{hour:02d}:00-{hour + 1:02d}:00"


def test_off_duty_waits_for_the_hours_where_another_is_on_duty() -> None:
    """The one on duty is told; the other when the hours begin, if nobody acknowledged."""
    off = replace(LEAD, id="early", hours=at_hour(21))
    day = Day(at=crew(LEAD, off))
    day.pass_time(120, **values(steel=11.0))
    assert [person for person, _ in messages(day)] == ["lead"]
    assert "early: off duty (hours 21:00-22:00)" in whys(day)
    day.pass_time(2100, **values(steel=11.0))
    assert [person for person, _ in messages(day)] == ["lead", "early"]
    assert day.out.notices[1].title == "A-1 Stop blasting area A"


def test_a_high_alarm_is_told_though_nobody_is_on_duty_and_a_lower_one_waits() -> None:
    """Never lost: with nobody on duty the high priority goes out at once, and says why."""
    for priority, told in (("high", 1), ("medium", 0)):
        off = replace(LEAD, hours=at_hour(3))
        day = Day(at=crew(off, limits=(margin_limit(priority=priority),)))
        day.pass_time(120, **values(steel=11.0))
        assert len(messages(day)) == told
    assert "lead: off duty (hours 03:00-04:00)" in whys(day)


@pytest.mark.parametrize(
    ("hours", "clock", "on", "wait"),
    [
        ("06:00-18:00", "05:59", False, 1),
        ("06:00-18:00", "06:00", True, 0),
        ("06:00-18:00", "18:00", False, 60),  # asks again within the hour
        ("22:00-06:00", "23:30", True, 0),
        ("22:00-06:00", "05:59", True, 0),
        ("22:00-06:00", "21:30", False, 30),
        ("", "03:00", True, 0),
    ],
)
def test_hours_of_duty_in_site_time(hours: str, clock: str, on: bool, wait: int) -> None:
    """Also over midnight; the zone decides, here five hours behind UTC in June."""
    hour, minute = map(int, clock.split(":"))
    midnight = T0 - T0 % 86_400_000 + 5 * 3_600_000
    now = midnight + (hour * 60 + minute) * MINUTE
    person = replace(LEAD, hours=hours)
    assert on_duty(person, now, "America/Chicago") is on
    if not on:
        assert wait_ms(person, now, "America/Chicago") == wait * MINUTE


def test_a_person_is_told_of_their_priorities_only() -> None:
    """And the journal says why not."""
    day = Day(at=crew(LEAD, replace(LEAD, id="clerk", priorities=("low",))))
    day.pass_time(120, **values(steel=11.0))
    assert [person for person, _ in messages(day)] == ["lead"]
    assert "clerk: not told of high priority" in whys(day)


def test_a_flood_keeps_lower_priorities_back_and_never_the_high_one() -> None:
    """Twelve medium alarms of twelve areas: ten come, one message says that others wait, the high one comes."""
    names = [f"A{n}" for n in range(13)]
    plain = site()
    areas = tuple(replace(plain.areas[0], id=name, label=name) for name in names)
    limits = tuple(
        margin_limit(id=name, area=name, advice=f"Stop {name}", on_delay_s=60.0 + 20 * n, priority="medium")
        for n, name in enumerate(names)
    )
    limits = (*limits[:-1], replace(limits[-1], priority="high"))
    made = replace(plain, areas=areas, limits=limits, people=(LEAD,))
    day = Day(at=made)
    day.pass_time(420, **values(steel=11.0))
    titles = [title for _, title in messages(day)]
    assert titles[:9] == [f"A-{n + 1} Stop A{n}" for n in range(9)]
    assert titles[10] == "A-10 More than 10 messages in 10 min: look at the board"
    assert titles[11:] == ["A-13 Stop A12"]
    assert [why for why in whys(day) if "flood" in why] == 2 * ["lead: flood: more than 10 messages in 10 min"]
    day.pass_time(900, **values(steel=11.0))
    assert sorted(title for _, title in messages(day)[12:]) == ["A-11 Stop A10", "A-12 Stop A11"]


def test_what_is_told_is_the_same_from_any_checkpoint() -> None:
    """Notices, too, follow from entries and core time: folded one by one through checkpoints they are equal."""
    off = replace(LEAD, id="early", hours=at_hour(21), repeat_s=600.0, language="es", units="us")
    made = crew(LEAD, CHIEF, off, limits=(margin_limit(), margin_limit(**HUMID)))
    day = Day(at=made)
    day.pass_time(300, **values(steel=11.0, air_rh=90.0))
    day.act("shelve", number="A-1", until_ms=day.now + 1_200_000, reason="compressor is serviced")
    day.pass_time(2400, **values(steel=11.0, air_rh=90.0))
    day.act("begin", area="A", activity="washing")
    day.pass_time(600, **values(steel=11.0))
    day.put_heartbeat()
    flow, out = Flow(), Outcomes()
    for each in day.entries:
        flow.advance([each], out)
        flow = Flow.from_checkpoint(flow.checkpoint())
    assert out.events == day.out.events
    assert out.notices == day.out.notices and len(out.notices) == 8
