"""Messages of edge nodes, made by a library that is not ours; the file says which and how."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

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
