"""Fold a journal again and compare what it says now with what was said then."""

from __future__ import annotations

import sqlite3
from itertools import zip_longest

from gateway.adapters import base
from gateway.adapters.journal import entries_after
from gateway.flow_state import Outcomes


def differences(reader: sqlite3.Connection) -> tuple[int, list[str]]:
    """Return the number of the newest entry and one line for each event that is not byte-identical."""
    flow, outcomes = base.flow_of(reader), Outcomes()
    events = flow.state.events  # those of dropped entries cannot be compared
    flow.advance(entries_after(reader, flow.state.sequence), outcomes)
    then = [row[0] for row in reader.execute("SELECT event FROM events WHERE id > ? ORDER BY id", (events,))]
    pairs = enumerate(zip_longest(then, outcomes.events), events + 1)
    return flow.state.sequence, [f"event {i}: then {old!r}, now {new!r}" for i, (old, new) in pairs if old != new]
