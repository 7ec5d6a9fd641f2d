"""The real program with a wall clock that can be set: python -m tests.faults.stepped FILE WORDS...

FILE holds eight bytes, how many seconds the wall clock is off, as a double. Other programs keep their clock.
"""

from __future__ import annotations

import mmap
import struct
import sys
import time
from pathlib import Path

_DOUBLE = struct.Struct("d")


def step(path: Path, seconds: float) -> None:
    """Set the clock of the program that was started with this file; make the file if it is not there."""
    with path.open("r+b" if path.exists() else "w+b") as file:
        file.write(_DOUBLE.pack(seconds))


def main() -> int:
    """Put the step onto what the program reads as time, then be the program."""
    with Path(sys.argv[1]).open("rb") as file:
        held = mmap.mmap(file.fileno(), _DOUBLE.size, access=mmap.ACCESS_READ)
    seconds, nanoseconds = time.time, time.time_ns
    time.time = lambda: seconds() + _DOUBLE.unpack_from(held)[0]
    time.time_ns = lambda: nanoseconds() + round(_DOUBLE.unpack_from(held)[0] * 1e9)
    from gateway.__main__ import main as program

    return program(sys.argv[2:])


if __name__ == "__main__":
    sys.exit(main())
