"""Folding entries to what was heard: counts, gaps, marks, unknown names, refusals, duplicates."""

from __future__ import annotations

from dataclasses import replace

from alerts.measured import Quantity
from gateway import entry
from gateway import heard as room
from gateway.entry import Arrival, Kind
from gateway.heard import still_unknown
from gateway.heard_message import Said
from tests.heard_story import Story, utc_ms
from tests.sites import SENSORS, T0, pack, sensor, site

UNKNOWN = b'[{"n":"door","u":"Cel","v":18.5}]'


def test_a_sensor_is_counted_with_its_gaps_and_what_it_said_last() -> None:
    """Three readings, 10 s and 30 s apart; the last came 2 s after it was measured."""
    story = Story()
    for at, value in ((10, 20.0), (20, 21.0), (50, 22.5)):
        story.message(at, "steel", pack("steel", value, utc_ms(at - 2)))
    speaker = story.heard().speakers["steel"]
    voice = speaker.voice
    assert (3, 2, 20_000.0, 30_000) == (voice.count, voice.gaps, voice.every_ms, voice.longest_ms)
    assert voice.last_utc_ms == utc_ms(50)
    assert speaker.last is not None
    assert (22.5, "Cel", 2000, ()) == (
        speaker.last.value,
        speaker.last.unit,
        speaker.last.lag_ms,
        speaker.last.marks,
    )


def test_no_gap_is_counted_across_a_stop() -> None:
    """Nothing was listened for between a stop and the next start."""
    story = Story()
    story.message(10, "steel", pack("steel", 20))
    story.plain(Kind.STOPPING, 11, cause="asked to stop")
    story.plain(Kind.STARTED, 5000, offset_ms=0)
    story.message(5000, "steel", pack("steel", 20))
    story.message(5010, "steel", pack("steel", 20))
    voice = story.heard().speakers["steel"].voice
    assert (3, 1, 10_000) == (voice.count, voice.gaps, voice.gaps_ms)


def test_late_conflicting_and_untimed_readings_are_marked() -> None:
    """As the flow counts them: late by more than a minute, another value for a time, of unknown age."""
    story = Story()
    story.message(100, "steel", pack("steel", 20, utc_ms(40)))  # exactly a minute: not late
    story.message(101, "steel", pack("steel", 20, utc_ms(40.5)))
    story.message(161, "steel", pack("steel", 20, utc_ms(100)))  # 61 s
    story.message(162, "steel", pack("steel", 21, utc_ms(100)))
    story.message(163, "air-t", pack("air-t", 20), before_marker=True)
    story.message(164, "air-rh", pack("air-rh", 101))
    heard = story.heard()
    assert {"late": 2, "conflict": 1} == heard.speakers["steel"].marked
    assert {"age unknown": 1} == heard.speakers["air-t"].marked
    assert {"counts as 100 %RH": 1} == heard.speakers["air-rh"].marked
    assert story.flow.state.counts["late"] == 2 and story.flow.state.counts["conflict"] == 1


def test_entries_before_the_window_only_say_what_is_in_force() -> None:
    """Jobsite and clock come from before, counts do not."""
    story = Story()
    story.message(10, "steel", pack("steel", 20))
    story.plain(Kind.CLOCK_STEP, 11, old_offset_ms=0, new_offset_ms=7000, cause="the wall clock stepped")
    story.message(100, "steel", pack("steel", 21))
    heard = story.heard(from_s=50)
    assert (1, 1) == (heard.entries, heard.speakers["steel"].voice.count)
    assert heard.standing.offset_ms == 7000
    assert heard.speakers["steel"].voice.last_utc_ms == heard.newest_ms + 7000


def test_an_unknown_name_is_kept_with_its_first_example_and_counted() -> None:
    """After ten a minute the bytes are gone, and the sentence still tells whose they were."""
    story = Story()
    for n in range(15):
        story.message(n, "door", UNKNOWN)
    (door,) = still_unknown(story.heard())
    assert ("dewgate/test/door", "door", 15) == (door.topic, door.name, door.voice.count)
    assert Said("door", 18.5, "Cel") == door.example
    (late,) = still_unknown(story.heard(from_s=12))
    assert ("door", None, b"", 3) == (late.name, late.example, late.first_bytes, late.voice.count)


def test_each_unknown_name_of_a_pack_is_told_and_no_known_one() -> None:
    """The flow refuses at the first; the keeper wants all, in one go."""
    story = Story()
    story.message(1, "steel", b'[{"n":"steel","v":1},{"bn":"box-","n":"a","u":"Cel","v":2},{"n":"b","v":3}]')
    found = still_unknown(story.heard())
    assert [("box-a", 2.0), ("box-b", 3.0)] == [(each.name, each.example and each.example.value) for each in found]


def test_names_are_read_from_each_pack_whose_bytes_are_kept() -> None:
    """The same first name, and so the same sentence, with another behind it."""
    story = Story()
    for second in ("a", "b"):
        story.message(1, "box", b'[{"n":"x","v":1},{"n":"%s","v":2}]' % second.encode())
    assert [("x", 2), ("a", 1), ("b", 1)] == [
        (each.name, each.voice.count) for each in still_unknown(story.heard())
    ]


def test_a_name_the_jobsite_now_knows_is_unknown_no_more() -> None:
    """The refusals stay counted."""
    story = Story()
    story.message(1, "door", UNKNOWN)
    door = sensor("door", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
    story.set(replace(site(), sensors=(*SENSORS, *site().sensors[4:], door)), 2)
    heard = story.heard()
    assert still_unknown(heard) == []
    assert heard.refused["dewgate/test/door", "unknown sensor"].voice.count == 1


def test_something_else_on_an_unknown_topic_is_told_with_its_bytes() -> None:
    """On a sensor's own topic it is only a refusal."""
    story = Story()
    story.message(1, "thing", b"21.3")
    story.message(2, "steel", b"21.3")
    heard = story.heard()
    (thing,) = still_unknown(heard)
    assert ("dewgate/test/thing", None, b"21.3") == (thing.topic, thing.name, thing.first_bytes)
    assert thing.detail.startswith("not a SenML")
    assert {("dewgate/test/thing", "not SenML"), ("dewgate/test/steel", "not SenML")} == heard.refused.keys()


def test_refusals_keep_the_first_sentence_of_each_topic_and_reason() -> None:
    """Two reasons on one topic are two."""
    story = Story()
    for at, value in ((1, 130), (2, 140), (3, "x")):
        story.message(at, "air-rh", pack("air-rh", value))
    heard = story.heard()
    impossible = heard.refused["dewgate/test/air-rh", "impossible value"]
    assert (2, "air-rh: 130 %RH cannot be") == (impossible.voice.count, impossible.detail)
    assert len(heard.refused) == 2
    assert impossible.first_bytes == pack("air-rh", 130)


def test_duplicates_are_counted_by_the_topic_of_their_first() -> None:
    """One whose first lies before the window is counted without its topic."""
    story = Story()
    story.message(1, "steel", pack("steel", 20, utc_ms(1)))
    story.message(2, "steel", pack("steel", 20, utc_ms(1)), dup=True)
    assert story.kinds()[-1] is Kind.DUPLICATE
    assert {"dewgate/test/steel": 1} == story.heard().duplicates
    assert {"": 1} == story.heard(from_s=1.5).duplicates


def test_whoever_publishes_many_names_fills_no_memory() -> None:
    """Beyond a number of topics they are counted together."""
    story = Story()
    for n in range(room.MOST + 5):
        story.message(1, f"t{n}", UNKNOWN)
    heard = story.heard()
    assert (room.MOST, room.MOST, 5) == (len(heard.refused), len(heard.unknown), heard.beyond)


def test_many_names_on_one_topic_fill_no_memory_either() -> None:
    """Six packs of two hundred names: the first thousand are kept apart, and those go on being counted."""
    story = Story()
    packs = [b"[%s]" % b",".join(b'{"n":"s%d"}' % (200 * n + m) for m in range(200)) for n in range(6)]
    for payload in (*packs, packs[0]):
        story.message(1, "box", payload)
    heard = story.heard()
    assert (room.MOST, 200) == (len(heard.unknown), heard.beyond)
    assert heard.unknown["dewgate/test/box", "s7"].voice.count == 2


def test_counts_by_topic_fill_no_memory() -> None:
    """Messages in a form that is not read here, on more topics than are kept apart; a known topic still counts."""
    story = Story()
    for n in [*range(room.MOST + 3), 0]:
        story.entries.append(entry.message(Arrival(f"plant/{n}", b"1"), T0 + 1000))
    heard = story.heard()
    assert (room.MOST, 3, 2) == (len(heard.unread), heard.beyond, heard.unread["plant/0"])


def test_a_stop_is_known_until_the_next_entry() -> None:
    """Whether the newest entry is a stop."""
    story = Story()
    story.plain(Kind.STOPPING, 1, cause="asked to stop")
    assert story.heard().stopped
    story.plain(Kind.STARTED, 2, offset_ms=0)
    assert not story.heard().stopped
