"""What is wrong with instruments and gateway: one alarm each, told to who minds them; through the whole fold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from alerts.measured import Quantity
from gateway import entry, overview
from gateway.entry import Arrival, Kind
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Area, Calibration, Jobsite, Person, Station
from gateway.payload import canonical
from tests.sites import SENSORS, margin_limit, pack, sensor, site
from tests.test_flow import MINUTE, Day, values

HOUR, DAY_MS = 60 * MINUTE, 24 * 60 * MINUTE
LEAD = Person("lead", "site lead", ("lead-phone",))
KEEPER = Person("keeper", "keeper", ("keeper-mail",), told_of=("instruments", "gateway"))
TRAIN = {"dryer-t": 40.0, "dryer-rh": 30.0, "line-p": 7.0, "pot-skin": 30.0}


def small(*people: Person, **changes: object) -> Jobsite:
    """One area and one station, no train: four sensors."""
    sensors = tuple(replace(each, interval_s=60.0) for each in SENSORS)
    made = replace(site(margin_limit()), trains=(), sensors=sensors, people=people or (LEAD, KEEPER))
    return replace(made, **changes)  # type: ignore[arg-type]


class Shift(Day):
    """A day of sensors that speak once a minute; their last digit moves, unless they are told to stand still."""

    every_s, timed = 60, True

    def hear(self, seconds: int, still: tuple[str, ...] = (), **said: float) -> None:
        for turn in range(seconds // self.every_s):
            self.now += self.every_s * 1000
            for name, value in said.items():
                self.send(name, value if name in still else value + turn % 2 / 10, timed=self.timed)
            self.settle()

    def settle(self) -> None:
        outcomes = self.flow.tick(self.now)
        self.out.events += outcomes.events
        self.out.notices += outcomes.notices

    def put_in_force(self, changed: Jobsite) -> None:
        self.add(entry.plain(Kind.CONFIG_SET, self.now, canonical.config_set(changed, "keeper", "test")))

    def told_to(self, person: str) -> list[str]:
        return [each.title for each in self.out.notices if each.person == person]


def day(*people: Person, **changes: object) -> Shift:
    return Shift(at=small(*people, **changes))


# -- sensors ------------------------------------------------------------------------------------------------


def test_a_silent_sensor_is_the_keepers_and_not_the_leads() -> None:
    """Three minutes of patience, five of delay, one of gathering; the lead hears of what it makes unknown only."""
    shift = day()
    shift.hear(600, **values())
    alive = {name: value for name, value in values().items() if name != "steel"}
    shift.hear(480, **alive)
    assert shift.told_to("keeper") == []
    shift.hear(120, **alive)
    assert shift.told_to("keeper") == ["K-1 Sensor silent: steel"]
    assert shift.told_to("lead") == ["A-1 Unknown: area A shell. Treat as outside limits."]
    body = next(each.body for each in shift.out.notices if each.person == "keeper")
    assert body.splitlines() == [
        "steel: nothing heard.", "Since 20:39 UTC+00:00.", "Verdicts that need it: A shell.",
        "Until then take readings by hand.", "Look next: power, battery, radio and cable of steel.",
        "Advisory only; the specification decides.",
    ]  # fmt: skip
    assert shift.changes("K") == [("K-1", "fault")]


def test_it_is_over_once_when_it_has_been_heard_for_half_an_hour() -> None:
    """And not a minute before."""
    shift = day()
    shift.hear(600, **{name: value for name, value in values().items() if name != "steel"})
    shift.hear(29 * 60, **values())
    assert shift.told_to("keeper") == ["K-1 Sensor silent: steel"]
    shift.hear(7200, **values())
    assert shift.told_to("keeper") == ["K-1 Sensor silent: steel", "K-1 Over: Sensor silent: steel"]


def test_a_dead_station_is_one_message_though_its_sensors_die_minutes_apart() -> None:
    """Each has its own patience: what comes within a minute gathers, what comes later joins its station."""
    slow = tuple(replace(each, interval_s=100.0 if each.id == "baro" else 60.0) for each in SENSORS)
    shift = day(sensors=slow)
    shift.hear(600, **values())
    shift.hear(1200, steel=20.0)
    assert shift.told_to("keeper") == ["K-1 Nothing heard from deck: 2 sensors"]
    whys = {number: why for number, _, why in shift.told("K")}
    assert whys["K-2"] == whys["K-3"] == "told as K-1, the same cause"
    assert [number for number, _ in shift.changes("K")] == ["K-1", "K-2", "K-3"]


def test_a_sensor_that_comes_and_goes_is_few_messages() -> None:
    """Ten minutes away, ten there, all day: one message. Away every fifty minutes: three, then patience."""
    for there, most in ((600, 1), (3000, 6)):
        shift = day()
        shift.hear(600, **values())
        alive = {name: value for name, value in values().items() if name != "steel"}
        for _ in range(12 * 3600 // (there + 600)):
            shift.hear(600, **alive)
            shift.hear(there, **values())
        assert 0 < len(shift.told_to("keeper")) <= most
    assert "three times within a day" in next(each.body for each in shift.out.notices if "K-3" in each.title)
    alarm, judging = shift.flow.state.alarms["sensor steel silent"], shift.flow.judging
    assert judging is not None and alarm.clearing_since is not None
    assert judging.alarms.due["sensor steel silent"] == alarm.clearing_since + 12 * 1_800_000  # told in time


def test_short_absences_are_nobodys_news() -> None:
    """Seven minutes without a word each quarter of an hour."""
    shift = day()
    for _ in range(12):
        shift.hear(480, **values())
        shift.hear(420, **{name: value for name, value in values().items() if name != "steel"})
    assert shift.changes("K") == []


def test_a_stuck_sensor_and_one_that_says_what_cannot_be() -> None:
    """Each kind has its own words and its own place to look."""
    shift = day()
    shift.hear(600, **values())
    shift.hear(3 * 3600, still=("air-rh",), **values())
    assert shift.told_to("keeper") == ["K-1 Sensor stands still: air-rh"]
    shift = day()
    shift.hear(600, **values())
    shift.hear(600, **values(steel=900.0))
    assert shift.told_to("keeper") == ["K-1 Sensor not believed: steel"]
    (body,) = (each.body for each in shift.out.notices if each.person == "keeper")
    assert "compare with a second instrument" in body and "900" in body.splitlines()[0]
    shift.hear(60, **values())
    shift.hear(720, **{name: value for name, value in values().items() if name != "steel"})
    assert shift.told_to("keeper")[1:] == ["K-2 Sensor silent: steel"]  # what it said before is no reason any more


def test_two_humidities_of_one_area_that_disagree() -> None:
    """Six well-mixed hours with 20 %RH between them: one alarm for the pair, of low priority."""
    slow = tuple(replace(each, interval_s=60.0) for each in SENSORS)
    second = Station("roof", "roof", "air-t", "rh-2", "baro")
    more = replace(sensor("rh-2", SENSORS[1].quantity, "%RH", 0.02, "water"), label="roof humidity")
    plan = small()
    shift = day(
        sensors=(*slow, more), stations=(*plan.stations, second),
        areas=(Area("A", "shell", ("deck", "roof"), plan.areas[0].steel),),
    )  # fmt: skip
    shift.hear(6 * 3600 + 120, **values(), **{"rh-2": 70.0})
    assert shift.told_to("keeper") == ["K-1 Two sensors disagree: air-rh, roof humidity"]
    assert [each.priority for each in shift.out.notices] == ["low"]


def test_two_barometers_that_disagree_are_told_and_silence_does_not_end_it() -> None:
    """Six hours with 3 hPa between two of 1 hPa; then one falls silent, and only hours that agree end it."""
    slow = tuple(replace(each, interval_s=60.0) for each in SENSORS if each.id != "baro")
    both = [
        replace(sensor(name, Quantity.STATION_PRESSURE, "hPa", 100.0, "absolute"), interval_s=60.0)
        for name in ("baro", "baro-2")
    ]
    plan = small()
    shift = day(
        sensors=(*slow, *both), stations=(*plan.stations, Station("roof", "roof", "air-t", "air-rh", "baro-2"))
    )
    shift.hear(6 * 3600 + 120, **values(), **{"baro-2": 1006.8})
    assert shift.told_to("keeper") == ["K-1 Two sensors disagree: baro, baro-2"]
    (notice,) = shift.out.notices
    assert notice.priority == "low"
    assert "station pressure +3.2 hPa against baro-2 over 5 hours of the last day: check both" in notice.body
    assert "A shell" in notice.body  # whose verdict needs it
    assert "station pressure" in shift.flow.read("baro").reason and shift.flow.read("baro").value is not None
    shift.hear(4 * 3600, **values())
    assert "Over: Two" not in str(shift.told_to("keeper"))
    shift.hear(14 * 3600, **values(), **{"baro-2": 1009.8})
    assert shift.told_to("keeper")[-1] == "K-1 Over: Two sensors disagree: baro, baro-2"


def test_a_sensors_clock_that_is_off() -> None:
    """All its messages come an hour late: told once, not as silent, also when they are judged on receipt."""
    shift = day()
    for turn in range(3 * 60):
        shift.now += 60_000
        for name, value in values().items():
            at = shift.now - HOUR * (name == "steel")
            shift.arrive(Arrival(f"dewgate/test/{name}", pack(name, value + turn % 2 / 10, at)))
        shift.settle()
    assert shift.told_to("keeper") == ["K-1 Clock of a sensor is off: steel"]


def test_without_anybody_who_minds_them_the_journal_says_so_and_the_lead_sleeps() -> None:
    """One reason for the message, nothing sent."""
    shift = day(LEAD)
    shift.hear(1200, **{name: value for name, value in values().items() if name != "steel"})
    assert shift.told("K") == [
        ("K-1", "kept back", "nobody is told of instruments: see told_of in the jobsite file")
    ]  # fmt: skip
    assert [title[:3] for title in shift.told_to("lead")] == ["A-1"]


# -- what persons do ----------------------------------------------------------------------------------------


def test_it_is_acknowledged_shelved_and_taken_out_of_service_as_any_other() -> None:
    """By its number, by the keeper; acknowledged it is not told again, shelved it comes back."""
    shift = day(LEAD, replace(KEEPER, repeat_s=1800.0))
    alive = {name: value for name, value in values().items() if name != "steel"}
    shift.hear(900, **alive)
    shift.act("acknowledge", "keeper", number="K-1")
    shift.hear(3600, **alive)
    assert shift.told_to("keeper") == ["K-1 Sensor silent: steel"]
    shift.act("shelve", "keeper", number="K-1", until_ms=shift.now + HOUR, reason="battery ordered")
    shift.hear(3600 + 120, **alive)
    assert ("K-1", "shelved") in shift.changes("K") and ("K-1", "shelving ended") in shift.changes("K")
    assert shift.told_to("keeper") == ["K-1 Sensor silent: steel"] * 2
    shift.act("out_of_service", "keeper", limit="sensor steel silent", reason="sent away")
    assert shift.flow.state.alarms["sensor steel silent"].shown == "out of service"


# -- calibration ----------------------------------------------------------------------------------------------


def calibrated(due: str, notice_s: float | None, interval_s: float = 3600.0) -> dict[str, Any]:
    """The steel sensor's calibration holds until a day. T0 is 2026-05-28, 20:26 UTC."""
    until = Calibration("2025-05-30", due, "C-7")
    hourly = (replace(each, interval_s=interval_s) for each in SENSORS)
    sensors = tuple(replace(each, calibration=until) if each.id == "steel" else each for each in hourly)
    return {"sensors": sensors, "calibration_notice_s": notice_s}


def test_a_calibration_that_ends_is_told_days_before_and_when_it_has_ended() -> None:
    """Until the 30th; two days before that day is over is the 29th at midnight."""
    shift = day(**calibrated("2026-05-30", 2 * 86_400.0))
    shift.every_s = 600
    shift.hear(3 * 3600, **values())
    assert shift.told_to("keeper") == []
    shift.hear(3600, **values())
    assert shift.told_to("keeper") == ["K-1 Calibration ends soon: steel"]
    shift.hear(47 * 3600, **values())
    assert len(shift.told_to("keeper")) == 1
    shift.hear(3600, **values())
    assert shift.told_to("keeper")[1:] == ["K-2 Calibration has ended: steel"]
    assert "calibrated until 2026-05-30, certificate C-7" in shift.out.notices[-1].body


@pytest.mark.parametrize(("due", "titles"), [
    ("2026-05-30", []), ("2026-05-27", ["K-1 Calibration has ended: steel"]), ("next May", []),
])  # fmt: skip
def test_without_a_notice_only_the_end_is_told_and_a_word_is_no_date(due: str, titles: list[str]) -> None:
    """No number of days is assumed."""
    shift = day(**calibrated(due, None))
    shift.hear(600, **values())
    assert shift.told_to("keeper") == titles


def test_a_new_certificate_ends_it() -> None:
    """The keeper enters the new date: over, once."""
    shift = day(**calibrated("2026-05-27", None))
    shift.hear(600, **values())
    shift.put_in_force(small(**calibrated("2027-05-27", None)))
    shift.hear(600, **values())
    assert shift.told_to("keeper")[1:] == ["K-1 Over: Calibration has ended: steel"]


# -- the gateway itself ---------------------------------------------------------------------------------------


def health(shift: Shift, figure: str, level: str, said: str = "as seen") -> None:
    shift.put(Kind.HEALTH, {"figure": figure, "class": level, "said": said})


def test_a_broker_that_is_away_is_one_message_to_each_and_no_silent_sensors() -> None:
    """Nine sensors cannot be heard for an hour: the lead is told what is unknown, the keeper of the broker."""
    shift = day()
    shift.hear(600, **values())
    health(shift, "broker", "away", "broker localhost:1883 not reachable")
    shift.hear(3600)
    assert shift.told_to("keeper") == ["K-1 Broker away: no sensor can be heard"]
    assert shift.told_to("lead") == ["A-1 Unknown: area A shell. Treat as outside limits."]
    assert any("power, antenna and cable of the broker" in each.body for each in shift.out.notices)
    health(shift, "broker", "good")
    shift.hear(600, **values())
    assert shift.told_to("keeper")[1:] == ["K-1 Over: Broker away: no sensor can be heard"]
    assert {number for number, _ in shift.changes("K")} == {"K-1"}


def test_a_sensor_that_stays_silent_after_the_broker_is_back_is_told_then() -> None:
    """The time the gateway was deaf does not count."""
    shift = day()
    health(shift, "broker", "away")
    shift.hear(3600)
    health(shift, "broker", "good")
    alive = {name: value for name, value in values().items() if name != "steel"}
    shift.hear(420, **alive)
    assert not any("silent" in title for title in shift.told_to("keeper"))
    shift.hear(180, **alive)
    assert "K-2 Sensor silent: steel" in shift.told_to("keeper")


@pytest.mark.parametrize(("figure", "level", "title"), [
    ("disk", "low", "Disk fills up"), ("messenger", "idle", "No message is sent to anybody"),
    ("head", "unsigned", "Record is not signed any more"),
    ("broker", "unfit", "Broker does not keep what it should"),
])  # fmt: skip
def test_a_figure_of_health_is_an_alarm_and_its_end(figure: str, level: str, title: str) -> None:
    """The reason is what the shell said."""
    shift = day()
    shift.hear(60, **values())
    health(shift, figure, level, "enough for 12 days")
    shift.hear(180, **values())
    assert shift.told_to("keeper") == [f"K-1 {title}"] and shift.told_to("lead") == []
    assert "enough for 12 days" in shift.out.notices[0].body
    health(shift, figure, "good")
    shift.hear(600, **values())
    assert shift.told_to("keeper")[1:] == [f"K-1 Over: {title}"]


def test_a_disk_that_fills_further_is_told_again_and_the_worse_reaches_everybody_if_nobody_minds() -> None:
    """Low, then nearly full: two alarms. Without a keeper the urgent one goes to those who take high priority."""
    for people, person in (((LEAD, KEEPER), "keeper"), ((LEAD,), "lead")):
        shift = day(*people)
        shift.hear(60, **values())
        health(shift, "disk", "low")
        shift.hear(120, **values())
        health(shift, "disk", "nearly full")
        shift.hear(120, **values())
        assert shift.told_to(person)[-1] == "K-2 Disk nearly full: soon nothing is judged"
        assert len(shift.told_to("keeper")) == (2 if person == "keeper" else 0)


def outcome(shift: Shift, channel: str, said: str, waited_ms: int = 0) -> None:
    body = {"outbox": 1, "attempt": 1, "outcome": said, "reason": "the server did not take it", "number": "A-1",
            "person": "lead", "channel": channel, "waited_ms": waited_ms}  # fmt: skip
    shift.put(Kind.DELIVERY, body)


def test_a_channel_that_fails_is_told_by_another() -> None:
    """The lead's phone leads nowhere: the keeper is told by mail, at high priority, and again when it works."""
    shift = day()
    shift.hear(60, **values())
    outcome(shift, "lead-phone", "try again", 299_999)
    shift.hear(60, **values())
    assert shift.out.notices == []
    outcome(shift, "lead-phone", "will never work")
    shift.hear(60, **values())
    assert [(each.channel, each.title, each.priority) for each in shift.out.notices] == [
        ("keeper-mail", "K-1 No message gets through by lead-phone", "high")
    ]  # fmt: skip
    outcome(shift, "lead-phone", "delivered")
    shift.hear(60, **values())
    assert shift.told_to("keeper")[1:] == ["K-1 Over: No message gets through by lead-phone"]


def test_the_keepers_own_channel_fails_and_another_person_is_told() -> None:
    """Tried in vain for five minutes; the keeper's second channel first, else whoever takes high priority."""
    for channels, expected in (
        (("keeper-mail", "pager"), ("keeper", "pager")),
        (("keeper-mail",), ("lead", "lead-phone")),
    ):
        shift = day(LEAD, replace(KEEPER, channels=channels))
        shift.hear(60, **values())
        outcome(shift, "keeper-mail", "try again", 300_000)
        shift.hear(60, **values())
        assert [(each.person, each.channel) for each in shift.out.notices] == [expected]
    assert ("K-1", "kept back", "keeper: reached only by keeper-mail, which fails") in shift.told("K")


def test_the_gateways_clock_that_was_set_is_told_once_and_never_as_over() -> None:
    """Half a minute is not; an hour is, and its end is no news."""
    shift = day()
    shift.timed = False
    shift.hear(60, **values())
    shift.put(Kind.CLOCK_STEP, {"old_offset_ms": 0, "new_offset_ms": 30_000, "cause": "the wall clock stepped"})
    shift.hear(120, **values())
    assert shift.out.notices == []
    shift.put(Kind.CLOCK_STEP, {"old_offset_ms": 30_000, "new_offset_ms": 3_600_000, "cause": "it stepped"})
    shift.hear(7200, **values())
    assert shift.told_to("keeper") == ["K-1 Gateway's clock was set"]
    assert "forward by 0:59:30" in shift.out.notices[0].body
    assert shift.changes("K") == [("K-1", "fault"), ("K-1", "fault over")]


def test_a_start_with_a_clock_behind_the_journal_is_told() -> None:
    """A box without a battery clock begins in the past."""
    shift = day()
    shift.hear(60, **values())
    shift.put(Kind.STARTED, {"offset_ms": -HOUR, "core_version": CORE_VERSION, "entries": 1})
    shift.hear(180, **values())
    assert shift.told_to("keeper") == ["K-1 Gateway's clock was set"]
    assert "back by 1:00:00" in shift.out.notices[0].body


# -- what is shown -----------------------------------------------------------------------------------------------


def test_the_board_names_what_is_wrong_apart_from_alarms_of_limits() -> None:
    """With its reason, whose verdict needs it, its state; gone once it is over and acknowledged."""
    shift = day()
    shift.hear(720, **{name: value for name, value in values().items() if name != "steel"})
    outcome(shift, "lead-phone", "will never work")
    shift.hear(120, **values())
    board = overview.board(shift.flow, shift.now)
    assert board is not None and [each.number for each in board.alarms] == ["A-1"]
    channel, silent = board.faults
    assert (channel.number, channel.title) == ("K-2", "No message gets through by lead-phone")
    assert (silent.number, silent.state, silent.title) == ("K-1", "unacknowledged", "Sensor silent: steel")
    # Heard again, not yet over: no reason stands any more.
    assert (silent.body, silent.priority) == ("Verdicts that need it: A shell.", "medium")
    (line,) = board.channels
    assert (line.channel, line.words) == ("lead-phone", "the server did not take it")
    outcome(shift, "lead-phone", "delivered")
    shift.hear(3600, **values())
    for number in ("K-1", "K-2"):
        shift.act("acknowledge", "keeper", number=number)
    board = overview.board(shift.flow, shift.now)
    assert board is not None and board.faults == () and board.channels[0].words == ""


# -- the fold ---------------------------------------------------------------------------------------------------


def test_replay_from_anywhere_raises_the_same() -> None:
    """The whole journal at once, or from a checkpoint in the middle of a delay: the same events and state."""
    shift = day(**calibrated("2026-05-27", None, 60.0))
    alive = {name: value for name, value in values().items() if name != "steel"}
    shift.hear(300, **values())
    health(shift, "disk", "low")
    shift.hear(300, **alive)
    half, kept = len(shift.entries), shift.flow.checkpoint()
    shift.put_heartbeat()
    shift.hear(900, **alive)
    outcome(shift, "lead-phone", "will never work")
    shift.hear(60, **values())
    shift.put_heartbeat()
    whole, rest = Outcomes(), Outcomes()
    flow = Flow()
    flow.advance(shift.entries, whole)
    again = Flow.from_checkpoint(kept)
    again.advance(shift.entries[half:], rest)
    assert whole.events == shift.out.events and whole.notices == shift.out.notices
    assert flow.checkpoint() == again.checkpoint() == shift.flow.checkpoint()
    assert rest.events == whole.events[-len(rest.events) :] and len(rest.events) > 4
