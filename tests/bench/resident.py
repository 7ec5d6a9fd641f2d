"""How much memory a command and the processes it starts hold: the largest of them, and all of them together.

What the kernel counts for a process that has ended (`getrusage`) begins with what its parent held when it was
started, so a big bench would measure itself. Looked at from outside instead, every few milliseconds.
"""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

EACH_S = 0.005
_KB = re.compile(r"Vm(HWM|RSS):\s+(\d+) kB")


class Held(NamedTuple):
    """Seconds a command took; MB (10^6 bytes) of its largest process and of all its processes at one moment.

    Pages that several of them share are counted for each, so the sum is rather too high than too low.
    """

    seconds: float
    largest_mb: float
    together_mb: float


def held_by(command: list[str], env: dict[str, str] | None = None) -> Held:
    """Run a command to its end. Raises CalledProcessError when it fails."""
    began, largest, together = time.monotonic(), 0, 0
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, env=env) as run:
        while run.poll() is None:
            found = [each for pid in _family(run.pid) if (each := _kilobytes(pid))]
            largest = max([largest, *(highest for highest, _ in found)])
            together = max(together, sum(now for _, now in found))
            time.sleep(EACH_S)
    if run.returncode:
        raise subprocess.CalledProcessError(run.returncode, command)
    return Held(time.monotonic() - began, largest * 1024 / 1e6, together * 1024 / 1e6)


def _family(pid: int) -> Iterator[int]:
    yield pid
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            children = task.read_text().split()
        except OSError:  # gone meanwhile
            continue
        for child in children:
            yield from _family(int(child))


def _kilobytes(pid: int) -> tuple[int, int] | None:
    """The most it ever held since it began, and what it holds; None where it is gone."""
    try:
        found = dict(_KB.findall(Path(f"/proc/{pid}/status").read_text()))
    except OSError:
        return None
    return (int(found["HWM"]), int(found["RSS"])) if len(found) == 2 else None
