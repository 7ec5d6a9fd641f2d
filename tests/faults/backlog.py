"""Drain a backlog that waited at the broker; print how much memory `run` took at most.

Prints `bench backlog_rss <MB> MB goal <200`; 200,000 messages, 1,000,000 with --long. Fails when one is missing.
"""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.ingest import BROKER, _last_entry, preload
from tests.bench.memory import _rss_mb
from tests.broker import Mosquitto
from tests.faults.kill_run import GATEWAY, make_session, prepare, start, stored

GOAL_MB, MOST_S = 200.0, 900.0
QUIET_S = 3.0


def peak_mb(home: Path, broker: Mosquitto, count: int) -> float:
    """Return the most MB seen while `run` drains, looking ten times a second."""
    run, most = start(home, broker.port), 0.0
    try:
        at = begin = _last_entry(home)
        end, quiet = time.monotonic() + MOST_S, time.monotonic() + QUIET_S
        while at < begin + count or time.monotonic() < quiet:  # what the broker sends again is an entry, too
            if time.monotonic() > end:
                raise RuntimeError(f"entry {at} of {begin + count} after {MOST_S:g} s")
            most = max(most, _rss_mb(run.pid))
            time.sleep(0.1)
            before, at = at, _last_entry(home)
            quiet = time.monotonic() + QUIET_S if at > before else quiet
        return max(most, _rss_mb(run.pid))
    finally:
        run.send_signal(signal.SIGTERM)
        run.wait(60)


def main() -> int:
    """Run it; return 1 when the goal is missed or a message is missing."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--long", action="store_true", help="1,000,000 messages")
    count = 1_000_000 if parser.parse_args().long else 200_000
    with tempfile.TemporaryDirectory() as folder:
        home, broker = Path(folder) / "home", Mosquitto(Path(folder), BROKER)
        prepare(home)
        make_session(broker.port, GATEWAY)
        preload(broker.port, count)
        most = peak_mb(home, broker, count)
        kept = sum(stored(home).values())
        broker.stop()
    print(f"# {kept} of {count} messages in the journal")
    print(f"bench backlog_rss {most:.1f} MB goal <{GOAL_MB:g}")
    return 1 if kept != count or most >= GOAL_MB else 0


if __name__ == "__main__":
    sys.exit(main())
