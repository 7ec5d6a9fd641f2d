"""Canonical bytes of what the journal keeps beside messages: jobsite, actions, checkpoints.

Keys sorted, no blanks, so that the same value always gives the same bytes and the same hash.
"""

from __future__ import annotations

from itertools import accumulate, pairwise
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


LONG = 16  # whole numbers in a row, from which on the steps between them are shorter
_ROW = "\0"  # the one name in what stands for such a row


def steps(checkpoint: bytes) -> bytes:
    """Return a checkpoint in which rows of whole numbers are the steps between them: it packs to half the size.

    Not every state comes back from it; who packs one compares.
    """
    return _pack.encode(_steps(msgspec.msgpack.decode(checkpoint)))


def from_steps(body: bytes) -> bytes:
    """Return the checkpoint `steps` was given. Raises ValueError, TypeError or OverflowError for other bytes."""
    return _pack.encode(_from_steps(msgspec.msgpack.decode(body)))


def _steps(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _steps(each) for key, each in value.items()}
    if not isinstance(value, list):
        return value
    if len(value) >= LONG and all(type(each) is int for each in value):
        return {_ROW: [value[0], *(after - before for before, after in pairwise(value))]}
    return [_steps(each) for each in value]


def _from_steps(value: Any) -> Any:
    if isinstance(value, list):
        return [_from_steps(each) for each in value]
    if not isinstance(value, dict):
        return value
    if value.keys() == {_ROW}:
        return list(accumulate(value[_ROW]))
    return {key: _from_steps(each) for key, each in value.items()}
