"""Send simulated readings to an MQTT broker, each at its own simulated time.

One SenML pack of one record per message (RFC 8428, JSON, absolute time) on dewgate/<jobsite>/<sensor>, QoS 1.
    python -m simulators.publish --broker localhost:1883 --time-lapse 60,2026-06-10T16:30:00Z,1764080000.0
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import logging
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import aiomqtt

from simulators import jobsite
from simulators.scenario import SCENARIOS
from simulators.time_lapse import TimeLapse, parse

Row = Mapping[str, float | None]
Steps = Iterator[tuple[int, Row]]
log = logging.getLogger("simulators")
RETRY_S = 1.0
IN_FLIGHT = 200
"""Messages that may await the broker's acknowledgement at one time."""


@dataclass(frozen=True, slots=True)
class Source:
    """What is published: jobsite id, unit of each sensor, rows, and the simulated time [s] between them."""

    jobsite: str
    units: Mapping[str, str]
    rows: Iterator[Row]
    interval_s: float


def pack(sensor: str, unit: str, value: float, time_s: float) -> str:
    """One SenML pack of one record; time_s is UTC [s since 1970], absolute. Source: RFC 8428, 4.5.3, 5."""
    return json.dumps([{"n": sensor, "u": unit, "v": value, "t": round(time_s, 3)}], separators=(",", ":"))


def messages(source: Source, row: Row, time_s: float) -> Iterator[tuple[str, str]]:
    """Topic and payload of every sensor of one row; a sensor without a value says nothing."""
    for sensor, value in row.items():
        if value is not None:
            yield f"dewgate/{source.jobsite}/{sensor}", pack(sensor, source.units[sensor], value, time_s)


async def send(client: aiomqtt.Client, room: asyncio.Semaphore, topic: str, payload: str) -> None:
    """Publish one message with QoS 1 and make room for the next when the broker has it."""
    try:
        await client.publish(topic, payload, qos=1)
    finally:
        room.release()


async def send_due(client: aiomqtt.Client, source: Source, lapse: TimeLapse, steps: Steps) -> None:
    """Send each row at its time. Rows missed before the start or while cut off are left out.

    The next row does not wait for the acknowledgements of the last, which may take 40 ms.
    """
    patience_s = max(1.0, source.interval_s / lapse.factor)
    room = asyncio.Semaphore(IN_FLIGHT)
    async with asyncio.TaskGroup() as group:
        for step, row in steps:
            elapsed_s = step * source.interval_s
            if lapse.late_s(elapsed_s) <= patience_s:
                await lapse.reach(elapsed_s)
                for topic, payload in messages(source, row, lapse.epoch_s + elapsed_s):
                    await room.acquire()
                    group.create_task(send(client, room, topic, payload))


async def run(broker: str, source: Source, lapse: TimeLapse) -> None:
    """Publish until the rows end; after a lost connection try again every RETRY_S."""
    host, port = address(broker)
    steps = enumerate(source.rows)
    name = f"simulated-{source.jobsite}-{os.getpid()}"
    while True:
        try:
            async with aiomqtt.Client(host, port, identifier=name, max_inflight_messages=IN_FLIGHT) as client:
                client.pending_calls_threshold = IN_FLIGHT  # below it, waiting messages are no jam
                log.info("publishing %s to %s at factor %g", source.jobsite, broker, lapse.factor)
                return await send_due(client, source, lapse, steps)
        except* aiomqtt.MqttError as lost:
            log.warning("no broker at %s (%s), trying again", broker, lost.exceptions[0])
        await asyncio.sleep(RETRY_S)


def address(broker: str) -> tuple[str, int]:
    """Split host:port; the port is 1883 unless given."""
    host, _, port = broker.partition(":")
    return host, int(port or 1883)


def lapse_option(text: str) -> TimeLapse:
    """The time-lapse of an option; a bad one ends the command with a sentence instead of a trace."""
    try:
        return parse(text)
    except ValueError as wrong:
        message = f"{text!r} is not like 60,2026-06-10T16:30:00Z,1764080000 (factor, epoch, anchor): {wrong}"
        raise argparse.ArgumentTypeError(message) from wrong


def options(description: str) -> argparse.ArgumentParser:
    """The options that every publisher has."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--broker", default="localhost:1883", help="host:port of the MQTT broker")
    said = "FACTOR,EPOCH,ANCHOR; without it the plain clock"
    parser.add_argument("--time-lapse", type=lapse_option, default="", metavar="LAPSE", help=said)
    return parser


def play(broker: str, source: Source, time_lapse: TimeLapse) -> None:
    """Run until the rows end or the user stops it."""
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(run(broker, source, time_lapse))


def main() -> None:
    """Publish the simulated jobsite."""
    parser = options("Publish the simulated jobsite " + jobsite.LABEL)
    parser.add_argument("--scenario", default="dusk", choices=sorted(SCENARIOS))
    chosen = parser.parse_args()
    rows = jobsite.samples(SCENARIOS[chosen.scenario])
    source = Source(jobsite.JOBSITE, jobsite.UNITS, rows, jobsite.STEP_S)
    play(chosen.broker, source, chosen.time_lapse)


if __name__ == "__main__":
    main()
