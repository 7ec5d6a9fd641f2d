"""What the follower sends of an edge node's messages: as the flow read them, also after it was started anew."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gateway.adapters.timeseries import Follower, Place, Server, batches
from gateway.entry import Kind
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN
from tests.test_flow_edges import Shift


def lines(entries: list[bytes], place: Place) -> tuple[list[str], Place]:
    """Every line of these entries, and the place reached."""
    found: list[str] = []
    for batch in batches(entries, place):
        found += batch.lines
        place = batch.reached
    return found, place


@pytest.mark.parametrize("cut", range(2, 6))
def test_data_by_alias_need_the_births_before_them(cut: int) -> None:
    """Wherever the follower was stopped, it sends what it would have sent in one go: births are in its place."""
    entries = Shift().hear(BORN, DEVICE_BORN, "by alias seq 2").entries
    whole, end = lines(entries, Place())
    begun, place = lines(entries[:cut], Place())
    rest, reached = lines(entries[cut:], place)
    assert begun + rest == whole and reached == end and end.seq == 5
    assert [line.split("sensor=")[1].split()[0] for line in whole] == ["baro", "steel", "air-t", "steel", "air-t"]
    assert "value=17.25 " in whole[3] and "value=-3.0 " in whole[4]


def test_a_gap_sends_nothing() -> None:
    """What came out of order is no reading, neither in the flow nor here."""
    shift = Shift().hear(BORN, DEVICE_BORN)
    before, _ = lines(shift.entries, Place())
    shift.hear("by alias seq 3")
    assert lines(shift.entries, Place())[0] == before
    assert shift.said("steel")[0] is None


def test_after_our_own_session_ended_data_need_a_birth_first() -> None:
    """The next message in order is not read before the node is born again, neither in the flow nor here."""
    shift = Shift().hear(BORN, DEVICE_BORN)
    before, _ = lines(shift.entries, Place())
    shift.put(Kind.EDGE_SESSION, {"what": "connection to the broker lost"})
    shift.hear("by alias seq 2")
    assert lines(shift.entries, Place())[0] == before
    assert shift.said("steel")[0] is None


def test_a_place_of_before_is_taken_over(tmp_path: Path) -> None:
    """A follower's file that knew no edge nodes keeps its place."""
    with closing(sqlite3.connect(tmp_path / "follower.db")) as db:
        db.execute(
            "CREATE TABLE place (one INTEGER PRIMARY KEY, seq INTEGER, offset_ms INTEGER, config BLOB) STRICT"
        )
        db.execute("INSERT INTO place VALUES (1, 17, 5, x'7b7d')")
        db.commit()
    with closing(Follower(tmp_path, Server("http://127.0.0.1:9", ""))) as follower:
        assert follower.kept == Place(17, 5, b"{}", b"")
