"""Kill `deliver` at random instants while three people's servers fail by turns; count what never arrived.

Servers answer 500, 429 or a redirect, hang, or listen no more. A message that arrives again must be recognisable:
the same event number with another attempt. Prints `fault deliver_kill <tries> lost <n> twice <n>`, `twice` being
arrivals that cannot be told from an earlier one; fails when either is above 0.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from alerts.notification import Notice
from gateway import entry
from gateway.adapters.home import outcomes_after
from gateway.adapters.journal import Journal
from gateway.entry import Kind
from gateway.flow_state import Outcomes
from tests.faults.kill_run import prepare

PEOPLE = ("lead", "inspector", "keeper")
MOODS = ("fail", "busy", "hang", "moved", "away")
ANSWERS = {"": 200, "hang": 200, "fail": 500, "busy": 429, "moved": 302, "away": 503}
HANG_S = 6  # longer than the messenger waits: it arrives, and nobody is told


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    phone: Phone


class Phone:
    """One person's server: takes messages, or fails as its mood says."""

    def __init__(self, chance: random.Random) -> None:
        self.taken: list[tuple[str, str]] = []
        self.mood, self.port, self._chance = "", 0, chance
        self.failed: Counter[str] = Counter()
        self._listen()

    def _listen(self) -> None:
        self._server = _Server(("127.0.0.1", self.port), _Handler)
        self._server.phone, self.port = self, self._server.server_port
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self) -> None:
        """Listen no more."""
        self._server.shutdown()
        self._server.server_close()

    def moods(self, calm: threading.Event) -> None:
        """Fail for a while now and then, each time in another way."""
        while not calm.wait(self._chance.uniform(1.0, 4.0)):
            self.mood = self._chance.choice(MOODS)
            self.failed[self.mood] += 1
            if self.mood == "away":
                self.stop()
            calm.wait(self._chance.uniform(0.2, 0.8))
            if self.mood == "away":
                self._listen()
            self.mood = ""


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    def do_POST(self) -> None:
        phone, mood = self.server.phone, self.server.phone.mood
        title = json.loads(self.rfile.read(int(self.headers["Content-Length"])))["title"]
        if mood == "hang":
            time.sleep(HANG_S)
        if mood in ("", "hang"):
            number, attempt = title.split()[:2]
            phone.taken.append((number, attempt))
        try:
            self.send_response(ANSWERS[mood])
            if mood == "moved":
                self.send_header("Location", "/elsewhere")
            self.end_headers()
        except OSError:
            return  # the messenger has gone meanwhile

    def do_GET(self) -> None:
        """What a redirect leads to: it answers as if all were well, and has no message."""
        self.send_response(200)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Say nothing."""


def write_events(home: Path, count: int, seconds: float) -> None:
    """Append events for everyone to the journal, as its one writer does, spread over a time."""
    with closing(Journal(home / "journal.db")) as book:
        (seq,) = book.db.execute("SELECT max(seq) FROM entries").fetchone()
        for number in range(1, count + 1):
            priority = ("high", "medium", "low")[number % 3]
            told = [Notice(f"A-{number}", who, who, priority, f"A-{number} Stop.", "Text.") for who in PEOPLE]
            made = [entry.plain(Kind.HEARTBEAT, time.time_ns() // 1_000_000, b"")]
            book.commit(seq + number, made, 1, Outcomes(notices=told), time.time_ns() // 1_000_000)
            time.sleep(seconds / count)


def start(home: Path, contacts: Path) -> subprocess.Popen[bytes]:
    """Start the real program."""
    command = [sys.executable, "-m", "gateway", "deliver", "--home", str(home), "--contacts", str(contacts)]
    return subprocess.Popen(command)


def write_contacts(folder: Path, phones: dict[str, Phone]) -> Path:
    path = folder / "contacts.toml"
    path.touch(mode=0o600)
    lines = [f'{name} = "json://127.0.0.1:{phone.port}/"' for name, phone in phones.items()]
    path.write_text("\n".join(["[channels]", *lines]))
    return path


def delivered(home: Path) -> int:
    """Count the rows that are settled as delivered."""
    cursor, rows = 0, set[object]()
    while found := outcomes_after(home / "delivery.db", cursor):
        cursor = found[-1][0]
        rows |= {said["outbox"] for _, said in found if said["outcome"] == "delivered"}
    return len([row for row in rows if isinstance(row, int) and row > 0])


def play(folder: Path, tries: int, events: int, chance: random.Random) -> tuple[int, int, int]:
    """Return how many were lost, how many came again, and how many of these cannot be recognised."""
    home, calm = folder / "home", threading.Event()
    prepare(home)
    phones = {name: Phone(random.Random(chance.random())) for name in PEOPLE}
    contacts = write_contacts(folder, phones)
    threads = [threading.Thread(target=phone.moods, args=(calm,)) for phone in phones.values()]
    threads.append(threading.Thread(target=write_events, args=(home, events, tries * 3.0)))
    for thread in threads:
        thread.start()
    killed_in_work = 0
    process = start(home, contacts)
    for _ in range(tries):
        before = sum(len(phone.taken) for phone in phones.values())
        _wait_for_work(phones, before, 5.0)
        time.sleep(chance.uniform(0.0, 1.0))
        killed_in_work += sum(len(phone.taken) for phone in phones.values()) > before
        process.send_signal(signal.SIGKILL)
        process.wait()
        process = start(home, contacts)
    calm.set()
    for thread in threads:
        thread.join()
    end = time.monotonic() + 1000  # rows that failed four times wait for a quarter of an hour at most
    while delivered(home) < events * len(PEOPLE) and time.monotonic() < end:
        time.sleep(1)
    process.send_signal(signal.SIGTERM)
    process.wait(30)
    time.sleep(HANG_S)
    for phone in phones.values():
        phone.stop()
    moods = sum((phone.failed for phone in phones.values()), Counter[str]())
    print(f"# killed {tries}, {killed_in_work} at work; servers failed: {dict(moods)}", flush=True)
    return count(phones, events)


def _wait_for_work(phones: dict[str, Phone], before: int, seconds: float) -> None:
    end = time.monotonic() + seconds
    while sum(len(phone.taken) for phone in phones.values()) <= before and time.monotonic() < end:
        time.sleep(0.02)


def count(phones: dict[str, Phone], events: int) -> tuple[int, int, int]:
    """Count losses, repeats and those that nobody can recognise."""
    wanted = {f"A-{number}" for number in range(1, events + 1)}
    lost = sum(len(wanted - {number for number, _ in phone.taken}) for phone in phones.values())
    arrived = {name: [each for each in phone.taken if each[0] in wanted] for name, phone in phones.items()}
    again = sum(len(each) - len({number for number, _ in each}) for each in arrived.values())
    alike = sum(len(each) - len(set(each)) for each in arrived.values())
    return lost, again, alike


def main() -> int:
    """Run the fault; return 1 when anything was lost or cannot be recognised as a repeat."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=50)
    parser.add_argument("--events", type=int, help="default: 20 for each kill")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    events = args.events or 20 * args.tries
    with tempfile.TemporaryDirectory() as folder:
        lost, again, alike = play(Path(folder), args.tries, events, random.Random(args.seed))
    print(f"# {events} events for {len(PEOPLE)} people, {again} came again")
    print(f"fault deliver_kill {args.tries} lost {lost} twice {alike}")
    return 1 if lost or alike else 0


if __name__ == "__main__":
    sys.exit(main())
