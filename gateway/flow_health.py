"""How the gateway itself is, as the journal has it: health entries, outcomes of deliveries, steps of the clock.

The shell says a figure's class when it changes, and not each minute; what becomes of a message is an entry of its
own. Everything here is a function of those entries, so that replay raises the same alarms.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gateway.flow_state import Figure, State

GOOD, FAILING, NEVER = "good", "failing", "will never work"
LONG_MS = 300_000  # tried in vain for so long: ours, no source
ABSENCE = "absence"  # the figure of an absence of the broker that is over, however short; no class of its own
STEP_MS = 60_000  # a step of the clock that a person must know of: the record is written to the minute. Ours
STEP_STANDS_MS = 3_600_000  # how long it stands on the board


def said(state: State, body: Mapping[str, Any]) -> None:
    """Take in what the shell says of one figure; an absence that is over is for who reads the entries."""
    if body["figure"] == ABSENCE:
        return
    if body["figure"] == "broker" and is_deaf(state):
        state.health.hearing_ms = state.core_ms
    _keep(state.health.figures, str(body["figure"]), str(body["class"]), str(body["said"]), state.core_ms)
    _look_again(state)


def delivered(state: State, body: Mapping[str, Any]) -> None:
    """Take in what became of one attempt: a channel fails for good, for long, or works."""
    channel = str(body.get("channel", ""))
    if not channel:
        return
    match body["outcome"]:
        case "delivered":
            level = GOOD
        case "will never work":
            level = NEVER
        case _ if int(body.get("waited_ms", 0)) >= LONG_MS:
            level = FAILING
        case _:
            return
    if level == GOOD and channel not in state.health.channels:
        return
    _keep(state.health.channels, channel, level, str(body["reason"]), state.core_ms)
    _look_again(state)


def started(state: State) -> None:
    """Begin again: what the shell looks at is not known until it says so; a clock behind the journal is a step.

    The offset of a start is below zero only where the clock shows less than the newest entry.
    """
    state.health.figures.clear()
    state.health.hearing_ms = state.core_ms
    state.impossible.clear()
    stepped(state, min(state.offset_ms, 0))


def stepped(state: State, by_ms: int) -> None:
    """Take in that the clock was set by so much."""
    if abs(by_ms) >= STEP_MS:
        state.health.stepped_ms, state.health.by_ms = state.core_ms, by_ms
        _look_again(state)


def is_deaf(state: State) -> bool:
    """Whether the broker is away, so that silence says nothing of a sensor."""
    broker = state.health.figures.get("broker")
    return broker is not None and broker.level == "away"


def _keep(found: dict[str, Figure], name: str, level: str, words: str, now_ms: int) -> None:
    before = found.get(name)
    since = before.since_ms if before is not None and before.level == level else now_ms
    found[name] = Figure(level, words, since)


def _look_again(state: State) -> None:
    if state.dirty_ms is None:
        state.dirty_ms = state.core_ms
