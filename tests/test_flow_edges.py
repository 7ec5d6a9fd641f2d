"""Edge nodes through the whole flow: judged while their session holds, unknown the moment it does not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Edge, EdgeValue
from gateway.payload import canonical
from tests.sites import site
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN, MADE_MS, MESSAGES

BARO, STEEL, AIR_T = (
    EdgeValue("baro", "baro"),
    EdgeValue("steel", "steel", "wall"),
    EdgeValue("air-t", "air/t", "wall"),
)
SITE = replace(site(), edges=(Edge("site", "pump", (BARO, STEEL, AIR_T)),))


class Shift:
    """A flow and its journal in memory, two seconds after the messages were made."""

    def __init__(self) -> None:
        self.flow, self.entries, self.now = Flow(), list[bytes](), MADE_MS + 2000
        self.put(Kind.STARTED, {"offset_ms": 0, "core_version": CORE_VERSION})
        self.add(entry.plain(Kind.CONFIG_SET, self.now, canonical.config_set(SITE, "keeper", "test")))

    def add(self, made: bytes) -> None:
        self.entries.append(made)
        self.flow.advance([made], Outcomes())

    def put(self, kind: Kind, body: dict[str, object]) -> None:
        self.add(entry.plain(kind, self.now, canonical.to_bytes(body)))

    def hear(self, *names: str) -> Shift:
        for name in names:
            arrival = Arrival(MESSAGES[name].topic, MESSAGES[name].payload)
            self.entries.append(self.flow.receive(arrival, self.now, Outcomes()))
            self.now += 1000
        self.flow.tick(self.now)
        return self

    def said(self, sensor: str) -> tuple[float | None, str]:
        measured = self.flow.read(sensor)
        return measured.value, measured.reason


@pytest.fixture
def shift() -> Shift:
    return Shift()


def test_births_and_data_by_alias_are_readings_of_the_bound_sensors(shift: Shift) -> None:
    """Values as the making library was given them; what is bound to nothing is passed over."""
    shift.hear(BORN, DEVICE_BORN, "by alias seq 2")
    assert shift.said("steel") == (17.25, "")
    assert shift.flow.state.newest["air-t"].value == -3.0
    assert "jumped by" in shift.said("air-t")[1]  # as any sensor's value would be doubted: it was born with 21
    assert shift.flow.state.counts == {"message": 3}


def test_a_gap_makes_all_sensors_of_the_node_unknown_at_once(shift: Shift) -> None:
    """And a rebirth is asked for, once in half a minute, until it is born again."""
    shift.hear(BORN, DEVICE_BORN, "by alias seq 3")
    value, why = shift.said("steel")
    assert value is None and why == "steel: sequence gap: expected 2, got 3"
    assert shift.said("baro")[0] is None
    assert shift.flow.edges_to_ask(shift.now) == [(("site", "pump"), "sequence gap: expected 2, got 3")]
    shift.put(Kind.EDGE_SESSION, {"what": "rebirth asked for", "group": "site", "node": "pump"})
    assert shift.flow.edges_to_ask(shift.now + 29_000) == []
    assert len(shift.flow.edges_to_ask(shift.now + 31_000)) == 1
    shift.hear(BORN, DEVICE_BORN, "by name seq 2")
    assert shift.said("steel")[0] == 16.75
    assert shift.flow.edges_to_ask(shift.now + 99_000) == []


def test_a_death_is_told_with_its_reason(shift: Shift) -> None:
    """Of a device its own sensors, of the node all; the Will of an older session is nothing."""
    shift.hear(BORN, DEVICE_BORN, "node death bdSeq 1")
    assert shift.said("steel")[0] is not None
    shift.hear("device death seq 2")
    assert shift.said("steel")[0] is None and shift.said("baro")[0] is not None
    shift.hear("node death bdSeq 0")
    assert shift.said("baro")[0] is None


def test_our_own_connection_ending_leaves_nothing_known(shift: Shift) -> None:
    """What was sent meanwhile is lost, and only a birth can say what holds."""
    shift.hear(BORN, DEVICE_BORN)
    shift.put(Kind.EDGE_SESSION, {"what": "connection lost"})
    value, why = shift.said("steel")
    assert value is None and "connection lost" in why
    assert [edge for edge, _ in shift.flow.edges_to_ask(shift.now)] == [("site", "pump")]


def test_history_is_stored_and_never_judged(shift: Shift) -> None:
    """is_historical: what stands stays, whatever was measured before."""
    shift.hear(BORN, DEVICE_BORN)
    before = shift.said("steel")
    shift.hear("historical seq 2")
    assert shift.said("steel") == before
    assert shift.flow.state.counts["historical"] >= 1


def test_a_null_metric_is_unknown(shift: Shift) -> None:
    """is_null: the value is absent, not the last one."""
    shift.hear(BORN, DEVICE_BORN, "null seq 2")
    assert shift.said("steel")[0] is None and "null" in shift.said("steel")[1]


def test_folding_the_journal_again_gives_the_same_state(shift: Shift) -> None:
    """Sessions, gaps, births again; also from a checkpoint in the middle."""
    shift.put(Kind.EDGE_SESSION, {"what": "connected"})
    shift.hear(BORN, DEVICE_BORN, "by alias seq 2", "null seq 2")
    middle, at = shift.flow.checkpoint(), len(shift.entries)
    shift.put(Kind.EDGE_SESSION, {"what": "rebirth asked for", "group": "site", "node": "pump"})
    shift.hear(BORN, DEVICE_BORN, "by alias seq 3", "rebirth request", BORN)
    again, later = Flow(), Flow.from_checkpoint(middle)
    again.advance(shift.entries, Outcomes())
    later.advance(shift.entries[at:], Outcomes())
    for each in (again, later):
        each.tick(shift.now)
        assert each.state == shift.flow.state
    kinds = [entry.kind_and_time(each)[0] for each in shift.entries]
    assert kinds.count(Kind.REJECTION) == 1  # a command is nothing a host reads


def test_a_signal_that_means_a_fault_silences_its_sensor_at_once(shift: Shift) -> None:
    """Not after its patience: the last good value of a broken wire is not today's."""
    ok, bad = b'[{"n":"dryer-t","v":30,"u":"Cel"}]', b'[{"n":"dryer-t","v":900,"u":"Cel"}]'
    for payload in (ok, bad):
        shift.entries.append(shift.flow.receive(Arrival("dewgate/test/dryer-t", payload), shift.now, Outcomes()))
        shift.now += 1000
    assert shift.said("dryer-t") == (None, "dryer-t: 900 Cel is outside its range")
    shift.entries.append(shift.flow.receive(Arrival("dewgate/test/dryer-t", ok), shift.now, Outcomes()))
    assert shift.said("dryer-t")[0] == 30.0
    again = Flow()
    again.advance(shift.entries, Outcomes())
    assert again.state == shift.flow.state
