"""The doctor: every finding of its own cause, with what to do, and nothing changed."""

from __future__ import annotations

import fcntl
import os
import re
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from gateway.__main__ import main
from gateway.adapters import checkup
from gateway.adapters.address import Address
from gateway.adapters.checkup import Level
from gateway.adapters.home import lock
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


@contextmanager
def at_work(home: Path) -> Iterator[None]:
    """Hold what `run` and `deliver` hold while they live."""
    with lock(home), (home / "delivery.lock").open("w") as sends:
        fcntl.flock(sends, fcntl.LOCK_EX)
        yield


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
    assert "bad   broker" in words and "could not be checked" in words


def test_a_broker_that_refuses_the_login_says_so(tmp_path: Path) -> None:
    """Within a moment, not after the patience for a slow one; and which options hold the login."""
    (tmp_path / "none").touch()
    closed = Mosquitto(tmp_path, f"allow_anonymous false\npassword_file {tmp_path}/none")
    try:
        began = time.monotonic()
        (found,) = checkup.broker(Address("127.0.0.1", closed.port), "dewgate-run")
    finally:
        closed.stop()
    assert found.level is Level.BAD and "it refuses the connection: not authorized" in found.what, found
    assert "--broker-password-file" in found.do and time.monotonic() - began < 5


def test_services_that_are_not_at_work_are_bad(home: Path) -> None:
    """A board of yesterday and messages that go nowhere look sound to whoever only looks at files."""
    assert [(each.level, each.what.partition(":")[0]) for each in checkup.services(home)] == [
        (Level.BAD, "run"), (Level.BAD, "deliver"),
    ]  # fmt: skip
    with at_work(home):
        assert {each.level for each in checkup.services(home)} == {Level.GOOD}
    assert "systemctl start dewgate-deliver" in checkup.services(home)[1].do


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


def test_files_of_somebody_else_are_bad_and_an_open_home_is_told(home: Path) -> None:
    """As after `apply` by root: the service cannot write what root made."""
    home.chmod(0o700)
    assert [each.level for each in checkup.ownership(home)] == [Level.GOOD]
    home.chmod(0o755)
    (look,) = checkup.ownership(home)
    assert (look.level, look.do) == (Level.LOOK, f"chmod go= {home}")
    os.chown(home, 4711, 4711)  # needs root, as the tests that mount a disk do
    (home / "alone").mkdir()
    bad = checkup.ownership(home)[0]
    assert bad.level is Level.BAD and bad.do.startswith(f"chown -R --reference={home} {home}: ")
    for path in home.rglob("*"):
        os.chown(path, 4711, 4711)
    assert [each.level for each in checkup.ownership(home)] == [Level.LOOK]


def test_six_broken_installations(
    home: Path,
    broker: Mosquitto,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The whole command on each: exactly what is broken is bad, and every bad thing says what to do."""
    home.chmod(0o700)
    contacts = tmp_path / "contacts.toml"
    contacts.write_text('[channels]\nlead-phone = "json://127.0.0.1:9/x"\n[heartbeat]\naddress = "json://a/b"\n')
    contacts.chmod(0o600)
    monkeypatch.setattr(checkup, "clock", lambda: [checkup.Found(Level.GOOD, "clock: set by a time server")])
    monkeypatch.setattr(checkup, "_sync_ms", lambda path: path.touch() or 1.0)
    little = Mosquitto(Path(tempfile.mkdtemp(dir=tmp_path)), "max_queued_messages 100")
    at = ["--broker", f"127.0.0.1:{broker.port}"]
    sound = [*at, "--contacts", str(contacts)]

    def bad(*words: str) -> list[str]:
        with at_work(home):
            code, text = said(capsys, home, *(words or sound))
        lines = text.splitlines()
        found = [line for line in lines if line.startswith("bad ")]
        assert code == bool(found) and all(
            lines[lines.index(each) + 1].startswith("      to do: ") for each in found
        )
        return [re.split(r"[: ]", each.removeprefix("bad   "))[0] for each in found]

    assert bad() == []
    try:  # 1: Mosquitto's own settings
        assert bad("--broker", f"127.0.0.1:{little.port}", *sound[2:]) == ["broker"]
    finally:
        little.stop()
    (home / "keys").rename(tmp_path / "keys")  # 2: restored, and the keys forgotten
    assert bad() == ["key"]
    (tmp_path / "keys").rename(home / "keys")
    contacts.write_text(
        contacts.read_text().replace("lead-phone", "old-phone")
    )  # 3: another channel than the file's
    assert bad() == ["channel"]
    contacts.write_text(contacts.read_text().replace("old-phone", "lead-phone"))
    spent = tmp_path / "spent.crt"  # 4: a certificate that has run out, and a disk that only says it wrote
    make = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 1 -subj /CN=x"
    subprocess.run([*make.split(), "-keyout", tmp_path / "k", "-out", spent], check=True, capture_output=True)
    monkeypatch.setattr(checkup, "_sync_ms", lambda path: path.touch() or 0.01)
    assert bad(*sound, "--certificate", str(spent)) == ["disk", "certificate"]
    monkeypatch.setattr(checkup, "_sync_ms", lambda path: path.touch() or 1.0)
    no_clock = [checkup.Found(Level.BAD, "clock: not set by any time server", "set up a time server")]
    monkeypatch.setattr(checkup, "clock", lambda: no_clock)  # 5: a box of its own, commands typed as root
    os.chown(home / "journal.db", 4711, 4711)
    assert bad() == ["permissions", "clock"]
    assert said(capsys, home, *sound)[1].count("not at work, ") == 2  # 6: installed, and nobody started it


def test_no_home_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is made where nothing was."""
    assert main(["doctor", "--home", str(tmp_path / "none")]) == 2
    assert "no journal.db" in capsys.readouterr().err and not (tmp_path / "none").exists()
