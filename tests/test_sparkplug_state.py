"""What is remembered of edge nodes: through checkpoints, across connections, and whom to ask."""

from __future__ import annotations

from gateway.payload import canonical
from gateway.payload.sparkplug_state import State, Unknown, asked, begin, due
from tests.tables.sparkplug_messages import (
    BORN,
    DEVICE_BORN,
    NOW,
    after,
    send,
)


def test_nothing_is_known_across_a_connection_of_our_own() -> None:
    """message-flow-phid-sparkplug-clean-session-*: what was sent meanwhile is lost, so every node is asked."""
    state = after(BORN, DEVICE_BORN)
    told = begin(state, [("site", "pump"), ("site", "other")], NOW, "the connection to the broker was lost")
    assert [(each.node, each.rebirth) for each in told] == [
        ("pump", "the connection to the broker was lost"),
        ("other", "the connection to the broker was lost"),
    ]
    assert all(each.changes == [Unknown(None, None, NOW, each.rebirth)] for each in told)
    assert due(state, NOW) == [("site", "pump"), ("site", "other")]
    assert not send(state, "node death bdSeq 1").ignored  # it may have been born anew meanwhile


def test_a_rebirth_is_not_asked_for_too_often() -> None:
    """operational-behavior-data-commands-rebirth-*: how often is the caller's."""
    state = after(BORN, DEVICE_BORN)
    assert due(state, NOW) == []
    send(state, "by alias seq 4")
    edge = ("site", "pump")
    assert due(state, NOW, every_ms=10_000) == [edge]
    asked(state, edge, NOW)
    assert due(state, NOW + 9999, every_ms=10_000) == [] and due(state, NOW + 10_000, every_ms=10_000) == [edge]


DAY = [
    *("by alias seq 2", BORN, DEVICE_BORN, "by alias seq 2", "device birth seq 3 other aliases", "by alias seq 4"),
    *(
        "by alias seq 2",
        BORN,
        DEVICE_BORN,
        "by alias seq 4",
        "null seq 2",
        "node death bdSeq 255",
        "node death bdSeq 0",
    ),
    *("every datatype", "birth of ten seq 1", "ten metrics seq 2", "quality 0 seq 2", "unusual values"),
]


def test_the_state_goes_through_a_checkpoint_at_any_point() -> None:
    """The same messages give the same state, whether or not the gateway was started anew between two of them."""
    state, through = State(), State()
    for number, name in enumerate(DAY):
        through = canonical.from_checkpoint(canonical.checkpoint(through), State)
        told = send(through, name, NOW + number, reorder_ms=2000)
        assert told == send(state, name, NOW + number, reorder_ms=2000)
        assert through == state
    assert canonical.checkpoint(through) == canonical.checkpoint(state)
