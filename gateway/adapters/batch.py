"""What one commit of the writer carries."""

from __future__ import annotations

from dataclasses import dataclass

from gateway import entry
from gateway.flow_state import Outcomes
from gateway.heads import Signed


@dataclass(frozen=True, slots=True)
class Batch:
    """What one commit writes, and the messages to acknowledge after it."""

    first: int
    entries: list[bytes]
    first_event: int
    outcomes: Outcomes
    utc_ms: int
    cursor: int | None
    arrivals: list[entry.Arrival]
    head: Signed | None = None
