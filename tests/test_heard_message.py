"""What one message says: refused bytes read with tolerance, lags, and what is escaped."""

from __future__ import annotations

from dataclasses import replace

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import entry, flow_repeats
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.heard_message import (
    REMEMBERED,
    Said,
    Seen,
    Standing,
    after,
    believed,
    printable,
    printable_bytes,
    shown,
    span,
    told,
    value_words,
)
from gateway.jobsite import Edge, EdgeValue, Source, SourceValue
from gateway.payload.canonical import config_set
from gateway.reading import Reading
from gateway.tiers import Sheet
from tests.sites import T0, site
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN, MESSAGES, NOW

STANDING = after(Standing(), Kind.CONFIG_SET, config_set(site(), "keeper", "test"))


def test_base_values_of_a_pack_are_resolved() -> None:
    """Names are joined, values added, the unit is the record's or the base's (RFC 8428, 4.5)."""
    pack = b'[{"bn":"box-","bu":"Cel","bv":20,"n":"a","v":1.5},{"n":"b","u":"%RH","v":40},{"n":"c","vs":"on"}]'
    assert told(pack) == [Said("box-a", 21.5, "Cel"), Said("box-b", 60.0, "%RH"), Said("box-c", "on", "Cel")]


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        (b'[{"n":"a","v":1},{"n":"b","v', [Said("a", 1.0, "")]),  # cut off after 4 KiB
        (b"hello", []), (b"", []), (b"21.3", []), (b'{"n":"a","v":1}', []), (b"\xff\xfe\x00", []),
        (b"[" * 4000, []),
        (b'[1,{"n":2,"u":[],"v":true}]', [Said("", "True", "")]),
        (b'[{"n":"a","v":NaN}]', [Said("a", "nan", "")]),
        (b'[{"n":"a","v":1' + b"0" * 400 + b"}]", [Said("a", None, "")]),
        (b'[{"bn":"x","bv":"no","n":"y","v":1}]', [Said("xy", 1.0, "")]),
        (cbor2.dumps([{-2: "x", -4: "Cel", 0: "y", 2: 18.5}, {0: "z", 2: 19}]),
         [Said("xy", 18.5, "Cel"), Said("xz", 19.0, "Cel")]),
        (cbor2.dumps([{0: "y", 2: 18.5}])[:-2], []),
        (b'[{"n":"a"}]', [Said("a", None, "")]),
        (b'[{"n":"a","vs":"' + b"z" * 100 + b'"}]', [Said("a", "z" * 60, "")]),
    ],
)  # fmt: skip
def test_garbage_is_read_as_far_as_it_goes(kept: bytes, said: list[Said]) -> None:
    """Whatever was refused, something or nothing comes out, and never an error."""
    assert told(kept) == said


@given(st.binary(max_size=200) | st.text(max_size=100).map(str.encode))
def test_no_bytes_break_the_reading_or_reach_a_terminal_raw(kept: bytes) -> None:
    """Every sign that is left is a printable one."""
    assert all(sign.isprintable() for sign in printable_bytes(kept))
    for said in told(kept):
        assert all(sign.isprintable() for sign in value_words(said.value, said.unit) + printable(said.name))


def test_control_and_direction_signs_are_escaped() -> None:
    """An escape sequence, a bell, a C1 control, a right-to-left override, a line end, broken UTF-8."""
    assert printable("a\x1b[2J\x07\x9b\u202eb\n°") == "a\\x1b[2J\\x07\\x9b\\u202eb\\n°"
    assert printable_bytes(b"\xff\x1bok") == "\\xff\\x1bok"


@pytest.mark.parametrize(
    ("ms", "words"),
    [(200, "0.2 s"), (9940, "9.9 s"), (9960, "10 s"), (119_000, "119 s"), (120_000, "2 min"),
     (7_199_000, "120 min"), (7_200_000, "2 h"), (172_799_000, "48 h"), (-7_200_000, "-2 h"),
     (86_400_000, "24 h"), (172_800_000, "2 days"), (-2000, "-2.0 s"), (0, "0.0 s")],
)  # fmt: skip
def test_a_span_is_said_as_a_person_says_it(ms: float, words: str) -> None:
    """One number and one unit."""
    assert span(ms) == words


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [(21.3, "Cel", "21.3 Cel"), (1013.25, "hPa", "1013.25 hPa"), (25.0, "", "25"), (None, "Cel", "no value Cel"),
     ("on", "", "'on'"), (1.0, "\x1b", "1 \\x1b")],
)  # fmt: skip
def test_a_value_is_said_with_its_unit(value: float | str | None, unit: str, words: str) -> None:
    """Text stands in quotes, so that it is not taken for a number."""
    assert value_words(value, unit) == words


def reading_shown(reading: Reading, seen: Seen | None = None, **facts: bool) -> tuple[int | None, tuple[str, ...]]:
    said = shown(reading, Arrival("dewgate/test/steel", b"", **facts), STANDING, T0, {} if seen is None else seen)
    return said.lag_ms, said.marks


def test_a_lag_is_told_only_where_the_time_holds() -> None:
    """ "So long ago" holds only for a message that did not wait; without a time nothing is known."""
    assert reading_shown(Reading("steel", 20.0, T0 - 300)) == (300, ())
    assert reading_shown(Reading("steel", 20.0, T0 - 300, relative=True)) == (300, ())
    assert reading_shown(Reading("steel", 20.0, T0 - 300, relative=True), before_marker=True) == (
        None,
        ("age unknown",),
    )
    assert reading_shown(Reading("steel", 20.0, None)) == (None, ())
    assert reading_shown(Reading("steel", 20.0, None), retain=True) == (None, ("age unknown",))
    assert reading_shown(Reading("steel", 20.0, T0 - 300), retain=True) == (300, ())


def test_the_same_time_again_is_a_repeat_or_a_conflict() -> None:
    """As long as it is remembered; untimed readings are never the same."""
    seen: Seen = {}
    assert reading_shown(Reading("steel", 20.0, T0), seen)[1] == ()
    assert reading_shown(Reading("steel", 20.0, T0), seen)[1] == ("repeat",)
    assert reading_shown(Reading("steel", 21.0, T0), seen)[1] == ("conflict",)
    for n in range(REMEMBERED + flow_repeats.SLACK):
        reading_shown(Reading("steel", 20.0, T0 + 1 + n), seen)
    assert len(seen) < REMEMBERED + flow_repeats.SLACK
    assert reading_shown(Reading("steel", 21.0, T0), seen)[1] == ()


def test_a_value_is_told_in_the_unit_its_sensor_states() -> None:
    """Inside it is 101 300 Pa and a fraction."""
    hpa = shown(Reading("baro", 101_300.0, None), Arrival("t", b""), STANDING, T0, {})
    assert (1013.0, "hPa") == (hpa.value, hpa.unit)
    rh = shown(Reading("air-rh", 0.02, None, below_resolution=True), Arrival("t", b""), STANDING, T0, {})
    assert (2.0, "%RH", ("at most this",)) == (rh.value, rh.unit, rh.marks)


def test_a_topic_is_of_the_jobsite_only_with_its_three_levels() -> None:
    """Anything else has no sensor's level."""
    assert STANDING.level("dewgate/test/steel") == "steel"
    assert [STANDING.level(topic) for topic in ("dewgate/test/x/y", "dewgate/other/steel", "steel")] == [
        "",
        "",
        "",
    ]
    assert STANDING.is_own("dewgate/test/steel")
    site_with_source = replace(site(), sources=(Source("s", "plant/+/air", "number", (SourceValue("steel"),)),))
    with_source = after(STANDING, Kind.CONFIG_SET, config_set(site_with_source, "keeper", "test"))
    assert [True, False, False] == [with_source.is_own(f"plant/{rest}") for rest in ("7/air", "7/x", "7/x/air")]
    assert not STANDING.is_own("dewgate/test/door") and not STANDING.is_own("dewgate/other/steel")


def test_silence_begins_when_the_flow_says_so() -> None:
    """A promise of the sensor holds from a minute to an hour; without one, three intervals."""
    flow = Flow()
    flow.advance([entry.plain(Kind.CONFIG_SET, T0, config_set(site(), "keeper", "test"))], Outcomes())
    cases = ((None, 60_000), (1_000, 60_000), (600_000, 600_000), (9_000_000, 3_600_000))
    for number, (promised, patience) in enumerate(cases):
        reading = Reading("steel", 20.0, T0 + number, next_within_ms=promised)
        assert shown(reading, Arrival("dewgate/test/steel", b""), STANDING, T0, {}).patience_ms == patience
        flow._reading(reading, False, T0 + number, Sheet())
        assert flow.state.newest["steel"].patience_ms == patience


def test_an_edge_node_is_heard_once_it_is_born() -> None:
    """Its data says nothing by itself; after its birth, by alias, it does."""
    edges = (Edge("site", "pump", (EdgeValue("baro", "baro"), EdgeValue("steel", "steel", "wall"))),)
    standing = after(Standing(), Kind.CONFIG_SET, config_set(replace(site(), edges=edges), "keeper", "test"))

    def heard(name: str) -> list[tuple[str, float]]:
        found = believed(Arrival(MESSAGES[name].topic, MESSAGES[name].payload), standing, NOW)
        assert isinstance(found, list)
        return [(each.sensor, each.value) for each in found]

    assert heard("by alias seq 2") == []
    assert [sensor for sensor, _ in heard(BORN) + heard(DEVICE_BORN)] == ["baro", "steel"]
    assert heard("by alias seq 2") == [("steel", 17.25)]
    after(standing, Kind.EDGE_SESSION, b'{"what":"rebirth asked for","group":"site","node":"new"}')
    after(standing, Kind.EDGE_SESSION, b'{"what":"connected to the broker anew"}')
    assert heard("by alias seq 3") == []
