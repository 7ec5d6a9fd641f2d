"""Kill `run` at random instants under load; count what the publisher had acknowledged and the journal lacks.

After each kill the chain of signed heads is checked against the entries, too. Prints
`fault kill_run <tries> lost <n> twice <n>`; fails when either is above 0, when a head does not fit, or when replay
or history differ.
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import paho.mqtt.client as paho

from gateway import entry, history_command
from gateway.adapters.address import Address
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Kind
from gateway.jobsite import Jobsite
from gateway.payload.canonical import config_set
from gateway.replay import differences
from gateway.service import Service
from tests.broker import Mosquitto
from tests.faults import head_chain
from tests.faults.publishing import Publishing
from tests.sites import margin_limit, pack, site

GATEWAY = "dewgate-run"  # what `run` calls itself


class Publisher(Publishing):
    """Publishes at a steady rate, QoS 1; remembers what the broker acknowledged. Every 50th is garbage."""

    def __init__(self, port: int, rate: float) -> None:
        super().__init__()
        self.port, self.rate = port, rate

    def run(self) -> None:
        client = self._client("publisher")
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        began, number = time.time(), 0
        while not self.done.is_set():
            number += 1
            self._publish(client, "dewgate/test/steel", self._payload(number))
            time.sleep(max(0.0, began + number / self.rate - time.time()))
        self._leave(client, 100)

    @staticmethod
    def _payload(number: int) -> bytes:
        if number % 50 == 0:
            return b"not SenML %d" % number
        return pack("steel", 20.0 + number / 100_000, time.time_ns() // 1_000_000)


def start(home: Path, port: int, *more: str, host: str = "127.0.0.1") -> subprocess.Popen[bytes]:
    """Start the real program."""
    command = [sys.executable, "-m", "gateway", "run", "--no-page", "--home", str(home)]
    return subprocess.Popen([*command, "--broker", f"{host}:{port}", *more])


def make_session(at: int | Address, client_id: str) -> None:
    """Leave a session behind for which the broker keeps what comes; at: a port of this machine, or an address."""
    to = Address("127.0.0.1", at) if isinstance(at, int) else at
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id, clean_session=False, protocol=paho.MQTTv311)
    to.dress(client)
    client.on_connect = lambda c, *_: c.subscribe("dewgate/test/#", qos=1)
    client.on_subscribe = lambda c, *_: c.disconnect()
    client.connect(to.host, to.port)
    client.loop_forever()


def stored(home: Path) -> Counter[bytes]:
    """Count the messages and rejections in the journal by hash; a named duplicate is present through its first.

    A message that was refused, could not be acknowledged and was taken when it came again counts once.
    """
    found: Counter[bytes] = Counter()
    refused: set[bytes] = set()
    with closing(open_reader(home / "journal.db")) as reader:
        for each in entries_after(reader, 0):
            kind, _, body = entry.unpack(each)
            if kind is Kind.MESSAGE:
                digest = sha256(entry.message_of(body).payload).digest()
                found[digest] += digest not in refused
                refused.discard(digest)
            elif kind is Kind.REJECTION:
                digest = entry.rejection_of(body).sha256
                found[digest] += 1
                refused.add(digest)
    return found


def main() -> int:
    """Run the fault; return 1 when anything was lost or kept twice."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=50)
    parser.add_argument("--rate", type=float, default=500.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    chance = random.Random(args.seed)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        prepare(home)
        broker = Mosquitto(Path(folder))
        make_session(broker.port, GATEWAY)  # it must exist before anything is published
        run = start(home, broker.port)
        publisher = Publisher(broker.port, args.rate)
        publisher.start()
        broken: list[str] = []
        for _ in range(args.tries):
            head_chain.ask_for_head(home)  # so that kills fall into the signing of heads and the change of keys
            if chance.random() < 0.7:  # on a busy machine a start takes seconds: not every kill is to fall into it
                head_chain.wait_until_it_writes(home)
            time.sleep(chance.uniform(0.1, 1.3))
            run.send_signal(signal.SIGKILL)
            run.wait()
            broken += head_chain.wrong(home)
            run = start(home, broker.port)
        publisher.done.set()
        publisher.join()
        lost, twice, unlike = settle(home, run, publisher)
        broken += head_chain.wrong(home)
        signed = head_chain.count(home)
        rows = history_command.run("rebuild", ["--home", str(home), "--check"], "")
        broker.stop()
    print(f"fault kill_run {args.tries} lost {lost} twice {twice}")
    print(f"fault kill_run_replay {args.tries} lost {unlike} twice 0")
    print(f"fault kill_run_history {args.tries} lost {rows} twice 0")
    print(f"# {signed} heads; wrong: {broken or 'none'}")
    print(f"fault kill_run_heads {args.tries} lost {len(broken)} twice 0")
    return 1 if lost or twice or unlike or rows or broken else 0


def prepare(home: Path, jobsite: Jobsite | None = None) -> None:
    """Put a jobsite in force: the test jobsite unless another is given."""
    service = Service(home)
    body = config_set(jobsite or site(margin_limit()), "keeper", "test")
    service.actions.append((Kind.CONFIG_SET, body))
    service.turn()
    service.close()


def settle(home: Path, run: subprocess.Popen[bytes], publisher: Publisher) -> tuple[int, int, int]:
    """Wait until the journal stops growing, stop the program and count."""
    expected = Counter(sha256(each).digest() for each in publisher.acknowledged)
    found: Counter[bytes] = Counter()
    for _ in range(60):
        time.sleep(0.5)
        found = stored(home)
        if all(key in found for key in expected):
            break
    run.send_signal(signal.SIGTERM)
    run.wait(20)
    found = stored(home)
    lost = sum(1 for key in expected if key not in found)
    twice = sum(found[key] - 1 for key in found if found[key] > 1 and expected.get(key, 1) == 1)
    with closing(open_reader(home / "journal.db")) as reader:
        count, unlike = differences(reader)
    print(f"# {len(publisher.acknowledged)} acknowledged, {count} entries, {len(unlike)} events differ on replay")
    return lost, twice, len(unlike)


if __name__ == "__main__":
    sys.exit(main())
