"""A made home with a month of history: weather by day and night, a silent night, a breach with its alarm, and real
entries of the last hours. `python -m tests.web.history_home FOLDER` serves it and writes its port there."""

from __future__ import annotations

import math
import random
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from alerts.measured import Quantity
from gateway import entry, overview
from gateway.adapters.home import restore
from gateway.adapters.journal import Journal, pack_oldest
from gateway.conditions import Conditions
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from gateway.tiers import QUARTER_MS, Sheet, channel_of, unit_of
from tests.sites import margin_limit, pack, site

NOW_MS = 1_783_946_400_000  # 2026-07-13 12:40:00 UTC
DAYS = 30
HOUR_MS, DAY_MS = 3_600_000, 86_400_000
BEGAN_MS = NOW_MS - DAYS * DAY_MS
LIVE_MS = NOW_MS - 90 * 60_000
SILENT = (BEGAN_MS + 8 * DAY_MS, BEGAN_MS + 8 * DAY_MS + 7 * HOUR_MS)
HUMID = margin_limit(
    id="humidity", quantity=Quantity.RELATIVE_HUMIDITY, relation="at most", threshold=85.0, unit="%RH",
    clause="test specification 4.3", deadband=2.0, deadband_unit="%RH", advice="Do not start the coat",
)  # fmt: skip
WET = margin_limit(
    id="pot", quantity=Quantity.CONDENSATION_MARGIN, threshold=2.0, area="", train="T1", piece="pot",
    clause="test specification 5.1", advice="Stop blasting, the air may be wet",
)  # fmt: skip


def the_site() -> Jobsite:
    """The test's jobsite with its own time zone and three limits."""
    return replace(site(margin_limit(), HUMID, WET), time_zone="Europe/Oslo")


def air(at_ms: int, chance: random.Random) -> dict[str, float]:
    """What the sensors say at a time, in the unit they send: warm dry days, cool damp nights, one wet spell."""
    day = math.sin(2 * math.pi * (at_ms / DAY_MS - 0.38))
    spell = 2.4 * math.exp(-(((at_ms - BEGAN_MS) / DAY_MS - 19.0) ** 2) / 1.2)
    said = {
        "air-t": 17.0 + 6.0 * day, "air-rh": 62.0 - 14.0 * day + 8.0 * spell, "baro": 1012.0,
        "steel": 17.6 + 7.5 * day - spell, "dryer-t": 31.0 + 3.0 * day, "dryer-rh": 22.0 + 3.0 * spell,
        "line-p": 7.1 + 0.2 * day, "pot-skin": 18.0 + 6.0 * day,
    }  # fmt: skip
    return {name: round(value + chance.gauss(0.0, 0.05), 2) for name, value in said.items()}


def make(home: Path) -> None:
    """Write the journal."""
    chance = random.Random(7)
    with closing(Journal(home / "journal.db")) as book:
        flow = Flow()
        begin = [
            entry.plain(Kind.STARTED, BEGAN_MS, canonical.to_bytes({"offset_ms": 0})),
            entry.plain(Kind.CONFIG_SET, BEGAN_MS, canonical.config_set(the_site(), "keeper", "made")),
            _act(BEGAN_MS + 19 * DAY_MS, "begin"), _act(BEGAN_MS + 19 * DAY_MS + 9 * HOUR_MS, "end"),
        ]  # fmt: skip
        outcomes = Outcomes()
        flow.advance(begin, outcomes)
        outcomes.events = [_event(*each) for each in _told()]
        outcomes.sheet = _month(chance)
        book.commit(1, begin, 1, outcomes, 0)
        _live(book, flow, chance)
        while packed := pack_oldest(book.path):
            book.seal(packed)
        book.history.pack(NOW_MS)


def _act(core_ms: int, act: str) -> bytes:
    body = {"act": act, "area": "A", "activity": "blasting", "person": "lead"}
    return entry.plain(Kind.ACTION, core_ms, canonical.to_bytes(body))


def _told() -> list[tuple[int, str, str, str]]:
    spell = BEGAN_MS + 19 * DAY_MS
    return [
        (SILENT[0] + 300_000, "A-1", "margin", "unknown"), (SILENT[1], "A-1", "margin", "limits back"),
        (spell - 10 * HOUR_MS, "A-2", "margin", "outside limits"),
        (spell - 9 * HOUR_MS, "A-2", "margin", "acknowledged"),
        (spell + 6 * HOUR_MS, "A-2", "margin", "limits back"),
        (spell, "A-3", "humidity", "outside limits"), (spell + 4 * HOUR_MS, "A-3", "humidity", "limits back"),
    ]  # fmt: skip


def _event(core_ms: int, number: str, limit: str, change: str) -> bytes:
    said = {
        "id": 0, "core_ms": core_ms, "number": number, "change": change, "limit": limit, "verdict": change,
        "value": None, "u": None, "reason": "made",
    }  # fmt: skip
    return canonical.to_bytes(said)


def _month(chance: random.Random) -> Sheet:
    """The quarters of a month, from one fold an hour: what a site would have written, coarser in time."""
    sheet, flow = Sheet(), Flow()
    start = [
        entry.plain(Kind.STARTED, BEGAN_MS, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, BEGAN_MS, canonical.config_set(the_site(), "keeper", "made")),
    ]
    flow.advance(start, Outcomes())
    scales = {"air-rh": 0.01, "dryer-rh": 0.01, "baro": 100.0, "line-p": 1e5}
    for at in range(BEGAN_MS - BEGAN_MS % QUARTER_MS, LIVE_MS - QUARTER_MS, QUARTER_MS):
        if SILENT[0] <= at < SILENT[1]:
            continue
        said = air(at, chance)
        hourly = at % HOUR_MS == 0
        for name, value in said.items():
            if hourly:
                flow.receive(Arrival(f"dewgate/test/{name}", pack(name, value)), max(at, BEGAN_MS), Outcomes())
            for turn in range(4):
                sheet.add(name, at + turn, (value + chance.gauss(0.0, 0.15)) * scales.get(name, 1.0))
            sheet.know(name, at, at + QUARTER_MS)
        if hourly:
            flow.tick(max(at, BEGAN_MS) + 1000)
        _stand(sheet, flow.conditions, at, chance)
    return sheet


def _stand(sheet: Sheet, found: Conditions, at: int, chance: random.Random) -> None:
    for (subject, quantity), conditions in found.items():
        for each in conditions:
            value = each.measured.value
            for third in range(3):
                if value is not None:
                    begin = at + third * QUARTER_MS // 3
                    channel = channel_of(subject, quantity, each.place)
                    whole = round(value * (1 + chance.gauss(0.0, 0.01)) / unit_of(channel))
                    sheet.stand(channel, begin, begin + QUARTER_MS // 3, whole)


def _live(book: Journal, flow: Flow, chance: random.Random) -> None:
    """The last hours as real messages, every ten seconds."""
    for batch in range(LIVE_MS, NOW_MS, 60_000):
        first, outcomes = flow.state.sequence + 1, Outcomes()
        made = [
            flow.receive(Arrival(f"dewgate/test/{name}", pack(name, value, at)), at + 200, outcomes)
            for at in range(batch, batch + 60_000, 10_000)
            for name, value in air(at, chance).items()
        ]
        outcomes.events.clear()
        book.commit(first, made, 1, outcomes, 0)


def main(folder: Path) -> None:
    """Serve the home until a signal comes."""
    from gateway.web.app import make_app
    from gateway.web.house import House
    from gateway.web.server import PageServer
    from tests.web.served import _tell_when_listening, free_port

    board = overview.board(restore(folder / "journal.db"), NOW_MS)
    house = House(lambda: board, lambda _: None, the_site, folder, open_when_simulated=True)
    port = free_port()
    server = PageServer(make_app(house), port=port)
    _tell_when_listening(server, folder, port)
    server.run()


if __name__ == "__main__":
    home = Path(sys.argv[1])
    if not (home / "journal.db").exists():
        make(home)
    main(home)
