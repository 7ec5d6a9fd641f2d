"""Lines of `dewgate watch`: what each entry says, who it is about, and which lines are asked for."""

from __future__ import annotations

from dataclasses import replace

from alerts.measured import Quantity
from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.heard_message import Standing
from gateway.watch_words import RED, YELLOW, Line, Watching, day, lines, timed, wanted
from tests.heard_story import Story, utc_ms
from tests.sites import SENSORS, T0, pack, sensor, site


def told(story: Story) -> list[Line]:
    watching = Watching(Standing(), 0)
    return [line for made in story.entries for line in lines(watching, made)]


def last(story: Story) -> Line:
    return told(story)[-1]


def test_a_reading_is_told_with_value_unit_and_lag() -> None:
    """In the unit its sensor states; without a time there is no lag."""
    story = Story()
    story.message(1, "steel", pack("steel", 20.25, utc_ms(1) - 300))
    line = last(story)
    assert line.text.split() == ["steel", "20.25", "Cel", "lag", "0.3", "s"]
    assert (frozenset({"steel"}), False, "", 3) == (line.about, line.refused, line.colour, line.sequence)
    assert (T0 + 1000, utc_ms(1)) == (line.core_ms, line.utc_ms)
    story.message(2, "steel", pack("steel", 20.5))
    assert last(story).text.split() == ["steel", "20.5", "Cel", "no", "time"]


def test_a_pack_gives_a_line_for_each_reading() -> None:
    """Each about its own sensor."""
    story = Story()
    both = b'[{"n":"box-t","u":"Cel","v":1},{"n":"box-rh","u":"%RH","v":50}]'
    box = (sensor("box-t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air"),
           sensor("box-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"))  # fmt: skip
    story.set(replace(site(), sensors=site().sensors + tuple(replace(s, topic="box") for s in box)), 0)
    story.message(1, "box", both)
    assert [{"box-t"}, {"box-rh"}] == [set(line.about or ()) for line in told(story)[-2:]]


def test_late_and_conflict_are_said_in_capitals_and_not_by_colour_alone() -> None:
    """The words stand in the line, coloured or not."""
    story = Story()
    story.message(200, "steel", pack("steel", 20, utc_ms(79)))
    assert last(story).text.split() == ["steel", "20", "Cel", "lag", "2.02", "min", "LATE"]
    story.message(201, "steel", pack("steel", 21, utc_ms(79)))
    assert last(story).text.endswith("CONFLICT")
    assert last(story).colour == YELLOW
    story.message(202, "air-rh", pack("air-rh", 101))
    assert last(story).text.endswith("counts as 100 %RH")


def test_a_refusal_is_told_with_its_reason_and_what_was_sent() -> None:
    """Names and values where they can be read, else the first bytes, escaped; at most three values."""
    story = Story()
    story.message(1, "door", b'[{"n":"door","u":"Cel","v":18.5}]')
    line = last(story)
    assert line.text.split(None, 1) == [
        "door", "REFUSED unknown sensor: no sensor door on topic level door; sent: door 18.5 Cel",
    ]  # fmt: skip
    assert (True, RED) == (line.refused, line.colour)
    story.message(2, "door", b"\x1b]0;x\x07" + b"y" * 100)
    assert last(story).text.endswith("; sent: \\x1b]0;x\\x07" + "y" * 34)
    story.message(3, "door", b'[{"v":1},{"v":2},{"v":3},{"v":4},{"v":5}]')
    assert last(story).text.endswith("sent: door 1, door 2, door 3 and 2 more")
    story.message(3, "door", b'[{"v":1},{"v":2},{"v":3}]')
    assert last(story).text.endswith("sent: door 1, door 2, door 3")
    story.message(4, "dewgate/test/x/\x1by", b"")
    assert last(story).text.startswith("dewgate/test/x/\\x1by  REFUSED wrong topic")
    assert last(story).text.endswith("sent: no bytes kept")


def test_a_duplicate_names_its_first() -> None:
    """And whose it was, where that was read."""
    story = Story()
    story.message(1, "steel", pack("steel", 20, utc_ms(1)))
    story.message(2, "steel", pack("steel", 20, utc_ms(1)), dup=True)
    assert last(story).text.split(None, 1) == ["steel", "duplicate of entry 3, not counted again"]
    assert last(story).about == frozenset({"steel"})
    watching = Watching(Standing(), 3)
    (line,) = lines(watching, story.entries[-1])
    assert line.text.startswith("(not read here)   duplicate of entry 3")


def test_what_the_program_and_its_people_do_is_told() -> None:
    """Start, clock step, jobsite, an acknowledgement, any other act, a delivery, a stop; a heartbeat is not."""
    plain = replace(site(), stations=(), areas=(), trains=(), sensors=SENSORS[:2])
    story = Story(plain)
    door = sensor("door", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
    story.set(replace(plain, sensors=(SENSORS[1], door)), 1)
    story.plain(Kind.CLOCK_STEP, 2, old_offset_ms=0, new_offset_ms=7_200_000, cause="the wall clock stepped")
    story.plain(Kind.CLOCK_STEP, 2, old_offset_ms=0, new_offset_ms=7_195_000, cause="again")
    story.plain(Kind.ACTION, 3, act="acknowledge", number="A-3", person="lead")
    story.plain(Kind.ACTION, 3, act="shelve", number="A-4", person="lead", minutes=30, why="\x1bcut")
    story.plain(Kind.HEARTBEAT, 4)
    story.plain(Kind.DELIVERY, 5, outbox=7, attempt=1, outcome="sent")
    story.plain(Kind.STOPPING, 6, cause="asked to stop")
    found = told(story)
    assert [line.text for line in found] == [
        "STARTED, version 9.9/1",
        "JOBSITE SET by keeper: test; 2 sensors, new: air-rh, air-t",
        "JOBSITE SET by keeper: test; 2 sensors, new: door, gone: air-t",
        "CLOCK STEP of +60 min: the wall clock stepped",
        "CLOCK STEP of -5.0 s: again",
        "ALARM A-3 acknowledged by lead",
        "ALARM A-4 shelve by lead: minutes 30, why \\x1bcut",
        "delivery: attempt 1, outbox 7, outcome sent",
        "STOPPED: asked to stop",
    ]
    assert all(line.about is None for line in found)
    assert found[3].utc_ms == T0 + 2000 + 7_200_000


def test_a_message_in_a_form_not_read_here_is_no_error() -> None:
    """An accepted message that this command cannot read is told as such."""
    story = Story()
    story.entries.append(entry.message(Arrival("dewgate/test/steel", b"\x00\x01"), T0 + 1000))
    assert last(story).text == "dewgate/test/steel  taken in, in a form this command does not read"


def test_only_the_lines_asked_for_are_wanted() -> None:
    """What the program does always is."""
    reading = Line(1, 0, 0, "", frozenset({"steel"}))
    refusal = Line(2, 0, 0, "", frozenset({"steel"}), refused=True)
    nothing: frozenset[str] = frozenset()
    assert wanted(reading, nothing, False) and wanted(reading, frozenset({"steel", "baro"}), False)
    assert not wanted(reading, frozenset({"baro"}), False) and not wanted(reading, nothing, True)
    assert wanted(refusal, nothing, True) and not wanted(refusal, frozenset({"baro"}), True)
    assert wanted(Line(3, 0, 0, "STARTED"), frozenset({"baro"}), True)


def test_times_are_the_sites_and_colour_is_put_around() -> None:
    """2026-05-28 20:26:40 UTC is 15:26:40 in Chicago."""
    chicago = Standing(0, replace(site(), time_zone="America/Chicago"))
    line = Line(1, T0, T0, "steel", colour=RED)
    assert timed(line, chicago, colour=False) == "15:26:40  steel"
    assert timed(line, chicago, colour=True) == "\x1b[31m15:26:40  steel\x1b[0m"
    assert timed(replace(line, colour=""), chicago, colour=True) == "15:26:40  steel"
    assert day(line, chicago) == "-- 2026-05-28 UTC-05:00 --"
