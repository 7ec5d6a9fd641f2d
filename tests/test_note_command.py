"""Notes and entries from a terminal: taken by the running writer or in its place, once, or refused in words."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from gateway import inbox, note_command, shifts
from gateway.adapters.journal import open_reader
from gateway.payload import canonical
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.record_story import jobsite

NOON = 1_780_315_200_000  # 2026-06-01T12:00:00Z, 07:00 in Chicago


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with the story's jobsite in force and nobody writing."""
    prepare(tmp_path / "home", jobsite())
    return tmp_path / "home"


def note(home: Path, *words: str) -> int:
    return note_command.run("note", ["--home", str(home), "--who", "inspector", *words], "Advisory only")


def acts(home: Path) -> list[dict[str, object]]:
    with open_reader(home / "journal.db") as db:
        return [
            canonical.to_dict(row[0]) for row in db.execute("SELECT body FROM deeds WHERE kind = 4 ORDER BY seq")
        ]


def test_a_note_is_in_the_journal_whoever_writes_it(home: Path) -> None:
    """Without a running gateway the command is the writer for a moment."""
    assert note(home, "--area", "A", "dew", "on the north face") == 0
    (act,) = acts(home)
    assert (act["act"], act["person"], act["text"]) == ("note", "inspector", "dew on the north face")


def test_work_on_a_piece_is_entered_or_refused(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """New salt in the dryer of a train; a piece that there is none of is refused in words."""
    train = jobsite().trains[0]
    assert note(home, "--serviced", train.pieces[0].id, f"train={train.id}", "what=salt refilled") == 0
    (act,) = acts(home)
    assert (act["act"], act["piece"], act["what"]) == ("serviced", train.pieces[0].id, "salt refilled")
    assert note(home, "--serviced", "mast", f"train={train.id}", "what=salt refilled") == 1
    assert "has no piece mast." in capsys.readouterr().err


def test_a_form_that_is_not_whole_is_refused_in_words(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And nothing is left behind."""
    assert note(home, "--area", "A", "--form", "rain or fog", "seen=rain") == 1
    assert "In words is empty; write N/A where nothing applies." in capsys.readouterr().err
    assert list((home / "inbox").iterdir()) == [] and acts(home) == []
    assert note(home, "--area", "A", "--form", "rain or fog", "seen=rain", "words=N/A") == 0
    assert note(home, "--form", "rain or fog", "rain") == 1
    assert "no FIELD=VALUE" in capsys.readouterr().err


def test_a_running_writer_takes_it(home: Path) -> None:
    """And answers within moments, with the reason where it refuses."""
    service = Service(home)
    thread = threading.Thread(target=service.loop)
    thread.start()
    try:
        assert note(home, "--area", "A", "--begin", "priming", "product=epoxy", "batch=17") == 0
        assert note(home, "--area", "A", "--begin", "priming") == 1
        assert note(home, "--area", "A", "--end", "priming") == 0
    finally:
        service.stopping.set()
        service.wake.set()
        thread.join()
        service.close()
    assert [act["act"] for act in acts(home)] == ["begin", "end"]


def test_an_act_left_twice_counts_once(home: Path) -> None:
    """A writer that dies between commit and clean-up finds the file again."""
    body = canonical.to_bytes({"act": "note", "person": "i", "area": "A", "text": "once", "ref": "r-1"})
    for _ in range(2):
        left = inbox.leave(home, "act", body)
        note_command.be_the_writer(home)
        assert not left.exists()
    assert len(acts(home)) == 1
    (refused,) = (home / "inbox").glob("*.refused")
    assert refused.read_text() == "This has been entered already."


def test_a_picture_is_named_by_its_hash(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its bytes stay outside the journal; what is no picture is refused."""
    (tmp_path / "a.jpg").write_bytes(b"\xff\xd8\xff made")
    assert note(home, "--area", "A", "blush", f"photo={tmp_path / 'a.jpg'}") == 0
    name = str(acts(home)[0]["photo"])
    assert (home / "photos" / name).read_bytes() == b"\xff\xd8\xff made"
    (tmp_path / "b.jpg").write_bytes(b"text")
    assert note(home, "--area", "A", "blush", f"photo={tmp_path / 'b.jpg'}") == 1
    assert "This is no JPEG, PNG or WebP picture." in capsys.readouterr().err


def test_forms_are_listed_with_their_fields(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A person at a terminal needs no manual."""
    assert note(home, "--forms") == 0
    said = capsys.readouterr().out
    assert (
        "blotter test\n  place= At which outlet of the blast air\n  distance= Distance of the collector (24 in)"
        in said
    )


def test_idle_ends_with_the_next_shift_of_the_site() -> None:
    """17:30 in Chicago is 22:30 UTC in summer, after it the day after; nothing is filled in without shift ends."""
    idle = {"act": "begin", "area": "A", "activity": "idle", "person": "lead"}
    assert shifts.with_end(jobsite(), idle, NOON)["until_ms"] == NOON + int(10.5 * 3_600_000)
    late = NOON + 11 * 3_600_000
    assert shifts.with_end(jobsite(), idle, late)["until_ms"] == NOON + int(34.5 * 3_600_000)
    assert shifts.with_end(jobsite(shift_ends=()), idle, NOON) == idle
    assert shifts.with_end(jobsite(), idle | {"activity": "blasting"}, NOON) == idle | {"activity": "blasting"}
