"""Kill the broker while it hands a backlog over: what it gives again from its last save is stored once.

Prints `fault backlog_kill <tries> lost <n> twice <n>`; fails when either is above 0.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.ingest import _last_entry, preload
from tests.broker import Mosquitto, settings
from tests.faults.kill_run import GATEWAY, make_session, prepare, start, stored

QUIET_S, MOST_S = 8.0, 300.0


def one_try(folder: Path, count: int, after: float) -> tuple[int, int]:
    """Kill the broker once that share of the backlog was taken; return how many were lost and kept twice."""
    home, broker = folder / "home", Mosquitto(folder)
    prepare(home)
    make_session(broker.port, GATEWAY)
    preload(broker.port, count)
    time.sleep(float(settings()["autosave_interval"]) + 2)  # what is not saved may be lost
    last = _last_entry(home)
    run = start(home, broker.port)
    while _last_entry(home) < last + after * count:
        time.sleep(0.01)
    broker.process.kill()
    broker.process.wait()
    broker.start()
    _until_quiet(home)
    run.send_signal(signal.SIGTERM)
    run.wait(60)
    broker.stop()
    found = stored(home)
    print(f"# {_last_entry(home) - last} entries for {count} messages", flush=True)
    return count - len(found), sum(found.values()) - len(found)


def _until_quiet(home: Path) -> None:
    """Wait until the journal stops growing faster than by its heartbeat."""
    end, before, since = time.monotonic() + MOST_S, 0, time.monotonic()
    while time.monotonic() < end and time.monotonic() - since < QUIET_S:
        now = _last_entry(home)
        if now > before + 2:
            before, since = now, time.monotonic()
        time.sleep(0.2)


def main() -> int:
    """Run the fault; return 1 when anything was lost or kept twice."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=3)
    parser.add_argument("--count", type=int, default=80_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    chance, lost, twice = random.Random(args.seed), 0, 0
    for _ in range(args.tries):
        with tempfile.TemporaryDirectory() as folder:
            more = one_try(Path(folder), args.count, chance.uniform(0.1, 0.9))
        lost, twice = lost + more[0], twice + more[1]
    print(f"fault backlog_kill {args.tries} lost {lost} twice {twice}")
    return 1 if lost or twice else 0


if __name__ == "__main__":
    sys.exit(main())
