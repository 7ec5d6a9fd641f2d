"""Where the flow begins when a home is opened: no checkpoint is trusted that this program cannot go on from."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gateway import flow
from gateway.adapters.home import is_locked, lock, restore
from tests.faults.kill_run import prepare


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal whose checkpoint says of itself, by a count that no entry brings about, that it was used."""
    prepare(tmp_path)
    kept = restore(tmp_path / "journal.db")
    kept.state.counts["of the checkpoint"] = 1
    _keep(tmp_path / "journal.db", kept.checkpoint())
    return tmp_path / "journal.db"


def _keep(path: Path, body: bytes, version: str = flow.CORE_VERSION) -> None:
    with closing(sqlite3.connect(path)) as db:
        (last,) = db.execute("SELECT max(seq) FROM entries").fetchone()
        db.execute("INSERT OR REPLACE INTO checkpoint VALUES (1, ?, ?, ?)", (last, version, body))
        db.commit()


@pytest.mark.parametrize(
    ("version", "used"),
    [
        (flow.CORE_VERSION, True),
        (f"0.0.1/{flow.CORE_READ_FROM}", True),
        (f"0.0.1/{flow.CORE_READ_FROM - 1}", False),
        (f"9.9.9/{flow.CORE + 1}", False),
        ("older", False),
    ],
)
def test_an_older_checkpoint_saves_folding_years_again(path: Path, version: str, used: bool) -> None:
    """Down to the oldest state that still means the same; a newer program's is left, since nobody knows it."""
    _keep(path, restore(path).checkpoint(), version)
    assert ("of the checkpoint" in restore(path).state.counts) is used


def test_a_checkpoint_that_cannot_be_read_is_only_a_cache(path: Path) -> None:
    """All entries are folded again, to the same state but for the mark."""
    whole = restore(path).state
    _keep(path, b"no checkpoint")
    again = restore(path).state
    assert again.sequence == whole.sequence and again.peaks == whole.peaks and again.config == whole.config
    assert "of the checkpoint" not in again.counts


def test_who_holds_the_writers_lock_writes(tmp_path: Path) -> None:
    """Asked without making the file, and without keeping the lock."""
    file = tmp_path / "writer.lock"
    assert not is_locked(file) and not file.exists()
    held = lock(tmp_path)
    assert is_locked(file)
    held.close()
    assert not is_locked(file)
    lock(tmp_path).close()
