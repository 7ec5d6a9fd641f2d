"""Hours of a whole site at time-lapse with everything going wrong by turns.

`run` and `deliver` killed, `run` held, its clock set, the broker stopped, the network cut, the disk filled.
Anyone can run it: `python -m tests.faults.soak --hours 8` (as root, for the network and the disk). Prints what was
lost and kept twice, and as benches what grew of memory and open files between kills after warm-up, the longest
time in which nothing was recorded, alarms that did not come or came late. Fails when anything was lost, kept twice
or not told, or when memory grew.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from gateway import history_command
from gateway.clock import TimeLapse
from tests.bench.memory import _rss_mb
from tests.faults import stepped
from tests.faults.kill_run import GATEWAY, make_session, prepare, settle
from tests.faults.real import fill, small_disk
from tests.faults.soak_box import HeldBroker, Phone, Programs, Sensors, broker_in, jobsite
from tests.faults.soak_counts import (
    ON_DELAY_S,
    Sample,
    could_know,
    delays_s,
    fault_s,
    growth,
    longest_blind_s,
)

LONGEST_S = 6.0  # of one fault
PAUSE_S = (3.0, 12.0)  # between two
NO_KILLS = (0.25, 0.95)
"""Between these shares of the time nothing is killed, since a new process begins small again."""
GROWTH_PERCENT, GROWTH_FILES = 2.0, 20
"""Files: SQLite keeps one open for the next reader for as many as ever read at once (twenty stay twenty)."""
START_S = 60.0  # a busy machine takes that long to load the program
GRACE_S = 5.0  # for a restart, a new connection and one look at the outbox, beyond the faults themselves


@dataclass
class Site:
    """What is under test, what was done to it and when, and what it took of the machine."""

    programs: Programs
    broker: object
    chance: random.Random
    began_s: float
    length_s: float
    is_disk_small: bool
    log: Path
    faults: dict[str, int] = field(default_factory=dict)
    times: list[tuple[float, float]] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)  # share of the time, MB of run, of deliver, open files

    @property
    def share(self) -> float:
        """How much of the time is over."""
        return (time.time() - self.began_s) / self.length_s

    def some_time(self) -> float:
        return self.chance.uniform(0.1, LONGEST_S)

    def kill_run(self) -> None:
        """As a power cut would; the time until the board is live again is part of the fault."""
        self.programs.run.kill()
        self.programs.run.wait()
        self.programs.start_run()
        end_s = time.monotonic() + START_S
        while not self._page("health") and time.monotonic() < end_s:
            time.sleep(0.2)

    def kill_deliver(self) -> None:
        """It is out of memory, say."""
        self.programs.deliver.kill()
        self.programs.deliver.wait()
        self.programs.start_deliver()

    def hold_run(self) -> None:
        """The machine is busy with something else."""
        self.programs.run.send_signal(signal.SIGSTOP)
        time.sleep(self.some_time())
        self.programs.run.send_signal(signal.SIGCONT)

    def cut_network(self) -> None:
        """Nothing answers, no connection is closed."""
        self.broker.cut(self.some_time())

    def stop_broker(self) -> None:
        """It is updated, say."""
        self.broker.stop()
        time.sleep(self.some_time())
        self.broker.start()

    def fill_disk(self) -> None:
        """Somebody copies pictures onto it."""
        filler = fill(self.programs.home.parent)
        time.sleep(self.some_time())
        filler.unlink()

    def step_clock(self) -> None:
        """Somebody sets the clock, or a time server does."""
        stepped.step(self.programs.clock, self.chance.uniform(-3.0, 3.0))

    def one(self) -> None:
        """Look at the programs, then bring one fault about."""
        for name, process in (("run", self.programs.run), ("deliver", self.programs.deliver)):
            if process.poll() is not None:  # as the supervisor would: on an end that is no fault of ours, too
                self.faults[f"{name} ended by itself"] = self.faults.get(f"{name} ended by itself", 0) + 1
                getattr(self.programs, f"start_{name}")()
        self._look()
        acts: list[Callable[[], None]] = [self.hold_run, self.cut_network, self.stop_broker, self.step_clock]
        if self.is_disk_small:
            acts.append(self.fill_disk)
        if not NO_KILLS[0] < self.share < NO_KILLS[1]:
            acts += [self.kill_run, self.kill_deliver]
        act = self.chance.choice(acts)
        self.faults[act.__name__] = self.faults.get(act.__name__, 0) + 1
        began_s = time.time()
        act()
        self.times.append((began_s, time.time()))
        with self.log.open("a") as log:
            log.write(f"{began_s:.1f} {time.time() - began_s:5.1f} s {act.__name__}\n")

    def _page(self, path: str) -> bytes:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.programs.page}/{path}", timeout=5) as answer:
                return bytes(answer.read())
        except OSError:  # it is just starting, or the board is stale and says so with 503
            return b""

    def _look(self) -> None:
        for path in ("", "metrics"):
            self._page(path)
        pid = self.programs.run.pid
        files = len(list(Path(f"/proc/{pid}/fd").iterdir()))
        self.samples.append((self.share, _rss_mb(pid), _rss_mb(self.programs.deliver.pid), files))


@contextmanager
def _disk(folder: Path, is_small: bool) -> Iterator[Path]:
    if not is_small:
        folder.mkdir()
        yield folder
        return
    with small_disk(folder, "160m") as disk:
        yield disk


def soak(folder: Path, hours: float, factor: float, seed: int, keep: Path | None) -> int:
    """Run it; return 1 when anything was lost, kept twice, not told or grew."""
    with broker_in(folder) as broker, _disk(folder / "disk", not isinstance(broker, HeldBroker)) as disk:
        home, words = disk / "home", f"{factor:g},{datetime.now(UTC).isoformat()},{time.time()}"
        prepare(home, jobsite())
        make_session(broker.address(0), GATEWAY)  # it must exist before anything is published
        phone, lapse = Phone(), TimeLapse.parse(words)
        stepped.step(folder / "clock", 0.0)
        programs = Programs(home, folder, broker, words, phone.contacts(folder / "contacts.toml"))
        sensors = Sensors(broker.address(1), lapse, seed)
        is_small = not isinstance(broker, HeldBroker)
        site = Site(
            programs,
            broker,
            random.Random(seed),
            time.time(),
            hours * 3600 / factor,
            is_small,
            folder / "faults.log",
        )
        with programs:
            sensors.start()
            _bring_about(site, sensors)
            lost, twice, unlike = settle(home, programs.run, sensors)
        rows = history_command.run("rebuild", ["--home", str(home), "--check"], "")
        blind_s = longest_blind_s(home) / factor
        if keep:
            shutil.copytree(home, keep / "home")
            for name in ("faults.log", "said.log"):
                shutil.copy(folder / name, keep)
            (keep / "phone.log").write_text("".join(f"{at:.1f} {title}\n" for at, title in phone.taken))
            (keep / "samples.log").write_text("".join(f"{each}\n" for each in site.samples))
            (keep / "wet.log").write_text("".join(f"{at:.1f}\n" for at in sensors.wet_s))
        heard = could_know(home, sensors.wet_ms)
        waited = delays_s(sensors.wet_s, phone.taken, time.time(), heard)
        print(f"# {heard.count(False)} of {len(heard)} wet spells could not be known: late, or not heard")
        return _told(site, (lost + unlike + rows, twice), hours, blind_s, sensors.wet_s, waited, factor)


def _bring_about(site: Site, sensors: Sensors) -> None:
    while site.share < 1:
        time.sleep(site.chance.uniform(*PAUSE_S))
        site.one()
        if sys.stderr.isatty():
            print(f"\r# {site.share:.0%} {site.faults}", end="", file=sys.stderr)
    time.sleep(LONGEST_S + GRACE_S)
    sensors.done.set()
    sensors.join()


def _told(
    site: Site, counts: tuple[int, int], hours: float, blind_s: float, wet_s: list[float],
    waited: list[float | None], factor: float,
) -> int:  # fmt: skip
    run_percent, deliver_percent, files = growth(site.samples)
    beyond = [
        each - ON_DELAY_S / factor - fault_s(site.times, at, at + each)
        for at, each in zip(wet_s, waited, strict=True)
        if each is not None
    ]
    missed = waited.count(None)
    print(f"# {hours:g} hours of the site in {site.length_s / 60:.0f} min: {site.faults}")
    for line in site.programs.log.read_text().splitlines():
        if line.endswith(("event=failed", "event=not-started")):
            print(f"# {line}")
    print(f"fault soak {sum(site.faults.values())} lost {counts[0]} twice {counts[1]}")
    print(f"bench soak_memory_growth {run_percent:.2f} % goal <{GROWTH_PERCENT:g}")
    print(f"bench soak_deliver_memory_growth {deliver_percent:.2f} % goal <{GROWTH_PERCENT:g}")
    print(f"bench soak_files_growth {files} files goal <={GROWTH_FILES}")
    print(f"bench soak_longest_blind {blind_s:.1f} s goal <={LONGEST_S + 20:g}")
    print(f"bench soak_alarms_missed {missed} of_{len(wet_s)} goal <=0")
    late = sum(each > GRACE_S for each in beyond)
    print(f"bench soak_alarms_late {late} of_{len(wet_s)} goal <=0")
    print(f"# latest alarm {max(beyond, default=0.0):.1f} s beyond its delay and the faults meanwhile")
    grew = hours >= 4 and max(run_percent, deliver_percent) >= GROWTH_PERCENT
    return 1 if any(counts) or missed or grew else 0


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=8.0, help="of the site's time")
    parser.add_argument("--lapse", type=float, default=16.0, help="how many times faster the site lives")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the home and what was done and said, to look at")
    args = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(2))  # so that broker, disk and programs are taken away
    with tempfile.TemporaryDirectory() as folder:
        return soak(Path(folder), args.hours, args.lapse, args.seed, args.keep)


if __name__ == "__main__":
    sys.exit(main())
