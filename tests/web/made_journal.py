"""A journal with two alarms and one message, as the writer leaves it."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from alerts.alarm import Change
from alerts.limits import Verdict
from alerts.notification import Notice
from gateway import entry
from gateway.adapters.journal import Journal
from gateway.entry import Kind
from gateway.flow_state import Event, Outcomes
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from tests.web.made import NOW_MS

MINUTE, OFFSET_MS = 60_000, 5000
STORY = (
    (0, "A-7", Change.BREACH, "steel-keel: 1.2 K"),
    (1, "A-7", Change.TOLD, "lead (lead-phone): it began"),
    (1, "A-7", Change.KEPT_BACK, "chief: off duty (hours 08:00-16:00)"),
    (12, "A-7", Change.ACKNOWLEDGED, "acknowledged by lead"),
    (30, "A-8", Change.UNKNOWN, "steel-keel: <b>silent</b>"),
    (31, "A-8", Change.SHELVED, "lead until 14:00: washing"),
)


def write_journal(home: Path, site: Jobsite | None = None) -> None:
    """Write the journal into a home; with a jobsite, that is in force from its beginning."""
    core_ms = NOW_MS - 3_600_000 - OFFSET_MS
    events = [
        canonical.to_bytes(
            Event(n, core_ms + at * MINUTE, number, change, "margin", Verdict.OUTSIDE, 1.2, 0.4, why)
        )
        for n, (at, number, change, why) in enumerate(STORY, 1)
    ]
    told = [Notice("A-7", "lead", "lead-phone", "high", "A-7 Stop blasting area A", "body")]
    body = canonical.to_bytes({"core_version": "x", "offset_ms": OFFSET_MS})
    entries = [entry.plain(Kind.STARTED, core_ms, body)]
    if site:
        entries.append(entry.plain(Kind.CONFIG_SET, core_ms, canonical.config_set(site, "ann", "start of job")))
    with closing(Journal(home / "journal.db")) as journal:
        journal.commit(1, entries, 1, Outcomes(events, told), NOW_MS)
