"""The yard clerk's way as a new user goes it: the real command on real files, readings in, verdict out."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gateway import dryer_command, dryer_file, dryer_rows
from gateway.adapters import journal as files
from gateway.dryer_file import FileErrors
from gateway.dryer_unit import not_to_be_pressurised
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from simulators.dryer_return import readings
from tests.bench.findings import climates
from tests.make_yard import YARD, facts
from tests.sites import T0
from tests.test_flow_findings import journal

ROOT = Path(__file__).parent.parent
UNIT = dryer_file.unit((YARD / "D-0417.toml").read_text())


def dewgate(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "gateway", "dryer", *words]
    path = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=folder, env=path, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    for path in YARD.glob("*"):
        shutil.copy(path, tmp_path / path.name)
    return tmp_path


CRITERIA = ("--criteria", "criteria.toml")


def test_a_return_is_settled_from_files_in_well_under_five_minutes(yard: Path) -> None:
    """Outgoing kept, return judged beside it, both in the trend; the answer is the first line and the code."""
    began = time.monotonic()
    out = dewgate(yard, "check", "D-0417.toml", "outgoing.toml", *CRITERIA, "--keep")
    assert (out.returncode, out.stderr) == (0, "")
    assert out.stdout.splitlines()[0] == "Dryer check of D-0417, salt dryer, skid mounted (simulated): PASS"
    back = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA, "--keep")
    assert back.returncode == 1
    assert back.stdout.splitlines()[0].endswith(": FAIL")
    assert "Outgoing test of 2026-05-04: the bed left 49% RH in its outlet gas, now 61%" in back.stdout
    assert "ISO 7183 does not cover deliquescent" in back.stdout
    changed = dewgate(yard, "trend", "D-0417.toml")
    assert changed.returncode == 0
    assert [line.split()[0] for line in changed.stdout.splitlines()[2:4]] == ["2026-05-04", "2026-06-15"]
    assert time.monotonic() - began < 60.0


def test_the_certificate_is_a_page_to_be_signed(yard: Path) -> None:
    """PDF/A from the same values, byte for byte the same again; what is not to be pressurised has its page too."""
    first, again = yard / "one.pdf", yard / "two.pdf"
    for path in (first, again):
        assert dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA, "--pdf", path.name).returncode == 1
    assert first.read_bytes() == again.read_bytes()
    assert b"<pdfaid:part>2</pdfaid:part>" in first.read_bytes()
    said = subprocess.run(
        ["pdftotext", "-layout", str(first), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "Fail: at least one criterion is not met at the inlet stated." in said
    assert "humidity of the outlet gas 61.4 ± 1.7 %RH; at most 58 %RH" in said
    assert "Customer" in said
    said = (yard / "return.toml").read_text().replace('visual = "pass"', 'visual = "dented shell"')
    (yard / "return.toml").write_text(said)
    assert dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA, "--pdf", first.name).returncode == 4
    said = subprocess.run(["pdftotext", str(first), "-"], capture_output=True, text=True, check=True).stdout
    assert "Do not pressurise." in said
    assert "visual inspection: dented shell." in said


def test_a_rental_s_own_journal_gives_the_readings_of_a_test(yard: Path) -> None:
    """A journal of the simulated train: rows a minute, accuracies to paste, and a verdict made from them."""
    book = files.Journal(yard / "journal.db")
    entries, outcomes = list(journal(150)), Outcomes()
    Flow().advance(entries, outcomes)
    book.commit(1, entries, 1, outcomes, T0, None)
    book.close()
    out = dewgate(yard, "readings", "--home", ".", "--train", "T1")
    assert out.returncode == 0, out.stderr
    rows = dryer_rows.rows_of(out.stdout, "rental")
    # The wall clock of the journal is that of the test; minute 30 of the simulated morning is a machine at work.
    middle = next(row for row in rows if row.minute > 30)
    assert middle.values["flow"] == pytest.approx(0.31, abs=0.03)
    assert middle.values["inlet_pressure"] == pytest.approx(7.5e5, abs=0.2e5)
    assert 0.45 < middle.values["outlet_humidity"] < 0.55
    assert 'outlet_humidity = "3 %RH"' in out.stderr
    assert 'inlet_temperature = "0.5 K"' in out.stderr
    (yard / "rental.csv").write_text(out.stdout)
    table = (yard / "return.toml").read_text()
    table = table[: table.index("[brine]")].replace("return.csv", "rental.csv") + out.stderr
    (yard / "rental.toml").write_text(table)
    said = dewgate(yard, "check", "D-0417.toml", "rental.toml", *CRITERIA, "--json")
    judged = {each["name"]: each for each in json.loads(said.stdout)["criteria"]}
    assert judged["outlet_humidity"]["result"] == "pass"
    assert judged["leak"]["result"] == "inconclusive"
    other = dewgate(yard, "readings", "--home", ".", "--train", "T9")
    assert (other.returncode, other.stderr.strip()) == (2, "dewgate dryer: there is no train 'T9'; there are T1")


def test_a_rental_s_own_journal_tells_what_failed_on_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With its time, number and evidence; a train that is not there or a folder without a journal is said."""
    book = files.Journal(tmp_path / "journal.db")
    entries, outcomes = list(journal()), Outcomes()
    Flow().advance(entries, outcomes)
    book.commit(1, entries, 1, outcomes, T0, None)
    book.close()
    home = ["findings", "--home", str(tmp_path)]
    assert dryer_command.run("dryer", [*home, "--train", "T1"], "") == 0
    first, *more = capsys.readouterr().out.splitlines()
    assert re.match(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC  F-1  finding began: bypass: open: part of the air", first)
    assert "looks the same with these sensors: dirt on the cooler's fins, the cooler's fan" in more
    assert dryer_command.run("dryer", [*home, "--train", "T9"], "") == 2
    assert dryer_command.run("dryer", ["findings", "--home", str(tmp_path / "no"), "--train", "T1"], "") == 2


def test_the_machine_gets_values(yard: Path) -> None:
    """The same verdict as plain values, with units inside and the code of the verdict."""
    said = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA, "--json")
    values = json.loads(said.stdout)
    assert (said.returncode, values["result"], values["serial"]) == (1, "fail", "D-0417")
    assert values["figures"]["outlet_humidity"]["value"] == pytest.approx(0.614, abs=0.01)


def test_the_steps_follow_the_readings_as_they_grow(yard: Path) -> None:
    """A clerk begins with an empty test and is led to the verdict; nothing is pressurised before the look."""
    rows = readings(climates()["coast"], "good").splitlines(keepends=True)
    said = facts("return", "2026-06-15", "now", "".join(rows))

    def step(changed: dict[str, str], upto: int) -> str:
        words = said
        for one, other in changed.items():
            words = words.replace(one, other)
        (yard / "now.toml").write_text(words)
        (yard / "now.csv").write_text("".join(rows[: 1 + upto]))
        out = dewgate(yard, "steps", "D-0417.toml", "now.toml", *CRITERIA)
        assert out.returncode == 0, out.stderr
        return out.stdout.strip().splitlines()[-1]

    unseen = {'visual = "pass"\n': ""}
    assert step(unseen, 0) == "now:  Do not pressurise: visual inspection: not entered yet."
    not_blown = {"blown_out = true": "blown_out = false"}
    assert step(not_blown, 0) == "now:  Bring bench and unit up to the test's pressure and flow."
    assert step(not_blown, 20).startswith("now:  Blow out what condensed")
    assert step({}, 20).startswith("now:  Hold: inlet temperature moves")
    assert step({}, 75) == "now:  All steps are done: judge the test."


def test_a_unit_that_may_not_be_pressurised_is_not_judged(yard: Path) -> None:
    """A broken relief valve ends the test before it begins, with a code of its own."""
    said = (yard / "return.toml").read_text().replace('relief_valve = "pass"', 'relief_valve = "seal broken"')
    (yard / "return.toml").write_text(said)
    out = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA)
    assert out.returncode == 4
    assert "DO NOT PRESSURISE:\n  relief valve: seal broken" in out.stdout


def test_hours_beyond_the_rating_are_read_from_the_rental_s_record(yard: Path) -> None:
    """A file of the rental's own readings, named in the test."""
    said = (yard / "return.toml").read_text().replace("[brine]", "[brine]", 1)
    (yard / "return.toml").write_text(
        said.replace('readings = "return.csv"', 'readings = "return.csv"\nrecord = "log.csv"')
    )
    lines = [f"2026-05-10T08:{n:02d}:00,{41 if n < 30 else 30},7.0" for n in range(60)]
    (yard / "log.csv").write_text("\n".join(["time,inlet_temperature_C,inlet_pressure_bar", *lines]) + "\n")
    out = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA)
    assert "inlet hotter than rated: 0.5 h." in out.stdout


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("D-0417.toml", 'mass = "240 kg"', 'mass = "240"', "D-0417.toml:22: refills: mass = '240': write"),
        ("D-0417.toml", "calcium chloride", "calcium chlorid", "did you mean 'calcium chloride'?"),
        ("D-0417.toml", "2027-03-01", '"soon"', "relief_valve_due = 'soon': write a day as 2026-03-31"),
        ("criteria.toml", 'name = "leak"', 'name = "leek"', "'leek' is not known here, did you mean 'leak'?"),
        ("criteria.toml", 'limit = "6 K"', 'limit = "6 °C"', "unknown unit '°C'"),
        ("return.toml", 'kind = "return"', 'kind = "back"', "return.toml:4: kind = 'back': outgoing or return"),
        ("return.toml", "[leak]", "[leek]", "'leek' is not known here, did you mean 'leak'?"),
        ("return.csv", "inlet_humidity_%", "inlet_humidity", "column 'inlet_humidity' is not known here"),
        ("return.csv", "\n5,", "\n3,", "time 3 does not follow the row before"),
    ],
)  # fmt: skip
def test_mistakes_are_told_with_their_line(yard: Path, name: str, old: str, new: str, told: str) -> None:
    """The file, the line, and what to write instead; code 2, no verdict."""
    text = (yard / name).read_text()
    assert old in text
    (yard / name).write_text(text.replace(old, new, 1))
    out = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA)
    assert (out.returncode, out.stdout) == (2, "")
    assert told in out.stderr, out.stderr


def test_a_history_that_cannot_be_read_is_said_and_not_passed_over(yard: Path) -> None:
    """A half line would hide the outgoing test."""
    (yard / "D-0417.tests.jsonl").write_text('{"day": "2026-05-04"\n')
    out = dewgate(yard, "check", "D-0417.toml", "return.toml", *CRITERIA)
    assert out.returncode == 2
    assert "D-0417.tests.jsonl:1: not a kept test" in out.stderr


def test_readings_of_a_logger_with_gaps_and_empty_cells() -> None:
    """An empty cell is a missing value, a blank line nothing; a word for a number is a mistake."""
    rows = dryer_rows.rows_of("time,inlet_temperature_F,flow_cfm\n0,100,750\n\n1,,750\n", "log")
    assert rows[0].values["inlet_temperature"] == pytest.approx(37.78, abs=0.01)
    assert rows[0].values["flow"] == pytest.approx(0.354, abs=0.001)
    assert "inlet_temperature" not in rows[1].values
    with pytest.raises(FileErrors, match="log:2: inlet_temperature_F = 'hot' is not a number"):
        dryer_rows.rows_of("time,inlet_temperature_F\n0,hot\n", "log")
    with pytest.raises(FileErrors, match="no column 'time'"):
        dryer_rows.rows_of("inlet_temperature_F\n0\n", "log")


def test_a_file_to_begin_with_can_be_read_as_it_is_and_with_every_example(tmp_path: Path) -> None:
    """As written it forbids pressure; with each example line taken out of its comment every figure is known."""
    for what in ("unit", "criteria", "test"):
        path = tmp_path / f"{what}.toml"
        assert dryer_command.run("dryer", ["new", what, str(path)], "") == 0
        assert dryer_command.run("dryer", ["new", what, str(path)], "") == 2  # nothing is overwritten

    def filled(what: str) -> str:
        return re.sub(r"^# (?=\w+ = |\[)", "", (tmp_path / f"{what}.toml").read_text(), flags=re.MULTILINE)

    bare = dryer_file.unit((tmp_path / "unit.toml").read_text())
    test = dryer_file.read_test((tmp_path / "test.toml").read_text(), bare, "")
    assert len(not_to_be_pressurised(bare, test.facts)) == 4
    unit = dryer_file.unit(filled("unit"))
    assert (unit.serial, unit.rating.loss_pa, len(unit.rentals), len(unit.refills)) == ("unit", 20_000.0, 1, 1)
    assert len(dryer_file.criteria(filled("criteria"))) == 3
    assert dryer_file.criteria((tmp_path / "criteria.toml").read_text()) == {}
    whole = dryer_file.read_test(filled("test"), unit, "")
    assert whole.facts.brine is not None and whole.facts.brine.salt_share == pytest.approx(0.30, abs=0.01)
    assert whole.facts.leak_pa_per_min == pytest.approx(400.0) and len(whole.u) == 9
