"""Make the home of a job to look at its climate record: a simulated week, or the month of `simulators.feed`.

    python -m tests.make_record HOME [--month] [--days N]
    python -m gateway record --home HOME --from 2026-06-01

The month's air and pressure are measured, its steel is computed, the work on it is invented. Heads are signed as
the writer signs them.
"""

from __future__ import annotations

import argparse
import dataclasses
from collections.abc import Iterator, Mapping
from contextlib import closing
from itertools import islice
from pathlib import Path

from gateway import entry
from gateway.adapters.heads import HeadWriter
from gateway.adapters.journal import Journal, pack_oldest
from gateway.entry import Arrival, Kind
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite, SteelSpot
from gateway.payload import canonical
from simulators import feed
from tests.record_story import ACTS, DAY0, MINUTE, H, jobsite, weather
from tests.sites import pack

DAY = 24 * H
Row = Mapping[str, float]
MEASURED = ("air-t", "air-rh", "baro", "steel")


def week(days: int) -> Iterator[tuple[int, Row]]:
    """The weather of the story, each day a little warmer, every four minutes; an afternoon of silence."""
    for minute in range(0, days * 1440, 4):
        if not 3 * 1440 + 800 <= minute < 3 * 1440 + 1000:
            row = weather(minute % 2880)
            yield DAY0 + minute * MINUTE, row | {"air-rh": row["air-rh"] - minute / 1440}


def month(days: int) -> Iterator[tuple[int, Row]]:
    """The measured month, minute by minute."""
    for minute, row in enumerate(islice(feed.samples(), days * 1440)):
        known = {name: value for name, value in row.items() if value is not None}
        yield round(feed.START.timestamp() * 1000) + minute * MINUTE, known


def of_week() -> Jobsite:
    """The jobsite of the story, its dryer's sensors in the line, so that its file passes all checks."""
    plain = jobsite()
    in_line = {each.id: dataclasses.replace(each, element="line") for each in plain.sensors if "dryer" in each.id}
    return dataclasses.replace(plain, sensors=tuple(in_line.get(each.id, each) for each in plain.sensors))


def of_month() -> Jobsite:
    """The jobsite of the measured month: one plate, one station, no train."""
    plain = jobsite()
    (area,) = plain.areas
    return dataclasses.replace(
        plain, id="payerne", label="Payerne, June 2016: measured air, computed plate", time_zone="Europe/Zurich",
        altitude_m=491.0, trains=(), areas=(dataclasses.replace(area, steel=(SteelSpot("steel", "coldest"),)),),
        sensors=tuple(dataclasses.replace(s, interval_s=60.0) for s in plain.sensors if s.id in MEASURED),
        limits=tuple(each for each in plain.limits if each.area),
    )  # fmt: skip


def acts(days: int, begin_ms: int) -> Iterator[tuple[int, dict[str, object]]]:
    """The story's work every third day, what answers an exposure only on the first."""
    cured: dict[str, object] = {"act": "end", "area": "A", "activity": "curing", "person": "lead"}
    for day in range(0, days, 3):
        if day:
            yield begin_ms + day * DAY + 12 * H, cured
        for hour, act in ACTS:
            if (hour < 24 and (day == 0 or "corrects" not in act)) or (day == 0 and act["act"] != "disposition"):
                yield begin_ms + day * DAY + round(hour * H), dict(act)


Acts = Iterator[tuple[int, dict[str, object]]]


def make(home: Path, site: Jobsite, rows: Iterator[tuple[int, Row]], work: Acts) -> None:
    """Write a journal as the writer does, an hour at a time, with a head for each."""
    home.mkdir(parents=True)
    first = next(rows)
    flow, todo, begun = Flow(), list(work), False
    with closing(Journal(home / "journal.db")) as book:
        writer = HeadWriter(home, None)
        for hour in _hours(first, rows):
            outcomes, since, before = Outcomes(), flow.state.sequence + 1, flow.state.events + 1
            made = [] if begun else _beginning(flow, site, first[0], outcomes)
            begun = True
            for at, row in hour:
                made += _beats(flow, at, outcomes)
                while todo and todo[0][0] <= at:
                    made.append(entry.plain(Kind.ACTION, at, canonical.to_bytes(todo.pop(0)[1])))
                    flow.advance(made[-1:], outcomes)
                for name, value in row.items():
                    sent = Arrival(f"dewgate/{site.id}/{name}", pack(name, value, at))
                    made.append(flow.receive(sent, at, outcomes))
            head = writer.due(flow.state, hour[-1][0], site, ending=False)
            book.commit(since, made, before, outcomes, hour[-1][0], None, head)
            writer.written(head)
        book.save_checkpoint(flow.state.sequence, CORE_VERSION, flow.checkpoint())
        while packed := pack_oldest(book.path):
            book.seal(packed)


def _beginning(flow: Flow, site: Jobsite, at: int, outcomes: Outcomes) -> list[bytes]:
    made = [
        entry.plain(Kind.STARTED, at, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, at, canonical.config_set(site, "keeper", "begin of the job")),
    ]
    flow.advance(made, outcomes)
    return made


def _beats(flow: Flow, until_ms: int, outcomes: Outcomes) -> list[bytes]:
    """The heartbeats of the minutes in which nothing came."""
    beats = range(flow.state.core_ms + MINUTE, until_ms, MINUTE)
    made = [entry.plain(Kind.HEARTBEAT, at) for at in beats]
    flow.advance(made, outcomes)
    return made


def _hours(first: tuple[int, Row], rows: Iterator[tuple[int, Row]]) -> Iterator[list[tuple[int, Row]]]:
    hour = [first]
    for each in rows:
        if each[0] // H != hour[0][0] // H:
            yield hour
            hour = []
        hour.append(each)
    yield hour


def main() -> None:
    """Make it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("home", type=Path)
    parser.add_argument("--month", action="store_true")
    parser.add_argument("--days", type=int)
    args = parser.parse_args()
    days = args.days or (30 if args.month else 7)
    if args.month:
        make(args.home, of_month(), month(days), acts(days, round(feed.START.timestamp() * 1000)))
    else:
        make(args.home, of_week(), week(days), acts(days, DAY0))


if __name__ == "__main__":
    main()
