"""`dewgate export`, `prove` and `verify` on a real home, from the command line to the sceptic's reading."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import zipfile
from collections import deque
from pathlib import Path

import pytest

from gateway import proof_command
from gateway.entry import Arrival
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import pack
from tests.test_service import Door
from tests.test_verify_record import check

SAID_MS = 1_780_000_000_000


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home in which two readings were taken, stopped in order."""
    made = tmp_path_factory.mktemp("home")
    prepare(made)
    service = Service(made)
    service.broker = Door()  # type: ignore[assignment]
    readings = [("steel", 14.5, "Cel"), ("air-rh", 61.5, "%RH")]
    service.broker.arrivals = deque(
        Arrival(f"dewgate/test/{name}", pack(name, value, SAID_MS, unit)) for name, value, unit in readings
    )
    service.turn()
    service.broker = None
    service.stopping.set()
    service.loop()
    service.close()
    return made


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    command, *rest = map(str, words)
    code = proof_command.run(command, rest, "")
    said = capsys.readouterr()
    return code, said.out, said.err


def test_an_export_is_all_a_sceptic_needs(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One file; its own verifier proves it; its readings are those that were sent, each with its entry."""
    out = tmp_path / "job.zip"
    code, said, _ = run(capsys, "export", "--home", home, "--out", out)
    assert code == 0 and "agree with all heads" in said
    with zipfile.ZipFile(out) as record:
        assert record.testzip() is None
        names = set(record.namelist())
        rows = list(csv.DictReader(record.read("readings.csv").decode().splitlines()))
        senml = json.loads(record.read("readings.senml.json"))
        words = record.read("READ-ME.txt").decode()
    assert names >= {"READ-ME.txt", "verify_record.py", "record.json", "heads.jsonl", "keys.json"}
    assert "python verify_record.py job.zip --key FINGERPRINT" in words and "jobsite test site" in words
    assert [(row["sensor"], float(row["value"]), row["unit"]) for row in rows] == [
        ("steel", 14.5, "Cel"), ("air-rh", 0.615, "/"),
    ]  # fmt: skip
    assert rows[0]["measured_utc"] == "2026-05-28T20:26:40.000Z"
    assert [(each["n"], each["v"], each["t"]) for each in senml] == [
        ("dewgate:steel", 14.5, SAID_MS / 1000), ("dewgate:air-rh", 0.615, SAID_MS / 1000),
    ]  # fmt: skip
    code, said = check(out, "--show", rows[0]["entry"])
    assert code == 0 and 'dewgate/test/steel[{"n": "steel", "v": 14.5' in said


def test_a_proof_is_checked_by_itself(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One entry, or two heads; a changed byte proves nothing, nor does a changed head."""
    code, proof, said = run(capsys, "prove", "3", "--home", home)
    assert code == 0 and said.startswith("PROVEN: entry 3 of head H")
    file = tmp_path / "proof.json"
    file.write_text(proof)
    code, said, _ = run(capsys, "verify", file)
    assert code == 0 and said.startswith("PROVEN: entry 3 of head H")
    other = json.loads(proof)
    other["entry"] = other["entry"][:-2] + "00"
    file.write_text(json.dumps(other))
    code, said, _ = run(capsys, "verify", file)
    assert code == 2 and "does not lead to the root of its head" in said
    other = json.loads(proof)
    other["head"]["statement"] = other["head"]["statement"].replace('"number":', '"number":1')
    file.write_text(json.dumps(other))
    assert run(capsys, "verify", file)[:2] == (2, "CANNOT BE CHECKED: a head in it was not signed by its key\n")
    code, proof, said = run(capsys, "prove", "--heads", "1", "2", "--home", home)
    assert code == 0 and "begin with the" in said
    file.write_text(proof)
    assert run(capsys, "verify", file)[0] == 0
    file.write_text("{}")
    assert run(capsys, "verify", file)[0] == 2


@pytest.mark.parametrize(
    ("words", "why"),
    [(("prove", "99999"), "there is no head that covers entry 99999 yet"), (("prove",), "which entry?"),
     (("prove", "--heads", "1", "999"), "there is no head 999"),
     (("prove", "--heads", "2", "1"), "cannot begin with"),
     (("prove", "0"), "there is no entry 0"), (("export", "--out", "a.tar"), "ends with .zip")],
)  # fmt: skip
def test_what_cannot_be_proven_is_said(
    home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], why: str
) -> None:
    """A sentence and code 2."""
    code, _, said = run(capsys, *words, "--home", home)
    assert code == 2 and why in said


def test_no_journal_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The wrong folder is the first thing that goes wrong."""
    code, _, said = run(capsys, "export", "--out", "a.zip", "--home", tmp_path)
    assert code == 2 and "no journal here" in said


def test_verify_is_the_very_program_in_the_export(home: Path, tmp_path: Path) -> None:
    """`dewgate verify` says what the unpacked file says, by the real command line."""
    out = tmp_path / "job.zip"
    assert proof_command.run("export", ["--home", str(home), "--out", str(out)], "") == 0
    command = [sys.executable, "-m", "gateway", "verify", str(out)]
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=env)
    assert (done.returncode, done.stdout) == check(out)
