"""What the yard drops by its owner's word, and that what is left still adds up. The days are simulated."""

from __future__ import annotations

import html
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gateway import proof_command, yard_command
from gateway.adapters import base
from gateway.adapters import heads as table
from gateway.adapters.home import restore
from gateway.adapters.journal import Dropped, Journal, entries_after, open_reader
from gateway.adapters.yard_db import NotTaken, YardDb
from gateway.adapters.yard_room import DAY_MS, FOR_EVER, RoomWatch, YardRoom, drops, keep, kept_days, note_room
from gateway.tree import SEAL
from gateway.web.roles import Role
from gateway.yard import look, tidy
from gateway.yard.across import rows
from gateway.yard.check import check
from gateway.yard.intake import Gap
from gateway.yard.watch import YardWatch
from gateway.yard_batch import Stretch
from tests.faults.real import fill, small_disk
from tests.record_story import DAY0
from tests.yard.conftest import Stage, part
from tests.yard.test_pages import Visitor
from tests.yard_site import grown


@pytest.fixture
def held(stage: Stage, kept_whole: Path) -> Stage:
    """The same at the yard, sealed into blocks, its key compared, its report and its authority laid beside."""
    with closing(open_reader(kept_whole / "journal.db")) as reader:
        entries, signed = list(entries_after(reader, 0)), list(table.every(reader))
    for first in range(1, len(entries) + 1, SEAL):
        part = entries[first - 1 : first - 1 + SEAL]
        stage.take(first, Stretch(part, [each for each in signed if first <= each.head.size < first + SEAL]))
    stage.intake._packer.submit(lambda: None).result(20)
    stage.db.confirm("north", signed[0].head.gateway)
    reports = stage.folder / "reports" / "north"
    shutil.copytree(kept_whole.parent / "record", reports)
    shutil.copy(kept_whole / "seal" / "authority.pem", reports)
    stage.now_ms = DAY0 + 400 * DAY_MS
    return stage


def signed_by(held: Stage) -> str:
    with closing(open_reader(held.folder / "sites" / "north" / "journal.db")) as reader:
        return next(table.every(reader)).head.gateway


def why(held: Stage) -> tuple[int, str]:
    found = tidy.decided(held.folder, held.db, "north", held.now_ms)
    return found.last, found.why


def pdf(held: Stage) -> Path:
    return next((held.folder / "reports" / "north").glob("*.pdf"))


def test_without_the_owners_word_nothing_goes(held: Stage) -> None:
    """Not set, and for ever; a word for all, and one for a site that goes before it."""
    assert why(held) == (0, "how long entries are kept is not set: nothing is dropped")
    keep(held.db, "", 30)
    assert why(held)[0] == SEAL
    keep(held.db, "north", FOR_EVER)
    assert why(held) == (0, "entries are kept for ever")
    keep(held.db, "north", 399)
    assert why(held)[0] == 0 and "not all from before the time given" in why(held)[1]
    keep(held.db, "north", 398)
    assert why(held)[0] == SEAL
    for days in (0, 36_501):
        with pytest.raises(NotTaken, match="1 to 36500"):
            keep(held.db, "north", days)
    with pytest.raises(NotTaken, match="no site 'south'"):
        keep(held.db, "south", 30)


def test_only_what_a_sealed_report_and_a_head_stand_for(
    held: Stage, kept_whole: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each missing piece alone keeps everything, and is named."""
    keep(held.db, "", 30)
    at = held.folder / "reports" / "north"
    (at / "authority.pem").unlink()
    assert why(held) == (0, f"no sealed report given covers entries 1 to {SEAL}")
    assert "no certificate of who sealed it" in tidy.not_counted(held.folder, "north")[0]
    of_the_yard = held.folder / "sites" / "north" / "seal"
    of_the_yard.mkdir()
    shutil.copy(kept_whole / "seal" / "authority.pem", of_the_yard)
    assert why(held)[0] == SEAL, "made and sealed at the yard itself"
    was = pdf(held).read_bytes()
    pdf(held).write_bytes(was[:-400] + b"x" + was[-399:])
    assert why(held)[0] == 0 and "changed after sealing" in tidy.not_counted(held.folder, "north")[0]
    pdf(held).write_bytes(was)
    held.db.unpin("north")
    assert why(held) == (0, "nobody has compared its key yet, so no head of it counts")
    held.db.confirm("north", signed_by(held))
    assert why(held)[0] == SEAL
    with monkeypatch.context() as ends:
        ends.setattr(tidy, "last_of", lambda _: SEAL)
        assert why(held)[0] == 0, "the newest entry stays: a site that comes again sends it to be compared"
    with closing(held.intake._books["north"]) as book:
        held.db.confirm("north", "ab" * 16)
        book.db.execute("DELETE FROM heads")
        assert "nobody outside holds a head" in why(held)[1] and "wait for the site's next head" in why(held)[1]
        held.intake._books.clear()
    with held.intake._book("north") as book:
        book.db.execute("DELETE FROM entries")
        assert why(held)[0] == 0
        assert "made of entries that are not held here" in tidy.not_counted(held.folder, "north")[0]


def test_what_is_left_adds_up(held: Stage, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bodies go; roots, heads, acts and the state stay: it is checked on, taken in and proven as before."""
    folder, home = held.folder, held.folder / "sites" / "north"
    words = ["--folder", str(folder), "tidy"]
    assert yard_command.run("yard", ["--folder", str(folder), "keep", "--days", "30"], "") == 0
    assert yard_command.run("yard", words, "") == 0
    assert f"entries up to {SEAL} may be dropped" in capsys.readouterr().out
    with closing(open_reader(home / "journal.db")) as reader:
        before = restore(home / "journal.db").checkpoint()
        heads_before = list(table.every(reader))
        assert base.kept(reader) is None
    assert yard_command.run("yard", [*words, "--drop"], "") == 0
    assert "dropped; the roots" in capsys.readouterr().out
    with closing(open_reader(home / "journal.db")) as reader:
        with pytest.raises(Dropped):
            next(entries_after(reader, 0))
        assert restore(home / "journal.db").checkpoint() == before
        assert list(table.every(reader)) == heads_before
        rest = list(entries_after(reader, SEAL))
    (dropped,) = drops(held.db, "north")
    assert (dropped.last, dropped.reports) == (SEAL, pdf(held).name)
    assert yard_command.run("yard", [*words, "--drop"], "") == 0 and len(drops(held.db)) == 1
    found = check(folder, "north", held.now_ms)
    assert (found.begun, found.upto, found.wrong) == (SEAL + 1, SEAL + len(rest), 0)
    with pytest.raises(Gap) as gap:
        held.take(7, Stretch(rest[:1], []))
    assert gap.value.next == SEAL + len(rest) + 1
    proof = ["--home", str(home), str(SEAL + 5)]
    assert proof_command.run("prove", proof, "") == 0


def test_one_record_still_tells_what_was_done_before(held: Stage) -> None:
    """Acts, starts and jobsites of the dropped entries, and that they were dropped."""
    keep(held.db, "", 30)
    before = list(rows(held.folder / "sites", held.db, ["north"], 0, 1 << 60))
    tidy.drop(held.folder, held.db, "north", tidy.decided(held.folder, held.db, "north", held.now_ms), held.now_ms)
    after = list(rows(held.folder / "sites", held.db, ["north"], 0, 1 << 60))
    assert [each for each in before if each.what in {"act", "jobsite", "started"}] == [
        each for each in after if each.what in {"act", "jobsite", "started"}
    ]
    assert after[-1].what == "dropped" and f"entries up to {SEAL} were dropped here" in after[-1].words


def test_a_record_that_cannot_be_read_takes_nothing_from_the_others(
    held: Stage, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says which; the command ends with 1."""
    held.db.add("south", "ab" * 16, 300, 0)
    keep(held.db, "", 30)
    (held.folder / "sites" / "south").mkdir()
    (held.folder / "sites" / "south" / "journal.db").write_bytes(b"no journal" * 900)
    assert yard_command.run("yard", ["--folder", str(held.folder), "tidy"], "") == 1
    said = capsys.readouterr().out
    assert "south: nothing was dropped: file is not a database" in said and f"up to {SEAL} may be dropped" in said
    found = list(rows(held.folder / "sites", held.db, ["north", "south"], 0, 1 << 60))
    assert [each.words for each in found if each.site == "south"] == [
        "its record cannot be read: file is not a database"
    ]
    assert yard_command.run("yard", ["--folder", str(held.folder), "tidy", "nowhere"], "") == 2


def test_room_is_given_back_where_most_of_a_file_is_free(tmp_path: Path) -> None:
    """Else the file stays as it is and the next entries use what is free."""
    path = tmp_path / "journal.db"
    with closing(Journal(path)) as book:
        book.db.execute("CREATE TABLE much (body BLOB)")
        for _ in range(30):
            book.db.execute("INSERT INTO much VALUES (zeroblob(50000))")
        book.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        full = path.stat().st_size
        book.db.execute("DELETE FROM much WHERE rowid <= 10")
        tidy._give_back(book, path)
        assert path.stat().st_size == full
        book.db.execute("DELETE FROM much")
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            book.db.execute("PRAGMA busy_timeout = 10")
            tidy._give_back(book, path)  # while another writes nothing is given back, and nothing fails
        assert path.stat().st_size == full
        tidy._give_back(book, path)
        assert path.stat().st_size < full / 3


def test_a_full_disk_takes_nothing_and_loses_nothing(tmp_path: Path) -> None:
    """The site is told to keep it, the page says since when, nobody is called silent for it; then it all comes."""
    with small_disk(tmp_path / "disk", "16m") as folder, closing(YardDb(folder / "yard.db")) as db:
        stage, site = Stage(folder, db), grown(tmp_path / "home")
        clerk = Visitor(stage).sign_in(Role.YARD)
        stage.take(1, part(site, 1, 50))
        filler = fill(folder)
        site.grow(site.readings(3000))
        answer = stage.push(51, part(site, 51, len(site.entries)))
        assert answer.status_code == 503 and "disk is full. Nothing was taken, nothing is lost" in answer.text
        said = f"This yard's disk is full: nothing was taken since {look.clock(stage.now_ms)}"
        assert said in html.unescape(clerk.read())
        stage.now_ms += 200_000
        assert stage.push(51, part(site, 51, len(site.entries))).status_code == 503
        assert said in html.unescape(clerk.read())
        filler.unlink()
        stage.now_ms += 200_000
        YardWatch(db, stage.intake, [], 0).turn(stage.now_ms)
        assert [each.kind for each in db.alarms()] == ["disk nearly full", "disk low"]
        assert stage.push(51, part(site, 51, len(site.entries))).status_code == 200
        assert "disk is full" not in clerk.read()
        with closing(open_reader(folder / "sites" / "north" / "journal.db")) as reader:
            assert list(entries_after(reader, 0)) == site.entries
        stage.intake.close()


def test_for_how_many_days_there_is_room(stage: Stage) -> None:
    """By the pace of a week at most; not before a day has gone, and not where nothing grows."""
    stage.db.ask("DELETE FROM room")
    first = note_room(stage.db, stage.folder, 0)
    assert first.held > 0 and first.free > 0 and first.days is None
    assert "not known for how long" in first.words
    (stage.folder / "much").write_bytes(bytes(10_000_000))
    assert note_room(stage.db, stage.folder, DAY_MS - 1).days is None
    grown = note_room(stage.db, stage.folder, 2 * DAY_MS)
    assert grown.days == pytest.approx(grown.free / ((grown.held - first.held) / 2), rel=0.02)
    assert YardRoom(12 * 10**8, 3 * 10**7, 38.4).words == (
        "1.2 GB free, the records here hold 0.03 GB: enough for 38 days at the pace of the last days"
    )
    assert "more than ten years" in note_room(stage.db, stage.folder, 9 * DAY_MS).words, "hardly more in a week"
    (stage.folder / "much").unlink()
    assert note_room(stage.db, stage.folder, 9 * DAY_MS).days is None, "less than before"
    seen = RoomWatch(stage.db, stage.folder)
    assert seen.newest(10 * DAY_MS) is seen.newest(10 * DAY_MS + 59_999) is not seen.newest(10 * DAY_MS + 60_000)


def test_the_owners_word_by_command(stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    """Said, shown, refused."""
    folder = ["--folder", str(stage.folder), "keep"]
    assert yard_command.run("yard", folder, "") == 0
    assert "north: how long entries are kept is not set: nothing is dropped" in capsys.readouterr().out
    assert yard_command.run("yard", [*folder, "--days", "400"], "") == 0
    assert yard_command.run("yard", [*folder, "north", "--for-ever"], "") == 0
    assert "north: entries are kept for ever" in capsys.readouterr().out
    assert (kept_days(stage.db, "north"), kept_days(stage.db, "")) == (FOR_EVER, 400)
    assert yard_command.run("yard", [*folder, "--days", "0"], "") == 2
