"""Backup and restore with real files: taken while the writer works, checked, and nothing overwritten."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import threading
import time
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from gateway.__main__ import main
from gateway.adapters.journal import entries_after, open_reader
from gateway.service import Service
from tests.faults.kill_run import prepare


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a journal of a few entries, a photo, keys and an address file."""
    made = tmp_path / "home"
    prepare(made)
    (made / "photos").mkdir()
    (made / "photos" / "ab12").write_bytes(b"picture")
    (made / "contacts.toml").write_text('[channels]\nlead = "secret"\n')
    return made


def entries(home: Path) -> list[bytes]:
    """Every entry of a home's journal."""
    with closing(open_reader(home / "journal.db")) as reader:
        return list(entries_after(reader, 0))


def taken(home: Path, out: Path, *more: str) -> Path:
    """Make a backup with the command and return its file."""
    assert main(["backup", "--home", str(home), "--out", str(out), *more]) == 0
    return max(out.glob("dewgate-*.zip"))


def test_a_new_home_is_the_old_one(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Entries, photos and head come back, and the writer goes on from there; secrets only when asked for."""
    file, new = taken(home, tmp_path / "out"), tmp_path / "new"
    new.mkdir()
    if os.geteuid() == 0:
        shutil.chown(new, "nobody")  # as the installer gives the empty home to its service
    owner = new.owner()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert main(["restore", str(file), "--home", str(new)]) == 0
    said = capsys.readouterr().out
    assert f"{len(entries(home))} entries that give the newest head H" in said and "no keys in it" in said
    assert entries(new) == entries(home) and (new / "photos" / "ab12").read_bytes() == b"picture"
    assert not (new / "keys").exists() and not (new / "contacts.toml").exists()
    assert all(path.owner() == owner for path in (new, *new.rglob("*")))
    service = Service(new)
    assert service.flow.site is not None and service.flow.site.id == "test"
    service.close()


def test_secrets_when_asked_for(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the keys the chain of heads goes on without a word."""
    file, new = taken(home, tmp_path / "out", "--with-secrets"), tmp_path / "new"
    assert main(["restore", str(file), "--home", str(new)]) == 0
    assert "no keys" not in capsys.readouterr().out
    assert [path.read_bytes() for path in sorted((new / "keys").iterdir())] == [
        path.read_bytes() for path in sorted((home / "keys").iterdir())
    ]
    assert stat.S_IMODE((new / "contacts.toml").stat().st_mode) == 0o600


def test_taken_while_the_writer_works(home: Path, tmp_path: Path) -> None:
    """Every backup holds a beginning of the journal, whole up to its last entry."""
    service, over = Service(home), threading.Event()

    def work() -> None:
        while not over.is_set():
            service.act({"act": "begin", "person": "lead", "area": "A", "activity": "blasting"})
            service.turn()
            service.act({"act": "end", "person": "lead", "area": "A", "activity": "blasting"})
            service.turn()

    writer = threading.Thread(target=work)
    writer.start()
    try:
        time.sleep(0.3)
        file = taken(home, tmp_path / "out")
    finally:
        over.set()
        writer.join()
        service.close()
    new = tmp_path / "new"
    assert main(["restore", str(file), "--home", str(new)]) == 0
    assert 3 < len(entries(new)) < len(entries(home)) and entries(new) == entries(home)[: len(entries(new))]


def test_a_changed_file_is_refused(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One byte of any file, a cut file, a file outside the home: refused with the reason, and no home is made."""
    file = taken(home, tmp_path / "out")
    with zipfile.ZipFile(file) as packed:
        held = {name: packed.read(name) for name in packed.namelist()}
    for name, bad, why in (
        ("photos/ab12", b"pictures", "not what was put into it"),
        ("journal.db", held["journal.db"][:-1] + b"x", "not what was put into it"),
    ):
        changed = tmp_path / "changed.zip"
        with zipfile.ZipFile(changed, "w") as packed:
            for each, body in (held | {name: bad}).items():
                packed.writestr(each, body)
        assert main(["restore", str(changed), "--home", str(tmp_path / "none")]) == 1
        assert why in capsys.readouterr().err and not (tmp_path / "none").exists()
        _forget(tmp_path / "none.part")
    manifest = json.loads(held["manifest.json"])
    manifest["sha256"]["../outside"] = "00"
    with zipfile.ZipFile(tmp_path / "outside.zip", "w") as packed:
        packed.writestr("manifest.json", json.dumps({**manifest, "sha256": {"../outside": "00"}}))
        packed.writestr("../outside", b"x")
    assert main(["restore", str(tmp_path / "outside.zip"), "--home", str(tmp_path / "none")]) == 1
    assert "outside the home" in capsys.readouterr().err and not (tmp_path / "outside").exists()


def _forget(part: Path) -> None:
    for path in sorted(part.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    part.rmdir()


def test_a_journal_that_does_not_give_its_head_is_refused(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever changes an entry and makes the hashes of the files fit is still found by the signed head."""
    with closing(sqlite3.connect(home / "journal.db")) as db:
        db.execute("UPDATE entries SET entry = CAST(entry || x'00' AS BLOB) WHERE seq = 1")
        db.commit()
    assert main(["backup", "--home", str(home), "--out", str(tmp_path / "out")]) == 1
    assert "do not give the root of its newest head H" in capsys.readouterr().err
    assert not list((tmp_path / "out").iterdir())


def test_nothing_is_overwritten(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder with anything in it is no new home."""
    file = taken(home, tmp_path / "out")
    before = entries(home)
    assert main(["restore", str(file), "--home", str(home)]) == 1
    assert "is not empty" in capsys.readouterr().err and entries(home) == before


def test_the_newest_are_kept(home: Path, tmp_path: Path) -> None:
    """`--keep 2` removes older backups and nothing else."""
    out = tmp_path / "out"
    out.mkdir()
    for name in ("dewgate-20250101T000000Z.zip", "dewgate-20250102T000000Z.zip", "notes.zip"):
        (out / name).touch()
    file = taken(home, out, "--keep", "2")
    assert sorted(path.name for path in out.iterdir()) == ["dewgate-20250102T000000Z.zip", file.name, "notes.zip"]


def test_killed_half_way_it_leaves_no_backup(home: Path, tmp_path: Path) -> None:
    """What is not whole has another name."""
    (home / "photos" / "large").write_bytes(os.urandom(60_000_000))
    out = tmp_path / "out"
    command = [sys.executable, "-m", "gateway", "backup", "--home", str(home), "--out", str(out)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    while not list(out.glob("*.part")):
        assert process.poll() is None
        time.sleep(0.002)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not list(out.glob("*.zip"))
