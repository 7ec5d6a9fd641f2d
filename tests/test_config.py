"""The jobsite file: one file per mistake with the words it must bring, and the way out and back in."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.measured import UNITS, Quantity
from gateway.config import ConfigErrors, load, to_toml, warnings
from gateway.feeds import fed
from gateway.jobsite import Accuracy, Calibration, Edge, EdgeValue, Jobsite, Point, Scale, Source, SourceValue

HERE = Path(__file__).parent / "config"
DEPLOY = Path(__file__).parent.parent / "deploy"
BAD = sorted(path for path in HERE.glob("*.toml") if path.stem != "good")


@pytest.fixture
def good() -> Jobsite:
    """The file that the bad ones differ from by one mistake."""
    return load(HERE / "good.toml")


def told(path: Path) -> str:
    """All that is said about a file."""
    with pytest.raises(ConfigErrors) as caught:
        load(path)
    return str(caught.value)


@pytest.mark.parametrize("path", BAD, ids=[path.stem for path in BAD])
def test_every_mistake_is_told_with_its_line_and_nothing_else_is(path: Path) -> None:
    """The end of each file says, line by line, what must be told about it."""
    lines = path.read_text().splitlines()
    expected = [line.removeprefix("# expect ") for line in lines if line.startswith("# expect ")]
    assert expected
    assert told(path).splitlines() == expected


def test_there_is_a_file_for_every_kind_of_mistake() -> None:
    """A folder that was not found would otherwise pass in silence."""
    assert len(BAD) >= 50


def test_errors_come_as_lines_and_texts() -> None:
    """A page can mark the line itself."""
    with pytest.raises(ConfigErrors) as caught:
        load(HERE / "several_at_once.toml")
    assert [each.line for each in caught.value.errors] == [12, 66, 94, 97]
    assert caught.value.errors[3].text.startswith('limit "A-margin": clause is missing')


def test_numbers_arrive_in_the_units_used_inside(good: Jobsite) -> None:
    """Half widths inside, thresholds in the specification's own unit, times in seconds."""
    sensors = {each.id: each for each in good.sensors}
    assert sensors["air-rh"].accuracy == Accuracy(0.02, "k=2")
    assert sensors["steel"].accuracy.half_width == pytest.approx(0.5 * 5 / 9)
    assert sensors["line-p"].accuracy.half_width == pytest.approx(0.7 * UNITS["psi"].factor)
    assert sensors["baro"].accuracy.u is None
    assert sensors["air-rh"].interval_s == 60
    assert good.altitude_m == pytest.approx(20.1168)
    (limit,) = good.limits
    assert (limit.threshold, limit.unit, limit.deadband, limit.deadband_unit) == (5, "Δ°F", 0.5, "K")
    assert limit.threshold_inside == pytest.approx(2.7778, abs=1e-4)
    assert (limit.on_delay_s, limit.off_delay_s, limit.unknown_delay_s) == (60, 600, 300)


def test_what_the_calibration_found_is_optional_and_arrives_in_the_units_used_inside(tmp_path: Path) -> None:
    """Correction, expanded uncertainty and drift of a pressure and a humidity; the export brings them back."""
    text = (HERE / "good.toml").read_text()
    found = (
        'calibration_correction = "-{} {u}"\ncalibration_uncertainty = "{} {u}"\ncalibration_drift = "{} {u}"\n'
    )
    text = text.replace('accuracy = "0.7 psi"', found.format(0.1, 0.2, 0.3, u="psi") + 'accuracy = "0.7 psi"')
    text = text.replace('accuracy = "2 %RH"', found.format(1, 0.5, 1.5, u="%RH") + 'accuracy = "2 %RH"')
    (tmp_path / "jobsite.toml").write_text(text)
    site = load(tmp_path / "jobsite.toml")
    sensors = {each.id: each for each in site.sensors}
    assert sensors["air-t"].calibration == Calibration()
    psi, line = UNITS["psi"].factor, sensors["line-p"].calibration
    assert (line.correction, line.expanded_u, line.drift) == pytest.approx((-0.1 * psi, 0.2 * psi, 0.3 * psi))
    humid = sensors["air-rh"].calibration
    assert (humid.correction, humid.expanded_u, humid.drift) == pytest.approx((-0.01, 0.005, 0.015))
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site
    assert 'calibration_uncertainty = "0.5 %RH"' in (tmp_path / "out.toml").read_text("utf-8")


def test_a_sensor_publishes_on_its_id_unless_it_says_otherwise(tmp_path: Path) -> None:
    """The topic is one level, by which a record without a name is found."""
    text = (HERE / "good.toml").read_text().replace('id = "baro"', 'id = "baro"\ntopic = "box-3"')
    (tmp_path / "jobsite.toml").write_text(text)
    topics = {each.id: each.topic for each in load(tmp_path / "jobsite.toml").sensors}
    assert topics["baro"] == "box-3"
    assert topics["air-t"] == "air-t"


FILES = [HERE / "good.toml", DEPLOY / "demo.toml", DEPLOY / "example.toml"]


@pytest.mark.parametrize("path", [*FILES, HERE.parent / "scenarios" / "jobsite.toml"])
def test_export_reads_back_to_an_equal_jobsite(path: Path, tmp_path: Path) -> None:
    """Also on the second round."""
    site = load(path)
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site
    assert to_toml(load(tmp_path / "out.toml")) == to_toml(site)


def test_export_keeps_odd_text_and_odd_numbers(good: Jobsite, tmp_path: Path) -> None:
    """Quotes, line ends, control characters and numbers without a short decimal come back the same."""
    label = 'a "quoted" \\ label\nwith\ttabs, \x7f and Δ°F'
    sensor = replace(good.sensors[0], label=label, accuracy=Accuracy(1 / 3, "k=1"), interval_s=0.1)
    limit = replace(good.limits[0], threshold=1e-7, deadband=1 / 3, advice=label)
    site = replace(good, label=label, sensors=(sensor, *good.sensors[1:]), limits=(limit,), simulated=True)
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site


def test_a_station_may_stand_higher_than_its_jobsite(tmp_path: Path) -> None:
    """In metres or feet; nothing stated is the jobsite's own height."""
    text = (HERE / "good.toml").read_text()
    (tmp_path / "jobsite.toml").write_text(text)
    assert [each.above_site_m for each in load(tmp_path / "jobsite.toml").stations] == [0.0]
    stated = 'station_pressure = "baro"\nabove_site = "-40 ft"'
    (tmp_path / "jobsite.toml").write_text(text.replace('station_pressure = "baro"', stated))
    site = load(tmp_path / "jobsite.toml")
    assert [each.above_site_m for each in site.stations] == pytest.approx([-12.192])
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site


def test_the_demo_is_the_simulated_jobsite() -> None:
    """Every instrument is there, the limits are those of the invented specification."""
    site = load(DEPLOY / "demo.toml")
    assert (site.id, site.simulated, len(site.sensors)) == ("saltmarsh", True, 12)
    assert [each.id for each in site.trains[0].pieces][4:] == ["receiver", "dryer", "pot", "hose", "nozzle"]
    assert site.trains[0].pieces[5].kind == "deliquescent dryer"
    stated = {(each.quantity, each.relation, each.threshold, each.area or each.piece) for each in site.limits}
    assert stated == {
        (Quantity.DEW_POINT_MARGIN, "at least", 3.0, "A"),
        (Quantity.RELATIVE_HUMIDITY, "at most", 85.0, "A"),
        (Quantity.CONDENSATION_MARGIN, "at least", 0.0, "pot"),
    }
    assert all("(simulated)" in each.clause for each in site.limits)
    assert warnings(site) == []


def test_the_example_sets_no_limit_and_labels_what_it_suggests() -> None:
    """No number of the starting file may come into force unseen."""
    site = load(DEPLOY / "example.toml")
    assert site.limits == ()
    assert 'area "A": no limit set; its steel and air are shown, not judged' in warnings(site)
    suggested = ("threshold", "deadband", "on_delay", "off_delay", "unknown_delay")
    lines = (DEPLOY / "example.toml").read_text().splitlines()
    limits = [line for line in lines if line.startswith(tuple(f"# {key} =" for key in suggested))]
    assert len(limits) == 10
    assert all("suggestion, not a limit" in line for line in limits)


def test_the_example_with_its_comments_in_force_is_a_whole_file(tmp_path: Path) -> None:
    """A keeper who takes the suggestions gets a file that reads."""
    text = (DEPLOY / "example.toml").read_text()
    start = text.index("# [[limits]]")
    end = text.index("# -- people")
    text = text[:start] + text[start:end].replace("\n# ", "\n")[2:] + text[end:]
    (tmp_path / "taken.toml").write_text(text.replace("\n#\n", "\n"))
    assert [each.id for each in load(tmp_path / "taken.toml").limits] == ["A-margin", "A-humidity"]


@pytest.mark.parametrize("place", ["yes", "unknown"])
def test_a_place_that_may_be_hazardous_needs_a_rating(good: Jobsite, place: str) -> None:
    """Only "no" or a stated rating ends the warning."""
    plain = replace(good.sensors[0], classified_area=place)
    rated = replace(plain, equipment_rating="as on its plate")
    outside = replace(plain, classified_area="no")
    warned = f'sensor "air-t": classified_area is {place}, no equipment rating is stated'
    said = [warnings(replace(good, sensors=(each,))) for each in (plain, rated, outside)]
    assert [any(line.startswith(warned) for line in each) for each in said] == [True, False, False]


def test_open_ends_are_told(good: Jobsite) -> None:
    """Accuracy that nobody stated, areas and trains without a limit."""
    said = warnings(replace(good, limits=()))
    assert 'sensor "baro": accuracy not stated, so uncertainty is not stated either' in said
    assert 'area "A": no limit set; its steel and air are shown, not judged' in said
    assert 'train "T1" feeds area "A": no limit set; its water path is shown, not judged' in said
    assert not any(line.startswith("area") for line in warnings(good))
    nobody = 'no person has "instruments" in told_of: what goes wrong there is on the board only'
    assert nobody in said and not any("told_of" in line for line in warnings(with_keeper(good)))


def test_a_sensor_that_stands_nowhere_is_named(good: Jobsite) -> None:
    """It is stored, and no gap is made of it; one at a station, on steel or in a train is nowhere named."""
    (known, *_) = good.sensors
    said = warnings(replace(good, sensors=(*good.sensors, replace(known, id="spare"))))
    assert [each for each in said if "makes no gap" in each] == [
        'sensor "spare": named in no station, area or train, so it is stored and makes no gap'
    ]


def test_a_calibration_that_is_no_day_is_told(good: Jobsite) -> None:
    """What cannot be read cannot be watched."""
    first, *rest = good.sensors
    for due, open_end in (("next May", True), ("not stated", False), ("2027-05-30", False)):
        stated = replace(first, calibration=replace(first.calibration, due=due))
        said = [line for line in warnings(replace(good, sensors=(stated, *rest))) if "calibration_due" in line]
        assert bool(said) == open_end and all(f'"{due}" is no day' in line for line in said)


def with_keeper(made: Jobsite) -> Jobsite:
    """The jobsite with somebody who minds it."""
    return replace(made, people=(replace(made.people[0], told_of=("limits", "instruments", "gateway")),))


def test_lines_hold_after_long_text_and_lists(tmp_path: Path) -> None:
    """Text over several lines that looks like tables and keys does not lead the line numbers astray."""
    long = 'label = """Made\n[[sensors]]\naccuracy = "no key"\n"""\nsimulated = false'
    text = (HERE / "good.toml").read_text().replace('label = "Made jobsite"', long)
    text = text.replace('feeds = ["A"]', 'feeds = [\n  "A",\n]')
    text = text.replace('"0.3 K"', '"0.3 °C"').replace('"5 Δ°F"', '"5 °F"')
    (tmp_path / "jobsite.toml").write_text(text)
    at = [text.splitlines().index(line) + 1 for line in ('accuracy = "0.3 °C"', 'threshold = "5 °F"')]
    first, second = told(tmp_path / "jobsite.toml").splitlines()
    assert first.startswith(f'jobsite.toml:{at[0]}: sensor "air-t": accuracy = "0.3 °C": ')
    assert second.startswith(f'jobsite.toml:{at[1]}: limit "A-margin": threshold = "5 °F": ')


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'[jobsite]\nlabel = "\xb0"\n', "jobsite.toml:2: not UTF-8 text; save the file as UTF-8"),
        (b"", "jobsite.toml:1: jobsite is missing: the table [jobsite] with id, label, "),
        (b"jobsite = 1\nsensors = [1]\nareas = {}\n", "jobsite.toml:1: jobsite = 1: jobsite must be a table"),
    ],
)
def test_a_file_of_another_kind_is_refused_with_a_line(tmp_path: Path, content: bytes, words: str) -> None:
    """Nothing but ConfigErrors leaves `load`, whatever the file holds."""
    (tmp_path / "jobsite.toml").write_bytes(content)
    assert told(tmp_path / "jobsite.toml").startswith(words)


def test_a_mark_in_front_is_no_mistake(tmp_path: Path, good: Jobsite) -> None:
    """Some editors begin a file with a byte order mark."""
    (tmp_path / "jobsite.toml").write_bytes(b"\xef\xbb\xbf" + (HERE / "good.toml").read_bytes())
    assert load(tmp_path / "jobsite.toml") == good


# -- signals, sources, salts, dew points ---------------------------------------------------------------

SALTY = """
[[sensors]]
id = "dryer-pdp"
label = "Dew point behind the dryer"
quantity = "pressure_dew_point"
scale = "4 mA = -60 °C, 20 mA = +60 °C"
unit = "mA"
accuracy = "2 K"
accuracy_means = "limit"
basis = "frost"
element = "line"
interval = "10 s"

[[trains]]
id = "T2"
label = "Dry train"
feeds = ["A"]
station = "deck"

[[trains.pieces]]
id = "dryer"
label = "Dryer"
kind = "deliquescent dryer"
salt = "lithium chloride"
outlet_pressure_dew_point = "dryer-pdp"
"""
SOURCES = """
[[sources]]
id = "baro-box"
topic = "yard/baro"
form = "number"
sensor = "baro"

[[sources]]
id = "probe"
topic = "yard/+/state"
form = "json"
time = "at"
time_form = "ISO 8601"
quality = "status"
good = ["ok", 192, true]
numbers_as_text = true

[[sources.values]]
sensor = "{1}-t"
value = "values[?name == 't'].value | [0]"
unit = "unit"

[[sources.values]]
sensor = "{1}-rh"
value = '"rel hum"'
"""


def written(tmp_path: Path, *changes: tuple[str, str]) -> Path:
    """The good file with a dryer and sources, and with texts of it changed."""
    text = (HERE / "good.toml").read_text() + SALTY + SOURCES
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (tmp_path / "jobsite.toml").write_text(text, "utf-8")
    return tmp_path / "jobsite.toml"


def test_signals_sources_salts_and_dew_points_arrive_and_come_back(tmp_path: Path) -> None:
    """Every new key, and the export reads back to the same value."""
    site = load(written(tmp_path))
    pdp = site.sensors[-1]
    assert (pdp.unit, pdp.scale) == ("°C", Scale("mA", (4.0, -60.0), (20.0, 60.0)))
    assert (pdp.basis, pdp.accuracy) == ("frost", Accuracy(2.0))
    dryer = site.trains[1].pieces[0]
    assert (dryer.salt, dryer.outlet) == ("lithium chloride", Point(pressure_dew_point="dryer-pdp"))
    plain, probe = site.sources
    assert plain == Source("baro-box", "yard/baro", "number", (SourceValue("baro"),))
    values = (
        SourceValue("{1}-t", "values[?name == 't'].value | [0]", "unit"),
        SourceValue("{1}-rh", '"rel hum"'),
    )
    assert probe == Source(
        "probe", "yard/+/state", "json", values, "at", "ISO 8601", "status", ("ok", 192, True), True
    )
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site
    assert [type(each) for each in load(tmp_path / "out.toml").sources[1].good] == [str, int, bool]
    assert not any("dryer-pdp" in each and "zero" in each for each in warnings(site))


@pytest.mark.parametrize(
    "points", ["0 V = 32.7 °F, 10 V = 99.9 °F", "0.1 Hz = 0.3333333333333333 °F, 7 Hz = 1 °F"]
)
def test_odd_scales_come_back_the_same(points: str, tmp_path: Path) -> None:
    """Fahrenheit and numbers without a short form."""
    unit = "V" if "V" in points else "Hz"
    site = load(written(tmp_path, ("4 mA = -60 °C, 20 mA = +60 °C", points), ('"mA"', f'"{unit}"')))
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site


def test_a_range_that_holds_zero_is_told(tmp_path: Path) -> None:
    """Zero is refused, so the keeper hears of it before."""
    path = written(tmp_path, ("4 mA = -60", "0 mA = -60"))
    zero = (
        'sensor "dryer-pdp": its range holds 0 mA, which a broken wire gives as well; a signal of zero is refused'
    )
    assert zero in warnings(load(path))


VENTED = (
    'element = "line"\ninterval = "10 s"\n\n[[trains]]\nid = "T2"',
    'element = "vented cell"\ninterval = "10 s"\n\n[[trains]]\nid = "T2"',
)


TOLD_AT = {  # where the line that was changed is not the one that is wrong
    ('"deliquescent dryer"\nsalt', '"pot"\nsalt'): 'salt = "lithium chloride"',
    VENTED: 'outlet_pressure_dew_point = "dryer-pdp"',
    ('topic = "yard/baro"', 'topic = "yard/x/+"'): 'sensor = "baro"',
    ('form = "number"\nsensor = "baro"', 'form = "number"'): "[[sources]]",
    ('form = "number"', 'form = "number"\ntime = "t"\ntime_form = "s"'): 'time = "t"',
    ('form = "number"', 'form = "number"\nnumbers_as_text = true'): "numbers_as_text = true",
    ('topic = "yard/+/state"', 'topic = "yard/state"'): 'sensor = "{1}-t"',
    ('id = "baro"', 'id = "baro"\ntopic = "b"'): 'topic = "b"',
    ('topic = "yard/baro"', 'topic = "yard/x/state"'): 'topic = "yard/+/state"',
    ('\ntime_form = "ISO 8601"', ""): "[[sources]]",
    ('time = "at"', ""): 'time_form = "ISO 8601"',
    ('good = ["ok", 192, true]', ""): "[[sources]]",
    ('quality = "status"', ""): 'good = ["ok", 192, true]',
    ("value = '\"rel hum\"'", ""): "[[sources.values]]",
}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "20 mA = +60",
            "4 mA = +60",
            'sensor "dryer-pdp": scale = "4 mA = -60 °C, 4 mA = +60 °C": both points have',
        ),
        ("20 mA = +60 °C", "20 mA = +6 bar", "'bar' is not a unit of temperature"),
        ("20 mA = +60 °C", "20 mA = +60", "write a number, a blank and a unit, such as '0.5 K'"),
        ('unit = "mA"', 'unit = "V"', 'unit = "V": the scale begins with mA, so the sensor publishes in mA'),
        ('unit = "mA"', 'unit = "°C"', 'unit = "°C": the scale begins with mA, so the sensor publishes in mA'),
        ('unit = "degF"', 'unit = "mA"', 'sensor "steel": unit = "mA": is a signal; say what it means'),
        ('basis = "frost"', 'basis = "line"', 'basis = "line": does not fit pressure_dew_point: use dew or frost'),
        (
            'salt = "lithium chloride"',
            'salt = "lithium chlorid"',
            "not known here, did you mean 'lithium chloride'?",
        ),
        ('"deliquescent dryer"\nsalt', '"pot"\nsalt', "only a deliquescent dryer is filled with salt"),
        (
            *VENTED,
            "sensor 'dryer-pdp' has element 'vented cell', so it tells the dew point at the pressure there, not",
        ),
        (
            'dew_point = "dryer-pdp"',
            'dew_point = "line-p"',
            "measures gauge_pressure, but pressure_dew_point is needed",
        ),
        (
            'topic = "yard/baro"',
            'topic = "yard/#"',
            'source "baro-box": topic = "yard/#": a + stands for one whole',
        ),
        (
            'topic = "yard/baro"',
            'topic = "yard/b+"',
            "a + stands for one whole level, such as 'yard/+/air'; # is not",
        ),
        ('topic = "yard/baro"', 'topic = "yard/+/+/+/+"', "has more than three +"),
        ('topic = "yard/baro"', 'topic = "+/baro"', "the first level is written out; a + there would take the"),
        (
            'topic = "yard/baro"',
            'topic = "dewgate/made/x"',
            "topics under dewgate/, spBv1.0/ and $",
        ),
        (
            'topic = "yard/baro"',
            'topic = "$SYS/x"',
            "topics under dewgate/, spBv1.0/ and $",
        ),
        ('topic = "yard/baro"', 'topic = ""', "a topic has 1 to 250 characters and no control characters"),
        (
            'topic = "yard/baro"',
            'topic = "a\\u0000b"',
            "a topic has 1 to 250 characters and no control characters",
        ),
        (
            'topic = "yard/baro"',
            'topic = "yard/x/+"',
            "'{1}' is missing: else several devices would feed one sensor",
        ),
        ('form = "number"', 'form = "xml"', 'source "baro-box": form = "xml": not one of number, json'),
        (
            'form = "number"\nsensor = "baro"',
            'form = "number"',
            "sensor is missing: id of the sensor that the number",
        ),
        (
            'form = "number"',
            'form = "number"\ntime = "t"\ntime_form = "s"',
            "a plain number says no more than itself",
        ),
        ('form = "number"', 'form = "number"\nnumbers_as_text = true', "a plain number says no more than itself"),
        ('id = "probe"', 'id = "baro-box"', 'id = "baro-box": this id is already taken above'),
        (
            'topic = "yard/+/state"',
            'topic = "yard/state"',
            "braces hold the number of a + of the topic, which has 0",
        ),
        ('sensor = "{1}-t"', 'sensor = "{2}-t"', "braces hold the number of a + of the topic, which has 1"),
        ('sensor = "{1}-t"', 'sensor = "{x}-t"', "braces hold the number of a + of the topic, which has 1"),
        ('sensor = "{1}-t"', 'sensor = "air-t"', "'{1}' is missing: else several devices would feed one sensor"),
        ('sensor = "{1}-t"', 'sensor = "{1}-x"', 'value "{1}-x": sensor = "{1}-x": there is no sensor \'{1}-x\''),
        ('sensor = "baro"', 'sensor = "bar0"', "there is no sensor 'bar0', did you mean 'baro'?"),
        (
            'sensor = "{1}-t"',
            'sensor = "{1}-rh"',
            "sensor 'air-rh' is fed by source 'probe' already; one way in only",
        ),
        (
            'id = "baro"',
            'id = "baro"\ntopic = "b"',
            "source 'baro-box' feeds this sensor; it has no topic of its own",
        ),
        (
            'topic = "yard/baro"',
            'topic = "yard/x/state"',
            "the same message would belong to source 'baro-box' as well",
        ),
        ('time_form = "ISO 8601"', 'time_form = "unix"', "not one of s, ms, ISO 8601"),
        ('\ntime_form = "ISO 8601"', "", "time and time_form go together: 's', 'ms' or 'ISO 8601'"),
        ('time = "at"', "", "time and time_form go together: 's', 'ms' or 'ISO 8601'"),
        (
            'good = ["ok", 192, true]',
            "",
            "quality and good go together: good lists what quality says of good values",
        ),
        ('quality = "status"', "", "quality and good go together: good lists what quality says of good values"),
        ('good = ["ok", 192, true]', "good = [nan]", "good lists words, numbers, true or false"),
        ('good = ["ok", 192, true]', 'good = [["ok"]]', "good lists words, numbers, true or false"),
        (
            "value = '\"rel hum\"'",
            'value = "rel-hum"',
            'value = "rel-hum": is not JMESPath at character 4: a name',
        ),
        ("value = '\"rel hum\"'", "value = 'rh || `50`'", "a fixed value is no reading"),
        ('unit = "unit"', 'unit = "[unit]"', "a path picks one value; it builds no list, slice or table"),
        ("value = '\"rel hum\"'", "", 'value "{1}-rh": value is missing: path to the number'),
        (
            'quality = "status"',
            'quality = "a b"',
            'source "probe": quality = "a b": is not JMESPath at character 3',
        ),
    ],
)
def test_mistakes_in_signals_and_sources_are_told_with_their_line(
    old: str, new: str, said: str, tmp_path: Path
) -> None:
    """One change, one mistake, on the line that was changed or the one that no longer fits it."""
    path = written(tmp_path, (old, new))
    with pytest.raises(ConfigErrors) as caught:
        load(path)
    assert said in str(caught.value)
    lines = path.read_text("utf-8").splitlines()
    told_at = [lines[each.line - 1] for each in caught.value.errors]
    where = TOLD_AT.get((old, new)) or next(line for line in lines if new in line)
    assert where in told_at


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('topic = 5\nform = "number"\nsensor = "baro"', "topic = 5: topic must be text in quotes"),
        ('topic = "a"\nform = "number"\nsensor = 1', "sensor = 1: sensor must be text in quotes"),
        ('topic = "a"\nform = "json"\nvalues = "x"', 'values = "x": values must be a list'),
        ('topic = "a"\nform = "json"\nvalues = [1]', "must be a table with keys of its own"),
        ('topic = "a"\nform = "number"\nsensor = "baro"\ngood = 1', "good = 1: good must be a list"),
        (
            'topic = "a"\nform = "number"\nsensor = "baro"\n[[sources.values]]\nsensor = "air-t"\nvalue = "t"',
            "a plain number says no more than itself: this line needs form = 'json'",
        ),
        ('topic = "a"\nform = "json"\n[[sources.values]]\nsensor = 1\nvalue = 2', "value = 2: value must be text"),
    ],
)
def test_a_source_of_another_shape_is_told(table: str, said: str, tmp_path: Path) -> None:
    """Nothing but ConfigErrors leaves `load`, whatever a source holds."""
    path = tmp_path / "jobsite.toml"
    path.write_text(f'{(HERE / "good.toml").read_text()}\n[[sources]]\nid = "s"\n{table}\n')
    assert said in told(path)


def test_a_json_source_without_values_or_with_a_sensor_is_told(tmp_path: Path) -> None:
    """Both at once, each in its words."""
    path = tmp_path / "jobsite.toml"
    source = '\n[[sources]]\nid = "s"\ntopic = "a"\nform = "json"\nsensor = "baro"\n'
    path.write_text((HERE / "good.toml").read_text() + source)
    assert told(path).splitlines() == [
        'jobsite.toml:117: source "s": values are missing: a table [[sources.values]] for each value that is used',
        'jobsite.toml:121: source "s": sensor = "baro": the sensors of a JSON message stand in tables '
        "[[sources.values]]",
    ]


EDGES = """
[[edges]]
group = "yard"
node = "edge 1"

[[edges.values]]
sensor = "air-t"
device = "probe"
metric = "Air/Temperature"

[[edges.values]]
sensor = "air-rh"
metric = "RH"
"""


TWICE = """[[edges]]
group = "yard"
node = "edge 1"
[[edges.values]]
sensor = "baro"
metric = "p"
[[edges]]"""


def test_edge_nodes_are_read_and_written_back(tmp_path: Path) -> None:
    """Group, node, device and metric as their births say them; a node's own metric has no device."""
    file = tmp_path / "site.toml"
    file.write_text((HERE / "good.toml").read_text() + EDGES)
    site = load(file)
    values = (EdgeValue("air-t", "Air/Temperature", "probe"), EdgeValue("air-rh", "RH"))
    assert site.edges == (Edge("yard", "edge 1", values),)
    assert {"air-t", "air-rh"} <= fed(site)
    file.write_text(to_toml(site))
    assert load(file) == site


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('node = "edge 1"', 'node = "edge/1"', "none of them / + #"),
        ('metric = "RH"', 'metric = ""', "metric"),
        ('sensor = "air-rh"', 'sensor = "air-t"', "one way in only"),
        ('sensor = "air-rh"', 'sensor = "air-x"', "there is no sensor 'air-x'"),
        ('metric = "RH"', 'metric = "Air/Temperature"\ndevice = "probe"', "feeds another sensor already"),
        ("[[edges]]", TWICE, "has a table above"),
    ],
)  # fmt: skip
def test_mistakes_in_edge_nodes_are_told(tmp_path: Path, old: str, new: str, said: str) -> None:
    """Each with its line and what is wrong."""
    file = tmp_path / "site.toml"
    assert old in EDGES
    file.write_text((HERE / "good.toml").read_text() + EDGES.replace(old, new))
    with pytest.raises(ConfigErrors, match=re.escape(said)):
        load(file)


def golden(tmp_path: Path, *changes: tuple[str, str]) -> Path:
    """The jobsite of the golden days, changed."""
    text = (HERE.parent / "scenarios" / "jobsite.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (tmp_path / "golden.toml").write_text(text)
    return tmp_path / "golden.toml"


def test_who_is_told_when_and_how_arrives_and_comes_back(tmp_path: Path) -> None:
    """Escalation, repeats, duty, language and units of a person; groups and latching of a limit; warming up."""
    path = golden(
        tmp_path,
        ('hours = "06:00-20:00"', 'hours = "20:00-06:00"\nunits = "us"'),
        ('id = "A-humidity"', 'id = "A-humidity"\nlatching = true\ngroup = "damp"'),
        ('feeds = ["A"]', 'feeds = ["A"]\nwarm_up = "10 min"'),
        ('altitude = "20 m"', 'altitude = "20 m"\ncalibration_notice = "30 d"'),
    )
    site = load(path)
    assert site.calibration_notice_s == 30 * 86_400.0
    lead, manager, keeper, inspector = site.people
    assert (lead.after_s, lead.repeat_s, lead.hours, lead.language, lead.units) == (0.0, 1800.0, "", "en", "")
    assert (manager.after_s, manager.repeat_s, manager.told_of) == (900.0, 0.0, ("limits",))
    assert keeper.told_of == ("instruments", "gateway")
    assert (inspector.hours, inspector.language, inspector.units) == ("20:00-06:00", "es", "us")
    (humid,) = [limit for limit in site.limits if limit.id == "A-humidity"]
    assert (humid.latching, humid.group) == (True, "damp") and not site.limits[0].latching
    assert site.trains[0].warm_up_s == 600.0
    (tmp_path / "out.toml").write_text(to_toml(site), "utf-8")
    assert load(tmp_path / "out.toml") == site


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('hours = "06:00-20:00"', 'hours = "6-20"', "'06:00-18:00'"),
        ('hours = "06:00-20:00"', 'hours = "06:00-06:00"', "two times of day"),
        ('hours = "06:00-20:00"', 'hours = "06:00-24:00"', "two times of day"),
        ('language = "es"', 'language = "fr"', "not one of en, es"),
        ('language = "es"', 'units = "imperial"', "not one of"),
        ('language = "es"', 'told_of = ["sensors"]', "not one of limits, instruments, gateway"),
        ('after = "15 min"', 'after = "15"', "a number, a blank and a unit"),
    ],
)
def test_mistakes_in_people_are_told(tmp_path: Path, old: str, new: str, said: str) -> None:
    """With their line."""
    with pytest.raises(ConfigErrors, match="person") as told:
        load(golden(tmp_path, (old, new)))
    assert said in str(told.value)


def test_limits_of_one_group_share_clause_place_and_work(tmp_path: Path) -> None:
    """Else nobody could say what their breach together means."""
    group = [(f'id = "{name}"', f'id = "{name}"\ngroup = "damp"') for name in ("A-margin", "A-at-steel")]
    assert [limit.group for limit in load(golden(tmp_path, *group)).limits][:2] == ["damp", "damp"]
    group.append(('id = "A-humidity"', 'id = "A-humidity"\ngroup = "damp"'))
    with pytest.raises(ConfigErrors) as told:
        load(golden(tmp_path, *group))
    assert "limits of one group share their clause; 'A-margin' has another" in str(told.value)
    assert "share their activities" in str(told.value)
