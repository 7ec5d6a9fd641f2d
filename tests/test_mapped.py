"""Devices that do not speak SenML: which message feeds which sensor, what of it is believed and what refused."""

from __future__ import annotations

import json
from dataclasses import replace
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.measured import Quantity
from gateway.feeds import fed, means
from gateway.jobsite import Jobsite, Scale, Source, SourceValue
from gateway.payload.mapped import MAX_DEPTH, Sources
from gateway.payload.paths import path
from gateway.reading import Reading, Rejected
from tests.sites import T0, sensor, site

AIR = SourceValue("air-t", "air.t")
HUMID = SourceValue("air-rh", "air.rh")
BOX = Source("box", "yard/box/state", "json", (AIR, HUMID))
PLAIN = Source("plain", "yard/baro", "number", (SourceValue("baro"),))


def with_sources(*sources: Source) -> Jobsite:
    """The jobsite of the tests with devices of their own."""
    return replace(site(), sources=sources)


def read(source: Source, said: object, topic: str = "") -> list[Reading] | Rejected:
    """What is believed of a message; said is the payload, or what stands in it as JSON."""
    payload = said if isinstance(said, bytes) else json.dumps(said).encode()
    match = Sources.of(with_sources(source)).find(topic or source.topic)
    assert match is not None
    return Sources.decode(match, payload, T0)


def refusal(source: Source, said: object, topic: str = "") -> str:
    """Why nothing is believed of a message."""
    rejected = read(source, said, topic)
    assert isinstance(rejected, Rejected)
    return f"{rejected.code}: {rejected.detail}"


# -- one plain number ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"1013.2", 1013.2),
        (b" 1013\r\n", 1013.0),
        (b"+1.0132e3", 1013.2),
        (b"\t01013.20", 1013.2),
        (b"0" * 60 + b"1013", 1013.0),
    ],
)
def test_a_plain_number_is_the_reading(payload: bytes, value: float) -> None:
    """In the sensor's own unit, hPa here, and without a time of its own."""
    assert read(PLAIN, payload) == [Reading("baro", pytest.approx(value * 100), None)]


@pytest.mark.parametrize(
    "payload",
    [
        b"", b" ", b"nan", b"NaN", b"inf", b"-Infinity", b"0x3f5", b"1_013", b"1013 hPa", b"1013.", b".5", b"--1",
        b"1 013", b'"1013"', b"[1013]", b"1013\x00", b"\xff", "１０１３".encode(), "−5".encode(), b"1e", b"1" * 65,
    ],
)  # fmt: skip
def test_nothing_else_is_a_plain_number(payload: bytes) -> None:
    """No special values, other notations, separators, units, quotes or digits of other scripts."""
    assert refusal(PLAIN, payload).startswith("no number: the payload is not one plain number: ")


def test_a_decimal_comma_is_named() -> None:
    """1,013 may be a thousand or one: it is not guessed."""
    said = "no number: the payload is '1013,2': a decimal comma; a decimal is written with a point"
    assert refusal(PLAIN, b"1013,2") == said


def test_a_number_beyond_every_number_or_its_sensor_is_refused() -> None:
    """Infinity by the back door, and what a barometer cannot say."""
    assert refusal(PLAIN, b"1e999") == "not finite: baro: the value is not a finite number"
    assert refusal(PLAIN, b"10") == "impossible value: baro: 10 hPa is outside its range"


def test_a_transmitter_signal_comes_in_as_a_number() -> None:
    """Its scale, and its faults, hold for every form."""
    loop = replace(site().sensors[2], scale=Scale("mA", (4.0, 900.0), (20.0, 1100.0)))
    jobsite = with_sources(PLAIN)
    jobsite = replace(jobsite, sensors=tuple(loop if each.id == "baro" else each for each in jobsite.sensors))
    match = Sources.of(jobsite).find("yard/baro")
    assert match is not None
    assert Sources.decode(match, b"12.0", T0) == [Reading("baro", pytest.approx(100_000.0), None)]
    broken = Rejected("signal fault", "baro: 0.1 mA: broken wire or transmitter fault")
    assert Sources.decode(match, b"0.1", T0) == broken


# -- JSON ----------------------------------------------------------------------------------------------


def test_paths_pick_the_values() -> None:
    """In the sensors' units, in the order of the source, without a time."""
    assert read(BOX, {"air": {"rh": 55, "t": 21.5}, "more": None}) == [
        Reading("air-t", 21.5, None),
        Reading("air-rh", pytest.approx(0.55), None),
    ]


@pytest.mark.parametrize(
    ("expression", "message"),
    [
        ('"air-box"."t 1"', {"air-box": {"t 1": 20.5}}),
        ("values[1]", {"values": [3, 20.5]}),
        ("values[-1]", {"values": [3, 20.5]}),
        (
            "values[?name == 't'].value | [0]",
            {"values": [{"name": "h", "value": 3}, {"name": "t", "value": 20.5}]},
        ),
        ("a || b", {"b": 20.5}),
        ("max(values)", {"values": [3, 20.5]}),
        ("@", 20.5),
    ],
)
def test_the_published_language_reaches_any_place(expression: str, message: object) -> None:
    """Names with other characters, list items, filters, alternatives; a message may be a bare number."""
    source = replace(BOX, values=(SourceValue("air-t", expression),))
    assert read(source, message) == [Reading("air-t", 20.5, None)]


def test_a_missing_value_names_path_and_sensor_and_takes_the_whole_message() -> None:
    """Half a message is never believed; null is missing as well."""
    missing = "value missing: air-rh: the message has nothing at air.rh"
    assert refusal(BOX, {"air": {"t": 20.0}}) == missing
    assert refusal(BOX, {"air": {"t": 20.0, "rh": None}}) == missing
    assert refusal(BOX, []) == "value missing: air-t: the message has nothing at air.t"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (True, "no number: air-t: air.t is not one number: True"),
        ([20.5], "no number: air-t: air.t is not one number: [20.5]"),
        ({"v": 20.5}, "no number: air-t: air.t is not one number: {'v': 20.5}"),
        (10**400, "not finite: air-t: air.t is beyond every number"),
        ("20.5", "no number: air-t: air.t is a text, '20.5'; numbers_as_text = true reads numbers in quotes"),
        (99.0, "impossible value: air-t: 99 Cel is outside its range"),
    ],
)
def test_what_is_no_number_of_this_sensor_is_refused(value: object, said: str) -> None:
    """A boolean is no 1, a list of one no number, a text only where the keeper says so."""
    assert refusal(BOX, {"air": {"t": value, "rh": 50}}) == said


def test_numbers_in_quotes_are_read_where_the_keeper_says_so() -> None:
    """As strictly as a plain number, and bare numbers still."""
    source = replace(BOX, numbers_as_text=True)
    believed = read(source, {"air": {"t": " 21.5", "rh": 50}})
    assert believed == [Reading("air-t", 21.5, None), Reading("air-rh", 0.5, None)]
    for text, why in (("21,5", "a decimal comma"), ("nan", "not one plain number"), ("", "not one plain number")):
        said = refusal(source, {"air": {"t": text, "rh": 50}})
        assert said.startswith("no number: air-t: air.t is ")
        assert why in said


def test_a_stated_unit_is_used_or_refused() -> None:
    """°F is read as such; an unknown, missing or empty unit is never taken for the sensor's own."""
    source = replace(BOX, values=(SourceValue("air-t", "t", "u"),))
    assert read(source, {"t": 50, "u": "°F"}) == [Reading("air-t", pytest.approx(10.0), None)]
    assert refusal(source, {"t": 50, "u": "C"}) == "wrong unit: air-t states Cel, the message says C"
    for message in ({"t": 50}, {"t": 50, "u": ""}, {"t": 50, "u": 1}):
        assert refusal(source, message) == "unit missing: air-t: the message has no unit at u"


@pytest.mark.parametrize(
    ("form", "time", "expected_ms"),
    [
        ("s", T0 / 1000, T0),
        ("s", T0 // 1000 - 5, T0 - 5000),
        ("ms", T0 - 1, T0 - 1),
        ("s", 2**28, 2**28 * 1000),  # the first that is no "so long ago" (RFC 8428, 4.5.3)
        ("ISO 8601", "2026-05-28T20:26:40Z", T0),
        ("ISO 8601", "2026-05-28 22:26:39.25+02:00", T0 - 750),
        ("ISO 8601", "2026-05-28t20:26z", T0 - 40_000),
    ],
)
def test_a_message_with_a_time_gives_absolute_readings(form: str, time: object, expected_ms: int) -> None:
    """1,780,000,000 s is 2026-05-28 20:26:40 UTC."""
    (reading,) = read(replace(BOX, values=(AIR,), time="at", time_form=form), {"at": time, "air": {"t": 20.5}})
    assert (reading.measured_ms, reading.absolute) == (expected_ms, True)


@pytest.mark.parametrize(
    ("form", "time", "said"),
    [
        ("s", None, "value missing: time: the message has nothing at at"),
        ("s", 5000, "bad time: time: at is 5000 s, which does not count from 1970"),
        ("s", 0, "bad time: time: at is 0 s, which does not count from 1970"),
        ("s", T0, "bad time: measured 1778220000000 s in the future"),
        ("s", 1e308, "bad time: the time is not finite"),
        ("ms", T0 / 1000, "bad time: time: at is 1.78e+06 s, which does not count from 1970"),
        ("ms", T0 + 61_000, "bad time: measured 61 s in the future"),
        ("s", str(T0), f"no number: time: at is a text, '{T0}'; numbers_as_text = true reads numbers in quotes"),
        ("ISO 8601", None, "bad time: time: at is not ISO 8601: nothing"),
        ("ISO 8601", T0, f"bad time: time: at is not ISO 8601: {T0}"),
        ("ISO 8601", "28.05.2026 20:26", "bad time: time: at is not ISO 8601: '28.05.2026 20:26'"),
        (
            "ISO 8601", "2026-05-28T20:26:40",
            "bad time: time: at names no zone: '2026-05-28T20:26:40'; Z or +00:00 is needed",
        ),
        ("ISO 8601", "2026-02-30T20:26:40Z", "bad time: time: at is no date: '2026-02-30T20:26:40Z'"),
        ("ISO 8601", "٢٠٢٦-05-28T20:26:40Z", "bad time: time: at is not ISO 8601: '٢٠٢٦-05-28T20:26:40Z'"),
    ],
)  # fmt: skip
def test_a_time_that_does_not_tell_when_is_refused(form: str, time: object, said: str) -> None:
    """Uptimes, seconds for milliseconds, local times without a zone: none is guessed."""
    source = replace(BOX, values=(AIR,), time="at", time_form=form)
    assert refusal(source, {"at": time, "air": {"t": 20.5}}) == said


@pytest.mark.parametrize("said", ["ok", 192, True])
def test_a_quality_among_the_good_is_believed(said: object) -> None:
    """Words, numbers and booleans."""
    source = replace(BOX, values=(AIR,), quality="q", good=("ok", 192.0, True))
    assert read(source, {"q": said, "air": {"t": 20.5}}) == [Reading("air-t", 20.5, None)]


@pytest.mark.parametrize(
    ("message", "said"),
    [
        ({"q": "bad"}, "quality says 'bad'"),
        ({"q": "OK"}, "quality says 'OK'"),
        ({"q": True}, "quality says True"),
        ({"q": 0}, "quality says 0"),
        ({"q": ["ok"]}, "quality says ['ok']"),
        ({"q": None}, "quality says nothing"),
        ({}, "quality says nothing"),
    ],
)
def test_any_other_quality_refuses_the_message(message: dict[str, object], said: str) -> None:
    """Missing too; true is not the number 1, and false not 0."""
    source = replace(BOX, values=(AIR,), quality="q", good=("ok", 1.0, False))
    assert refusal(source, {**message, "air": {"t": 20.5}}) == f"bad quality: {said}"


def test_a_comparison_can_be_the_quality() -> None:
    """It says true or false; where it fails, nothing is believed."""
    source = replace(BOX, values=(AIR,), quality="status == 'ok' && length(faults) == `0`", good=(True,))
    assert read(source, {"status": "ok", "faults": [], "air": {"t": 20.5}}) == [Reading("air-t", 20.5, None)]
    assert (
        refusal(source, {"status": "ok", "faults": [1], "air": {"t": 20.5}}) == "bad quality: quality says False"
    )
    assert refusal(source, {"status": "ok", "air": {"t": 20.5}}).startswith("path fails: status == 'ok' && ")


# -- what is no message --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"{", b"NaN", b'{"air": {"t": NaN}}', b'{"air": {"t": 1e999}}', b'{"air": {"t": Infinity}}', b"\xff",
        b'{"air": {"t": 021}}', b"{'air': 1}", b"\xef\xbb\xbf{}", b'{"a": "\\ud800"}', b"{} {}", b"1" * 5000,
    ],
)  # fmt: skip
def test_what_is_not_json_is_refused(payload: bytes) -> None:
    """RFC 8259: no special numbers, no other quotes, no broken text, nothing after the end."""
    assert refusal(BOX, payload).split(":")[0] in ("not JSON", "value missing")
    if payload != b"1" * 5000:
        assert refusal(BOX, payload).startswith("not JSON: not JSON: ")


def test_size_and_depth_are_bounded() -> None:
    """64 KiB, 32 levels; far deeper than the decoder can go it is the same refusal."""
    assert refusal(BOX, b" " * 65_537) == "too large: 65537 bytes; at most 65536 are read"
    assert refusal(BOX, b" " * 65_536).startswith("not JSON: ")

    def nested(levels: int) -> bytes:
        return b'{"air": {"t": 20.5, "rh": 50}, "more": ' + b"[" * (levels - 1) + b"]" * (levels - 1) + b"}"

    assert isinstance(read(BOX, nested(MAX_DEPTH)), list)
    for levels in (MAX_DEPTH + 1, 500, 5000, 30_000):
        assert refusal(BOX, nested(levels)) == "too deep: nested deeper than 32 levels"
    wide = {"air": {"t": 20.5, "rh": 50}, "more": [[] for _ in range(1000)]}
    assert isinstance(read(BOX, wide), list)


@pytest.mark.parametrize(
    ("payload", "twice"),
    [
        (b'{"air": {"t": 20.5, "t": 2, "rh": 50}}', True),
        (b'{"air": {"t": 20.5, "\\u0074": 2, "rh": 50}}', True),
        (b'{"air": {"t": 20.5, "rh": 50}, "x": {"a:": 1, "a:": ":"}}', True),
        (b'{"air": {"t": 20.5, "rh": 50}, "x": 1' + b"0" * 30 + b', "x": 2}', True),
        (b'{"air": {"t": 20.5, "rh": 50}, "x": 1' + b"0" * 30 + b"}", False),
        (b'{"air": {"t": 20.5, "rh": 50}, "t": "12:30:00", "\\u003a": "\\u003a"}', False),
        (b'{"air" : {"t":20.5,"rh" : 50}, "x": ["a:b", {"t": 1}, {"t": 1}]}', False),
    ],
)
def test_a_name_that_stands_twice_is_refused(payload: bytes, twice: bool) -> None:
    """Which of two values is meant is not known; escapes, colons in texts and long numbers mislead nobody."""
    said = "said twice: a name stands twice in the same table; which one is meant is not known"
    assert (refusal(BOX, payload) == said) if twice else isinstance(read(BOX, payload), list)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200) | st.text(alphabet='{}[]":,.0123456789eE+-_airth \\u', max_size=80).map(str.encode))
def test_any_bytes_are_readings_or_a_refusal(payload: bytes) -> None:
    """No payload raises."""
    for source in (BOX, PLAIN):
        assert isinstance(read(source, payload), list | Rejected)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["a", "b", "c"]), inner, max_size=3)
    ),
    max_leaves=12,
)
PATHS = (
    "a",
    "a.b[0]",
    "a[].b",
    "[?a > b].c | [0]",
    "max(a)",
    "avg(a[*].b)",
    "contains(a, b)",
    "length(a)",
    "a.*.b",
)


@settings(max_examples=200, deadline=None)
@given(json_values, st.sampled_from(PATHS))
def test_no_message_breaks_a_path(message: object, expression: str) -> None:
    """What a path cannot take is a refusal, and what it finds is a finite number or one too."""
    source = replace(BOX, values=(SourceValue("air-t", expression),), quality=expression, good=(1.0, "ok", True))
    for each in (source, replace(source, quality="")):
        found = read(each, message)
        assert isinstance(found, Rejected) or -60 <= found[0].value <= 80


# -- paths ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("expression", "said"),
    [
        ("air-t", "is not JMESPath at character 4: a name with other characters than letters, digits and _"),
        ("a.b[", "is not JMESPath at its end"),
        ("", "is not JMESPath at its end"),
        ("$.a", "is not JMESPath at character 1"),
        ("a || `20`", "a fixed value is no reading"),
        ("'ok'", "a fixed value is no reading"),
        ("a == `[1]`", "a fixed value is no reading"),
        ("sum(a)", r"function sum\(\) is not used here"),
        ("to_number(a)", r"function to_number\(\) is not used here"),
        ("max(a, b)", r"function max\(\) takes 1, not 2"),
        ("[a, b]", "a path picks one value"),
        ("{a: b}", "a path picks one value"),
        ("a[0:2]", "a path picks one value"),
        ("map(&a, b)", r"function map\(\) is not used here"),
        ("a[*][*][*][*][*]", "goes through lists more than 4 times"),
        ("[*][*][*][*].a | max(@[*])", "goes through lists more than 4 times"),
        ("a" * 201, "a path has at most 200 characters"),
    ],
)
def test_a_path_that_makes_values_up_or_explodes_is_refused(expression: str, said: str) -> None:
    """sum([]) is 0, `|| 20` a value nobody measured, [@, @] doubled forty times fills the memory."""
    with pytest.raises(ValueError, match=said):
        path(expression)


def test_a_path_of_names_only_is_walked() -> None:
    """Without the interpreter, and only such a path; 200 characters are not too many."""
    names = {
        text: path(text).names for text in ("a.b.c", 'a."b c"', "a", "a[0].b", "a | b", "a.*", "@", "a.max(b)")
    }
    assert names == {"a.b.c": ("a", "b", "c"), 'a."b c"': ("a", "b c"), "a": ("a",), "a[0].b": (), "a | b": (),
                     "a.*": (), "@": (), "a.max(b)": ()}  # fmt: skip
    assert path("a" * 200).names == ("a" * 200,)


def test_the_worst_path_through_the_largest_message_ends_soon() -> None:
    """Four times through a list of 32,000, with conditions: time is bounded by length times size."""
    slow = "[?@ == @ || @ == @ || @ == @] | [?!(@ != @)] | [?contains(@, 'x') || @ == @] | [*] | [0]"
    source = replace(BOX, values=(SourceValue("air-t", "[?@==@||@!=@||@==@]|[?!(@!=@)]|[?@==@]|[*]|[0]"),))
    start = perf_counter()
    assert isinstance(read(source, b"[" + b"1," * 32_000 + b"1]"), list)
    assert perf_counter() - start < 10.0  # 0.7 s where this was written
    assert path(slow).text == slow


# -- topics --------------------------------------------------------------------------------------------

PROBES = Source("probes", "yard/+/air", "json", (SourceValue("{1}-t", "t"),))


def test_one_source_serves_several_devices() -> None:
    """{1} is the text at the first +."""
    assert read(PROBES, {"t": 20.5}, "yard/air/air") == [Reading("air-t", 20.5, None)]
    two = Source("two", "yard/+/box/+", "number", (SourceValue("{2}-{1}"),))
    assert read(two, b"20.5", "yard/t/box/air") == [Reading("air-t", 20.5, None)]
    said = "unknown sensor: no sensor mast-t, which the topic names"
    assert refusal(PROBES, {"t": 20.5}, "yard/mast/air") == said
    assert refusal(PROBES, {"t": 20.5}, "yard/{1}/air") == "unknown sensor: no sensor {1}-t, which the topic names"


def test_only_topics_of_known_sensors_are_remembered() -> None:
    """A flood of made-up topics fills nothing."""
    sources = Sources.of(with_sources(PROBES))
    found = [sources.find(f"yard/{device}/air") for device in ("air", "air", "mast", "dryer")]
    assert found[0] is found[1]
    assert list(sources.by_topic) == ["yard/air/air", "yard/dryer/air"]


def test_a_topic_belongs_to_one_source_or_none() -> None:
    """Level by level, as MQTT 5.0, 4.7.1.3 counts them; a + is one level, no more and no less."""
    sources = Sources.of(with_sources(BOX, PLAIN, PROBES))
    found = {
        topic: match.device.source.id
        for topic in ("yard/box/state", "yard/baro", "yard/air/air", "yard//air", "yard/a/b/air", "yard/air",
                      "yard/box/state/", "Yard/baro", "dewgate/test/air-t", "", "x/air/air")
        if (match := sources.find(topic)) is not None
    }  # fmt: skip
    assert found == {
        "yard/box/state": "box",
        "yard/baro": "plain",
        "yard/air/air": "probes",
        "yard//air": "probes",
    }


def test_what_a_source_feeds_is_fed_by_nothing_else() -> None:
    """The door of SenML leaves these out; a name with {1} means every sensor it fits."""
    assert fed(with_sources(BOX, PLAIN)) == {"air-t", "air-rh", "baro"}
    assert fed(with_sources(PROBES)) == {"air-t", "dryer-t"}
    assert fed(site()) == frozenset()


@pytest.mark.parametrize(
    ("name", "fits", "fits_not"),
    [
        ("air-t", "air-t", "air-tt"),
        ("a.b", "a.b", "axb"),
        ("{1}-t", "air-t", "-t"),
        ("{1}.{2}", "a.b", "a-b"),
        ("{1}-{1}", "a-a", "a-b"),
        ("{4}", "{4}", "a"),
    ],
)
def test_which_sensors_a_name_means(name: str, fits: str, fits_not: str) -> None:
    """{1} stands for any text, the same one each time."""
    assert (means(name, fits), means(name, fits_not)) == (True, False)
    assert not means(name, "x" + fits + "\n")


def test_sources_are_kept_in_the_journal() -> None:
    """A ConfigSet entry brings them back, and one without them still reads."""
    from gateway.payload import canonical

    full = replace(BOX, time="at", time_form="ms", quality="q", good=("ok", 1.0, True), numbers_as_text=True)
    new = sensor("x", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
    new = replace(new, scale=Scale("V", (0.0, -40.0), (10.0, 60.0)))
    plain = replace(with_sources(full, PROBES), sensors=(*site().sensors, new))
    assert canonical.jobsite_of(canonical.config_set(plain, "keeper", "test")) == plain
    assert canonical.jobsite_of(canonical.config_set(plain, "keeper", "test")).sources[0].good == ("ok", 1, True)
    old = canonical.to_dict(canonical.config_set(site(), "keeper", "test"))
    del old["jobsite"]["sources"]
    for each in old["jobsite"]["sensors"]:
        del each["scale"]
    for each in old["jobsite"]["trains"][0]["pieces"]:
        del each["salt"], each["outlet"]["pressure_dew_point"]
    assert canonical.jobsite_of(canonical.to_bytes(old)) == site()
