"""An alarm that ends without its limits being back: whoever was told hears so, and never "inside"."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from alerts.alarm import Change
from alerts.ended_words import Ended, body, title
from alerts.limits import Limit
from alerts.notification import Reader
from gateway import entry
from gateway.entry import Kind
from gateway.jobsite import Jobsite, Person
from gateway.payload import canonical
from tests.sites import SENSORS, T0, margin_limit, site
from tests.test_flow import Day, values
from tests.test_flow_telling import HUMID, LEAD, at_hour, crew, messages, whys

HOUR = 3_600_000
CHIEF = Person("chief", "project manager", ("chief-phone",))
STOP = "A-1 Stop blasting area A"
ENGLISH, SPANISH = Reader("en", "", "UTC"), Reader("es", "", "UTC")


def a_breach(*people: Person, limits: tuple[Limit, ...] = (margin_limit(),), work: str = "blasting") -> Day:
    """The limit is broken, and everybody has been told."""
    day = Day(at=crew(*people or (LEAD,), limits=limits))
    day.act("begin", area="A", activity=work)
    day.pass_time(90, **values(steel=11.0))
    assert messages(day)[0] == ("lead", STOP)
    return day


def put_in_force(day: Day, changed: Jobsite) -> None:
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(changed, "keeper", "test")))


def standing(day: Day) -> list[str]:
    """Messages of limits that are not over; the train of these days is silent, which nobody minds."""
    return [each.number for each in day.flow.state.telling.messages if each.audience == "limits"]


def last(day: Day) -> str:
    return day.out.notices[-1].title


def test_the_end_of_the_work_is_told_and_that_limits_were_not_back() -> None:
    """Washing in place of blasting: the limit no longer applies, the steel is as it was."""
    day = a_breach()
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(50, **values(steel=11.0))
    assert len(messages(day)) == 1, "the next activity may begin at once"
    day.pass_time(30, **values(steel=11.0))
    assert messages(day)[1:] == [("lead", "A-1 Blasting ended, limits not back: area A shell")]
    said = day.out.notices[-1].body
    assert (
        "did not come back inside" in said
        and "margin 1.73 K" in said
        and "needs the inspector's disposition" in said
    )
    assert whys(day)[-1] == "lead (lead-phone): suppressed by design"
    day.pass_time(7200, **values(steel=11.0))
    assert len(messages(day)) == 2


@pytest.mark.parametrize("work", ["coating", "priming", "stripe coat"])
def test_after_a_coat_the_inspectors_disposition_is_in_the_title(work: str) -> None:
    """The film cures, for which this limit does not hold."""
    day = a_breach(work=work, limits=(margin_limit(activities=("coating",)),))
    day.act("end", area="A", activity=work)
    day.pass_time(90, **values(steel=11.0))
    name = work[:1].upper() + work[1:]
    assert last(day) == f"A-1 {name} ended, limits not back; area A shell needs the inspector's disposition"


def test_work_that_begins_again_within_a_minute_is_no_news() -> None:
    """Blasting ends, coating begins half a minute later: one alarm, still waiting, told again as it was to be."""
    day = a_breach(replace(LEAD, repeat_s=1800.0))
    day.act("acknowledge", number="A-1")
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(30, **values(steel=11.0))
    day.act("begin", area="A", activity="coating")
    day.pass_time(600, **values(steel=11.0))
    assert len(messages(day)) == 1
    assert "told as A-1, its work goes on again" in whys(day)
    day.pass_time(1500, **values(steel=11.0))
    assert messages(day)[1:] == [("lead", "A-1 Still: Stop blasting area A")]


def test_limits_that_come_back_in_that_minute_are_told_as_back() -> None:
    """The off-delay was about to be over."""
    day = a_breach()
    day.pass_time(590, **values())
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(120, **values())
    assert messages(day)[1:] == [("lead", "A-1 Limits back: area A shell")]


def test_who_shelved_it_is_not_told_and_the_others_are() -> None:
    """With the reason, and until when."""
    day = a_breach(LEAD, CHIEF)
    day.act("shelve", number="A-1", until_ms=day.now + HOUR, reason="heater is on its way")
    day.pass_time(90, **values(steel=11.0))
    assert [person for person, _ in messages(day)[2:]] == ["chief"]
    assert re.fullmatch(r"A-1 Shelved by lead until \d\d:\d\d, not back: area A shell", last(day))
    assert "Reason: heater is on its way." in day.out.notices[-1].body
    assert "disposition" not in day.out.notices[-1].body  # it goes on underneath, nothing has ended
    day.pass_time(3600, **values(steel=11.0))
    assert messages(day)[3:] == [("lead", STOP), ("chief", STOP)]


def test_what_the_keeper_takes_out_of_service_is_told_to_those_who_knew_of_it() -> None:
    """The lead's alarm does not vanish by another's hand."""
    day = a_breach()
    day.act("out_of_service", "keeper", limit="margin", reason="its clause is being revised")
    day.pass_time(90, **values(steel=11.0))
    assert messages(day)[1:] == [("lead", "A-1 Taken out of service by keeper, not back: area A shell")]
    assert "its clause is being revised" in day.out.notices[-1].body


def test_a_limit_that_is_withdrawn_is_told_by_its_place() -> None:
    """The jobsite is changed: nothing is known of the limit any more but what it was of."""
    day = a_breach()
    put_in_force(day, crew(LEAD, limits=(margin_limit(id="other", threshold=-9.0),)))
    day.pass_time(90, **values(steel=11.0))
    assert messages(day)[1:] == [("lead", "A-1 Its limit is no longer in force, not back: area A shell")]
    day.pass_time(3600, **values(steel=11.0))
    assert len(messages(day)) == 2


def test_a_limit_whose_work_ended_and_is_withdrawn_at_once_is_told_as_the_first() -> None:
    """And a limit that was back before it was withdrawn is not spoken of."""
    humid = margin_limit(**HUMID)
    day = a_breach(limits=(margin_limit(), humid))
    day.pass_time(90, **values(steel=11.0, air_rh=95.0))
    day.pass_time(700, **values(steel=10.0))  # the humidity is back
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(20, **values(steel=10.0))
    put_in_force(day, crew(LEAD, limits=(margin_limit(id="other", threshold=-9.0),)))
    day.pass_time(90, **values(steel=10.0))
    assert last(day) == "A-1 Blasting ended, limits not back: area A shell"
    assert "A-2" not in day.out.notices[-1].body and "Now" not in day.out.notices[-1].body


def test_several_that_end_together_are_one_message() -> None:
    """Margin and humidity: the second on a line of its own."""
    day = Day(at=crew(limits=(margin_limit(), margin_limit(**HUMID, priority="medium"))))
    day.act("begin", area="A", activity="blasting")
    day.pass_time(120, **values(steel=19.0, air_rh=90.0))
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(90, **values(steel=19.0, air_rh=90.0))
    assert [text for _, text in messages(day)] == [STOP, "A-1 Blasting ended, limits not back: area A shell"]
    assert "Also A-2: area A shell, deck: relative humidity 90.0 %RH" in day.out.notices[-1].body


def test_what_nobody_was_told_of_needs_no_end() -> None:
    """Shelved before it was told; and a mere warning."""
    day = Day(at=crew())
    day.pass_time(180, **values(steel=12.8))
    assert "Close to limit" in last(day)
    day.act("begin", area="A", activity="washing")
    day.pass_time(300, **values(steel=12.8))
    assert len(messages(day)) == 1
    medium = margin_limit(priority="medium")
    day = Day(at=crew(replace(LEAD, hours=at_hour(3)), limits=(medium,)))
    day.pass_time(90, **values(steel=11.0))
    day.act("begin", area="A", activity="washing")
    day.pass_time(600, **values(steel=11.0))
    assert messages(day) == [] and standing(day) == []


def test_a_warning_that_ended_is_told_to_nobody_who_comes_later() -> None:
    """Close to limit at night; by the morning its work has ended."""
    day = Day(at=crew(LEAD, replace(LEAD, id="early", hours=at_hour(21))))
    day.act("begin", area="A", activity="blasting")
    day.pass_time(180, **values(steel=12.8))
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(2400, **values(steel=12.8))
    assert [person for person, _ in messages(day)] == ["lead"] and standing(day) == []


def test_who_puts_one_of_two_aside_is_told_of_the_other() -> None:
    """One limit is out of service, the other comes back: the message says both."""
    humid = margin_limit(**HUMID)
    day = a_breach(LEAD, CHIEF, limits=(margin_limit(), humid))
    day.pass_time(150, **values(steel=20.0, air_rh=90.0))
    day.act("out_of_service", "lead", limit="margin", reason="the sensor is moved")
    day.pass_time(900, **values(steel=11.0))
    assert [person for person, text in messages(day) if "out of service by lead" in text] == ["lead", "chief"]


def test_an_alarm_that_changed_meanwhile_is_told_anew() -> None:
    """Unknown when the work ended, outside when it begins again half a minute later."""
    day = Day(at=crew(limits=(margin_limit(on_delay_s=10.0),)))
    day.act("begin", area="A", activity="blasting")
    day.pass_time(420, **{name: value for name, value in values().items() if name != "steel"})
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(30, **values(steel=11.0))
    day.act("begin", area="A", activity="blasting")
    day.pass_time(90, **values(steel=11.0))
    assert [text for _, text in messages(day)][1:] == ["A-2 Stop blasting area A"]


def test_the_end_is_told_on_time_though_nothing_speaks() -> None:
    """A minute after the limit stopped to apply, by the clock alone."""
    day = a_breach()
    day.pass_time(90)
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(120)
    moments = {each["change"]: each["core_ms"] for each in day.events() if each["number"] == "A-1"}
    assert moments["told"] - moments["suppressed by design"] == 60_000


def test_an_alarm_whose_limit_is_gone_is_not_acknowledged_any_more() -> None:
    """Within the minute before it is told; the number leads nowhere, and nothing breaks."""
    day = a_breach()
    put_in_force(day, crew(LEAD, limits=(margin_limit(id="other", threshold=-9.0),)))
    day.act("acknowledge", number="A-1")
    day.pass_time(90, **values(steel=11.0))
    assert last(day).startswith("A-1 Its limit is no longer in force")
    assert day.flow.judging is not None and day.flow.judging.place("gone") == "gone"


def test_who_was_off_duty_reads_of_the_coat_on_coming_to_work() -> None:
    """Nobody was told of the medium alarm at night; the coat waits for a disposition all the same."""
    off = replace(LEAD, hours=at_hour(21))
    day = Day(at=crew(off, limits=(margin_limit(priority="medium", activities=("coating",)),)))
    day.act("begin", area="A", activity="coating")
    day.pass_time(120, **values(steel=11.0))
    day.act("end", area="A", activity="coating")
    day.pass_time(300, **values(steel=11.0))
    assert messages(day) == []
    day.pass_time(2100, **values(steel=11.0))
    told = "A-1 Coating ended, limits not back; area A shell needs the inspector's disposition"
    assert messages(day) == [("lead", told)]
    assert standing(day) == []


def test_a_dead_sensor_that_nobody_needs_any_more_is_told_as_not_back() -> None:
    """Unknown to the end: silence is never inside."""
    day = Day(at=crew())
    day.act("begin", area="A", activity="blasting")
    day.pass_time(420, **{name: value for name, value in values().items() if name != "steel"})
    assert last(day).startswith("A-1 Unknown")
    day.act("begin", area="A", activity="washing")
    day.act("end", area="A", activity="blasting")
    day.pass_time(90, **values(steel=20.0))
    assert last(day) == "A-1 Blasting ended, limits not back: area A shell"


def test_a_coat_begun_too_early_is_never_back() -> None:
    """The count goes on after the coat has ended; that is not what was asked for."""
    wait = margin_limit(
        id="wait", quantity="time_inside", threshold=30.0, unit="min", deadband=0.0, deadband_unit="min",
        activities=("coating",), on_delay_s=0.0, off_delay_s=0.0, advice="Stop the coat",
    )  # fmt: skip
    day = Day(at=crew(limits=(margin_limit(), wait)))
    day.pass_time(600, **values())
    day.act("begin", area="A", activity="coating")
    day.pass_time(1500, **values())
    assert last(day) == "A-1 Stop the coat"
    day.act("end", area="A", activity="coating")
    day.pass_time(90, **values())
    assert last(day) == "A-1 Coating ended, limits not back; area A shell needs the inspector's disposition"
    assert not [text for _, text in messages(day) if "Limits back" in text]
    (back,) = [each for each in day.events() if each["change"] == "limits back"]
    assert back["reason"] == "the work it is for has ended"
    said = day.out.notices[-1].body
    assert "Now" not in said and "at least 30 min" in said


def test_an_instrument_that_is_no_more_watched_is_told_so() -> None:
    """The keeper takes a silent sensor off the jobsite, or another puts its alarm aside."""
    keeper = Person("keeper", "keeper", ("keeper-mail",), told_of=("instruments",))
    plain = replace(crew(LEAD, keeper, replace(keeper, id="second")), sensors=SENSORS, trains=())
    day = Day(at=plain)
    day.pass_time(600, **{name: value for name, value in values().items() if name != "steel"})
    assert [text for person, text in messages(day) if person == "second"] == ["K-1 Sensor silent: steel"]
    day.act("shelve", "keeper", number="K-1", until_ms=day.now + HOUR, reason="battery ordered")
    day.pass_time(90, **{name: value for name, value in values().items() if name != "steel"})
    (shelved,) = [text for person, text in messages(day)[3:] if person == "second"]
    assert shelved.startswith("K-1 Shelved by keeper until") and shelved.endswith("not back: Sensor silent: steel")
    assert not [text for person, text in messages(day)[3:] if person == "keeper"]
    day.act("unshelve", "keeper", number="K-1", reason="it will not come")
    day.pass_time(90, **{name: value for name, value in values().items() if name != "steel"})
    less = replace(
        plain, sensors=tuple(each for each in plain.sensors if each.id != "steel"), limits=(),
        areas=tuple(replace(each, steel=()) for each in plain.areas),
    )  # fmt: skip
    put_in_force(day, less)
    day.pass_time(90, **{name: value for name, value in values().items() if name != "steel"})
    told = [text for person, text in messages(day) if person == "second"]
    assert told[-1] == "K-1 No longer watched, not back: steel"


CASES = {
    Change.SUPPRESSED: {"work": ("blasting", "washing")},
    Change.SHELVED: {"by": "lead", "why": "x", "until_utc_ms": T0},
    Change.OUT_OF_SERVICE: {"by": "lead", "why": "x"},
    Change.WITHDRAWN: {},
}


@pytest.mark.parametrize("change", CASES)
@pytest.mark.parametrize("reader", [ENGLISH, SPANISH], ids=["en", "es"])
def test_every_way_to_end_is_said_in_both_languages_and_none_says_inside(change: Change, reader: Reader) -> None:
    """Each says that it was not back; no hole is left."""
    ended = [Ended("A-7", change, "area A shell", T0, **CASES[change])]  # type: ignore[arg-type]
    said = f"{title('A-7', ended, reader)}\n{body(ended, reader)}"
    assert "{" not in said and said.startswith("A-7 ")
    assert re.search("not back" if reader is ENGLISH else "sin volver", said, re.IGNORECASE)
    assert not re.search(r"Limits back|is inside|De nuevo en límites", said)
    assert ("disposition" in said or "inspector" in said) == (change is Change.SUPPRESSED)


def test_in_spanish_the_work_stands_first() -> None:
    """As the pages call it."""
    ended = [Ended("A-7", Change.SUPPRESSED, "area A shell", T0, work=("coating", "blasting"))]
    assert title("A-7", ended, SPANISH) == (
        "A-7 Capa, chorreado: terminó sin volver a límites; area A shell espera la decisión del inspector"
    )
    unknown = [Ended("A-7", Change.SUPPRESSED, "area A shell", T0)]
    assert title("A-7", unknown, SPANISH) == "A-7 El límite ya no se aplica, sin volver: area A shell"
    assert title("A-7", unknown, ENGLISH) == "A-7 Limit no longer applies, not back: area A shell"
    assert site().areas[0].label == "shell"
