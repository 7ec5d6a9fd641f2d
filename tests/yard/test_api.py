"""The routes of sites: a token each, every size bounded, and an answer in words to whatever comes."""

from __future__ import annotations

import zlib
from contextlib import closing

import pytest

from gateway import entry
from gateway.adapters.yard_db import YardDb
from gateway.entry import Kind
from gateway.yard import api
from gateway.yard.api import Pace, Strangers
from gateway.yard.rooms import make_app
from gateway.yard_batch import MOST_SENT, Stretch, pack
from tests.yard.conftest import Stage, part
from tests.yard_site import Site


def test_a_site_asks_pushes_and_is_told_what_is_wanted(stage: Stage, site: Site) -> None:
    """PUT and POST are the same."""
    assert stage.ask("GET", "/sites/north", stage.token).json() == {"next": 1, "head": 0, "covered": 0, "taken": 0}
    answer = stage.push(1, part(site, 1, 50))
    assert (answer.status_code, answer.json()) == (200, {"next": 51, "head": 2, "covered": 41, "taken": 50})
    more = pack(part(site, 51, 101))
    assert stage.ask("POST", "/sites/north/entries?from=51", stage.token, content=more).json()["next"] == 102
    assert stage.push(200, part(site, 51, 101)).status_code == 416


def test_what_is_refused_says_why(stage: Stage, site: Site) -> None:
    """A rewritten journal, with its kind."""
    stage.push(1, part(site, 1, 50))
    answer = stage.push(50, Stretch([entry.plain(Kind.HEARTBEAT, 1)], []))
    assert (answer.status_code, answer.json()["kind"]) == (409, "rewritten")
    assert "entry 50 is held with other content" in answer.json()["error"]
    said = stage.ask("PUT", "/sites/north/entries?from=31&newest=30", stage.token, content=pack(Stretch([], [])))
    assert (said.status_code, said.json()["kind"]) == (409, "rewound")


@pytest.mark.parametrize("site", ["south", "..", "%2e%2e%2fyard.db", "North", "a" * 41, "north%00"])
def test_no_site_but_ones_own(stage: Stage, site: str) -> None:
    """A name that is none, and one that would lead elsewhere on the disk: the same answer, nothing made."""
    stage.db.add("south", "", 300, 0)
    answer = stage.ask("GET", f"/sites/{site}", stage.token)
    assert answer.status_code in (401, 404, 303), answer.text
    assert not (stage.folder / "sites").exists()


@pytest.mark.parametrize("token", ["", "wrong", "dewgate_site_" + "A" * 43])
def test_a_wrong_token_is_nobodys(stage: Stage, site: Site, token: str) -> None:
    """Before a byte of the body is read; the clerk sees from where."""
    answer = stage.ask("PUT", "/sites/north/entries?from=1", token, content=pack(part(site, 1, 50)))
    assert answer.status_code == 401 and "token" in answer.json()["error"]
    assert not (stage.folder / "sites").exists()


def test_guessing_is_slowed_and_never_locks_a_site_out(stage: Stage) -> None:
    """After thirty wrong ones that address waits; the right token still opens."""
    said = [stage.ask("GET", "/sites/north", "wrong").status_code for _ in range(32)]
    assert (said[:30], said[30:]) == ([401] * 30, [429] * 2)
    assert stage.ask("GET", "/sites/north", stage.token).status_code == 200


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/sites/north/entries", 422), ("/sites/north/entries?from=0", 422), ("/sites/north/entries?from=x", 422),
        ("/sites/north/entries?from=" + "1" * 5000, 422),
        ("/sites/north/entries?from=1&newest=-1", 422), (f"/sites/north/entries?from={1 << 63}", 422),
    ],
)  # fmt: skip
def test_numbers_are_bounded(stage: Stage, path: str, status: int) -> None:
    """What is no number of an entry is refused."""
    assert stage.ask("PUT", path, stage.token, content=pack(Stretch([], []))).status_code == status


def test_other_methods_and_other_paths_are_not_of_sites(stage: Stage, site: Site) -> None:
    """Refused with what is right; what is no route of a site belongs to the pages, which ask who is there."""
    for method, path in (("DELETE", "/sites/north"), ("GET", "/sites/north/entries?from=1")):
        assert stage.ask(method, path, stage.token).status_code == 405
    for path in ("/sites", "/sites/north/else", "/sites/north/entries/1"):
        assert stage.ask("GET", path, stage.token).status_code == 401


def test_a_token_made_or_taken_back_by_a_command_counts_at_once(stage: Stage, site: Site) -> None:
    """What is known of tokens is held in memory, and read again as soon as another process changed the file."""
    stage.push(1, part(site, 1, 50))
    with closing(YardDb(stage.folder / "yard.db")) as other:
        token = other.add("north", "", 300, 0)
        assert stage.ask("GET", "/sites/north", stage.token).status_code == 401
        assert stage.ask("GET", "/sites/north", token).json()["next"] == 51
        other.drop("north")
    assert stage.ask("GET", "/sites/north", token).status_code == 401
    own = stage.db.add("north", "", 300, 0)
    assert stage.ask("GET", "/sites/north", own).json()["next"] == 51


def test_a_body_is_bounded_as_it_comes_and_as_it_unpacks(stage: Stage) -> None:
    """Too long; a bomb; garbage."""
    path = "/sites/north/entries?from=1"
    for content, status in (
        (bytes(MOST_SENT + 1), 413), (zlib.compress(bytes(64 << 20)), 400), (b"{}", 400), (b"", 400),
    ):  # fmt: skip
        assert stage.ask("PUT", path, stage.token, content=content).status_code == status
    assert stage.ask("GET", "/sites/north", stage.token).json()["next"] == 1


def test_a_site_that_asks_too_often_waits(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many at a stretch, then as many a second as the bucket fills."""
    pace = Pace(2.0, 3.0, keys=2)
    assert [pace.wait_s("a", 0.0) for _ in range(4)] == [0, 0, 0, 0.5]
    assert pace.wait_s("a", 0.5) == 0 and pace.wait_s("a", 0.5) > 0
    for key in ("b", "c"):
        pace.wait_s(key, 1.0)
    assert list(pace._left) == ["b", "c"], "the oldest is forgotten, so that memory is bounded"
    monkeypatch.setattr(api, "PER_SECOND", 0.001)
    monkeypatch.setattr(api, "AT_A_STRETCH", 2.0)
    stage.app = make_app(stage.folder, stage.db, stage.intake, lambda: stage.now_ms)
    said = [stage.ask("GET", "/sites/north", stage.token) for _ in range(3)]
    assert [each.status_code for each in said] == [200, 200, 429] and said[2].headers["retry-after"] == "5"


def test_strangers_are_forgotten_in_time_and_number() -> None:
    """A window of five minutes; the oldest of very many."""
    strangers = Strangers()
    assert [strangers.count("a", at) for at in (0.0, 10.0, 311.0)] == [1, 2, 1]
    for number in range(api.MOST_CLIENTS + 5):
        strangers.count(f"c{number}", 400.0)
    assert len(strangers.seen) == api.MOST_CLIENTS and "a" not in strangers.seen


def test_a_disk_that_refuses_is_said(stage: Stage, site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing was taken, and the site is asked to send it again."""
    stage.push(1, part(site, 1, 50))
    book = stage.intake._books["north"]
    book.db.execute("PRAGMA query_only = 1")
    assert stage.push(51, part(site, 51, 101)).status_code == 503
    book.db.execute("PRAGMA query_only = 0")
    assert stage.push(51, part(site, 51, 101)).json()["next"] == 102


def test_the_pages_are_closed_to_a_sites_token(stage: Stage) -> None:
    """It opens the routes of its site, nothing else."""
    assert stage.ask("GET", "/", stage.token).status_code == 401
    assert stage.ask("GET", "/").status_code == 401
    assert stage.ask("GET", "/sites/north", stage.token).headers["x-content-type-options"] == "nosniff"
