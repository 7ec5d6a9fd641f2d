"""A report of a month with 24 channels: how long it takes, and how much memory its processes hold."""

from __future__ import annotations

import dataclasses
import math
import os
import sys
import tempfile
from pathlib import Path

from alerts.measured import Quantity
from gateway import entry
from gateway.adapters.journal import Journal
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Area, SteelSpot
from gateway.payload import canonical
from gateway.tiers import QUARTER_MS, Sheet
from tests.bench.resident import Held, held_by
from tests.record_story import DAY0, jobsite
from tests.sites import sensor

DAYS = 30
DAY_MS = 86_400_000
AREAS = "ABCDEF"
SPOTS = (("1", "coldest"), ("2", "warmest"))
STEEL = ("dew_point_margin", "rh_at_steel", "steel_temperature")


def month(home: Path) -> None:
    """A journal of a month: its entries are its beginning and its heartbeats, its history is whole."""
    home.mkdir()
    plain = jobsite()
    names = [f"steel-{name}{n}" for name in AREAS for n in "12"]
    steel = [sensor(name, Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact") for name in names]
    areas = tuple(
        Area(each, f"shell {each}", ("deck",), tuple(SteelSpot(f"steel-{each}{n}", spot) for n, spot in SPOTS))
        for each in AREAS
    )
    limits = (
        tuple(dataclasses.replace(plain.limits[0], id=f"margin-{name}", area=name) for name in AREAS)
        + plain.limits[2:]
    )
    kept = tuple(each for each in plain.sensors if not each.id.startswith("steel"))
    spares = tuple(sensor(f"spare-{n}", Quantity.GAS_TEMPERATURE, "Cel", 0.5, "thermowell") for n in range(5))
    site = dataclasses.replace(plain, sensors=(*kept, *steel, *spares), areas=areas, limits=limits)
    made = [
        entry.plain(Kind.STARTED, DAY0, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, DAY0, canonical.config_set(site, "keeper", "bench")),
        *(entry.plain(Kind.HEARTBEAT, DAY0 + hour * 3_600_000) for hour in range(1, DAYS * 24 + 1)),
    ]
    flow, outcomes = Flow(), Outcomes()
    flow.advance(made, outcomes)
    _fill(outcomes.sheet, [each.id for each in site.sensors])
    book = Journal(home / "journal.db")
    book.commit(1, made, 1, outcomes, DAY0 + DAYS * DAY_MS)
    book.close()


def _fill(sheet: Sheet, sensors: list[str]) -> None:
    places = [
        f"{area}|{quantity}|steel-{area}{n} ({spot})" for area in AREAS for quantity in STEEL for n, spot in SPOTS
    ]  # fmt: skip
    places += [
        f"{area}|{quantity}|deck" for area in AREAS for quantity in ("relative_humidity", "air_temperature")
    ]
    for quarter in range(DAYS * 96):
        at = DAY0 + quarter * QUARTER_MS
        swing = math.cos(quarter / 96 * 2 * math.pi)
        for number, name in enumerate(sensors):
            for n in range(3):
                sheet.add(name, at + n * 300_000, 20.0 + 5 * swing + number / 10 + n)
            sheet.know(name, at, at + QUARTER_MS - (quarter % 97 == 0) * 60_000)
        for number, name in enumerate(places):
            value = 0.6 + 0.2 * swing if "rh" in name or "humidity" in name else 6.0 + 5 * swing + number / 50
            sheet.stand(name, at, at + QUARTER_MS, round(value * 1e6))
        for area in AREAS:
            sheet.stand(f"{area}|activity|curing", at, at + QUARTER_MS, 1_000_000)
            sheet.stand(f"{area}|outside margin-{area}|curing", at, at + QUARTER_MS, 1_000_000 * (swing < -0.8))


def figures() -> Held:
    """Return what the command that writes the report of the month takes."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        month(home)
        words = ["--home", str(home), "--from", "2026-05-31T19:00", "--every", "4h", "--out", f"{folder}/out"]
        here = os.environ | {"PYTHONPATH": str(Path.cwd())}
        return held_by([sys.executable, "-m", "gateway", "record", *words], here)
