"""Reading a journal beside its writer: where the window begins, what was in force, who writes, what is refused."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from gateway import entry, heard_command
from gateway.__main__ import main
from gateway.adapters.journal import Journal, open_reader, pack_oldest
from gateway.entry import Arrival, Kind
from gateway.service import lock
from gateway.tree import SEAL
from tests.heard_story import OFFSET_MS, Story, utc_ms
from tests.sites import T0, pack


def write(home: Path, story: Story, seal: bool = True) -> Path:
    home.mkdir()
    book = Journal(home / "journal.db")
    book.db.execute("BEGIN")
    book.db.executemany("INSERT INTO entries VALUES (?, ?)", enumerate(story.entries, 1))
    book.db.execute("COMMIT")
    while seal and (packed := pack_oldest(book.path)):
        book.seal(packed)
    book.close()
    return home


def long_story() -> Story:
    """Three sealed blocks and some more, a reading each second; the jobsite is set in the first block only."""
    story = Story()
    steel(story, 3 * SEAL + 100)
    return story


def steel(story: Story, count: int) -> None:
    """Readings a second apart, put in without the flow, which would judge each of the seconds."""
    for n in range(count):
        arrival = Arrival("dewgate/test/steel", pack("steel", 20.0, utc_ms(n)), 1 + n)
        story.entries.append(entry.message(arrival, T0 + 1000 * n))


@pytest.fixture(scope="module")
def long_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("long") / "home", long_story())


def said(capsys: pytest.CaptureFixture[str], *words: str | Path) -> str:
    assert main([str(word) for word in words]) == 0
    return capsys.readouterr().out


def test_the_window_begins_at_the_block_that_reaches_into_it(long_home: Path) -> None:
    """And jobsite and clock are found three blocks before it."""
    last_s = 3 * SEAL + 99
    window = heard_command._window(long_home, 30)
    assert (2 * SEAL, last_s + 3, T0 + last_s * 1000) == (window.after, window.newest, window.newest_ms)
    assert window.standing.offset_ms == OFFSET_MS
    assert window.standing.site is not None and window.standing.site.id == "test"
    assert heard_command._window(long_home, 1).after == 3 * SEAL  # the unsealed entries reach far enough
    assert heard_command._window(long_home, 1e5).after == 0


def test_the_newest_entry_may_be_sealed(tmp_path: Path) -> None:
    """At a block's end no entry is unsealed."""
    story = long_story()
    del story.entries[2 * SEAL :]
    window = heard_command._window(write(tmp_path / "home", story), 1)
    assert (2 * SEAL, SEAL) == (window.newest, window.after)
    assert window.newest_ms == T0 + (2 * SEAL - 3) * 1000


def test_the_newest_jobsite_and_clock_before_the_window_hold(tmp_path: Path) -> None:
    """Not the first ones: a clock step in the same block as the start."""
    story = Story()
    story.plain(Kind.CLOCK_STEP, 1, old_offset_ms=0, new_offset_ms=5000, cause="the wall clock stepped")
    steel(story, 2 * SEAL)
    window = heard_command._window(write(tmp_path / "home", story), 1)
    assert (SEAL, 5000) == (window.after, window.standing.offset_ms)


def test_only_the_hours_asked_for_are_counted(long_home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The edge is exact although blocks are read whole: 30 min and both ends are 1 801 readings."""
    found = json.loads(said(capsys, "sensors", "--home", long_home, "--hours", "0.5", "--json"))
    steel = next(each for each in found["sensors"] if each["id"] == "steel")
    assert (1801, 1801, 1000.0) == (found["entries"], steel["times"], steel["every_ms"])
    whole = json.loads(said(capsys, "sensors", "--home", long_home, "--json"))
    assert whole["entries"] == 3 * SEAL + 102


def test_a_block_is_read_once_and_nothing_stays_open_in_between(long_home: Path) -> None:
    """Chunks end where blocks do."""
    sizes = [len(chunk) for chunk in heard_command._chunks(long_home / "journal.db", 2 * SEAL - 10)]
    assert sizes == [10, SEAL, 102]


def test_reading_changes_nothing(long_home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The journal's bytes are the same afterwards."""
    before = (long_home / "journal.db").read_bytes()
    said(capsys, "sensors", "--home", long_home)
    said(capsys, "watch", "--home", long_home, "--once")
    assert (long_home / "journal.db").read_bytes() == before


def test_the_last_minutes_are_printed_once(long_home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both ends of 2 min are 121 readings, under the day; five minutes without a word."""
    lines = said(capsys, "watch", "--home", long_home, "--once", "--minutes", "2").splitlines()
    assert lines[0] == "-- 2026-05-29 UTC+00:00 --"
    assert len(lines) == 122
    assert len(said(capsys, "watch", "--home", long_home, "--once").splitlines()) == 302
    only = said(capsys, "watch", "--home", long_home, "--once", "--sensor", "air-t", "baro")
    assert only == ""


def test_following_begins_after_the_newest_entry(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is there is passed over, the next entry is shown, also within the same ms; nothing is shown twice."""
    story = Story()
    story.message(1, "steel", pack("steel", 20.0))
    home = write(tmp_path / "home", story)
    args = heard_command._parser("watch", "").parse_args(["--home", str(home)])
    screen = heard_command.Screen(args, heard_command.Watching(heard_command.Standing(), 0))
    screen.after = 3
    screen.take_new()
    assert capsys.readouterr().out == ""
    story.message(1, "steel", pack("steel", 21.0))
    with closing(Journal(home / "journal.db")) as book:
        book.db.execute("INSERT INTO entries VALUES (4, ?)", (story.entries[3],))
    screen.take_new()
    screen.take_new()
    assert [line.split()[1:4] for line in capsys.readouterr().out.splitlines()[1:]] == [["steel", "21", "Cel"]]


def test_a_conflict_with_a_reading_shortly_before_the_first_line_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Five minutes more than shown are read."""
    story = Story()
    story.message(1, "steel", pack("steel", 20.0, utc_ms(1)))
    story.message(100, "steel", pack("steel", 21.0, utc_ms(1)))
    home = write(tmp_path / "home", story)
    (_, line) = said(capsys, "watch", "--home", home, "--once", "--minutes", "1").splitlines()
    assert line.endswith("CONFLICT")


@pytest.mark.parametrize("command", ["sensors", "watch"])
def test_a_home_without_a_journal_is_told_in_words(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And nothing is made there."""
    assert main([command, "--home", str(tmp_path / "none")]) == 2
    assert "no journal here" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
    (tmp_path / "empty").mkdir()
    Journal(tmp_path / "empty" / "journal.db").close()
    assert main([command, "--home", str(tmp_path / "empty")]) == 2
    assert "the journal is empty" in capsys.readouterr().err


def test_a_journal_before_its_first_jobsite_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is known then, and what to do is said."""
    story = Story()
    del story.entries[1:]
    out = said(capsys, "sensors", "--home", write(tmp_path / "home", story))
    assert out.startswith("no jobsite is in force; use: dewgate apply FILE\nNOT WRITTEN since")


def test_a_long_reading_says_how_far_it_is(
    long_home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On stderr, so that a pipe gets the answer alone."""
    monkeypatch.setattr(heard_command, "NOTE_S", 60.0)
    assert main(["sensors", "--home", str(long_home)]) == 0
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(heard_command, "NOTE_S", 0.0)
    assert main(["sensors", "--home", str(long_home)]) == 0
    err = capsys.readouterr().err
    assert f"reading: {SEAL} of {3 * SEAL + 102} entries" in err
    assert main(["watch", "--home", str(long_home), "--once", "--minutes", "1"]) == 0
    assert f"looking back for the jobsite in force: {SEAL} of {2 * SEAL} entries" in capsys.readouterr().err


def test_a_quiet_journal_without_a_writer_is_told_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A killed program writes no stop; while one holds the lock, quiet is only quiet."""
    home = write(tmp_path / "home", Story())
    monkeypatch.setattr(heard_command, "QUIET_S", 0.0)
    args = heard_command._parser("watch", "").parse_args(["--home", str(home)])
    screen = heard_command.Screen(args, heard_command.Watching(heard_command.Standing(), 0))
    held = lock(home)
    screen.look_for_writer()
    assert capsys.readouterr().out == ""
    held.close()
    screen.look_for_writer()
    screen.look_for_writer()
    assert capsys.readouterr().out == "nothing was journalled for a minute: no dewgate is writing here\n"


@pytest.mark.parametrize("words", [["sensors", "--hours", "0"], ["watch", "--minutes", "-1"], ["watch", "--what"]])
def test_wrong_words_are_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """As every command does it."""
    with pytest.raises(SystemExit) as stopped:
        main(words)
    assert stopped.value.code == 2
    assert f"usage: dewgate {words[0]}" in capsys.readouterr().err


def test_the_reader_is_read_only(long_home: Path) -> None:
    """What the commands open cannot be written through."""
    with closing(open_reader(long_home / "journal.db")) as db, pytest.raises(Exception, match="readonly"):
        db.execute("DELETE FROM entries")


def test_a_pipe_that_nobody_reads_on_ends_quietly(long_home: Path) -> None:
    """`dewgate watch | head -1` leaves no traceback."""
    command = [sys.executable, "-m", "gateway", "watch", "--home", str(long_home), "--once", "--minutes", "200"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stderr is not None
        assert process.stdout.readline().startswith(b"-- ")
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0


def test_colour_is_only_for_a_terminal(tmp_path: Path) -> None:
    """On a terminal a refusal is red and says REFUSED; with NO_COLOR set it only says so."""
    story = Story()
    story.message(1, "steel", b"no")
    home = write(tmp_path / "home", story)
    command = [sys.executable, "-m", "gateway", "watch", "--home", str(home), "--once"]
    assert "\x1b[31m21:26:41  steel             REFUSED not SenML" in on_a_terminal(command, {})
    plain = on_a_terminal(command, {"NO_COLOR": "1"})
    assert "REFUSED not SenML" in plain and "\x1b" not in plain


def on_a_terminal(command: list[str], more: dict[str, str]) -> str:
    """What a command writes on a pseudo-terminal."""
    ours, its = pty.openpty()
    environment = {key: value for key, value in os.environ.items() if key != "NO_COLOR"} | more
    subprocess.run(command, stdout=its, stderr=subprocess.DEVNULL, env=environment, check=True, timeout=60)
    os.close(its)
    said = os.read(ours, 65536).decode()
    os.close(ours)
    return said
