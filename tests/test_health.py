"""What the shell sees of the gateway's own health, and that only a change of class is an entry."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from gateway import entry
from gateway.adapters import health
from gateway.adapters.health import DAY_MS, Health, Room, level_of, room
from gateway.adapters.journal import open_reader
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import T0

GB = 1e9


@pytest.mark.parametrize(("free", "days", "before", "level"), [
    (5 * GB, 400.0, "good", "good"), (5 * GB, 29.9, "good", "low"), (5 * GB, 30.0, "good", "good"),
    (5 * GB, 2.9, "good", "nearly full"), (0.9 * GB, None, "good", "low"),
    (0.2 * GB, 400.0, "good", "nearly full"), (5 * GB, 2.0, "low", "nearly full"),
    (5 * GB, 37.0, "low", "low"), (5 * GB, 38.0, "low", "good"), (1.2 * GB, None, "low", "low"),
    (5 * GB, 3.5, "nearly full", "nearly full"), (5 * GB, 4.0, "nearly full", "low"),
])  # fmt: skip
def test_a_disk_is_low_at_thirty_days_and_better_only_with_a_quarter_more(
    free: float, days: float | None, before: str, level: str
) -> None:
    """At the edge of a class it does not come and go."""
    assert level_of(free, days, before) == level


def test_the_days_of_room_follow_the_pace_so_far(tmp_path: Path) -> None:
    """A journal of ten days: free bytes over bytes a day; younger than a day it is not told."""
    prepare(tmp_path)
    with closing(open_reader(tmp_path / "journal.db")) as reader:
        (since,) = reader.execute("SELECT min(utc_ms) FROM heads").fetchone()
    assert room(tmp_path, since + DAY_MS // 2).days is None
    found = room(tmp_path, since + 10 * DAY_MS)
    assert found.days == pytest.approx(found.free / (found.held / 10), rel=1e-3)
    assert found.words.endswith(f"enough for {found.days:.0f} days at this pace")


def journalled(home: Path) -> list[dict[str, str]]:
    with closing(open_reader(home / "journal.db")) as reader:
        entries = [row[0] for row in reader.execute("SELECT entry FROM entries ORDER BY seq")]
    return [canonical.to_dict(entry.body_of(each)) for each in entries if each[0] == Kind.HEALTH]


@pytest.fixture
def turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], list[dict[str, str]]]]:
    """Turn once, as if a minute had passed for whoever looks; give what is journalled."""
    prepare(tmp_path)
    service = Service(tmp_path)
    monkeypatch.setattr(health, "LOOK_S", 0.0)

    def turn() -> list[dict[str, str]]:
        for _ in range(2):
            service._shown = -1.0
            service.turn()
        return journalled(tmp_path)

    yield turn
    service.close()


def test_only_a_change_of_class_is_an_entry(
    turns: Callable[[], list[dict[str, str]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten looks at a disk that is low are one entry; a disk that is well from the first is none."""
    monkeypatch.setattr(health, "room", lambda *_: Room(5 * GB, 1e6, 400.0))
    assert turns() == []
    monkeypatch.setattr(health, "room", lambda *_: Room(5 * GB, 1e6, 12.0))
    for _ in range(5):
        said = turns()
    words = "5.0 GB free, the journal holds 1.0 MB: enough for 12 days at this pace"
    assert said == [{"class": "low", "figure": "disk", "said": words}]
    monkeypatch.setattr(health, "room", lambda *_: Room(5 * GB, 1e6, 400.0))
    assert [each["class"] for each in turns()] == ["low", "good"]


def test_a_disk_that_cannot_be_asked_says_nothing(
    turns: Callable[[], list[dict[str, str]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither good nor bad: what it was stands."""

    def refuses(*_: object) -> Room:
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(health, "room", refuses)
    assert turns() == []


def test_the_key_that_is_gone_and_messages_that_nobody_sends_are_figures(tmp_path: Path) -> None:
    """Each sentence that stands in the way makes its class; none makes it good again."""
    flow, looks = Flow(), Health(tmp_path)
    seen: dict[str, tuple[str, ...]] = {"head": ("no head is signed",), "messenger": ()}
    made = looks.due(flow.state, None, seen, T0)
    assert [canonical.to_dict(body) for _, body in made] == [
        {"class": "unsigned", "figure": "head", "said": "no head is signed"}
    ]  # fmt: skip
    flow.advance([entry.plain(kind, T0, body) for kind, body in made], Outcomes())
    assert looks.due(flow.state, None, seen, T0) == []
    seen |= {"head": (), "messenger": ("2 messages wait and nobody sends",)}
    classes = [canonical.to_dict(body)["class"] for _, body in looks.due(flow.state, None, seen, T0)]
    assert classes == ["good", "idle"]
