"""What a whole idle site takes of a box: broker, `run` with its board open, `deliver`; 24 channels every 10 s."""

from __future__ import annotations

import os
import signal
import tempfile
import time
import urllib.request
from pathlib import Path

from gateway.clock import TimeLapse
from tests.bench.memory import _rss_mb
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare
from tests.faults.soak_box import Phone, Programs, Sensors, jobsite

START_S, WARM_S = 15.0, 20.0


class Quiet(Sensors):
    """Steel that stays dry."""

    def _value(self, name: str) -> float:
        return super()._value("steel-B1" if name == "steel" else name)


class PlainBroker(Mosquitto):
    """The broker of one machine, as shipped."""

    def address(self, _link: int) -> object:
        """How it is reached."""
        from gateway.adapters.address import Address

        return Address("127.0.0.1", self.port)


def figures(seconds: float) -> tuple[float, float]:
    """Return MB resident of broker, `run` and `deliver` together, and percent of a core they took.

    MB are 10^6 bytes; a library that two processes map counts twice. CPU is user and system time over `seconds`.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        home, broker, phone = folder / "home", PlainBroker(folder), Phone()
        prepare(home, jobsite())
        (folder / "clock").write_bytes(bytes(8))
        words = f"1,2026-06-10T12:00:00+00:00,{time.time()}"
        programs = Programs(home, folder, broker, words, phone.contacts(folder / "contacts.toml"))  # type: ignore[arg-type]
        try:
            with programs:
                sensors = Quiet(broker.address(1), TimeLapse.parse(words), 1)  # type: ignore[arg-type]
                time.sleep(START_S)
                sensors.start()
                pids = [broker.process.pid, programs.run.pid, programs.deliver.pid]
                return _measured(pids, programs.page, seconds, sensors)
        finally:
            broker.stop()


def _measured(pids: list[int], page: int, seconds: float, sensors: Sensors) -> tuple[float, float]:
    time.sleep(WARM_S)
    with urllib.request.urlopen(f"http://127.0.0.1:{page}/", timeout=10) as answer:
        answer.read()
    began, before = time.monotonic(), _cpu_s(pids)
    time.sleep(seconds)
    percent = 100 * (_cpu_s(pids) - before) / (time.monotonic() - began)
    resident = sum(map(_rss_mb, pids))
    sensors.done.set()
    sensors.join()
    return resident, percent


def _cpu_s(pids: list[int]) -> float:
    """User and system time of processes with all their threads (proc(5), fields 14 and 15)."""
    fields = [Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split() for pid in pids]
    return sum(int(each[11]) + int(each[12]) for each in fields) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: os._exit(2))
    print(*figures(60.0))
