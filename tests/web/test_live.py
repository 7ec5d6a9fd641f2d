"""The stream and the health answer: numbering, replay, age, limits and the end."""

from __future__ import annotations

import asyncio
import json
import time
from dataclasses import replace
from typing import Any

from gateway.board import Board
from gateway.web import live
from gateway.web.gate import Signed
from gateway.web.live import Ring, Streams, Watch
from gateway.web.roles import Role
from gateway.web.server import PageServer
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, NOW_MS, at


def ring_of(stage: Stage) -> Ring:
    """A ring whose sections are the second and a text that never changes."""

    def render(board: Board) -> dict[str, str]:
        return {"heading": str(board.utc_ms), "gaps": "same"}

    return Ring(Watch(lambda: stage.board, lambda: stage.now_s), render, boot="b")


def go(stage: Stage, ring: Ring, seconds: int) -> None:
    """Let both clocks run, one refresh a second."""
    for _ in range(seconds):
        stage.now_s += 1.0
        stage.board = at(int(stage.now_s))
        ring.refresh()


def parsed(event: str) -> tuple[str, dict[str, Any]]:
    """The id and data of one event."""
    lines = dict(line.split(": ", 1) for line in event.strip().splitlines())
    return lines.get("id", ""), json.loads(lines["data"])


def test_a_new_page_gets_everything_and_later_only_what_changed(stage: Stage) -> None:
    """The first event holds all sections, the next ones the changed ones."""
    ring = ring_of(stage)
    go(stage, ring, 2)
    assert {"heading", "gaps"} == set(parsed(ring.after("")[0])[1]["sections"])
    assert {"heading"} == set(parsed(ring.after("b-1")[0])[1]["sections"])


def test_a_page_that_was_away_gets_what_it_missed(stage: Stage) -> None:
    """Replay after a known id has no gap and no repeat."""
    ring = ring_of(stage)
    go(stage, ring, 5)
    assert ["b-4", "b-5"] == [parsed(event)[0] for event in ring.after("b-3")]
    assert ring.after("b-5") == []


def test_an_id_of_another_start_or_too_old_gets_everything(stage: Stage) -> None:
    """Old numbers are never mistaken for new ones."""
    ring = ring_of(stage)
    go(stage, ring, live.RING + 5)
    for last_id in ("x-3", "b-1", "b-999999", "b-", "b--1", "3", "b-²"):
        (event,) = ring.after(last_id)
        assert {"heading", "gaps"} == set(parsed(event)[1]["sections"])


def test_events_come_at_most_once_a_second(stage: Stage) -> None:
    """A board that changes ten times a second gives one event a second."""
    ring = ring_of(stage)
    for tenth in range(100):
        stage.now_s, stage.board = tenth / 10, replace(BOARD, utc_ms=BOARD.utc_ms + tenth)
        ring.refresh()
    assert 10 <= ring.newest <= 11


def test_server_time_runs_on_while_the_board_stands_still(stage: Stage) -> None:
    """A page that opens late learns how old the values are."""
    ring = ring_of(stage)
    go(stage, ring, 1)
    stage.now_s += 30
    _, times = parsed(ring.after("")[0])
    assert 30_000 == times["server_ms"] - times["utc_ms"]
    assert 30_000 == parsed(ring.tick())[1]["age_ms"]


def test_streams_are_limited_and_counted_back(stage: Stage) -> None:
    """A client with too many open boards is refused until one closes."""

    async def run() -> None:
        ring = ring_of(stage)
        streams = Streams(stage.app().state.stop, ring.watch)
        opened = [streams.stream(ring, "phone", "") for _ in range(live.MOST_STREAMS_PER_CLIENT)]
        for one in opened:
            await anext(one)
        assert streams.full("phone")
        assert not streams.full("tablet")
        await opened[0].aclose()  # type: ignore[attr-defined]
        assert not streams.full("phone")

    asyncio.run(run())


def test_stopping_ends_open_streams_at_once(stage: Stage) -> None:
    """The signal handler sets the stop that the streams watch."""
    app = stage.app()
    server = PageServer(app)
    assert server.config.timeout_graceful_shutdown == 3
    server.handle_exit(15, None)
    ring = ring_of(stage)
    streams = Streams(app.state.stop, ring.watch)

    async def read() -> list[str]:
        return [text async for text in streams.stream(ring, "phone", "")]

    assert ["retry: 2000\n: ping\n\n"] == asyncio.run(asyncio.wait_for(read(), 1))
    assert server.should_exit


def test_health_is_bad_without_a_board_and_when_it_stands_still(stage: Stage, pages: Pages) -> None:
    """Ten seconds without a new second on the monotonic clock are too old."""

    def status() -> int:
        return pages.ask("GET", "/health").status_code

    assert status() == 200
    stage.now_s = 10.0
    assert status() == 200
    stage.now_s = 10.1
    assert status() == 503
    stage.board = at(1)
    assert status() == 200
    stage.board = None
    assert status() == 503


def test_a_stream_ends_when_its_session_was_ended_elsewhere(stage: Stage) -> None:
    """Within two seconds the page is told, and nothing more of the site is sent."""
    ring = ring_of(stage)
    streams = Streams(stage.app().state.stop, Watch(lambda: stage.board, time.monotonic))
    ring.watch = streams.watch

    async def read() -> list[str]:
        return [text async for text in streams.stream(ring, "phone", "", lambda: False)]

    began = time.monotonic()
    texts = asyncio.run(asyncio.wait_for(read(), 10))
    assert texts[-1] == "event: ended\ndata: {}\n\n"
    assert time.monotonic() - began < 6
    assert not streams.full("phone")


def test_a_stream_asks_whether_its_session_still_stands(stage: Stage) -> None:
    """Ended, given another role, or no longer simulated: the door says no; a stream is no look of a person."""
    stage.open = False
    door = stage.app().state.web.door
    accounts = door.accounts
    accounts.begin(accounts.invite("Ann", "lead", Role.VIEWER, NOW_MS), "", "seven dry steel plates", NOW_MS)
    secret = accounts.open("Ann", "", NOW_MS)
    account = accounts.session(secret, NOW_MS)
    assert account
    who = Signed(account, "", secret)
    assert door.still(who)
    accounts.begin(accounts.invite("Kim", "", Role.KEEPER, NOW_MS), "", "seven dry steel plates", NOW_MS)
    accounts.set_role("Ann", Role.INSPECTOR)
    assert not door.still(who)
    accounts.set_role("Ann", Role.VIEWER)
    assert door.still(who)
    accounts.end_all("Ann")
    assert not door.still(who)
    assert not door.still(Signed(account, "", by_itself=True))
