"""Messages of edge nodes, made by a library not ours (its file says which and how), and sessions of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from gateway.payload.sparkplug import take
from gateway.payload.sparkplug_state import Node, Outcome, Sample, State, Unknown

MADE_MS = 1_780_000_000_000  # the time in the births; data came a second later


@dataclass(frozen=True, slots=True)
class Message:
    """One message as published, and (metric, datatype, value) as the library was given them."""

    topic: str
    payload: bytes
    given: tuple[tuple[str, int, object], ...]


def _load() -> dict[str, Message]:
    text = (Path(__file__).parent / "sparkplug-messages.json").read_text(encoding="utf-8")
    found = {
        each["name"]: Message(each["topic"], bytes.fromhex(each["hex"]), tuple(map(tuple, each["given"])))
        for each in json.loads(text)["messages"]
    }
    assert len(found) == 45, f"{len(found)} messages"
    return found


MESSAGES = _load()
NOW = MADE_MS + 2000
BORN, DEVICE_BORN = ("node birth seq 0 bdSeq 0", "device birth seq 1")


def send(state: State, name: str, at_ms: int = NOW, *, reorder_ms: int = 0) -> Outcome:
    """Fold one message of the table in; it must not be refused."""
    message = MESSAGES[name]
    outcome = take(state, message.topic, message.payload, at_ms, reorder_ms=reorder_ms)
    assert isinstance(outcome, Outcome), outcome
    return outcome


def after(*names: str) -> State:
    """The state after these messages."""
    state = State()
    for name in names:
        send(state, name)
    return state


def node_of(state: State) -> Node:
    """The only edge node of the table."""
    return state.nodes["site/pump"]


def samples(outcome: Outcome) -> list[tuple[str, str, float]]:
    """What was read, as (device, metric, value)."""
    return [(each.device, each.metric, each.value) for each in outcome.changes if isinstance(each, Sample)]


def unknowns(outcome: Outcome) -> list[tuple[str | None, str | None]]:
    """What became unknown, as (device, metric)."""
    return [(each.device, each.metric) for each in outcome.changes if isinstance(each, Unknown)]


def reason(outcome: Outcome) -> str:
    """Why the only thing that became unknown did."""
    (only,) = [each.reason for each in outcome.changes if isinstance(each, Unknown)]
    return only
