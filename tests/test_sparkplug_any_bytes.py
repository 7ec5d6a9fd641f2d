"""Whatever is published as an edge node's: never an exception, and a refusal changes nothing."""

from __future__ import annotations

import copy

from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.payload import canonical
from gateway.payload.sparkplug import take
from gateway.payload.sparkplug_state import Outcome, State
from gateway.reading import Rejected
from tests.tables.sparkplug_messages import BORN, DEVICE_BORN, MESSAGES, NOW, after

NAMES = sorted(MESSAGES)
MUTATION = st.tuples(st.integers(0, 10_000), st.integers(0, 255), st.sampled_from(["set", "cut", "add"]))
SENT = st.lists(st.tuples(st.sampled_from(NAMES), st.lists(MUTATION, max_size=3)), min_size=1, max_size=8)


def mutated(payload: bytes, place: int, byte: int, how: str) -> bytes:
    at = place % (len(payload) + 1)
    if how == "cut":
        return payload[:at]
    return payload[:at] + bytes([byte]) + payload[at + (how == "set") :]


@settings(deadline=200, max_examples=300)
@given(SENT, st.sampled_from([0, 2000]))
def test_any_mutation_gives_an_outcome_or_a_reason(
    sent: list[tuple[str, list[tuple[int, int, str]]]], reorder_ms: int
) -> None:
    """Nothing raises, a refusal leaves the state as it was, and every state goes through a checkpoint."""
    state = after(BORN, DEVICE_BORN)
    for name, changes in sent:
        payload = MESSAGES[name].payload
        for change in changes:
            payload = mutated(payload, *change)
        before = copy.deepcopy(state)
        found = take(state, MESSAGES[name].topic, payload, NOW, reorder_ms=reorder_ms)
        assert isinstance(found, Outcome) or (found.detail and state == before)
        assert canonical.from_checkpoint(canonical.checkpoint(state), State) == state


@settings(deadline=200)
@given(st.text(max_size=40) | st.sampled_from([each.topic for each in MESSAGES.values()]), st.binary(max_size=120))
def test_any_topic_and_bytes_give_an_outcome_or_a_reason(topic: str, payload: bytes) -> None:
    """Whatever is published, by whomever."""
    assert isinstance(take(after(BORN, DEVICE_BORN), topic, payload, NOW), Outcome | Rejected)
