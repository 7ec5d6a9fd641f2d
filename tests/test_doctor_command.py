"""The doctor: every finding of its own cause, with what to do, and nothing changed."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.__main__ import main
from gateway.adapters import checkup
from gateway.adapters.checkup import Level
from tests.broker import SHIPPED, Mosquitto, free_port
from tests.faults.kill_run import prepare


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a jobsite in force."""
    prepare(tmp_path / "home")
    return tmp_path / "home"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """The broker as shipped."""
    made = Mosquitto(tmp_path)
    yield made
    made.stop()


def names(home: Path) -> set[str]:
    """The files of a home, but for those a reader of a database leaves beside it."""
    return {path.name for path in home.iterdir() if not path.name.startswith("journal.db-")}


def said(capsys: pytest.CaptureFixture[str], home: Path, *words: str) -> tuple[int, str]:
    """Ask the doctor."""
    code = main(["doctor", "--home", str(home), *words])
    return code, capsys.readouterr().out


def test_what_is_sound_is_good(home: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    """Key, head, broker, disk; the sensors of a gateway that never ran are unknown, each named."""
    before = names(home)
    _, words = said(capsys, home, "--broker", f"127.0.0.1:{broker.port}")
    assert "good  key: there, and nobody else can read it" in words
    assert "good  record: newest signed head of 20" in words
    assert f"good  broker 127.0.0.1:{broker.port}: keeps what waits" in words
    assert "look  sensor steel: no current reading yet" in words
    assert "a small write takes" in words and "Advisory only" in words
    assert names(home) == before


def test_a_key_others_can_read_is_bad(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the command that mends it."""
    key = next((home / "keys").iterdir())
    key.chmod(0o644)
    code, words = said(capsys, home, "--broker", f"127.0.0.1:{free_port()}")
    assert code == 1 and f"bad   key: others can look into {key}\n      to do: chmod go= {key}" in words
    assert "look  broker" in words and "could not be checked" in words


def test_a_missing_key_and_an_old_head_are_bad(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A head is due every ten minutes."""
    now = checkup.time.time()
    monkeypatch.setattr(checkup.time, "time", lambda: now + 1300)
    assert [each.level for each in checkup.keys(home)] == [Level.GOOD, Level.BAD]
    next((home / "keys").iterdir()).unlink()
    assert [each.level for each in checkup.keys(home)] == [Level.BAD]


def test_a_broker_that_keeps_too_little_is_bad(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Mosquitto's own default keeps 1,000."""
    broker = Mosquitto(tmp_path, "max_queued_messages 1000")
    try:
        code, words = said(capsys, home, "--broker", f"127.0.0.1:{broker.port}")
    finally:
        broker.stop()
    assert code == 1 and "set max_queued_messages 300000" in words


def test_channels(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A person whose channel has no address, and a file others can read."""
    contacts = tmp_path / "contacts.toml"
    contacts.write_text('[channels]\nother = "json://127.0.0.1:9/x"\n')
    at = ("--broker", f"127.0.0.1:{free_port()}", "--contacts", str(contacts))
    contacts.chmod(0o644)
    assert "must be mode 0600" in said(capsys, home, *at)[1]
    contacts.chmod(0o600)
    code, words = said(capsys, home, *at)
    assert code == 1 and f"of lead: not in {contacts}" in words and "look  sign of life: none" in words


def test_certificates(tmp_path: Path) -> None:
    """A new one is good, one that ends within a month is not, and what is none is told."""
    subprocess.run(
        [SHIPPED.parent / "make-certificates.sh", tmp_path, "localhost"], check=True, capture_output=True
    )
    assert checkup.certificate(tmp_path / "ca.crt")[0].level is Level.GOOD
    make = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 9 -subj /CN=x"
    made = [*make.split(), "-keyout", str(tmp_path / "k"), "-out", str(tmp_path / "c")]
    subprocess.run(made, check=True, capture_output=True)
    assert checkup.certificate(tmp_path / "c")[0].level is Level.BAD
    assert checkup.certificate(tmp_path / "k")[0].level is Level.BAD


def test_a_disk_that_answers_too_quickly_is_bad(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is back at once cannot have written."""
    monkeypatch.setattr(checkup, "_sync_ms", lambda path: path.touch() or 0.01)
    assert checkup.disk(home)[-1].level is Level.BAD
    monkeypatch.setattr(checkup, "_sync_ms", lambda path: path.touch() or 1.0)
    assert checkup.disk(home)[-1].level is Level.GOOD


def test_no_home_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is made where nothing was."""
    assert main(["doctor", "--home", str(tmp_path / "none")]) == 2
    assert "no journal.db" in capsys.readouterr().err and not (tmp_path / "none").exists()
