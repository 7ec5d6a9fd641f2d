"""What sites push is held once, exactly as it was, or refused and written down."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from gateway import entry, history_command, proof_command, tree
from gateway.adapters.journal import entries_after, open_reader
from gateway.adapters.record_source import material
from gateway.climate_record import Asked
from gateway.entry import Kind
from gateway.vouching import FORGED, OTHER_KEY, REWOUND, REWRITTEN, Refused
from gateway.yard.intake import Gap, Intake, Taken
from gateway.yard_batch import Stretch
from tests import record_story
from tests.sites import T0
from tests.yard.conftest import Stage, part
from tests.yard_site import Site, heads_of


def held(stage: Stage, name: str = "north") -> list[bytes]:
    with closing(open_reader(stage.folder / "sites" / name / "journal.db")) as reader:
        return list(entries_after(reader, 0))


def test_what_is_pushed_is_held_and_the_next_is_wanted(stage: Stage, site: Site) -> None:
    """Entries and heads of the site, byte for byte; the key of the first contact is pinned, not confirmed."""
    assert stage.take(1, part(site, 1, 50)) == Taken(next=51, head=2, covered=41, taken=50)
    assert stage.take(51, part(site, 51, 101)) == Taken(next=102, head=3, covered=81, taken=51)
    assert held(stage) == site.entries and heads_of(stage.folder / "sites" / "north") == site.heads()
    known = stage.db.site("north")
    assert known and (known.pinned, known.confirmed) == (site.gateway, 0)


@pytest.mark.parametrize("first", [1, 20, 41, 50])
def test_the_same_again_is_taken_and_kept_once(stage: Stage, site: Site, first: int) -> None:
    """Whole, or overlapping what is new."""
    stage.take(1, part(site, 1, 50))
    assert stage.take(first, part(site, first, 50)).taken == 0
    assert stage.take(first, part(site, first, 70)).taken == 20
    assert held(stage) == site.entries[:70]


def test_a_gap_is_never_held(stage: Stage, site: Site) -> None:
    """The answer names the entry that is wanted."""
    with pytest.raises(Gap) as caught:
        stage.take(2, part(site, 2, 50))
    assert caught.value.next == 1
    stage.take(1, part(site, 1, 50))
    with pytest.raises(Gap, match="entry 51 is wanted next"):
        stage.take(52, part(site, 52, 60))
    assert held(stage) == site.entries[:50]


def refused(stage: Stage, first: int, stretch: Stretch, newest: int | None = None) -> str:
    before = held(stage) if (stage.folder / "sites" / "north").exists() else []
    with pytest.raises(Refused) as caught:
        stage.take(first, stretch, newest)
    (kept,) = [each for each in stage.db.refusals("north") if each.why == str(caught.value)]
    assert (kept.kind, kept.last_ms, kept.seen_by) == (caught.value.kind, stage.now_ms, "")
    assert held(stage) == before, "nothing of what was refused is held"
    return caught.value.kind


def test_a_rewound_or_rewritten_journal_is_refused_and_written_down(stage: Stage, site: Site) -> None:
    """Other content under an old number; a journal that ends before what is held."""
    stage.take(1, part(site, 1, 60))
    other = entry.plain(Kind.HEARTBEAT, 5)
    assert refused(stage, 60, Stretch([other, *site.entries[60:]], [])) == REWRITTEN
    assert refused(stage, 31, Stretch([], []), newest=30) == REWOUND
    stage.now_ms += 1000
    assert refused(stage, 31, Stretch([], []), newest=30) == REWOUND
    assert [each.times for each in stage.db.refusals()] == [2, 1]
    assert stage.take(61, part(site, 61, 101)).next == 102, "the true journal goes on"


def test_forged_heads_and_other_keys_are_refused(stage: Stage, site: Site, tmp_path: Path) -> None:
    """A changed entry under a true head; a whole other gateway under this site's token."""
    changed = part(site, 1, 60)
    changed.entries[5] = entry.plain(Kind.HEARTBEAT, 5)
    assert refused(stage, 1, changed) == FORGED
    stage.db.confirm("north", site.gateway)
    thief = Site(tmp_path / "thief")
    assert refused(stage, 1, part(thief, 1, 1)) == OTHER_KEY
    assert stage.take(1, part(site, 1, 60)).next == 61
    thief.grow([*site.entries[1:60], *thief.readings(5)], head=True)
    assert refused(stage, 61, part(thief, 61, 65)) == REWRITTEN
    thief.grow(thief.readings(5), head=True)
    assert refused(stage, 61, Stretch(thief.entries[60:], thief.heads()[2:])) == REWRITTEN


def test_the_pinned_key_of_add_is_the_only_one(stage: Stage, site: Site) -> None:
    """Given beforehand, a first contact by another key is refused."""
    stage.db.add("north", "ab" * 16, 300, T0)
    assert refused(stage, 1, part(site, 1, 50)) == OTHER_KEY


def test_blocks_are_sealed_and_read_back(stage: Stage, site: Site) -> None:
    """A whole block becomes one blob, as at the site; overlap with it is still compared, entry by entry."""
    site.grow(site.readings(tree.SEAL + 500), head=True)
    stage.take(1, part(site, 1, 4000))
    stage.take(4001, part(site, 4001, len(site.entries)))
    stage.intake._packer.submit(lambda: None).result(10)
    with closing(sqlite3.connect(stage.folder / "sites" / "north" / "journal.db")) as db:
        assert db.execute("SELECT first_seq, root FROM sealed").fetchall() == [
            (1, tree.root_of(site.entries[:4096]))
        ]
        assert db.execute("SELECT count(*) FROM entries").fetchone() == (len(site.entries) - 4096,)
    assert stage.take(4000, part(site, 4000, 4200)).taken == 0
    assert refused(stage, 4000, Stretch([site.entries[0]], [])) == REWRITTEN
    assert held(stage) == site.entries


def test_a_yard_that_starts_again_knows_what_it_holds(stage: Stage, site: Site) -> None:
    """From the disk alone, more sites than it may hold open."""
    for name in ("north", "south", "east", "west"):
        stage.db.add(name, "", 300, T0)
        stage.take(1, part(site, 1, 50), name=name)
    with closing(Intake(stage.folder, stage.db, lambda: T0, most_open=2)) as again:
        again.open_all()
        assert again.newest == stage.intake.newest and len(again.newest) == 4
        north = stage.db.site("north")
        assert north and again.take(north, 51, part(site, 51, 101)).next == 102


def test_many_at_once_are_kept_once(stage: Stage, site: Site) -> None:
    """Two pushers of the same journal at the same time: one of them is only told what is wanted."""
    threads = [threading.Thread(target=stage.take, args=(1, part(site, 1, 101))) for _ in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert held(stage) == site.entries


def test_the_yards_copy_is_a_record_like_the_sites(stage: Stage, site: Site, tmp_path: Path) -> None:
    """`export` and `verify` take the folder of a site at the yard."""
    stage.take(1, part(site, 1, 101))
    home, out = stage.folder / "sites" / "north", tmp_path / "record.zip"
    assert proof_command.run("export", ["--home", str(home), "--out", str(out)], "") == 0
    assert proof_command.run("verify", [str(out), "--key", site.gateway], "") == 0


def test_a_record_that_begins_again_is_laid_aside(stage: Stage, site: Site, tmp_path: Path) -> None:
    """Nothing is erased; the new gateway is a first contact."""
    stage.take(1, part(site, 1, 101))
    aside = stage.intake.begin_again("north")
    with closing(open_reader(aside / "journal.db")) as reader:
        assert list(entries_after(reader, 0)) == site.entries
    other = Site(tmp_path / "other")
    assert stage.take(1, part(other, 1, 1)).next == 2
    known = stage.db.site("north")
    assert known and (known.pinned, known.confirmed) == (other.gateway, 0)


def test_a_climate_record_of_the_copy_tells_the_same_alarms(stage: Stage, tmp_path: Path) -> None:
    """The yard holds no events; they are folded again from the entries, and none is left out."""
    home = record_story.journal(tmp_path / "story", 3)
    with closing(open_reader(home / "journal.db")) as reader:
        entries = list(entries_after(reader, 0))
    for first in range(0, len(entries), tree.SEAL):
        stage.take(first + 1, Stretch(entries[first : first + tree.SEAL], []))
    copy = stage.folder / "sites" / "north"
    assert history_command.run("rebuild", ["--home", str(copy)], "") == 0
    asked = Asked(record_story.DAY0, record_story.DAY0 + 2 * record_story.H, record_story.H)
    here, there = (material(each, asked, len(entries)) for each in (home, copy))
    assert here.events and there.events == here.events and there.quarters == here.quarters


def test_the_yard_ends_at_once_and_seals_later(stage: Stage, site: Site) -> None:
    """A backlog of blocks does not hold up the end; the next whole block takes the old ones with it."""
    stage.intake._closing = True
    site.grow(site.readings(2 * tree.SEAL), head=True)
    for first in range(1, 2 * tree.SEAL, tree.SEAL):
        stage.take(first, part(site, first, first + tree.SEAL - 1))
    stage.intake.close()
    assert blocks(stage) == 0
    with closing(Intake(stage.folder, stage.db, lambda: T0, 2)) as again:
        again.open_all()
        again._packer.submit(lambda: None).result(20)
    assert blocks(stage) == 2


def blocks(stage: Stage) -> int:
    with closing(open_reader(stage.folder / "sites" / "north" / "journal.db")) as reader:
        return int(reader.execute("SELECT count(*) FROM sealed").fetchone()[0])
