"""A home with two days of work in its journal: blast, prime, a wet dawn, entries by hand. All simulated."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

from alerts.measured import Quantity
from gateway import entry
from gateway.adapters.journal import Journal
from gateway.coatings import Product, RecoatStep
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite, SteelSpot
from gateway.payload import canonical
from tests.sites import margin_limit, pack, sensor, site

DAY0 = 1_780_272_000_000  # 2026-06-01T00:00:00Z
MINUTE, H = 60_000, 3_600_000
PRODUCT = Product(
    "epoxy", "two-pack epoxy, simulated", "sheet 4, rev. 2", "by temperature",
    (RecoatStep(5.0, 15.0, 16.0, 96.0), RecoatStep(15.0, 25.0, 8.0, 48.0), RecoatStep(25.0, 35.0, 4.0, 24.0)),
)  # fmt: skip
SLING = {
    "kind": "sling psychrometer", "area": "A", "station": "deck", "dry_bulb": "20.1 °C", "wet_bulb": "15.0 °C",
    "pressure": "1010 hPa", "ventilated": "whirled", "instrument": "sling, simulated", "serial": "S-114",
    "calibration_due": "2027-01-31",
}  # fmt: skip
CORRECTION = {"wet_bulb": "15.2 °C", "corrects": "M-1", "reason": "misread"}
TIN = {"product": "epoxy", "batch": "17"}
DECISION = {"decision": "to be tested further", "reason": "pull-off on three spots"}
CHECK = {
    "kind": "reference check", "area": "N/A", "sensor": "air-rh", "reference": "sealed salt, equilibrated",
    "reference_value": "85.1 %RH", "as_found": "81.9 %RH", "as_left": "85.0 %RH", "tolerance": "2 %RH",
    "instrument": "KCl cell", "serial": "K-2", "calibration_due": "N/A",
}  # fmt: skip
BLOTTER = {
    "kind": "blotter test", "area": "A", "place": "pot outlet", "distance": "18 in", "duration": "1 min",
    "verdict": "no water, no oil", "photo": "ab" * 32,
}  # fmt: skip


def jobsite(**changes: object) -> Jobsite:
    """The test site with two spots of steel, sensors that speak each minute, limits and a product."""
    limits = (
        margin_limit(activities=("blasting", "coating", "curing")),
        margin_limit(
            id="humid", quantity=Quantity.RELATIVE_HUMIDITY, relation="at most", threshold=85.0, unit="%RH",
            clause="test specification 4.3", deadband=2.0, deadband_unit="%RH", activities=("coating",),
            advice="Do not start the coat",
        ),
        margin_limit(
            id="pot-dry", quantity=Quantity.CONDENSATION_MARGIN, threshold=2.0, clause="test specification 6.1",
            activities=("blasting",), area="", train="T1", piece="dryer",
        ),
    )  # fmt: skip
    plain = site(*limits)
    (area,) = plain.areas
    area = dataclasses.replace(
        area, prime_within_s=8 * 3600.0, prime_clause="test specification 5.1",
        steel=(SteelSpot("steel", "coldest"), SteelSpot("steel-warm", "warmest")),
    )  # fmt: skip
    warm = sensor("steel-warm", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
    slow = tuple(dataclasses.replace(each, interval_s=240.0) for each in (*plain.sensors, warm))
    stated = {
        "sensors": slow, "areas": (area,), "products": (PRODUCT,), "time_zone": "America/Chicago",
        "label": "Tank 7, north shell", "shift_ends": ("17:30",),
    }  # fmt: skip
    return dataclasses.replace(plain, **{**stated, **changes})


def weather(minute: int) -> dict[str, float]:
    """Every sensor at a minute of the story: a cool, damp dawn at 10:30 UTC of each day."""
    hour = minute / 60.0
    swing = math.cos((hour - 21.0) / 24.0 * 2 * math.pi)
    air = 18.0 + 6.0 * swing
    rh = 66.0 - 22.0 * swing
    steel = 18.2 + 8.0 * swing + 0.2 * math.sin(minute / 7.0)
    return {
        "air-t": air, "air-rh": rh, "baro": 1010.0 + swing, "steel": steel, "steel-warm": steel + 1.5,
        "dryer-t": 38.0 + math.sin(minute / 5.0), "dryer-rh": 32.0 + 2.0 * math.sin(minute / 11.0),
        "line-p": 7.0, "pot-skin": air + 1.0,
    }  # fmt: skip


ACTS: tuple[tuple[float, dict[str, object]], ...] = (
    (13.0, {"act": "begin", "area": "A", "activity": "blasting", "person": "lead"}),
    (14.0, {"act": "manual", "person": "inspector"} | SLING),
    (14.1, {"act": "manual", "person": "lead"} | BLOTTER),
    (15.0, {"act": "manual", "person": "inspector"} | SLING | CORRECTION),
    (18.0, {"act": "end", "area": "A", "activity": "blasting", "person": "lead"}),
    (19.0, {"act": "begin", "area": "A", "activity": "priming", "person": "lead"} | TIN),
    (21.0, {"act": "end", "area": "A", "activity": "priming", "person": "lead"}),
    (30.0, {"act": "manual", "person": "inspector"} | CHECK),
    (31.0, {"act": "note", "person": "inspector", "area": "A", "text": "Dew on the north face, wiped. 東"}),
    (40.0, {"act": "disposition", "person": "inspector", "exposure": "E-1"} | DECISION),
)  # fmt: skip


def journal(home: Path, hours: int = 48, site_: Jobsite | None = None) -> Path:
    """Write the story into a new journal in batches as the writer does, speaking every four minutes."""
    home.mkdir(parents=True, exist_ok=True)
    book, flow, first_event = Journal(home / "journal.db"), Flow(), 1
    beginning = [
        entry.plain(Kind.STARTED, DAY0, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, DAY0, canonical.config_set(site_ or jobsite(), "keeper", "begin of the job")),
    ]
    acts = list(ACTS)
    for minute in range(0, hours * 60, 4):
        outcomes, now = Outcomes(), DAY0 + minute * MINUTE
        made, first = list(beginning), flow.state.sequence + 1
        flow.advance(beginning, outcomes)
        beginning = []
        while acts and acts[0][0] * 60 <= minute:
            made.append(entry.plain(Kind.ACTION, now, canonical.to_bytes(acts.pop(0)[1])))
            flow.advance(made[-1:], outcomes)
        silent = 26 * 60 <= minute < 26 * 60 + 40
        for name, value in weather(minute).items():
            if not (silent and name.startswith("air")):
                made.append(flow.receive(Arrival(f"dewgate/test/{name}", pack(name, value, now)), now, outcomes))
        book.commit(first, made, first_event, outcomes, now)
        first_event = flow.state.events + 1
    book.close()
    return home
