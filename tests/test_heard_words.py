"""What was heard, said to a keeper and to a machine."""

from __future__ import annotations

import json
from dataclasses import replace

from gateway.entry import Kind
from gateway.heard import Heard
from gateway.heard_command import _rules
from gateway.heard_message import Standing
from gateway.heard_words import MOST_ROWS, as_json, columns, silence, text
from gateway.jobsite import Edge, Source
from tests.heard_story import Story, utc_ms
from tests.sites import pack, site

RULES = _rules()


def morning() -> Story:
    """Ten minutes: steel speaks every 10 s, air-t stops after a minute, a new one and a wrong one speak."""
    story = Story(replace(site(), time_zone="America/Chicago"))
    for n in range(60):
        story.message(10 * n, "steel", pack("steel", 20 + n / 100, utc_ms(10 * n) - 200))
        if n < 6:
            story.message(10 * n, "air-t", pack("air-t", 15.0))
        if n % 10 == 0:
            story.message(10 * n, "door", pack("door", 18.5, unit="Cel"))
            story.message(10 * n, "air-rh", b"\x1b[2J")
    story.message(595, "steel", pack("steel", 20.59, utc_ms(590) - 200), dup=True)
    return story


def said(story: Story, writing: bool = True) -> list[str]:
    return text(story.heard(), RULES, 24.0, writing).splitlines()


def test_the_head_says_what_was_read_and_who_writes() -> None:
    """Site time of the newest entry, 2026-05-28 20:26:40 UTC + 9 min 55 s + the clock's hour, in Chicago."""
    lines = said(morning())
    assert lines[0] == "test site: 81 entries of 24 h to 2026-05-28 16:36:35 UTC-05:00"
    assert lines[1] == "a dewgate is writing this journal"
    assert said(morning(), False)[1].startswith(
        "NOT WRITTEN since 2026-05-28 16:36:35 UTC-05:00: no stop was written"
    )
    stopped = morning()
    stopped.plain(Kind.STOPPING, 600, cause="asked to stop")
    assert said(stopped, False)[1].endswith("it was asked to stop")


def test_one_refused_message_is_one() -> None:
    story = Story()
    story.message(1, "steel", pack("steel", 400))
    (row,) = (line for line in said(story) if line.startswith("  steel "))
    assert ", 1 message of its topic REFUSED, the last " in row


def test_what_cannot_be_heard_is_said() -> None:
    """A wrong jobsite in a topic, or a device without a source, shows nowhere else."""
    assert said(morning())[2] == "heard are dewgate/test/#; what is sent on another topic never arrives here"
    sources = (Source("probes", "probes/+/report", "json", ()),)
    fed = Story(replace(site(), sources=sources, edges=(Edge("yard", "edge 1", ()),)))
    assert said(fed)[2].startswith("heard are dewgate/test/#, probes/+/report, the edge nodes yard/edge 1;")
    assert not any(
        line.startswith("heard are") for line in text(Heard(0, Standing()), RULES, 24.0, True).splitlines()
    )


def test_each_sensor_has_its_row() -> None:
    """Count, pace, longest gap, last value, time, lag."""
    (steel,) = (line for line in said(morning()) if line.startswith("  steel "))
    assert steel.split() == ["steel", "60", "10", "s", "10", "s", "20.59", "Cel", "16:36:30", "0.2", "s"]


def test_silence_is_said_and_never_left_to_be_seen() -> None:
    """Named on top, with how long in the row; refused messages of its topic are told there too."""
    lines = said(morning())
    assert any(
        line == "Sensors of the jobsite: 8; SILENT: air-t, air-rh, baro, dryer-t, dryer-rh, line-p, pot-skin"
        for line in lines
    )
    (air_t,) = (line for line in lines if line.startswith("  air-t "))
    assert air_t.endswith("no time  SILENT for 9.08 min, 10 s is stated")
    (air_rh,) = (line for line in lines if line.startswith("  air-rh "))
    assert air_rh.endswith(
        "SILENT not heard in 24 h, 10 s is stated, 6 messages of its topic REFUSED, the last 16:35:00"
    )


def test_silence_begins_after_the_patience_of_the_sensor() -> None:
    """A minute for a sensor of 10 s; not one ms before."""
    story = Story()
    story.message(0, "steel", pack("steel", 20))
    story.plain(Kind.HEARTBEAT, 60)
    heard = story.heard()
    assert silence(heard, heard.standing.sensors["steel"]) == ""
    story.plain(Kind.HEARTBEAT, 60.001)
    heard = story.heard()
    assert silence(heard, heard.standing.sensors["steel"]) == "for 60 s"
    assert silence(heard, heard.standing.sensors["baro"]) == "not heard"
    story.message(61, "steel", b'[{"n":"steel","v":20,"ut":600}]')  # comes again within ten minutes
    story.plain(Kind.HEARTBEAT, 661)
    heard = story.heard()
    assert silence(heard, heard.standing.sensors["steel"]) == ""
    story.plain(Kind.HEARTBEAT, 661.001)
    heard = story.heard()
    assert silence(heard, heard.standing.sensors["steel"]) == "for 10 min"


def test_the_unknown_the_refused_and_the_repeated_are_told() -> None:
    """With the table to paste, the reasons, and nothing raw."""
    lines = said(morning())
    assert "Not known to the jobsite: 1, ready to paste:" in lines
    assert "# dewgate/test/door: heard 6 times, about every 100 s; example 18.5 Cel" in lines
    assert "Refused messages: 12" in lines
    (door,) = (line for line in lines if line.startswith("  dewgate/test/door "))
    assert " ".join(door.split()) == (
        "dewgate/test/door 6 16:35:00 unknown sensor no sensor door on topic level door"
    )
    assert lines[lines.index("Messages that came again: 1") + 1] == "  dewgate/test/steel 1"
    assert all(sign.isprintable() for line in lines for sign in line)


def test_a_flood_of_topics_is_cut_on_the_terminal_and_whole_for_a_machine() -> None:
    """The keeper is told how many are left out."""
    story = Story()
    for n in range(MOST_ROWS + 4):
        story.message(1, f"t{n}", b"x")
    assert said(story).count("and 4 more; --json has them") == 2
    assert len(json.loads(as_json(story.heard(), RULES, 24.0, True))["unknown"]) == MOST_ROWS + 4
    full = Story()
    for n in range(MOST_ROWS):
        full.message(1, f"t{n}", b"x")
    assert not any("more; --json" in line for line in said(full))


def test_where_a_sensor_is_named_is_told_only_with_an_unknown_one() -> None:
    """Whoever has nothing to paste is told nothing of pasting."""
    assert any("[[areas.steel]]" in line for line in said(morning()))
    assert not any("[[areas.steel]]" in line for line in said(Story()))
    assert "Not known to the jobsite: 0" in said(Story())


def test_a_machine_gets_the_same_in_utc() -> None:
    """Times in UTC ms, spans in ms, the table as text."""
    found = json.loads(as_json(morning().heard(), RULES, 24.0, False))
    assert ("test", False, 81, utc_ms(595)) == tuple(
        found[key] for key in ("jobsite", "writing", "entries", "newest_utc_ms")
    )
    steel = next(each for each in found["sensors"] if each["id"] == "steel")
    assert steel == {
        "id": "steel", "topic": "steel", "stated_interval_s": 10.0, "silent": None, "times": 60,
        "every_ms": 10000.0,
        "longest_gap_ms": 10000, "last_utc_ms": utc_ms(590), "value": 20.59, "unit": "Cel", "lag_ms": 200,
        "marked": {},
    }  # fmt: skip
    (door,) = found["unknown"]
    assert ("door", 18.5, "Cel", 6) == tuple(door[key] for key in ("name", "value", "unit", "times"))
    assert 'id = "door"' in door["toml"]
    assert [("dewgate/test/air-rh", "not SenML", 6)] == [
        (each["topic"], each["code"], each["times"]) for each in found["refused"] if each["code"] == "not SenML"
    ]
    assert found["duplicates"] == {"dewgate/test/steel": 1}


def test_columns_are_as_wide_as_their_widest() -> None:
    """Two blanks between, none at the end."""
    assert columns([("a", "bb", ""), ("ccc", "d", "")]) == ["  a    bb", "  ccc  d"]


def test_a_sensor_that_is_slower_than_stated_is_told() -> None:
    """Beyond half as long again as it states; at that it is not."""
    for gap_s, remark in ((15, ""), (15.01, "10 s is stated")):
        story = Story()
        for n in range(3):
            story.message(gap_s * n, "steel", pack("steel", 20))
        (steel,) = (line for line in said(story) if line.startswith("  steel "))
        assert steel.endswith(f"no time  {remark}".rstrip())
