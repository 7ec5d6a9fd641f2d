"""Whether what a site says follows from its journal: honest words do, a changed one is found and shown."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gateway import entry, tree, yard_command
from gateway.adapters.yard_db import Checked
from gateway.entry import Kind
from gateway.flow import CORE_VERSION
from gateway.payload import canonical
from gateway.yard import check as checking
from gateway.yard.check import check
from gateway.yard.watch import YardWatch
from tests.yard.conftest import Stage, part
from tests.yard.told import Told
from tests.yard_site import Site

Word = dict[str, Any]


def evening(home: Path) -> Told:
    """Three minutes in the dry, a breach with its alarm and messages, silence.

    In it sensors speak once more, and the writer then stands still for a minute: its next word is of before.
    """
    told = Told(Site(home))
    told.minutes(3, steel_c=18.0)
    told.minutes(3, steel_c=11.0)
    told.delivered()
    told.delivered("try again")
    told.minutes(2, steel_c=None)
    told.speak(11.0)
    told.turn(wait_ms=61_000)
    told.minutes(4, steel_c=None)
    return told


@pytest.fixture(scope="module")
def honest(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return evening(tmp_path_factory.mktemp("honest") / "home")


def words(site: Site) -> list[int]:
    return [number for number, made in enumerate(site.entries, 1) if made[0] == Kind.STANDING]


def lied(site: Site, number: int, change: Callable[[Word], object]) -> list[bytes]:
    """The site's entries with one word other than it was."""
    word = canonical.to_dict(entry.body_of(site.entries[number - 1]))
    change(word)
    _, core_ms = entry.kind_and_time(site.entries[number - 1])
    made = entry.plain(Kind.STANDING, core_ms, canonical.to_bytes(word))
    return [*site.entries[: number - 1], made, *site.entries[number:]]


def found_of(stage: Stage, entries: list[bytes]) -> Checked:
    stage.take(1, checking_stretch(entries))
    return check(stage.folder, "north", stage.now_ms)


def checking_stretch(entries: list[bytes]) -> Any:
    from gateway.yard_batch import Stretch

    return Stretch(entries, [])


def test_the_words_of_an_honest_site_follow(stage: Stage, honest: Told) -> None:
    """Through a breach, messages, a writer that stood still, and silence; each word says something else."""
    site = honest.site
    found = found_of(stage, site.entries)
    said = {entry.body_of(site.entries[number - 1]) for number in words(site)}
    assert len(said) >= 8 and any(b"outside limits" in each for each in said)
    assert any(b"unknown" in each for each in said) and any(b'"delivered":1' in each for each in said)
    assert (found.words, found.wrong, found.untold, found.upto) == (len(words(site)), 0, 0, len(site.entries))


def test_a_board_of_any_second_of_the_window_is_enough(honest: Told) -> None:
    """Some words were made of a second between two entries: only the close look finds those."""
    quick = dict(checking._held(checking.Flow(), honest.site.entries, closely=False))
    assert any(quick.values())


def outside(word: Word) -> bool:
    return bool(word["areas"][0]["verdict"] == "outside limits")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda word: word["areas"][0].update(verdict="inside limits"),
         "shell: it said inside limits, its entries say outside limits"),
        (lambda word: word["areas"][0].update(why="9 K"),
         "shell: it said outside limits, its entries say outside limits, in other words"),
        (lambda word: word.update(areas=[]), "shell: it said nothing, its entries say outside limits"),
        (lambda word: word["alarms"][0].update(state="gone"), ": it said gone, its entries say unacknowledged"),
        (lambda word: word.update(alarms=[], alarm_count=0), ": it said nothing, its entries say unacknowledged"),
        (lambda word: word.update(alarm_count=0), "alarm_count: it said 0"),
        (lambda word: word.update(findings=["all is well"]), "findings: it said ['all is well']"),
        (lambda word: word.update(jobsite="south"), "jobsite: it said 'south'"),
        (lambda word: word.update(sent={"delivered": 99}), "messages: it said {'delivered': 99}"),
        (lambda word: word.update(areas="all dry"), "shell: it said nothing"),
    ],
)  # fmt: skip
def test_a_word_that_does_not_follow_is_found(
    stage: Stage, honest: Told, change: Callable[[Word], object], why: str
) -> None:
    """With its entry and both sides; the words around it still follow."""
    site = honest.site
    number = [n for n in words(site) if outside(canonical.to_dict(entry.body_of(site.entries[n - 1])))][-1]
    found = found_of(stage, lied(site, number, change))
    assert (found.wrong, found.entry, found.words) == (1, number, len(words(site)))
    assert why in found.why


def test_who_says_that_it_knows_nothing_for_trouble_claims_nothing(stage: Stage, honest: Told) -> None:
    """A full disk makes every verdict unknown, which no entry says; a verdict beside it is still a claim."""
    site, number = honest.site, words(honest.site)[1]

    def full(word: Word) -> None:
        word["trouble"] = ["the disk is full"]
        word["areas"][0]["verdict"] = "unknown"

    assert found_of(stage, lied(site, number, full)).wrong == 0
    stage.intake.begin_again("north")
    better = lied(
        site, number, lambda word: (full(word), word["areas"][0].update(verdict="inside limits", why=""))
    )
    assert found_of(stage, better).wrong == 1


def test_of_a_site_of_another_version_nothing_is_claimed_until_it_agrees_again(stage: Stage, honest: Told) -> None:
    """It may judge otherwise; its word is counted as one that cannot be told."""
    site, (first, second, *_) = honest.site, words(honest.site)
    lie = lied(site, first, lambda word: word["areas"][0].update(verdict="no limit set"))
    other = entry.plain(Kind.STARTED, entry.kind_and_time(lie[0])[1], b'{"core_version":"9/99","offset_ms":0}')
    now = entry.plain(Kind.STARTED, entry.kind_and_time(lie[0])[1], canonical.to_bytes(
        {"core_version": CORE_VERSION, "offset_ms": 0}))  # fmt: skip
    found = found_of(stage, [other, *lie[1:]])
    assert (found.wrong, found.untold) == (0, 1)
    stage.intake.begin_again("north")
    found = found_of(stage, [now, *lie[1:]])
    assert (found.wrong, found.untold) == (1, 0)
    assert second > first


def test_where_the_two_agree_again_they_are_one(honest: Told) -> None:
    """A site that was of another version and now is of this one: once a word of it follows, the next must too."""
    site = honest.site
    lie = lied(site, words(site)[-1], lambda word: word.update(jobsite="south"))
    looked = checking._Words(checking.Flow(), Checked("north"), strange=True)
    looked.take(lie)
    assert (looked.found.wrong, looked.found.untold) == (1, 0)


def test_it_goes_on_where_it_ended(stage: Stage, honest: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only what is new is folded; what was found stays; a record that began again is folded from its first."""
    site, (first, *_) = honest.site, words(honest.site)
    entries = lied(site, first, lambda word: word.update(jobsite="south"))
    half, asked = len(entries) // 2, list[int]()
    stage.take(1, checking_stretch(entries[:half]))
    assert check(stage.folder, "north", 5).wrong == 1
    real = checking._stretch
    monkeypatch.setattr(checking, "_stretch", lambda path, after: asked.append(after) or real(path, after))
    stage.take(half + 1, checking_stretch(entries[half:]))
    found = check(stage.folder, "north", 7)
    assert asked == [half] and (found.wrong, found.entry, found.at_ms) == (1, first, 7)
    stage.intake.begin_again("north")
    stage.take(1, checking_stretch(site.entries))
    assert check(stage.folder, "north", 9).wrong == 0 and asked == [half, 0]
    monkeypatch.setattr(checking, "CORE_VERSION", "9/99")
    assert check(stage.folder, "north", 9, enough=lambda: True).upto == 0, "another program begins anew, and stops"


def test_whole_blocks_are_folded_one_by_one(stage: Stage, tmp_path: Path) -> None:
    """Across sealed blocks, with a word right behind the end of one."""
    told = Told(Site(tmp_path / "home"))
    told.minutes(1, steel_c=18.0)
    rest = tree.SEAL - len(told.site.entries)
    told.turn(actions=[(Kind.HEARTBEAT, b"")] * rest, wait_ms=300)
    told.minutes(2, steel_c=18.0)
    assert words(told.site)[-1] > tree.SEAL
    stage.take(1, part(told.site, 1, len(told.site.entries)))
    stage.intake._packer.submit(lambda: None).result(20)
    found = check(stage.folder, "north", 1)
    assert (found.words, found.wrong) == (len(words(told.site)), 0)


def test_the_clerk_sees_it_and_is_told(stage: Stage, honest: Told, capsys: pytest.CaptureFixture[str]) -> None:
    """Unknown on the list, with the entry; an alarm until somebody has looked; the command answers with 1."""
    site, number = honest.site, words(honest.site)[-1]
    stage.db.confirm("north", "ab" * 16)
    stage.now_ms = site.now_ms
    found = lied(site, number, lambda word: word["areas"][0].update(verdict="inside limits"))
    stage.take(1, checking_stretch(found))
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check"], "") == 1
    said = capsys.readouterr().out
    assert f"does not follow from its entries (1 of {len(words(site))} times)" in said
    assert f"entry {number}: shell: it said inside limits, its entries say unknown" in said
    watch = YardWatch(stage.db, stage.intake, ["clerk"], stage.now_ms)
    watch.turn(stage.now_ms)
    watch.turn(stage.now_ms)
    told = "Y-1 Site north: what it says does not follow from its journal. Treat its verdict as unknown."
    assert [row[0] for row in stage.db._all("SELECT title FROM outbox")] == [told]
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check", "north"], "") == 1
    assert len(stage.db.refusals("north")) == 1, "the same again is no news"
    stage.db.looked_at("north", "ann")
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check", "north"], "") == 1
    watch.turn(stage.now_ms)
    assert stage.db.alarms(standing=True) == [], "what somebody has looked at is no news either"
    stage.intake.begin_again("north")
    assert stage.db.checks() == {}


def test_what_cannot_be_folded_is_said(stage: Stage, site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """A site that writes nonsense hurts only itself, and a site with time left is checked all the same."""
    site.grow([entry.plain(Kind.DELIVERY, site.now_ms, b"{}")], head=False)
    stage.take(1, part(site, 1, len(site.entries)))
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check"], "") == 1
    assert "cannot be folded" in capsys.readouterr().out
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check", "--minutes", "0"], "") == 0
    assert "no time left" in capsys.readouterr().out
    assert yard_command.run("yard", ["--folder", str(stage.folder), "check", "nowhere"], "") == 2


def test_those_not_checked_for_longest_come_first(stage: Stage) -> None:
    """Never checked before all."""
    from gateway.yard.tend import _longest_first

    for name in ("a", "b", "c"):
        stage.db.add(name, "", 300, 0)
        (stage.folder / "sites" / name).mkdir(parents=True)
        (stage.folder / "sites" / name / "journal.db").touch()
    stage.db.keep_check(Checked("a", at_ms=9))
    stage.db.keep_check(Checked("b", at_ms=4))
    assert _longest_first(stage.folder, [], stage.db) == ["c", "b", "a"]
