"""Kill a time-series server at random instants while `follow` copies a growing journal; count what it lacks.

Prints `fault series_kill <tries> lost <n> twice <n>`; fails when a sample is missing or there twice, or when
`follow --count` says otherwise.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from tests.flow.test_timeseries import Book, Victoria


class Growth(threading.Thread):
    """The journal's writer: readings without a pause."""

    def __init__(self, home: Path) -> None:
        super().__init__()
        self.book, self.done = Book(home), threading.Event()

    def run(self) -> None:
        chance = random.Random(5)
        while not self.done.wait(0.1):
            self.book.add(chance.randrange(1, 80))


def play(folder: Path, tries: int, chance: random.Random) -> tuple[int, int]:
    """Return how many samples the server lacks, and how many it has too many."""
    server, growth = Victoria(folder / "victoria"), Growth(folder / "home")
    command = [sys.executable, "-m", "gateway", "follow", "--home", str(folder / "home"), "--url", server.url]
    follow = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    growth.start()
    work = 0
    for _ in range(tries):
        before = len(server.samples())
        end = time.monotonic() + 30
        while len(server.samples()) <= before and time.monotonic() < end:
            time.sleep(0.05)
        work += len(server.samples()) > before
        time.sleep(chance.uniform(0.0, 2.0))
        server.kill()
        time.sleep(chance.uniform(0.0, 1.0))
        server.start()
    growth.done.set()
    growth.join()
    book, end = growth.book, time.monotonic() + 150
    while not server.samples() >= book.expected and time.monotonic() < end:
        time.sleep(1)
    found = server.samples()
    print(f"# killed {tries}, {work} at work; {len(book.expected)} readings", flush=True)
    counted = subprocess.run([*command, "--count", "7"], check=False)
    follow.terminate()
    follow.wait(30)
    server.kill()
    unlike = int(counted.returncode != 0)
    return len(book.expected - found) + unlike, len(found - book.expected)


def main() -> int:
    """Run the fault; return 1 when anything is missing or there twice."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lost, twice = play(Path(folder), args.tries, random.Random(args.seed))
    print(f"fault series_kill {args.tries} lost {lost} twice {twice}")
    return 1 if lost or twice else 0


if __name__ == "__main__":
    sys.exit(main())
