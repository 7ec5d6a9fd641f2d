"""What an alarm needs to know of what it is of: a limit of the specification, or a thing that may go wrong."""

from __future__ import annotations

from typing import Protocol


class Minded(Protocol):
    """What one alarm is of: a limit, or a thing that may go wrong (`fault.Watched`). Delays in seconds."""

    @property
    def id(self) -> str:
        """Its name in events."""

    @property
    def priority(self) -> str:
        """One of PRIORITIES."""

    @property
    def advice(self) -> str:
        """What to stop."""

    @property
    def on_delay_s(self) -> float:
        """How long it stands before it is an alarm."""

    @property
    def off_delay_s(self) -> float:
        """How long it must be gone."""

    @property
    def unknown_delay_s(self) -> float:
        """How long it may be unknown."""

    @property
    def latching(self) -> bool:
        """Whether a person must reset it."""
