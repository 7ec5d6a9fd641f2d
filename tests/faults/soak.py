"""Hours with everything going wrong by turns: `run` killed or held, the broker stopped, held or cut off.

Prints `fault soak <faults> lost <n> twice <n>`, and as benches what grew: memory and open files of `run` after
warm-up, and the longest time in which nothing new was recorded. Anyone can run it, for hours:
`python -m tests.faults.soak --minutes 480`. Fails when anything was lost or kept twice, and when memory grew in an
hour or more without a kill.
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from gateway import entry
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Kind
from tests.bench.memory import _rss_mb
from tests.broker import Mosquitto
from tests.faults.kill_run import GATEWAY, Publisher, make_session, prepare, settle, start

LONGEST_S = 6.0  # of one fault
GROWTH_PERCENT, GROWTH_FILES = 2.0, 0


@dataclass
class Box:
    """The programs under test, what was done to them, and what `run` took of the machine between two faults."""

    home: Path
    broker: Mosquitto
    run: subprocess.Popen[bytes]
    chance: random.Random
    faults: dict[str, int] = field(default_factory=dict)
    samples: list[tuple[float, int]] = field(default_factory=list)  # MB, open files

    def kill_run(self) -> None:
        """As a power cut would."""
        self.run.send_signal(signal.SIGKILL)
        self.run.wait()
        self.run = start(self.home, self.broker.port)

    def hold_run(self) -> None:
        """The machine is busy with something else."""
        self._hold(self.run)

    def hold_broker(self) -> None:
        """The network is cut: nothing answers, no connection is closed."""
        self._hold(self.broker.process)

    def stop_broker(self) -> None:
        """It is updated, say."""
        self.broker.stop()
        time.sleep(self.chance.uniform(0.1, LONGEST_S))
        self.broker.start()

    def _hold(self, process: subprocess.Popen[bytes]) -> None:
        process.send_signal(signal.SIGSTOP)
        time.sleep(self.chance.uniform(0.1, LONGEST_S))
        process.send_signal(signal.SIGCONT)

    def one(self) -> None:
        """Bring one fault about, and look at `run` before it."""
        files = len(list(Path(f"/proc/{self.run.pid}/fd").iterdir()))
        self.samples.append((_rss_mb(self.run.pid), files))
        acts: list[Callable[[], None]] = [self.hold_run, self.hold_broker, self.stop_broker]
        act = self.kill_run if self.chance.random() < 0.1 else self.chance.choice(acts)
        self.faults[act.__name__] = self.faults.get(act.__name__, 0) + 1
        act()


def growth(samples: list[tuple[float, int]]) -> tuple[float, int]:
    """Return how far the last tenth lies above the first one after warm-up: percent of memory, open files."""
    part = max(len(samples) // 10, 1)
    warm, last = samples[part : 2 * part] or samples[:1], samples[-part:]
    mb = [sum(each[0] for each in some) / len(some) for some in (warm, last)]
    return 100 * (mb[1] / mb[0] - 1), max(each[1] for each in last) - max(each[1] for each in warm)


def longest_blind_s(home: Path) -> float:
    """The longest time between two messages in the journal, by the moment each was taken in."""
    before, longest = None, 0
    with closing(open_reader(home / "journal.db")) as reader:
        for each in entries_after(reader, 0):
            kind, core_ms = entry.kind_and_time(each)
            if kind in (Kind.MESSAGE, Kind.REJECTION):
                longest = max(longest, core_ms - (core_ms if before is None else before))
                before = core_ms
    return longest / 1000


def soak(folder: Path, minutes: float, rate: float, seed: int) -> int:
    """Run it; return 1 when anything was lost, kept twice or grew."""
    home, broker = folder / "home", Mosquitto(folder)
    prepare(home)
    make_session(broker.port, GATEWAY)  # it must exist before anything is published
    box = Box(home, broker, start(home, broker.port), random.Random(seed))
    publisher = Publisher(broker.port, rate)
    publisher.start()
    end = time.monotonic() + 60 * minutes
    while time.monotonic() < end:
        time.sleep(box.chance.uniform(2.0, 8.0))
        box.one()
        if sys.stderr.isatty():
            print(f"\r# {(end - time.monotonic()) / 60:.1f} min left, {box.faults}", end="", file=sys.stderr)
    time.sleep(LONGEST_S)
    publisher.done.set()
    publisher.join()
    lost, twice, unlike = settle(home, box.run, publisher)
    broker.stop()
    return _told(box, lost + unlike, twice, minutes)


def _told(box: Box, lost: int, twice: int, minutes: float) -> int:
    percent, files = growth(box.samples)
    print(f"# {minutes:g} min: {box.faults}")
    print(f"fault soak {sum(box.faults.values())} lost {lost} twice {twice}")
    print(f"bench soak_memory_growth {percent:.2f} % goal <{GROWTH_PERCENT:g}")
    print(f"bench soak_files_growth {files} files goal <={GROWTH_FILES}")
    print(f"bench soak_longest_blind {longest_blind_s(box.home):.1f} s goal <={LONGEST_S + 20:g}")
    killed = box.faults.get("kill_run", 0)  # a new process begins small again
    return 1 if lost or twice or (not killed and minutes >= 60 and percent >= GROWTH_PERCENT) else 0


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--rate", type=float, default=50.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return soak(Path(folder), args.minutes, args.rate, args.seed)


if __name__ == "__main__":
    sys.exit(main())
