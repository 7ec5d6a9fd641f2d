"""Canonical bytes of what the journal keeps beside messages: jobsite, actions, checkpoints.

Keys sorted, no blanks, so that the same value always gives the same bytes and the same hash.
"""

from __future__ import annotations

from typing import Any, TypeVar

import msgspec

from gateway.jobsite import Jobsite

T = TypeVar("T")
_json = msgspec.json.Encoder(order="deterministic")
_pack = msgspec.msgpack.Encoder()


def to_bytes(value: object) -> bytes:
    """Return canonical JSON."""
    return _json.encode(value)


def to_dict(body: bytes) -> dict[str, Any]:
    """Return the object a JSON body holds. Raises ValueError when it is none."""
    value = msgspec.json.decode(body)
    if not isinstance(value, dict):
        raise ValueError("not a JSON object")
    return value


def value_of(body: bytes, kind: type[T]) -> T:
    """Return the value of a kind that a JSON body holds. Raises ValueError when it does not fit."""
    return msgspec.json.decode(body, type=kind)


def config_set(jobsite: Jobsite, who: str, why: str) -> bytes:
    """Return the body of a ConfigSet entry: the whole jobsite, who set it and why."""
    return to_bytes({"jobsite": jobsite, "who": who, "why": why})


def jobsite_of(body: bytes) -> Jobsite:
    """Return the jobsite of a ConfigSet body. Raises ValueError when it does not fit."""
    return msgspec.convert(to_dict(body)["jobsite"], Jobsite)


def checkpoint(state: object) -> bytes:
    """Return the state's bytes."""
    return _pack.encode(state)


def from_checkpoint(body: bytes, kind: type[T]) -> T:
    """Return the state a checkpoint holds. Raises ValueError when it does not fit this program."""
    return msgspec.msgpack.decode(body, type=kind)
