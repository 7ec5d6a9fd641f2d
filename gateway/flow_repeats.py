"""What was read before: a reading is journalled once, however often the broker or its sensor sends it.

Identity is sensor, time of measurement and value; the same time with another value is a conflict and kept. What a
sensor says comes in the order of its times, but for a few: so its track is looked up by halves, and only what came
out of order, or contradicts, is remembered by name.
Without a time of its own only the broker can say that it sends a message again.
A refused message was not read: it is known again only where it is refused again, and taken once it can be.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from hashlib import sha256
from itertools import islice
from typing import TypeVar

from gateway import entry
from gateway.entry import Arrival
from gateway.flow_state import State, Track
from gateway.reading import News, Reading, Silent

WINDOW = 8192  # identities out of order, and messages without a time, that are remembered
SLACK = 2048  # how many more are let come before that many of the oldest go at once
KEPT = 1024  # readings of each sensor that are remembered: as many messages may be on their way when all stops
BACK_MS = 60_000  # and all of the last minute: a killed broker gives again what it gave since its last save
MOST = 300_000  # but none behind so many entries, all sensors together: what the shipped broker holds for us
MARK_MS = 5_000  # how often the number of an entry is noted beside its time
_LATEST = -2
_REFUSED = b"refused"  # before the key of a refused message, so that it is not taken for one that was read
K = TypeVar("K")
V = TypeVar("V")


def first_of(state: State, arrival: Arrival, readings: Sequence[News]) -> int:
    """Return the sequence number of the message this one repeats, or 0."""
    first = 0
    for reading in readings:
        if isinstance(reading, Silent) or reading.relative or reading.measured_ms is None:
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


def refused_first_of(state: State, arrival: Arrival, ahead: Sequence[News]) -> int:
    """As `first_of` for a message that is refused now. ahead: its readings, where only their time refuses them.

    They were taken before the clock was set back, or the broker sends again what was refused before.
    """
    first = first_of(state, arrival, ahead) if ahead else untimed_first_of(state, arrival)
    return first or (state.untimed.get(_REFUSED + _untimed_key(arrival), 0) if arrival.dup else 0)


def is_new(state: State, reading: Reading) -> bool:
    """Remember a timed reading; False for a repeat, and for a conflict, which is counted."""
    track, time_ms = state.tracks.get(reading.sensor), reading.measured_ms
    if track is None:
        track = state.tracks[reading.sensor] = Track()
    if not track.times or time_ms > track.times[-1]:  # type: ignore[operator]  # it has a time
        track.times.append(time_ms)  # type: ignore[arg-type]
        track.values.append(reading.value)
        track.firsts.append(state.sequence)
        if not state.marks or state.core_ms - state.marks[-1][0] >= MARK_MS:
            state.marks.append((state.core_ms, state.sequence))
        if len(track.times) >= track.room:
            _let_go(state, track)
        return True
    value = _value_at(state, reading)
    if value is None:
        remember(state.seen, _identity(reading), (reading.value, state.sequence))
        return True
    if not _seen(state, reading):  # known again if the broker sends it again
        state.counts["conflict"] = state.counts.get("conflict", 0) + 1
        remember(state.seen, _conflicting(reading), (reading.value, state.sequence))
    return False


def _let_go(state: State, track: Track) -> None:
    """Forget the oldest of a sensor's readings, many at once; as many again may come before the next time."""
    while len(state.marks) > 1 and state.marks[1][0] <= state.core_ms - BACK_MS:
        del state.marks[0]
    since = max(state.marks[0][1], state.sequence - MOST)
    recent = len(track.firsts) - bisect_left(track.firsts, since)
    kept = min(max(recent, KEPT), MOST)
    for column in (track.times, track.values, track.firsts):
        del column[:-kept]
    track.room = kept + max(kept // 2, KEPT)


def remember_untimed(state: State, arrival: Arrival) -> None:
    """Remember a message in which a reading has no time of its own."""
    remember(state.untimed, _untimed_key(arrival), state.sequence)


def remember_refused(state: State, key: bytes) -> None:
    """Remember a refused message by its `repeat_key`."""
    remember(state.untimed, _REFUSED + key, state.sequence)


def remember(window: dict[K, V], key: K, value: V) -> None:
    """Put a thing into a window, and let the oldest go."""
    window[key] = value
    if len(window) >= WINDOW + SLACK:  # many at once: finding the first key walks over all that were removed
        for old in list(islice(window, SLACK)):
            del window[old]


def _seen(state: State, reading: Reading) -> int:
    """Return the sequence number of the entry this very reading came with, or 0."""
    track, at = _place(state, reading)
    if track and at == _LATEST:  # what is looked up by name came out of order
        return 0
    if track and at >= 0 and track.values[at] == reading.value:
        return track.firsts[at]
    value, first = state.seen.get(_identity(reading), (None, 0))
    if value == reading.value:
        return first
    return state.seen.get(_conflicting(reading), (None, 0))[1]


def _value_at(state: State, reading: Reading) -> float | None:
    """Return what the sensor was first heard to say at this reading's time."""
    track, at = _place(state, reading)
    if track and at >= 0:
        return track.values[at]
    return state.seen.get(_identity(reading), (None, 0))[0]


def _place(state: State, reading: Reading) -> tuple[Track | None, int]:
    """Return the sensor's track, and where in it the reading's time stands: -1 nowhere, _LATEST after all."""
    track, time_ms = state.tracks.get(reading.sensor), reading.measured_ms
    if track is None or time_ms is None or not track.times:
        return track, -1
    if time_ms > track.times[-1]:
        return track, _LATEST
    at = bisect_left(track.times, time_ms)
    return track, at if track.times[at] == time_ms else -1


def _identity(reading: Reading) -> str:
    return f"{reading.sensor}\0{reading.measured_ms}"


def _conflicting(reading: Reading) -> str:
    return f"{_identity(reading)}\0{reading.value!r}"


def _untimed_key(arrival: Arrival) -> bytes:
    return entry.repeat_key(arrival.packet_id, arrival.topic, sha256(arrival.payload).digest())
