"""The clocks of the steel, as plain values for the pages; made by `steel_board`."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.clocks import Phrase


@dataclass(frozen=True, slots=True)
class Clock:
    """One clock in words: a name, a phrase, a warning or none. due: what it counts to is reached or passed."""

    name: str
    says: Phrase
    due: bool = False
    warning: str = ""


@dataclass(frozen=True, slots=True)
class SteelLine:
    """One area and its clocks."""

    area: str
    label: str
    stage: str
    clocks: tuple[Clock, ...]
