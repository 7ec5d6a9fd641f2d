"""Figures for a machine that watches the gateway: the Prometheus text format, version 0.0.4.

With a key of an account that may look. Everything comes from the board, but for the disk.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from fastapi import FastAPI
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import PlainTextResponse

from alerts.measured import Validity
from gateway.board import Board
from gateway.web.gate import Sees
from gateway.web.house import Web

TYPE = "text/plain; version=0.0.4"
Sample = tuple[dict[str, str], float]


def metrics_routes(app: FastAPI, web: Web) -> None:
    """Add the route."""

    @app.get("/metrics")
    async def metrics(_: Sees) -> PlainTextResponse:
        seen = web.watch.look()
        lines = _lines(seen.board, seen.age_ms)
        room = await run_in_threadpool(_disk, web.house.home)
        return PlainTextResponse("".join(f"{line}\n" for line in (*lines, *room)), media_type=TYPE)


def _lines(board: Board | None, age_ms: int) -> Iterator[str]:
    yield from _family("board_age_seconds", "gauge", "How old the newest board is.", [({}, age_ms / 1000)])
    if board is None:
        return
    counts = board.counts
    for name, words, count in (
        ("messages", "Messages journalled.", counts.messages),
        ("repeats", "Messages that came again.", counts.duplicates),
        ("late_readings", "Readings that were stored and not judged for their age.", counts.late),
        ("notices_delivered", "Messages to people that a server took.", board.notices_sent),
    ):
        yield from _family(f"{name}_total", "counter", words, [({}, count)])
    refused: list[Sample] = [({"code": code}, count) for code, count in counts.rejected_by_code]
    yield from _family("refused_total", "counter", "Messages refused, by code.", refused)
    yield from _sensors(board)
    yield from _family("troubles", "gauge", "Things in the gateway's own way.", [({}, len(board.trouble))])
    states: list[Sample] = [
        ({"number": each.number, "state": each.state, "priority": each.priority}, 1) for each in board.alarms
    ]
    yield from _family("alarm", "gauge", "Alarms that stand or wait.", states)
    yield from _family("head", "gauge", "The newest signed head.", [({"code": board.record_code}, 1)])


def _sensors(board: Board) -> Iterator[str]:
    ages: list[Sample] = [
        ({"sensor": each.sensor}, each.age_ms / 1000) for each in board.sensors if each.age_ms is not None
    ]
    known: list[Sample] = [
        ({"sensor": each.sensor}, each.validity is not Validity.UNKNOWN) for each in board.sensors
    ]
    yield from _family("sensor_age_seconds", "gauge", "Age of the newest reading.", ages)
    yield from _family("sensor_known", "gauge", "1 where the reading can be used.", known)


def _disk(home: Path) -> list[str]:
    free: list[Sample] = [({}, shutil.disk_usage(home).free)]
    held: list[Sample] = [({}, sum(path.stat().st_size for path in home.glob("journal.db*")))]
    return [
        *_family("disk_free_bytes", "gauge", "Room on the disk of the journal.", free),
        *_family("journal_bytes", "gauge", "Size of the journal.", held),
    ]


def _family(name: str, kind: str, words: str, samples: Iterable[Sample]) -> Iterator[str]:
    yield f"# HELP dewgate_{name} {words}"
    yield f"# TYPE dewgate_{name} {kind}"
    for labels, value in samples:
        inside = ",".join(f'{key}="{_escaped(said)}"' for key, said in labels.items())
        yield f"dewgate_{name}{{{inside}}} {float(value):g}" if inside else f"dewgate_{name} {float(value):.10g}"


def _escaped(said: str) -> str:
    return said.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")
