"""One record across sites, in the order of time, each row with the entry and the head that prove it."""

from __future__ import annotations

import csv
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gateway import entry, tree, yard_command
from gateway.entry import Kind
from gateway.payload.canonical import to_bytes
from gateway.vouching import Refused
from gateway.yard.across import rows
from gateway.yard_batch import Stretch
from tests.sites import T0
from tests.yard.conftest import Stage, part
from tests.yard_site import Site


def act(site: Site, **body: object) -> bytes:
    site.now_ms += 1000
    return entry.plain(Kind.ACTION, site.now_ms, to_bytes(body))


def area(name: str, verdict: str) -> dict[str, str]:
    return {"area": name, "activity": "", "verdict": verdict, "quantity": "", "why": ""}


@pytest.fixture
def two(stage: Stage, tmp_path: Path) -> tuple[Site, Site]:
    """North blasts and gets wet; south, half a second later, only starts. North's record is then rewritten."""
    north, south = Site(tmp_path / "north"), Site(tmp_path / "south", T0 + 500)
    north.grow([act(north, act="begin", person="lead", area="A", activity="blasting")], head=True)
    for verdict, alarms in (
        ("inside limits", []),
        ("inside limits", []),
        ("outside limits", ["A-1"]),
        ("unknown", []),
    ):
        north.now_ms += 60_000
        said = [
            {"number": each, "state": "unacknowledged", "title": "Stop", "priority": "high"} for each in alarms
        ]
        north.grow([north.standing(areas=[area("shell", verdict)], alarms=said), *north.readings(2)], head=False)
    delivered = to_bytes({"number": "A-1", "attempt": 1, "outcome": "delivered", "person": "lead"})
    north.grow([entry.plain(Kind.DELIVERY, north.now_ms, delivered)], head=False)
    stage.db.add("south", "", 300, T0)
    stage.take(1, part(north, 1, len(north.entries)))
    stage.take(1, part(south, 1, 1), name="south")
    stage.now_ms = north.now_ms + 5000
    with pytest.raises(Refused):
        stage.take(2, Stretch([entry.plain(Kind.HEARTBEAT, 1)], []))
    return north, south


def test_what_happened_at_all_sites_in_order(stage: Stage, two: tuple[Site, Site]) -> None:
    """Acts, changes of verdicts and alarms, messages, refusals; a word that says nothing new is no row."""
    north, south = two
    found = list(rows(stage.folder / "sites", stage.db, ["north", "south"], 0, 1 << 60))
    first = north.heads()[1].code
    assert [(each.utc_ms - T0, each.site, each.entry, each.what, each.person, each.words) for each in found] == [
        (0, "north", 1, "started", "", "offset_ms 0"),
        (500, "south", 1, "started", "", "offset_ms 0"),
        (1000, "north", 2, "act", "lead", "begin activity blasting, area A"),
        (182_600, "north", 9, "alarm", "", "A-1 unacknowledged: Stop"),
        (182_600, "north", 9, "verdict", "", "shell: outside limits"),
        (243_400, "north", 12, "alarm", "", "A-1 over"),
        (243_400, "north", 12, "verdict", "", "shell: unknown"),
        (244_200, "north", 15, "message", "lead", "A-1 #1 delivered"),
        (249_200, "north", 0, "rewritten", "", found[-1].words),
    ]
    assert "refused 1 times: entry 2 is held with other content" in found[-1].words
    assert [each.head for each in found] == [
        north.heads()[0].code, south.heads()[0].code, first, *["none yet"] * 5, "",
    ]  # fmt: skip


def test_a_word_that_cannot_be_read_is_a_row(stage: Stage, tmp_path: Path) -> None:
    """One site's nonsense does not keep the others' rows away."""
    site = Site(tmp_path / "home")
    site.grow([entry.plain(Kind.STANDING, site.now_ms, b'{"areas":7}')], head=True)
    stage.take(1, part(site, 1, 2))
    assert [each.what for each in rows(stage.folder / "sites", stage.db, ["north"], 0, 1 << 60)] == [
        "started", "unreadable",
    ]  # fmt: skip


def test_a_range_of_time_and_of_sites(stage: Stage, two: tuple[Site, Site]) -> None:
    """The end is left out; other sites are too."""
    found = rows(stage.folder / "sites", stage.db, ["north", "south"], T0 + 500, T0 + 1000)
    assert [(each.site, each.what) for each in found] == [("south", "started")]
    only = rows(stage.folder / "sites", stage.db, ["south"], 0, 1 << 60)
    assert [each.site for each in only] == ["south"]


def test_of_a_long_record_only_what_is_asked_for_is_read(stage: Stage, tmp_path: Path) -> None:
    """Blocks that end before the range stay packed."""
    site = Site(tmp_path / "long")
    site.grow(site.readings(2 * tree.SEAL), head=True)
    site.grow([act(site, act="note", person="lead")], head=True)
    for first in (1, tree.SEAL + 1, 2 * tree.SEAL + 1):
        stage.take(first, part(site, first, min(first + tree.SEAL - 1, len(site.entries))))
    stage.intake._packer.submit(lambda: None).result(20)
    with stage.intake._book("north") as book:
        book.db.execute("UPDATE sealed SET body = x'00' WHERE first_seq = 1")
    found = list(rows(stage.folder / "sites", stage.db, ["north"], site.now_ms, site.now_ms + 1))
    assert [(each.entry, each.words) for each in found] == [(len(site.entries), "note")]


def test_the_command_writes_a_sheet(tmp_path: Path, stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    """Words of a person cannot become a formula."""
    site = Site(tmp_path / "now", time.time_ns() // 1_000_000 - 60_000)
    site.grow([act(site, act="=1+1", person="@lead")], head=True)
    stage.take(1, part(site, 1, 2))
    words, out = (
        ["--folder", str(stage.folder), "record", "--out", str(tmp_path / "out.csv")],
        tmp_path / "out.csv",
    )
    assert yard_command.run("yard", words, "") == 0
    assert "2 rows of 1 sites" in capsys.readouterr().out
    with out.open(newline="") as file:
        (_, second) = csv.DictReader(file)
    assert (
        second["utc"]
        == datetime.fromtimestamp(site.now_ms / 1000, UTC).isoformat(timespec="milliseconds")[:-6] + "Z"
    )
    assert (second["site"], second["person"], second["words"]) == ("north", "'@lead", "'=1+1")
    assert yard_command.run("yard", [*words, "nowhere"], "") == 2


def test_the_clerks_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Add shows the token once; a name or key that is none is refused with what it should be."""
    folder = ["--folder", str(tmp_path / "yard")]
    assert yard_command.run("yard", [*folder, "add", "north"], "") == 0
    assert "dewgate_site_" in capsys.readouterr().out
    for words, why in (
        (["add", "../north"], "no site id"),
        (["add", "north", "--key", "xyz"], "no fingerprint"),
        (["add", "north", "--silent-after", "5"], "from 60 to 86400"),
        (["confirm", "south", "ab" * 16], "no site"),
        (["confirm", "north", "ab"], "no fingerprint"), (["drop", "south"], "no site"),
    ):  # fmt: skip
        assert yard_command.run("yard", [*folder, *words], "") == 2
        assert why in capsys.readouterr().err
    assert yard_command.run("yard", [*folder, "confirm", "north", "ab" * 16], "") == 0
    assert yard_command.run("yard", [*folder, "sites"], "") == 0
    assert f"north: 0 entries, key {'ab' * 16}\n" in capsys.readouterr().out
    assert yard_command.run("yard", [*folder, "drop", "north"], "") == 0
