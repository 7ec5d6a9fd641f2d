"""Fold a journal again and compare what it says now with what was said then."""

from __future__ import annotations

import sqlite3
from itertools import zip_longest

from gateway.adapters.journal import entries_after
from gateway.flow import Flow
from gateway.flow_state import Outcomes


def differences(reader: sqlite3.Connection) -> tuple[int, list[str]]:
    """Return the number of entries and one line for each event that is not byte-identical."""
    flow, outcomes = Flow(), Outcomes()
    flow.advance(entries_after(reader, 0), outcomes)
    then = [row[0] for row in reader.execute("SELECT event FROM events ORDER BY id")]
    pairs = enumerate(zip_longest(then, outcomes.events), 1)
    return flow.state.sequence, [f"event {i}: then {old!r}, now {new!r}" for i, (old, new) in pairs if old != new]
