"""Disk full, read-only, damaged: what is seen, that nothing is lost or twice, that nothing is overwritten."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest

from gateway.adapters.journal import Journal, pack_oldest
from gateway.entry import Arrival
from gateway.service import Service
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare, stored
from tests.faults.real import Gateway, fill, is_sound, small_disk, until
from tests.flow.test_run import now_ms, publish
from tests.sites import pack
from tests.test_service import Door

FULL = "the disk is full: nothing is recorded or judged; messages wait at the broker; free space"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    (tmp_path / "broker").mkdir()
    made = Mosquitto(tmp_path / "broker")
    yield made
    made.stop()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    with small_disk(tmp_path / "disk", "4m") as made:
        yield made


def some(count: int, number: int) -> list[bytes]:
    """Return timed readings, no two alike."""
    began = now_ms() - 1000
    return [pack("steel", 20 + number + n / 10_000, began + n) for n in range(count)]


def test_a_full_disk_is_waited_for_and_nothing_is_lost_or_twice(
    tmp_path: Path, broker: Mosquitto, disk: Path
) -> None:
    """Filled under load and freed: the board says so meanwhile, all is unknown, then everything is there once."""
    prepare(disk / "home")
    gateway = Gateway(disk / "home", f"127.0.0.1:{broker.port}", tmp_path / "log")
    gateway.wait_for_board()
    sent = some(300, 0)
    publish(broker, *[("dewgate/test/steel", each) for each in sent])
    until(lambda: gateway.holds(300), "the first readings")
    filler = fill(disk)
    more = some(2500, 1)
    publish(broker, *[("dewgate/test/steel", each) for each in more])
    gateway.wait_for(FULL)
    time.sleep(2.5)
    assert gateway.process.poll() is None and gateway.is_live()
    page = gateway.shows()
    assert FULL in page and "unknown" in page and "inside limits" not in page
    assert sum(stored(disk / "home").values()) < 2800
    filler.unlink()
    until(lambda: gateway.holds(2800), "everything, once there was room", 60)
    gateway.wait_for(f"over: {FULL}")
    until(lambda: FULL not in gateway.shows(), "a board without the trouble")
    assert gateway.stop() == 0
    assert stored(disk / "home") == {sha256(each).digest(): 1 for each in sent + more}
    assert is_sound(disk / "home")


def test_a_disk_that_is_full_at_the_start_is_waited_for_or_told(
    tmp_path: Path, broker: Mosquitto, disk: Path
) -> None:
    """With no room even to open the journal it ends with the sentence; once there is room it starts."""
    prepare(disk / "home")
    filler = fill(disk)
    first = Gateway(disk / "home", f"127.0.0.1:{broker.port}", tmp_path / "log")
    assert first.process.wait(20) == 3
    assert first.said().count("\n") == 1 and FULL in first.said()
    filler.unlink()
    again = Gateway(disk / "home", f"127.0.0.1:{broker.port}", tmp_path / "log2")
    again.wait_for_board()
    assert again.stop() == 0


def test_stopped_and_killed_while_the_disk_is_full_nothing_is_lost(
    tmp_path: Path, broker: Mosquitto, disk: Path
) -> None:
    """What was not recorded was not acknowledged, so the next start gets it from the broker."""
    prepare(disk / "home")
    sent = some(2000, 2)
    for number, code in ((signal.SIGTERM, 3), (signal.SIGKILL, -signal.SIGKILL)):
        gateway = Gateway(disk / "home", f"127.0.0.1:{broker.port}", tmp_path / f"log{number}")
        gateway.wait_for_board()
        time.sleep(1.5)
        filler = fill(disk)
        part = sent[:1000] if number == signal.SIGTERM else sent[1000:]
        publish(broker, *[("dewgate/test/steel", each) for each in part])
        gateway.wait_for(FULL)
        assert gateway.stop(number) == code
        filler.unlink()
    last = Gateway(disk / "home", f"127.0.0.1:{broker.port}", tmp_path / "last")
    until(lambda: last.holds(2000), "everything from the broker")
    assert last.stop() == 0
    assert stored(disk / "home") == {sha256(each).digest(): 1 for each in sent}
    assert is_sound(disk / "home")


def test_a_read_only_disk_is_told_in_one_line(tmp_path: Path, disk: Path) -> None:
    """Nobody can write there, not even root."""
    prepare(disk / "home")
    (disk / "home" / "keep").touch()
    before = content(disk / "home")
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    try:
        gateway = Gateway(disk / "home", "127.0.0.1:1", tmp_path / "log")
        assert gateway.process.wait(20) == 3
    finally:
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
    assert gateway.said().count("\n") == 1
    assert "cannot be written" in gateway.said() and "make disk and files writable" in gateway.said()
    assert content(disk / "home") == before


def content(home: Path) -> dict[str, bytes]:
    """Return what the journal's files hold; an empty log and the shared memory beside it hold nothing."""
    files = (home / "journal.db", home / "journal.db-wal")
    return {each.name: each.read_bytes() for each in files if each.exists() and each.stat().st_size}


@pytest.fixture(scope="module")
def two_blocks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with two sealed blocks, a checkpoint and entries behind it."""
    home = tmp_path_factory.mktemp("whole") / "home"
    prepare(home)
    service = Service(home)
    began = now_ms()
    for part in range(9):
        messages = [pack("steel", 20 + n % 7 / 10, began + 1000 * part + n) for n in range(1000)]
        service.broker = Door(*[Arrival("dewgate/test/steel", each) for each in messages])  # type: ignore[assignment]
        service.turn()
    service.broker = None
    service.stopping.set()
    service.loop()
    service.close()
    with closing(Journal(home / "journal.db")) as book:
        while packed := pack_oldest(book.path):
            book.seal(packed)
    return home


def told(home: Path, *words: str) -> tuple[int, str]:
    command = [sys.executable, "-m", "gateway", *words, "--home", str(home)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)
    return done.returncode, done.stderr


COMMANDS = (("replay",), ("sensors",), ("watch", "--once", "--minutes", "60"), ("rebuild", "--check"))
KEEP = "nothing was overwritten: keep a copy of the whole folder, then put the newest backup in its place\n"


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_a_damaged_sealed_block_is_named_and_left_as_it_is(
    two_blocks: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """One byte of the second block is wrong."""
    home = shutil.copytree(two_blocks, tmp_path / "home")
    with closing(sqlite3.connect(home / "journal.db")) as db:
        (block,) = db.execute("SELECT body FROM sealed WHERE first_seq = 4097").fetchone()
        wrong = block[:100] + bytes([block[100] ^ 1]) + block[101:]
        db.execute("UPDATE sealed SET body = ? WHERE first_seq = 4097", (wrong,))
        db.commit()
    before = content(home)
    code, said = told(home, *words)
    assert code == 2 and said.count("\n") == 1 and said.endswith(KEEP)
    assert f"dewgate {words[0]}: {home}/journal.db: the sealed block of entries 4097 to 8192" in said
    assert content(home) == before


@pytest.mark.parametrize("words", [*COMMANDS, ("run", "--no-page")], ids=lambda words: words[0])
def test_a_damaged_page_is_told_and_nothing_is_overwritten(
    two_blocks: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """The first page of every table is noise, as a failing card leaves it."""
    home = shutil.copytree(two_blocks, tmp_path / "home")
    with closing(sqlite3.connect(home / "journal.db")) as db:
        pages = [page for (page,) in db.execute("SELECT rootpage FROM sqlite_schema WHERE rootpage > 0")]
    bytes_ = bytearray((home / "journal.db").read_bytes())
    for page in pages:
        bytes_[(page - 1) * 4096 : page * 4096] = random.Random(page).randbytes(4096)
    (home / "journal.db").write_bytes(bytes_)
    code, said = told(home, *words)
    assert code == (3 if words[0] == "run" else 2) and said.count("\n") == 1
    assert f"{home}/journal.db is damaged (database disk image is malformed)" in said
    assert said.replace(" event=failed", "").endswith(KEEP)
    assert content(home) == {"journal.db": bytes(bytes_)}


def test_a_file_that_is_no_journal_is_told(tmp_path: Path) -> None:
    """A picture renamed; and a folder that is not there."""
    home = tmp_path / "home"
    home.mkdir()
    (home / "journal.db").write_bytes(b"\x89PNG" * 4096)
    for words in (("run", "--no-page"), ("replay",), ("sensors",), ("watch", "--once")):
        code, said = told(home, *words)
        assert code and "is damaged (file is not a database)" in said and said.count("\n") == 1
    assert content(home) == {"journal.db": b"\x89PNG" * 4096}
