"""What may be dropped of a journal, and that all that is left still adds up. The days are simulated."""

from __future__ import annotations

import dataclasses
import lzma
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gateway import (
    backup_command,
    droppable,
    history_command,
    proof_command,
    record_command,
    retention_command,
)
from gateway.adapters import base, heads, record_source, seal
from gateway.adapters.home import restore
from gateway.adapters.journal import Dropped, Journal, entries_after, open_reader
from gateway.adapters.landmarks import Clocks
from gateway.flow import CORE_VERSION, Flow
from gateway.payload import canonical
from gateway.record_rebuild import same_first_revision
from gateway.retention import Block, Decision, Report, decide
from gateway.service import Service
from gateway.tree import SEAL
from gateway.what_if import compare
from tests.record_story import DAY0

HOUR = 3_600_000
GOLDEN = Path(__file__).parent / "golden_base.xz"
BLOCKS = [Block(1 + at * SEAL, at * HOUR, (at + 1) * HOUR - 1, 1000) for at in range(3)]


def test_only_what_a_report_covers_and_somebody_holds_a_head_over() -> None:
    """Each condition alone keeps a block, the oldest that stays keeps all after it, and the reason names it."""
    whole = Report("all", 0, 3 * HOUR, 3 * SEAL)
    end = 3 * HOUR

    def told(reports: list[Report], held: int, until_ms: int = end) -> tuple[int, int, str]:
        found = decide(BLOCKS, reports, held, until_ms)
        return found.last // SEAL, found.size, found.why

    assert told([whole], 3 * SEAL) == (3, 3000, "the entries after it are not sealed into a block yet")
    assert told([whole], 3 * SEAL, end - 1)[:2] == (2, 2000)
    assert "not all from before" in told([whole], 3 * SEAL, HOUR - 1)[2]
    assert told([whole], 3 * SEAL - 1)[0] == 0 and "nobody outside holds" in told([whole], 3 * SEAL - 1)[2]
    assert told([], 3 * SEAL)[2] == f"no sealed report given covers entries 1 to {SEAL}"
    late = Report("late", HOUR, end, 3 * SEAL)
    assert told([late], 3 * SEAL)[0] == 0, "a hole before it is a hole"
    early = Report("early", 0, HOUR, SEAL)
    assert told([late, early], 3 * SEAL)[0] == 3, "two that meet cover what lies across"
    assert told([early], 3 * SEAL)[0] == 1
    short = Report("short", 0, end, SEAL)
    assert told([short], 3 * SEAL)[0] == 1, "what came after a report was made is not in it"
    assert told([short, late], 2 * SEAL)[0] == 1


def test_without_blocks_nothing_may_go() -> None:
    """An empty journal drops nothing, whatever is given."""
    assert decide([], [Report("all", 0, HOUR, SEAL)], SEAL, HOUR) == Decision(
        0, 0, "the entries after it are not sealed into a block yet"
    )


@pytest.fixture
def home(kept_whole: Path, tmp_path: Path) -> Path:
    """A copy of it to drop from."""
    return Path(shutil.copytree(kept_whole, tmp_path / "home"))


def _report(home: Path) -> Path:
    return next((home.parent / "record").glob("record-*.pdf"))


def _hold(home: Path) -> None:
    """The owner takes the newest head; here the test is its mail."""
    with closing(open_reader(home / "journal.db")) as reader:
        signed = heads.newest(reader)
    assert signed is not None
    service = Service(home)
    act = {"act": "hold_head", "person": "owner", "number": signed.head.number, "code": signed.code}
    assert service.act(act) is None
    service.turn()
    service.close()


def _drop(home: Path, report: Path, until: str = "2026-06-03") -> int:
    words = ["--home", str(home), "--until", until, "--report", str(report), "--who", "keeper"]
    return retention_command.run("retention", words, "")


def _bodies(home: Path) -> list[int]:
    with closing(open_reader(home / "journal.db")) as reader:
        return [row[0] for row in reader.execute("SELECT body IS NOT NULL FROM sealed ORDER BY first_seq")]


def test_nothing_goes_that_nobody_outside_holds(
    home: Path, kept_whole: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a held head the command ends with 1 and the journal is as it was; the writer refuses it, too."""
    before = (home / "journal.db").read_bytes()
    assert _drop(home, _report(kept_whole)) == 1
    assert "nothing may be dropped; no more, because" in capsys.readouterr().out
    assert (home / "journal.db").read_bytes() == before
    service = Service(home)
    act = {"act": "drop", "person": "keeper", "until": SEAL, "reports": "none"}
    assert "Nobody outside holds a head" in str(service.act(act))
    service.close()


def test_a_report_that_was_changed_or_is_of_another_journal_covers_nothing(
    home: Path, kept_whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One changed byte, no report at all, a report of entries that are not these: refused with the reason."""
    _hold(home)
    pdf = bytearray(_report(kept_whole).read_bytes())
    pdf[len(pdf) // 3] ^= 1
    (tmp_path / "changed.pdf").write_bytes(pdf)
    assert _drop(home, tmp_path / "changed.pdf") == 1
    assert "changed after sealing" in capsys.readouterr().err
    with closing(sqlite3.connect(home / "journal.db")) as db:
        db.execute("UPDATE sealed SET root = zeroblob(32) WHERE first_seq = 1")
        db.commit()
    assert _drop(home, _report(kept_whole)) == 1
    assert "was not made from this journal's first" in capsys.readouterr().err
    assert all(_bodies(home))


def test_what_stands_for_dropped_entries_must_be_made_from_them(home: Path) -> None:
    """The writer takes no base of other entries, of half a block, or what is none."""
    with closing(open_reader(home / "journal.db")) as reader, closing(base.fold_of(reader)) as fold:
        entries = list(entries_after(reader, 0))[:SEAL]
        base.advance(fold, [*entries[:-2], entries[-1], entries[-2]], lambda _: None)
        swapped = fold.base()
    half = dataclasses.replace(swapped, seq=100)
    with closing(Journal(home / "journal.db")) as book:
        for each in (swapped, half):
            with pytest.raises(ValueError, match="was not made from them"):
                book.drop(canonical.checkpoint(each))
        with pytest.raises(ValueError, match="Expected"):
            book.drop(b"no base")
    assert all(_bodies(home))


@pytest.fixture(scope="module")
def dropped(kept_whole: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The home after its oldest block was dropped."""
    home = Path(shutil.copytree(kept_whole, tmp_path_factory.mktemp("dropped") / "home"))
    _hold(home)
    assert _drop(home, _report(kept_whole)) == 0
    return home


def test_the_bodies_go_and_the_roots_stay(dropped: Path, kept_whole: Path) -> None:
    """What is not sealed yet can be read as before; the act is in the journal."""
    assert _bodies(dropped) == [0] and _bodies(kept_whole) == [1]
    with closing(open_reader(dropped / "journal.db")) as reader:
        roots = [row[0] for row in reader.execute("SELECT root FROM sealed ORDER BY first_seq")]
        acts = [
            canonical.to_dict(row[0][10:]) for row in reader.execute("SELECT entry FROM landmarks WHERE kind = 4")
        ]
        with pytest.raises(Dropped, match=f"entries 1 to {SEAL} were dropped"):
            next(entries_after(reader, 0))
        assert len(list(entries_after(reader, SEAL))) > 1000
    with closing(open_reader(kept_whole / "journal.db")) as reader:
        assert roots == [row[0] for row in reader.execute("SELECT root FROM sealed ORDER BY first_seq")]
    assert [each["until"] for each in acts if each["act"] == "drop"] == [SEAL]


def test_the_flow_starts_and_replays_as_before(dropped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a checkpoint, from the base alone: the same state, the same events, the same history."""
    path = dropped / "journal.db"
    before = restore(path).checkpoint()
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE checkpoint SET core_version = 'older'")
        db.commit()
    assert restore(path).checkpoint() == before
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE checkpoint SET core_version = ?", (CORE_VERSION,))
        db.commit()
    for command in ("replay", "rebuild"):
        words = ["--home", str(dropped)] + ["--check"] * (command == "rebuild")
        assert history_command.run(command, words, "") == 0, capsys.readouterr().out
    with closing(open_reader(path)) as reader:
        kept = history_command._rows(reader)
    assert history_command.run("rebuild", ["--home", str(dropped)], "") == 0
    with closing(open_reader(path)) as reader:
        assert history_command._rows(reader) == kept


def test_backup_export_and_proof_say_what_is_left(
    dropped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A backup is made and restored; the exported record verifies by roots; a dropped entry has no proof."""
    assert backup_command.run("backup", ["--home", str(dropped), "--out", str(tmp_path / "out")], "") == 0
    (file,) = (tmp_path / "out").glob("*.zip")
    assert backup_command.run("restore", [str(file), "--home", str(tmp_path / "new")], "") == 0
    assert restore(tmp_path / "new" / "journal.db").checkpoint() == restore(dropped / "journal.db").checkpoint()
    capsys.readouterr()
    out = ["--home", str(dropped), "--out", str(tmp_path / "record.zip")]
    proof_command.run("export", out, "")
    assert f"{SEAL}" in capsys.readouterr().out
    assert proof_command.run("prove", ["--home", str(dropped), "7"], "") == 2
    assert "were dropped" in capsys.readouterr().err
    assert proof_command.run("prove", ["--home", str(dropped), str(SEAL + 7)], "") == 0


def test_a_backup_whose_base_was_changed_is_refused(home: Path, kept_whole: Path, tmp_path: Path) -> None:
    """What stands for dropped entries is compared with their roots."""
    _hold(home)
    assert _drop(home, _report(kept_whole)) == 0
    with closing(sqlite3.connect(home / "journal.db")) as db:
        db.execute("UPDATE base SET seq = seq + 1")
        db.commit()
    assert backup_command.run("backup", ["--home", str(home), "--out", str(tmp_path / "out")], "") == 1


def test_a_report_of_what_is_left_is_made_again_and_an_older_one_is_not(
    dropped: Path, kept_whole: Path, tmp_path: Path
) -> None:
    """As of an entry that is left, the pages are the same to the last byte; as of a dropped one, it is said."""
    pdf = _report(kept_whole).read_bytes()
    assert seal.look(pdf, dropped / "seal" / "authority.pem").holds
    assert same_first_revision(pdf, dropped).same, "all days stay in history, and its as-of is left"
    asked = record_command.asked_for("2026-06-01", "2026-06-01", "America/Chicago", DAY0 + 24 * HOUR, 16)
    with pytest.raises(Dropped):
        record_source.material(dropped, asked, SEAL - 1)


def test_what_if_begins_where_the_entries_begin(dropped: Path) -> None:
    """By the same limits nothing differs; by others the rest is judged, and by them from the first entry on."""
    with closing(open_reader(dropped / "journal.db")) as reader:
        begin = base.flow_of(reader)
        assert begin.site is not None
        entries = list(entries_after(reader, SEAL))
        same = compare(entries, begin.site.limits, lambda _: None, begin.checkpoint())
        other = compare(entries, (), lambda _: None, begin.checkpoint())
    assert same.lines() == [] and same.then
    assert other.then == same.then and other.lines()


def test_a_clock_that_was_turned_back_widens_a_block() -> None:
    """UTC within a block is taken from its earliest to its latest, wherever the clock stepped."""
    clock = Clocks([0, 1000], [500, -9000])
    assert droppable._span(clock, 100, 900) == (600, 1400)
    assert droppable._span(clock, 100, 2000) == (-8000, 1499)


def test_a_base_of_before_can_be_read_for_ever() -> None:
    """What a journal keeps of dropped entries outlives programs: this one was written on 2026-11-26."""
    flow = Flow.from_checkpoint(lzma.decompress(GOLDEN.read_bytes()))
    assert flow.site is not None and flow.site.id == "test"
    assert flow.state.sequence == SEAL
    assert flow.state.alarms["margin"].number == 18


def test_the_command_lists_months_and_changes_nothing(
    dropped: Path, kept_whole: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without --until: what lies there by month, and why it stays."""
    assert retention_command.run("retention", ["--home", str(kept_whole)], "") == 0
    said = capsys.readouterr().out
    assert said.startswith("2026-06  0.") and "no sealed report given covers entries 1 to" in said
    assert retention_command.run("retention", ["--home", str(dropped)], "") == 0
    said = capsys.readouterr().out
    assert (
        said == "nothing may be dropped; no more, because the entries after it are not sealed into a block yet\n"
    )
    assert retention_command.run("retention", ["--home", str(dropped / "none")], "") == 2
    assert "no journal here" in capsys.readouterr().err
