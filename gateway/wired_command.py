"""`dewgate wired`: reads wired transmitters and publishes their readings, as any other sensor would.

One thread for each line puts readings into a queue; this thread hands them to the broker, and keeps the last of
them while it is away. What is not read is not published: at the gateway its sensor is silent and so unknown.
Reading only; not part of any control loop.
"""

from __future__ import annotations

import argparse
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from queue import Empty, SimpleQueue
from secrets import token_hex
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from alerts import log
from gateway import wired
from gateway.adapters import address
from gateway.adapters.address import Address
from gateway.adapters.modbus import OF_ONE_REGISTER, Door, NoReading
from gateway.config import ConfigErrors
from gateway.wired import Line, Number, Point, Poll, Silences, Wired
from gateway.wired_file import load

WAITING = 20_000  # readings kept while the broker is away: 16 minutes of 20 points at 1 s
IN_FLIGHT = 20  # with paho, not yet acknowledged; these are sent again after a connection breaks
LAST_WORDS_S = 0.5
REST, LONGEST_REST_S = 10, 60.0  # timeouts that a silent read rests for each silent read of its line; the most
Found = list[tuple[Point, Number, float]]


def run(_command: str, words: list[str], caution: str) -> int:
    """Run the command; 1 for a wrong file or, with --once, for a sensor that cannot be read; 2 for wrong words."""
    args = _parser(caution).parse_args(words)
    try:
        plan, broker = load(args.file), address.of(args)
    except (ConfigErrors, OSError, address.Refused) as error:
        print(error, file=sys.stderr)
        return 1
    return once(plan) if args.once else Publisher(plan, broker).run()


def _parser(caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "dewgate wired", epilog=caution,
        description="Reads wired transmitters over Modbus TCP or a serial line (RTU) and publishes each reading "
        "to the broker. Reading only: nothing is ever written to a device; not part of any control loop.",
    )  # fmt: skip
    parser.add_argument("file", type=Path, help="lines and points; deploy/wired.toml is one to begin with")
    address.add_arguments(parser)
    parser.add_argument("--once", action="store_true", help="read every point once, print it, publish nothing")
    return parser


# -- reading ---------------------------------------------------------------------------------------------------


def read(door: Door, poll: Poll) -> Found:
    """Return each point of a poll with its number or the reason why there is none, and the UTC of the answer [s].

    Where the device refuses the registers together, each point is asked for alone: one wrong address must not
    silence its neighbours.
    """
    try:
        registers = door.read(poll.place, poll.count)
    except NoReading as refusal:
        if refusal.code in OF_ONE_REGISTER and len(poll.points) > 1:
            return [found for point in poll.points for found in read(door, wired.alone(point))]
        now_s = time.time()
        return [(point, Number(float("nan"), fault=str(refusal)), now_s) for point in poll.points]
    now_s = time.time()
    return [(point, number, now_s) for point, number in wired.numbers(poll, registers)]


def once(plan: Wired) -> int:
    """Print a line for every point: value and raw number, or why there is none; 1 when one has none."""
    silent = 0
    for line in plan.lines:
        door = Door(line.way, line.timeout_s)
        for poll in wired.polls(line):
            for point, number, _ in read(door, poll):
                silent += bool(number.fault)
                print(wired.commissioning(line.id, point, number), flush=True)
        door.close()
    return 1 if silent else 0


class LineReader(threading.Thread):
    """Reads one line, one poll after the other, each on its own grid of the monotonic clock."""

    def __init__(self, jobsite: str, line: Line, put: Callable[[object], None]) -> None:
        super().__init__(name=f"line {line.id}", daemon=True)
        self.stopping = threading.Event()
        self._jobsite, self._line, self._put = jobsite, line, put
        self._silences, self._silent = Silences(line.id), set[Poll]()

    def run(self) -> None:
        """Read until told to stop. What nobody foresaw ends the program: a line must not die in silence."""
        door = Door(self._line.way, self._line.timeout_s)
        try:
            self._read_on(door)
        except BaseException as error:  # noqa: BLE001  the task boundary: the process ends and is started again
            self._put(error)
        finally:
            door.close()

    def _read_on(self, door: Door) -> None:
        due_s = dict.fromkeys(wired.polls(self._line), time.monotonic())
        while True:
            poll = min(due_s, key=lambda each: due_s[each])
            if self.stopping.wait(max(0.0, due_s[poll] - time.monotonic())):
                return
            self._take(poll, read(door, poll))
            due_s[poll] = wired.next_due_s(
                due_s[poll], poll.interval_s, time.monotonic() + self._rest_s(poll, due_s)
            )

    def _rest_s(self, poll: Poll, all_polls: dict[Poll, float]) -> float:
        """Return how long a silent read rests, so that those that answer keep most of the line's time."""
        if poll not in self._silent or len(self._silent) == len(all_polls):
            return 0.0
        return min(LONGEST_REST_S, REST * self._line.timeout_s * len(self._silent))

    def _take(self, poll: Poll, found: Found) -> None:
        for point, number, time_s in found:
            if not number.fault:
                payload = wired.pack(point, number.value, time_s)
                self._put((wired.topic(self._jobsite, point), payload))
        faults = {point.sensor: number.fault for point, number, _ in found}
        (self._silent.add if all(faults.values()) else self._silent.discard)(poll)
        for words in self._silences.take(poll.place.device, faults, found[-1][2]):
            log.tell("wired", "device", words)


# -- publishing ------------------------------------------------------------------------------------------------


class Publisher:
    """Everything that is not a line: the queue from the lines, the broker, the end. One thread uses it.

    paho's own thread and the signal handler only put something into the queue, which both may do at any time.
    """

    def __init__(self, plan: Wired, broker: Address) -> None:
        self._plan, self._broker = plan, str(broker)
        self._inbox: SimpleQueue[object] = SimpleQueue()
        self._waiting: deque[tuple[str, bytes]] = deque(maxlen=WAITING)
        self._handed = self._acknowledged = self._dropped = 0
        self._connected, self._away_s = False, time.time()
        self._client = self._paho(broker)

    def _paho(self, broker: Address) -> paho.Client:
        name = f"dewgate-wired-{self._plan.jobsite}-{token_hex(4)}"
        client = paho.Client(CallbackAPIVersion.VERSION2, name, protocol=paho.MQTTv311)
        client.max_inflight_messages_set(IN_FLIGHT)
        client.reconnect_delay_set(1, 15)
        client.on_connect = lambda _c, _u, _f, reason, _p: self._inbox.put(
            Link(not reason.is_failure, str(reason))
        )
        client.on_disconnect = lambda *_: self._inbox.put(Link(False, "connection lost"))
        client.on_connect_fail = lambda *_: self._inbox.put(Link(False, "no connection"))
        client.on_publish = self._on_publish
        broker.dress(client)
        client.connect_async(broker.host, broker.port, keepalive=15)
        return client

    def _on_publish(self, *_: Any) -> None:
        self._acknowledged += 1  # paho's thread is the only one that changes it
        self._inbox.put(None)

    def run(self) -> int:
        """Publish until SIGTERM or Ctrl-C; return 0, or 3 when a line failed in a way nobody foresaw."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self._inbox.put(Stop()))
        lines = [LineReader(self._plan.jobsite, line, self._inbox.put) for line in self._plan.lines]
        points = sum(len(line.points) for line in self._plan.lines)
        reading = f"reading {points} points on {len(lines)} lines for jobsite {self._plan.jobsite}"
        log.tell("wired", "started", f"{reading}; reading only, not part of any control loop; Ctrl-C ends it")
        self._client.loop_start()
        for line in lines:
            line.start()
        failed = self._serve()
        for line in lines:
            line.stopping.set()
        self._leave()
        return 3 if failed else 0

    def _serve(self) -> bool:
        """Take from the queue until the end; return whether a line failed."""
        link: Link | None = None
        while True:
            match self._inbox.get():
                case Stop():
                    return False
                case BaseException() as error:
                    log.tell("wired", "failed", f"stopped: {error!r}")
                    return True
                case Link() as now:
                    self._tell(link, now)
                    link = now
                case (str() as topic, bytes() as payload):
                    self._keep((topic, payload))
            self._hand_over()

    def _keep(self, reading: tuple[str, bytes]) -> None:
        if len(self._waiting) == WAITING:
            if not self._dropped:
                what = f"broker {self._broker}: {WAITING} readings wait; from now on the oldest are dropped"
                log.tell("wired", "dropped", what)
            self._dropped += 1
        self._waiting.append(reading)

    def _hand_over(self) -> None:
        while self._connected and self._waiting and self._handed - self._acknowledged < IN_FLIGHT:
            topic, payload = self._waiting.popleft()
            self._handed += 1
            result = self._client.publish(topic, payload, qos=1).rc
            assert result in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN), result  # both kept

    def _tell(self, before: Link | None, now: Link) -> None:
        self._connected = now.up
        if now.up:
            away = f" after {time.time() - self._away_s:.0f} s, {self._dropped} readings dropped" if before else ""
            log.tell("wired", "broker-over", f"broker {self._broker}: connected{away}")
            self._dropped = 0
        elif before is None or before.up or before.why != now.why:
            if before is None or before.up:
                self._away_s = time.time()
            log.tell("wired", "broker", f"broker {self._broker}: {now.why}; the last {WAITING} readings are kept")

    def _leave(self) -> None:
        """Give what waits a moment to go, say what did not, and leave; paho's thread may still be connecting."""
        end = time.monotonic() + LAST_WORDS_S
        while self._connected and self._handed - self._acknowledged + len(self._waiting):
            left = end - time.monotonic()
            if left <= 0:
                break
            try:
                match self._inbox.get(timeout=left):
                    case (str() as topic, bytes() as payload):
                        self._keep((topic, payload))
            except Empty:
                break
            self._hand_over()
        if lost := self._handed - self._acknowledged + len(self._waiting):
            log.tell("wired", "stopped", f"ended; {lost} readings had not reached the broker")
        self._client.disconnect()


class Stop:
    """Asks for the end."""


class Link:
    """News of the broker: whether it is connected, and if not why."""

    def __init__(self, up: bool, why: str) -> None:
        self.up, self.why = up, why


if __name__ == "__main__":
    sys.exit(run("wired", sys.argv[1:], "Advisory only, never a safety interlock."))
