"""Kill the yard, or the site's `push`, at random instants while a journal grows; count what the yard lacks.

Prints `fault yard_kill <tries> lost <n> twice <n>` and the same for `push_kill`; `twice` counts entries at the
yard beyond those of the site. Fails when either is above 0, or when heads or entries are not those of the site.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from pathlib import Path

from tests.broker import free_port
from tests.faults.warm import Warm
from tests.yard.served import held, size, token_file
from tests.yard_site import Site, heads_of


class Growth(threading.Thread):
    """The site's writer: batches of entries without a pause, a head now and then."""

    def __init__(self, home: Path, batches_a_second: float) -> None:
        super().__init__()
        self.home, self.each_s, self.done = home, 1 / batches_a_second, threading.Event()
        self.site = Site(home)

    def run(self) -> None:
        chance = random.Random(3)
        while not self.done.wait(self.each_s):
            self.site.grow(self.site.readings(chance.randrange(1, 120)), head=chance.random() < 0.1)
        self.site.grow(self.site.readings(10), head=True)


def play(folder: Path, victim: str, tries: int, chance: random.Random) -> tuple[int, int]:
    """Return how many entries the yard lacks and how many it has too many."""
    home, yard, port = folder / "home", folder / "yard", free_port()
    token = token_file(yard, "north", folder / "token")
    serve = ("yard", "--folder", str(yard), "run", "--listen", f"127.0.0.1:{port}")
    push = ("push", "--home", str(home), "--yard", f"http://127.0.0.1:{port}", "--site", "north",
            "--token-file", str(token), "--every", "0.2")  # fmt: skip
    growth, warm = Growth(home, 5.0), Warm(folder / "log")
    running = {"yard": warm.start(*serve), "push": warm.start(*push)}
    growth.start()
    work = 0
    for _ in range(tries):
        before = size(yard, "north")
        _until_more(yard, before)
        time.sleep(chance.uniform(0.0, 0.4))
        work += size(yard, "north") > before
        running[victim].kill()
        running[victim] = warm.start(*(serve if victim == "yard" else push))
    growth.done.set()
    growth.join()
    _until_more(yard, len(growth.site.entries) - 1)
    for each in ("push", "yard"):
        running[each].stop()
    warm.close()
    print(f"# {victim} killed {tries}, {work} at work; {len(growth.site.entries)} entries", flush=True)
    return count(growth.site, yard)


def _until_more(yard: Path, before: int) -> None:
    end = time.monotonic() + 60
    while size(yard, "north") <= before and time.monotonic() < end:
        time.sleep(0.05)


def count(site: Site, yard: Path) -> tuple[int, int]:
    """Compare number by number: what is not the same entry in the same place is lost."""
    found = held(yard, "north")
    same = sum(1 for here, there in zip(site.entries, found, strict=False) if here == there)
    unlike = int(heads_of(yard / "sites" / "north") != site.heads())
    return len(site.entries) - same + unlike, max(0, len(found) - len(site.entries))


def main() -> int:
    """Run both faults; return 1 when anything was lost or kept twice."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=20)
    parser.add_argument("--victim", nargs="*", default=("yard", "push"))
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    bad = 0
    for victim in args.victim:
        with tempfile.TemporaryDirectory() as folder:
            lost, twice = play(Path(folder), victim, args.tries, random.Random(args.seed))
        print(f"fault {victim}_kill {args.tries} lost {lost} twice {twice}", flush=True)
        bad += lost + twice
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
