"""A bar for long work, on the terminal a person looks at; or a line in the file that a page looks at."""

import os
import sys
from contextlib import suppress
from pathlib import Path

WIDTH = 40
FILE = "DEWGATE_PROGRESS"
"""Names the file, in the environment of a command that a page has started."""


def bar(what: str, done: int, total: int, each: int = 1) -> None:
    """Draw how much of `total` is done, again after every `each`; the last one ends the line."""
    file = os.environ.get(FILE)
    if not (file or sys.stderr.isatty()) or not total or (done % each and done != total):
        return
    if file:
        with suppress(OSError):  # a full disk must not end the work itself
            Path(file).write_text(f"{done} {total} {what}")
        return
    filled = WIDTH * done // total
    print(f"\r{'█' * filled}{'·' * (WIDTH - filled)} {done}/{total} {what}", end="", file=sys.stderr, flush=True)
    if done == total:
        print(file=sys.stderr)
