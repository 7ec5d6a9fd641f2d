"""A journal folded in parts says what it says in one go, whatever its kept states hold."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from gateway import history_command, replay_cores
from gateway.adapters import base, states
from gateway.adapters.journal import MIGRATIONS, Journal, WrongJournal, entries_after, open_reader, pack_oldest
from gateway.entry import Kind, plain
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.replay import Folded, Part, differences, divided, fold_file
from gateway.replay_cores import Cores
from gateway.tree import SEAL
from tests.sites import T0, margin_limit, site
from tests.test_flow import a_shift


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shift of some hundred entries with its events and its history, and no kept states."""
    day, flow = a_shift(5), Flow()
    path = tmp_path_factory.mktemp("whole") / "journal.db"
    with closing(Journal(path)) as book:
        for at in range(0, len(day.entries), 20):
            since, said, outcomes = flow.state.sequence + 1, flow.state.events + 1, Outcomes()
            flow.advance(day.entries[at : at + 20], outcomes)
            book.commit(since, day.entries[at : at + 20], said, outcomes, 0)
    assert (flow.state.events, flow.state.sequence) == (20, 386)
    return path


@pytest.fixture
def path(written: Path, tmp_path: Path) -> Path:
    """A copy of it to keep states in, and to change by hand."""
    return Path(shutil.copy(written, tmp_path / "journal.db"))


class After(dict[int, bytes]):
    """The real state after each entry."""

    def __repr__(self) -> str:
        return "the states"  # megabytes


@pytest.fixture(scope="module")
def after(written: Path) -> After:
    flow, found = Flow(), After()
    with closing(open_reader(written)) as reader:
        for at, each in enumerate(entries_after(reader, 0), 1):
            flow.advance([each], Outcomes())
            found[at] = flow.checkpoint()
    return found


@pytest.fixture
def kept(path: Path, after: After) -> Path:
    """The copy with three kept states."""
    return keep(path, after, 60, 120, 200)


def keep(path: Path, after: After, *cuts: int) -> Path:
    for at in cuts:
        change(path, "INSERT OR REPLACE INTO states VALUES (?, ?, ?)", at, CORE_VERSION, packed(after[at]))
    return path


def packed(checkpoint: bytes) -> bytes:
    return states.packed(0, "", checkpoint).body


def change(path: Path, order: str, *values: object) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(order, values)


def in_one_go(path: Path) -> list[str]:
    with closing(open_reader(path)) as reader:
        return differences(reader)[1]


def in_parts(path: Path, cores: int = 2) -> tuple[list[str], list[str]]:
    """The lines of differences, and those about kept states."""
    with closing(open_reader(path)) as reader:
        parts = divided(reader, cores)
    work = Cores(path, parts, cores, lambda _: None)
    lines = [line for block in work.folded() for line in block.lines]
    assert not any(worker.is_working for worker in work._workers.values())
    return lines, work.refused


MADE_UP = canonical.checkpoint({"made": "up"})
GUESSES = ("right", "of another entry", "no state", "cut off", "of another core")


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture],
    phases=[Phase.explicit, Phase.generate],
)  # fmt: skip  # each example starts processes: a smaller one would take minutes to find
@given(
    st.dictionaries(st.integers(1, 260), st.sampled_from(GUESSES), max_size=4),
    st.lists(st.tuples(st.sampled_from(("changed", "gone", "more")), st.integers(1, 20)), max_size=4),
    st.integers(2, 4),
)
def test_any_parts_with_any_states_say_what_one_go_says(
    written: Path, after: After, tmp_path: Path, guesses: dict[int, str],
    by_hand: list[tuple[str, int]], cores: int,
) -> None:  # fmt: skip
    """Cuts anywhere, states right, wrong or unreadable, events changed: the same lines in the same order."""
    path = keep(Path(shutil.copy(written, tmp_path / "journal.db")), after, *guesses)
    for seq, guess in guesses.items():
        other = packed(Flow().checkpoint())
        wrong = {"of another entry": other, "no state": b"\2no state", "cut off": other[:-9]}.get(guess)
        if wrong:
            change(path, "UPDATE states SET body = ? WHERE seq = ?", wrong, seq)
        if guess == "of another core":
            change(path, "UPDATE states SET core_version = '9.0.0/99' WHERE seq = ?", seq)
    for deed, number in by_hand:
        if deed == "changed":
            change(path, "UPDATE events SET event = X'7b7d' WHERE id = ?", number)
        elif deed == "gone":
            change(path, "DELETE FROM events WHERE id = ?", number)
        else:
            change(path, "INSERT OR IGNORE INTO events VALUES (?, X'6d6f7265')", number + 9000)
    lines, said = in_parts(path, cores)
    assert lines == in_one_go(path)
    assert bool(lines) == bool(by_hand)
    refused = {seq for seq, guess in guesses.items() if guess not in ("right", "of another core")}
    assert {int(line.split()[4]) for line in said} == refused


def test_states_that_are_reproduced_are_each_begun_with(kept: Path) -> None:
    """Nothing is said of them, and history is that of one go; the last line says what was proven."""
    assert in_parts(kept) == ([], [])
    with closing(open_reader(kept)) as reader:
        parts = divided(reader, 2)
        assert [(part.after, part.until) for part in parts] == [(0, 60), (60, 120), (120, 200), (200, 386)]
        assert len(divided(reader, 1)) == 1, "one core folds in one go"


def test_the_command_says_in_how_many_parts_and_what_was_not_used(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Same number of entries, same differences, same exit code on one core and on two."""
    words = ["--home", str(kept.parent), "--cores"]
    assert history_command.run("replay", [*words, "2"], "") == 0
    told = capsys.readouterr().out
    assert "folded in 4 parts, each from the state the one before it ended in, byte for byte\n" in told
    assert told.endswith(" entries folded again, 0 differences\n")
    change(kept, "UPDATE states SET body = X'09' WHERE seq = 60")
    change(kept, "UPDATE events SET event = X'00' WHERE id = 7")
    assert history_command.run("replay", [*words, "2"], "") == 1
    told = capsys.readouterr().out
    assert told.startswith("state kept after entry 60 cannot be read; folded on without it\nfolded in 4 parts")
    assert "event 7: then b'\\x00', now b'{" in told
    assert history_command.run("replay", [*words, "1"], "") == 1
    alone = capsys.readouterr().out
    assert "parts" not in alone and alone.splitlines() == told.splitlines()[-2:]
    assert history_command.run("replay", [*words, "0"], "") == 2
    assert "--cores 0: at least 1 is needed" in capsys.readouterr().err


def test_a_state_of_another_core_is_used_where_today_s_comes_to_it(kept: Path) -> None:
    """One that judged the same left the same; a field that this program does not know does not count."""
    change(kept, "UPDATE states SET core_version = '99.0/99'")
    other = {**canonical.from_checkpoint(state_of(kept, 60), dict), "of_a_core_to_come": 1}
    change(kept, "UPDATE states SET body = ? WHERE seq = 60", packed(canonical.checkpoint(other)))
    assert in_parts(kept) == ([], [])


def test_a_state_of_another_core_that_judged_otherwise_is_named_and_not_used(kept: Path) -> None:
    """Said with its version; whatever follows is folded from the real state."""
    flow = Flow.from_checkpoint(state_of(kept, 120))
    flow.state.counts["message"] += 1
    order = "UPDATE states SET body = ?, core_version = '0.0.1/3' WHERE seq = 120"
    change(kept, order, packed(flow.checkpoint()))
    why = "is not what the entries before it give; folded on without it"
    assert in_parts(kept) == ([], [f"state kept after entry 120 by version 0.0.1/3 {why}"])


def test_a_state_that_was_changed_by_hand_is_named_and_what_follows_is_right(kept: Path) -> None:
    """Its alarm would never have been raised: everything after it is folded again from the real state."""
    flow = Flow.from_checkpoint(state_of(kept, 120))
    flow.state.alarms.clear()
    change(kept, "UPDATE states SET body = ? WHERE seq = 120", packed(flow.checkpoint()))
    why = "is not what the entries before it give; folded on without it"
    assert in_parts(kept) == ([], [f"state kept after entry 120 {why}"])


def test_an_entry_that_was_changed_by_hand_is_seen_by_every_state_after_it(kept: Path) -> None:
    """The states hold the tree over the entries, so none after it is reproduced; the lines are those of one go."""
    looser = canonical.config_set(site(margin_limit(threshold=1.0)), "keeper", "test")
    change(kept, "UPDATE entries SET entry = ? WHERE seq = 2", plain(Kind.CONFIG_SET, T0, looser))
    lines, said = in_parts(kept)
    assert lines == in_one_go(kept) and lines
    assert [int(line.split()[4]) for line in said] == [60, 120, 200]


def test_a_missing_entry_ends_it_as_in_one_go(kept: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The process that meets it ends without a word; what is wrong is told once, by the one that counts."""
    change(kept, "DELETE FROM entries WHERE seq = 100")
    with pytest.raises(WrongJournal, match="entries 100 to 100 are missing"):
        in_parts(kept)
    assert history_command.run("replay", ["--home", str(kept.parent), "--cores", "2"], "") == 2
    assert "Traceback" not in capfd.readouterr().err


def test_entries_that_went_meanwhile_are_missing(kept: Path) -> None:
    """What was there when the journal was divided is folded, or it is said: never a shorter journal."""
    with closing(open_reader(kept)) as reader:
        parts = divided(reader, 2)
    change(kept, "DELETE FROM entries WHERE seq > 380")
    with pytest.raises(WrongJournal, match="entries 381 to 386 are missing"):
        list(Cores(kept, parts, 2, lambda _: None).folded())


def test_events_that_no_entry_brought_are_told_by_the_last_part(kept: Path) -> None:
    """However far behind the others their numbers are."""
    change(kept, "INSERT INTO events VALUES (21, X'41'), (9000, X'42')")
    assert in_parts(kept)[0] == ["event 21: then b'A', now None", "event 9000: then b'B', now None"]


def test_a_guess_that_never_ends_is_ended(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A made-up state may keep its process busy for ever; the parts before it come to their end all the same."""
    for seq in (120, 200):
        change(kept, "UPDATE states SET body = ? WHERE seq = ?", packed(MADE_UP), seq)

    def endless(path: Path, part: Part, history: bool) -> Iterator[Folded]:
        if part.begin and states.unpack(part.begin) == MADE_UP:
            time.sleep(3600)
        yield from fold_file(path, part, history)

    monkeypatch.setattr(replay_cores, "fold_file", endless)
    lines, said = in_parts(kept)
    assert lines == [] and len(said) == 2


def test_a_process_that_is_killed_is_made_good(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """For want of memory, say, in the middle of its part: its entries are folded again, no block counts twice."""
    change(kept, "UPDATE events SET event = X'00'")
    ours = os.getpid()

    def dying(path: Path, part: Part, history: bool) -> Iterator[Folded]:
        for each in fold_file(path, part, history):
            yield each
            if part.after == 60 and os.getpid() != ours:
                os.kill(os.getpid(), signal.SIGKILL)

    monkeypatch.setattr(replay_cores, "fold_file", dying)
    assert in_parts(kept)[0] == in_one_go(kept)


def test_what_a_running_writer_adds_meanwhile_is_no_difference(kept: Path) -> None:
    """The journal is divided as one moment left it; entries and events after that are another replay's."""
    with closing(open_reader(kept)) as reader:
        parts = divided(reader, 2)
    change(kept, "INSERT INTO events VALUES (9999, X'00')")
    change(kept, "INSERT INTO entries VALUES (?, ?)", parts[-1].until + 1, plain(Kind.HEARTBEAT, T0 + 10_000_000))
    work = Cores(kept, parts, 2, lambda _: None)
    assert [line for block in work.folded() for line in block.lines] == []


def test_the_bar_goes_to_the_last_entry_once(kept: Path) -> None:
    """Of all parts together; where a state was refused it may go back, at the end it is whole."""
    change(kept, "UPDATE states SET body = X'00' WHERE seq = 60")
    told: list[int] = []
    with closing(open_reader(kept)) as reader:
        parts = divided(reader, 3)
    assert list(Cores(kept, parts, 3, told.append).folded())
    assert told[-1] == parts[-1].until and told.count(told[-1]) == 1


@pytest.mark.parametrize("words", [["replay"], ["rebuild"]], ids=str)
def test_ctrl_c_leaves_nothing_running_and_nothing_changed(
    words: list[str], kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the middle of it: the processes are gone, the journal is what it was."""
    begun: list[replay_cores.Worker] = []

    def hear(worker: replay_cores.Worker) -> None:
        begun.append(worker)
        raise KeyboardInterrupt

    before = kept.read_bytes()
    monkeypatch.setattr(replay_cores.Worker, "hear", hear)
    assert history_command.run(words[0], ["--home", str(kept.parent), "--cores", "2"], "") == 130
    assert "broken off; nothing was changed" in capsys.readouterr().err
    assert begun and not any(worker.process.is_alive() for worker in begun)
    assert kept.read_bytes() == before


@pytest.mark.parametrize("cores", [1, 3])
def test_history_is_made_again_in_parts(kept: Path, cores: int, capsys: pytest.CaptureFixture[str]) -> None:
    """The same rows; what was changed is found and made good."""
    words = ["--home", str(kept.parent), "--cores", str(cores)]
    assert history_command.run("rebuild", [*words, "--check"], "") == 0
    assert ("folded in 4 parts" in capsys.readouterr().out) == (cores > 1)
    change(kept, "UPDATE quarters SET total = total + 1")
    change(kept, "UPDATE states SET body = X'00' WHERE seq = 120")
    assert history_command.run("rebuild", [*words, "--check"], "") == 1
    assert history_command.run("rebuild", words, "") == 0
    assert history_command.run("rebuild", ["--home", str(kept.parent), "--check", "--cores", "1"], "") == 0


def test_a_journal_of_before_is_replayed_in_one_go(
    kept: Path, after: After, capsys: pytest.CaptureFixture[str]
) -> None:
    """It has no table of states, and is only read; the writer makes one."""
    before = MIGRATIONS.index(states.SCHEMA)
    change(kept, "DROP TABLE states")
    change(kept, f"PRAGMA user_version = {before}")
    assert history_command.run("replay", ["--home", str(kept.parent), "--cores", "4"], "") == 0
    assert "parts" not in capsys.readouterr().out
    with closing(open_reader(kept)) as reader:
        assert reader.execute("PRAGMA user_version").fetchone() == (before,)
    Journal(kept).close()
    assert in_parts(keep(kept, after, 60)) == ([], [])


def test_states_of_dropped_entries_go_with_them(tmp_path: Path) -> None:
    """The base stands for them; parts begin with it, and with the states after it."""
    path, flow = tmp_path / "journal.db", Flow()
    begin = plain(Kind.STARTED, T0, canonical.to_bytes({"offset_ms": 0}))
    entries = [begin, *(plain(Kind.HEARTBEAT, T0 + at) for at in range(SEAL + 400))]
    flow.advance(entries, Outcomes())
    with closing(Journal(path)) as book:
        book.commit(1, entries, 1, Outcomes(), 0)
    for at in (1000, SEAL, SEAL + 100):
        begun = Flow()
        begun.advance(entries[:at], Outcomes())
        keep(path, After({at: begun.checkpoint()}), at)
    with closing(open_reader(path)) as reader, closing(base.fold_of(reader)) as fold:
        base.advance(fold, entries[:SEAL], lambda _: None)
        made = canonical.checkpoint(fold.base())
    with closing(Journal(path)) as book:
        sealed = pack_oldest(path)
        assert sealed
        book.seal(sealed)
        book.drop(made)
        assert book.db.execute("SELECT seq FROM states").fetchall() == [(SEAL + 100,)]
    assert in_parts(path) == ([], [])
    with closing(open_reader(path)) as reader:
        assert [part.after for part in divided(reader, 2)] == [SEAL, SEAL + 100]


def test_a_kill_while_a_state_is_kept_leaves_it_whole_or_not_at_all(kept: Path, after: After) -> None:
    """Killed again and again while it writes nothing else: every one there is can be read."""
    body = packed(after[200])

    def keep_on() -> None:
        with closing(Journal(kept)) as book:
            for at in range(1000, 1 << 30):
                states.keep(book.db, states.Kept(at, CORE_VERSION, body))

    for pause_s in (0.0, 0.02, 0.05, 0.11):
        process = replay_cores._FORK.Process(target=keep_on)
        process.start()
        while not stored(kept, "seq >= 1000"):
            time.sleep(0.001)
        time.sleep(pause_s)
        process.kill()
        process.join()
        assert stored(kept, "seq >= 1000") == {body}
        with closing(open_reader(kept)) as reader:
            assert reader.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        change(kept, "DELETE FROM states WHERE seq >= 1000")
    assert in_parts(kept) == ([], [])


def state_of(path: Path, seq: int) -> bytes:
    with closing(open_reader(path)) as reader:
        return states.unpack(*reader.execute("SELECT body FROM states WHERE seq = ?", (seq,)).fetchone())


def stored(path: Path, where: str) -> set[bytes]:
    with closing(open_reader(path)) as reader:
        return {row[0] for row in reader.execute(f"SELECT body FROM states WHERE {where}")}
