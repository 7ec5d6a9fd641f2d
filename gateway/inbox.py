"""The home's inbox: what commands leave for the running writer. A file appears whole or not at all.

`*.config` is a jobsite to be in force, `*.act` what a person does, `*.base` what is to stand for entries that are
dropped. A refused act or base becomes `*.refused`, its reason in it, for the command that waits for it. The file
system's permissions say who may leave something here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from gateway.payload import canonical

PATIENCE_S, LOOK_S = 10.0, 0.1


class NotTaken(Exception):
    """The running dewgate did not take it within 10 s; is it alive?"""

    def __str__(self) -> str:
        """The docstring is the message."""
        return str(self.__doc__)


def leave(home: Path, suffix: str, body: bytes) -> Path:
    """Leave a file for the writer and return its path."""
    left = home / "inbox" / f"{time.time_ns()}.{suffix}"
    left.parent.mkdir(parents=True, exist_ok=True)
    left.with_suffix(".part").write_bytes(body)
    left.with_suffix(".part").rename(left)
    return left


def take_acts(home: Path, act: Callable[[Mapping[str, Any]], str | None]) -> list[Path]:
    """Hand acts on and return the files of those that were taken, to be dropped once they are on disk."""
    taken = []
    for path in sorted((home / "inbox").glob("*.act")):
        why = _handed_on(path, act)
        if why is None:
            taken.append(path)
        else:
            _refuse(path, why)
    return taken


def take_bases(home: Path, drop: Callable[[bytes], None]) -> None:
    """Have the entries dropped that a base is to stand for."""
    for path in sorted((home / "inbox").glob("*.base")):
        try:
            drop(path.read_bytes())
            path.unlink()
        except ValueError as error:
            _refuse(path, str(error))


def _refuse(path: Path, why: str) -> None:
    path.write_text(why)
    path.rename(path.with_suffix(".refused"))


def _handed_on(path: Path, act: Callable[[Mapping[str, Any]], str | None]) -> str | None:
    try:
        return act(canonical.to_dict(path.read_bytes()))
    except ValueError as error:
        return f"this is no act: {error}"


def answer(left: Path, be_the_writer: Callable[[], bool]) -> str | None:
    """Wait until a file is taken, return why it was refused or None. Raises NotTaken.

    be_the_writer: takes the inbox in itself, and says whether it could; false where another writer runs.
    """
    until = time.monotonic() + PATIENCE_S
    refused = left.with_suffix(".refused")
    while left.exists() and time.monotonic() < until and not be_the_writer():
        time.sleep(LOOK_S)
    if refused.exists():
        why = refused.read_text()
        refused.unlink()
        return why
    if left.exists():
        left.unlink(missing_ok=True)
        raise NotTaken
    return None
