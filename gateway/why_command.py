"""`dewgate why A-1042`: why was I told, why was I not; `dewgate why --figures`: do the alarms serve the crew?

Only reads, and only what was written down at the time: events with their reasons, the outbox, and what became of
each attempt to deliver.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from alerts.figures import Figures, Happened, figures
from gateway.adapters import trouble
from gateway.adapters.home import restore
from gateway.adapters.journal import open_reader
from gateway.flow import Flow

HOUR_MS = 3_600_000
Event = dict[str, Any]


def run(command: str, words: list[str], caution: str) -> int:
    """Answer: 0 when there is something to say, 1 when there is no such number, 2 when nothing can be read."""
    args = _parser(command, caution).parse_args(words)
    path = args.home / "journal.db"
    try:
        flow, lines = _answer(args, path)
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)
    if not lines:
        newest = f"A-{flow.state.numbers}" if flow.state.numbers else "none yet"
        print(f"there is no event {args.event.upper()} in this journal; the newest is {newest}", file=sys.stderr)
        return 1
    print("\n".join([*lines, caution]))
    return 0


def _answer(args: argparse.Namespace, path: Path) -> tuple[Flow, list[str]]:
    if not path.exists():
        raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
    flow = restore(path)
    with closing(open_reader(path)) as reader:
        events = [json.loads(row[0]) for row in reader.execute("SELECT event FROM events ORDER BY id")]
        if args.figures or not args.event:
            return flow, list(_figure_lines(flow, events, args.hours))
        return flow, list(_why(flow, events, reader, args.home, args.event.upper()))


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", description=__doc__, epilog=caution)
    parser.add_argument("event", nargs="?", default="", help="number of an event, such as A-1042")
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--figures", action="store_true", help="how many each person was told, what repeats")
    parser.add_argument("--hours", type=float, default=12.0, help="figures of so many last hours; 12 is one shift")
    return parser


def _why(flow: Flow, events: list[Event], reader: sqlite3.Connection, home: Path, number: str) -> Iterator[str]:
    """Everything that was written down under one number, and of the message that told it."""
    found = [each for each in events if each["number"] == number]
    for each in found:
        yield _event_line(flow, each)
    for other in dict.fromkeys(_told_as(each) for each in found):
        if other:
            yield f"{other}, which told it:"
            told = [each for each in events if each["number"] == other and each["change"] in ("told", "kept back")]
            yield from (_event_line(flow, each) for each in told)
            yield from _deliveries(flow, reader, home, other)
    yield from _deliveries(flow, reader, home, number)


def _told_as(event: Event) -> str:
    reason = str(event["reason"])
    return reason.split(",", maxsplit=1)[0].removeprefix("told as ") if reason.startswith("told as ") else ""


def _event_line(flow: Flow, event: Event) -> str:
    at = _clock(flow, event["core_ms"] + flow.state.offset_ms)
    what = f"{event['change']}: {event['reason']}" if event["reason"] else event["change"]
    return f"{at}  {event['number']}  {event['limit']}  {what}"


def _clock(flow: Flow, utc_ms: int) -> str:
    zone = flow.site.time_zone if flow.site else "UTC"
    return datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(ZoneInfo(zone)).isoformat(" ", "seconds")


def _deliveries(flow: Flow, reader: sqlite3.Connection, home: Path, number: str) -> Iterator[str]:
    """What became of each message on each channel, as far as the messenger has written it down."""
    query = "SELECT id, person, channel, title, created_utc_ms FROM outbox WHERE event_number = ? ORDER BY id"
    rows = reader.execute(query, (number,)).fetchall()
    outcomes = _outcomes(home / "delivery.db", [row[0] for row in rows])
    for row, person, channel, title, created in rows:
        said = outcomes.get(row) or ["not sent yet, as far as is known here: is dewgate deliver running?"]
        yield f"{_clock(flow, created)}  {person} on {channel}: {title}"
        yield from (f"    {each}" for each in said)


def _outcomes(path: Path, rows: list[int]) -> dict[int, list[str]]:
    if not path.exists():
        return {}
    found: dict[int, list[str]] = {}
    with closing(open_reader(path)) as reader:
        query = "SELECT outbox_id, attempt, outcome, reason FROM outcomes ORDER BY id"
        for row, attempt, outcome, reason in reader.execute(query):
            if row in rows:
                found.setdefault(row, []).append(f"attempt {attempt}: {outcome} ({reason})")
    return found


# -- figures -------------------------------------------------------------------------------------------


def _figure_lines(flow: Flow, events: list[Event], hours: float) -> Iterator[str]:
    until = flow.state.core_ms + 1
    happened = (Happened(e["core_ms"], e["number"], e["change"], e["limit"], e["reason"]) for e in events)
    found = figures(happened, until - round(hours * HOUR_MS), until)
    yield f"the last {hours:g} h, until {_clock(flow, until + flow.state.offset_ms)}"
    yield from _load_lines(found)
    for limit, count in found.raised:
        yield f"{count} times raised: {limit}"
    for name, count in found.faults:
        yield f"{count} times wrong: {name}"
    for limit in found.chattering:
        yield f"chatters (three times within an hour): {limit}; look at its sensor, its deadband and its delays"
    for number, limit, since in found.stale:
        at = _clock(flow, since + flow.state.offset_ms)
        yield f"stale: {number} {limit} stands since {at}; is the limit right, is the sensor?"
    yield f"{found.kept_back} times somebody was not told, each with its reason"
    if found.answer_s is not None:
        yield f"acknowledged after {found.answer_s / 60:.0f} min (median)"


def _load_lines(found: Figures) -> Iterator[str]:
    if not found.loads:
        yield "nobody was told anything"
    for load in found.loads:
        most = f"at most {load.most_in_ten_min} in ten minutes"
        yield f"{load.person}: {load.told} messages, {load.an_hour:.1f} an hour, {most}: {load.words} (EEMUA 191)"
