"""What was read before: a reading is journalled once, however often the broker or its sensor sends it.

Identity is sensor, time of measurement and value; the same time with another value is a conflict and kept.
Without a time of its own only the broker can say that it sends a message again.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from itertools import islice
from typing import TypeVar

from gateway import entry
from gateway.entry import Arrival
from gateway.flow_state import State
from gateway.reading import News, Reading, Silent

WINDOW = 8192  # identities remembered; redeliveries are at most the messages in flight (1,000)
SLACK = 2048  # how many more are let come before that many of the oldest go at once
K = TypeVar("K")
V = TypeVar("V")


def first_of(state: State, arrival: Arrival, readings: Sequence[News]) -> int:
    """Return the sequence number of the message this one repeats, or 0."""
    first = 0
    for reading in readings:
        if isinstance(reading, Silent) or not reading.absolute:
            break
        known = _seen(state, reading)
        if not known:
            return 0
        first = first or known
    else:
        if first:
            return first
    return untimed_first_of(state, arrival)


def untimed_first_of(state: State, arrival: Arrival) -> int:
    """As `first_of`, by the broker's word alone."""
    return state.untimed.get(_untimed_key(arrival), 0) if arrival.dup else 0


def is_new(state: State, reading: Reading) -> bool:
    """Remember a timed reading; False for a repeat, and for a conflict, which is counted."""
    key = _identity(reading)
    before = state.seen.get(key)
    if before is None:
        remember(state.seen, key, (reading.value, state.sequence))
        return True
    if not _seen(state, reading):  # known again if the broker sends it again
        state.counts["conflict"] = state.counts.get("conflict", 0) + 1
        remember(state.seen, _conflicting(reading), (reading.value, state.sequence))
    return False


def remember_untimed(state: State, arrival: Arrival) -> None:
    """Remember a message in which a reading has no time of its own."""
    remember(state.untimed, _untimed_key(arrival), state.sequence)


def remember(window: dict[K, V], key: K, value: V) -> None:
    """Put a thing into a window, and let the oldest go."""
    window[key] = value
    if len(window) >= WINDOW + SLACK:  # many at once: finding the first key walks over all that were removed
        for old in list(islice(window, SLACK)):
            del window[old]


def _seen(state: State, reading: Reading) -> int:
    known = state.seen.get(_identity(reading))
    if known is None:
        return 0
    value, first = known
    if value == reading.value:
        return first
    return state.seen.get(_conflicting(reading), (None, 0))[1]


def _identity(reading: Reading) -> str:
    return f"{reading.sensor}\0{reading.measured_ms}"


def _conflicting(reading: Reading) -> str:
    return f"{_identity(reading)}\0{reading.value!r}"


def _untimed_key(arrival: Arrival) -> bytes:
    return entry.repeat_key(arrival.packet_id, arrival.topic, sha256(arrival.payload).digest())
