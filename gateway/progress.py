"""A bar for long work, on the terminal a person looks at and nowhere else."""

import sys

WIDTH = 40


def bar(what: str, done: int, total: int, each: int = 1) -> None:
    """Draw how much of `total` is done, again after every `each`; the last one ends the line."""
    if not sys.stderr.isatty() or not total or (done % each and done != total):
        return
    filled = WIDTH * done // total
    print(f"\r{'█' * filled}{'·' * (WIDTH - filled)} {done}/{total} {what}", end="", file=sys.stderr, flush=True)
    if done == total:
        print(file=sys.stderr)
