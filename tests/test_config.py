"""The jobsite file: one file per mistake with the words it must bring, and the way out and back in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from alerts.measured import UNITS, Quantity
from gateway.config import ConfigErrors, load, to_toml, warnings
from gateway.jobsite import Accuracy, Calibration, Jobsite

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


@pytest.mark.parametrize("path", [HERE / "good.toml", DEPLOY / "demo.toml", DEPLOY / "example.toml"])
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
