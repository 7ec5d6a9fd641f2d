"""The ribbons: what stood, from events and entries, each of its own place and for its own time."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing

import pytest

from gateway import entry
from gateway.adapters import landmarks
from gateway.adapters.landmarks import Clocks
from gateway.entry import Kind
from gateway.payload import canonical
from gateway.web.history_spans import Span, absences, activities, alarms
from tests.sites import T0, margin_limit, site

MIN = 60_000
LIMITS = {"margin": margin_limit()}
SPAN = Span(T0, T0 + 100 * MIN, T0 + 90 * MIN)
CLOCKS = Clocks([0], [0])


@pytest.fixture
def db() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:")) as made:
        made.executescript(landmarks.SCHEMA + "CREATE TABLE events (id INTEGER PRIMARY KEY, event BLOB NOT NULL)")
        yield made


def told(db: sqlite3.Connection, *events: tuple[int, str, str, str]) -> None:
    """Events: minute, number, change, limit."""
    for minute, number, change, limit in events:
        said = {"core_ms": T0 + minute * MIN, "number": number, "change": change, "limit": limit, "reason": "why"}
        db.execute("INSERT INTO events VALUES (NULL, ?)", (canonical.to_bytes(said),))


def stood(db: sqlite3.Connection, trains: tuple[str, ...] = ()) -> list[tuple[object, ...]]:
    found = alarms(db, CLOCKS, LIMITS, trains, SPAN)
    return [
        (each["number"], each["cause"], (each["from"] - T0) // MIN, (each["until"] - T0) // MIN) for each in found
    ]


def test_a_new_cause_ends_the_one_before(db: sqlite3.Connection) -> None:
    """Unknown, then outside under a new number, then back: two stretches without a hole."""
    told(
        db, (10, "A-1", "unknown", "margin"), (20, "A-2", "outside limits", "margin"),
        (25, "A-2", "acknowledged", "margin"), (30, "A-2", "told", "margin"), (40, "A-2", "limits back", "margin"),
        (50, "A-3", "close to limit", "margin"), (60, "A-9", "outside limits", "elsewhere"),
    )  # fmt: skip
    assert stood(db) == [("A-1", "unknown", 10, 20), ("A-2", "outside limits", 20, 40)]
    assert alarms(db, CLOCKS, LIMITS, (), SPAN)[1]["acknowledged"] == T0 + 25 * MIN


def test_exposures_stand_beside_the_alarm_and_findings_on_their_train(db: sqlite3.Connection) -> None:
    """Each by its own number; what has not ended stands until now."""
    told(
        db, (10, "A-1", "outside limits", "margin"), (10, "E-1", "exposure opened", "margin"),
        (15, "F-1", "finding began", "T1/bed dryer"), (20, "A-1", "limits back", "margin"),
        (30, "E-1", "exposure ended", "margin"),
    )  # fmt: skip
    assert stood(db) == [("A-1", "outside limits", 10, 20), ("E-1", "exposure", 10, 30)]
    assert stood(db, ("T1",))[-1] == ("F-1", "finding", 15, 90)
    labels = [each["label"] for each in alarms(db, CLOCKS, LIMITS, ("T1",), SPAN)]
    assert labels == ["Stop blasting area A", "why", "bed dryer"]


def test_only_what_stood_in_the_range(db: sqlite3.Connection) -> None:
    """Ended before, begun after: left out."""
    told(
        db, (-20, "A-1", "outside limits", "margin"), (-10, "A-1", "limits back", "margin"),
        (-5, "A-2", "outside limits", "margin"), (5, "A-2", "limit withdrawn", "margin"),
        (100, "A-3", "outside limits", "margin"),
    )  # fmt: skip
    assert stood(db) == [("A-2", "outside limits", -5, 5)]


def test_work_is_shown_for_its_area_and_for_the_train_that_feeds_it(db: sqlite3.Connection) -> None:
    """A second begin changes nothing, an end without a begin neither; what goes on stands until now."""
    acts = [
        (10, "begin", "A", "blasting"), (12, "begin", "A", "blasting"), (30, "end", "A", "blasting"),
        (31, "end", "A", "blasting"), (40, "begin", "A", "coating"), (50, "begin", "B", "coating"),
    ]  # fmt: skip
    for minute, act, area, activity in acts:
        body = canonical.to_bytes({"act": act, "area": area, "activity": activity, "person": "lead"})
        made = entry.plain(Kind.ACTION, T0 + minute * MIN, body)
        db.execute("INSERT INTO landmarks VALUES (NULL, ?, ?, ?)", (Kind.ACTION, T0 + minute * MIN, made))
    for place in ("A", "T1"):
        found = activities(db, CLOCKS, site(), place, SPAN)
        assert [(each["activity"], (each["from"] - T0) // MIN, (each["until"] - T0) // MIN) for each in found] == [
            ("blasting", 10, 30),
            ("coating", 40, 90),
        ]
    assert [each["area"] for each in activities(db, CLOCKS, site(), "B", SPAN)] == ["B"]


def test_the_broker_was_away_from_what_was_seen_until_it_came_back(db: sqlite3.Connection) -> None:
    """Each absence once, though a long one is told while it lasts; one that a stop cut off ends with the start."""
    health: list[tuple[int, Kind, dict[str, object]]] = [
        (5, Kind.HEALTH, {"figure": "disk", "class": "low", "said": ""}),
        (10, Kind.HEALTH, {"figure": "broker", "class": "away"}),
        (20, Kind.HEALTH, {"figure": "absence", "class": "good", "away_ms": 11 * MIN, "ended_ms": MIN}),
        (20, Kind.HEALTH, {"figure": "broker", "class": "good", "said": ""}),
        (30, Kind.HEALTH, {"figure": "absence", "class": "good", "away_ms": 1_500, "ended_ms": 0}),
        (40, Kind.HEALTH, {"figure": "broker", "class": "away"}), (50, Kind.STARTED, {"offset_ms": 0}),
        (60, Kind.HEALTH, {"figure": "broker", "class": "unfit"}), (65, Kind.STARTED, {"offset_ms": 0}),
        (70, Kind.HEALTH, {"figure": "broker", "class": "away"}),
    ]  # fmt: skip
    for minute, kind, body in health:
        made = entry.plain(kind, T0 + minute * MIN, canonical.to_bytes(body))
        landmarks.keep(db, 1 + len(db.execute("SELECT 1 FROM landmarks").fetchall()), [made])
    found = absences(db, CLOCKS, SPAN)
    times = [((each["from"] - T0) / MIN, (each["until"] - T0) / MIN) for each in found]
    assert times == [(8, 19), (29.975, 30), (40, 50), (70, 90)]
    assert {each["cause"] for each in found} == {"unknown"}
    assert absences(db, CLOCKS, Span(T0 + 31 * MIN, T0 + 39 * MIN, T0 + 90 * MIN)) == []
