"""How a site looks from the yard: its own last word, aged by the yard's clock, and what the yard itself knows.

A word that is old, not vouched for, or of a key nobody has compared is no verdict: it is unknown, with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from alerts.limits import SEVERITY, Verdict
from gateway import heads
from gateway.adapters.site_book import Arrived
from gateway.adapters.yard_db import Refusal, Site
from gateway.heads import Head
from gateway.payload import canonical
from gateway.vouching import Held

HEADS_LATE_MS = 1_500_000  # a head is due each ten minutes; two and a half of them
AHEAD_MS = 60_000


@dataclass(frozen=True, slots=True)
class AreaLine:
    """One area as the site says; activity: what goes on there, empty: nothing was begun."""

    area: str
    activity: str
    verdict: Verdict
    quantity: str
    why: str


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site on the list. why: in a sentence. fresh: its last word counts; said_ms: when it said it, UTC, or 0.

    notes: what a clerk should know beside it. sent: how many messages came to what end. record: how far it is held
    and vouched for. key: the fingerprint that is believed; confirmed: somebody compared it.
    """

    id: str
    name: str
    simulated: bool
    verdict: Verdict
    why: str
    fresh: bool
    said_ms: int
    age_ms: int | None
    areas: tuple[AreaLine, ...]
    alarms: tuple[dict[str, Any], ...]
    alarm_count: int
    findings: tuple[str, ...]
    sent: dict[str, int]
    notes: tuple[str, ...]
    record: str
    key: str
    confirmed: bool
    refusals: tuple[Refusal, ...]

    @property
    def order(self) -> tuple[int, int, int, str]:
        """Worst first: refused, then by verdict, then by alarms."""
        open_ones = sum(1 for each in self.refusals if not each.seen_by)
        return -min(open_ones, 1), SEVERITY.index(self.verdict), -self.alarm_count, self.id


def line(site: Site, arrived: Arrived, held: Held, refusals: Sequence[Refusal], now_ms: int) -> SiteLine:
    """Return how a site looks at a moment of the yard's clock."""
    said = canonical.to_dict(arrived.standing) if arrived.standing else {}
    areas = tuple(AreaLine(each["area"], each["activity"], Verdict(each["verdict"]), each["quantity"], each["why"])
                  for each in said.get("areas", ()))  # fmt: skip
    why = unknown_because(site, arrived, refusals, now_ms)
    worst = min(areas, key=lambda each: SEVERITY.index(each.verdict)) if areas else None
    verdict = Verdict.UNKNOWN if why or worst is None else worst.verdict
    return SiteLine(
        site.id, str(said.get("jobsite", site.id)), bool(said.get("simulated")), verdict,
        why or (_first_words(worst) if worst else "no area is named at the site"),
        not why, arrived.standing_ms if said else 0,
        max(now_ms - arrived.received_ms, now_ms - arrived.utc_ms) if arrived.size else None,
        areas, tuple(said.get("alarms", ())), int(said.get("alarm_count", 0)), tuple(said.get("findings", ())),
        dict(said.get("sent", {})), (*said.get("trouble", ()), *_notes(arrived, held, now_ms)),
        _record_words(held), site.pinned, bool(site.confirmed), tuple(refusals),
    )  # fmt: skip


def unknown_because(site: Site, arrived: Arrived, refusals: Sequence[Refusal], now_ms: int) -> str:
    """Return why nothing can be said of a site now, or nothing."""
    if not arrived.size:
        return "nothing has come from it yet"
    patience_ms, since = 1000 * site.silent_s, clock(arrived.standing_ms) if arrived.standing else "the beginning"
    last = refusals[0] if refusals and not refusals[0].seen_by else None
    causes = (
        (now_ms - arrived.received_ms > patience_ms,
         f"silent since {clock(arrived.received_ms)}: nothing new has come"),
        (last is not None and last.last_ms >= arrived.received_ms,
         f"what it sends is refused: {last.why if last else ''}"),
        (not site.confirmed, "nobody has compared its key yet"),
        (now_ms - arrived.utc_ms > patience_ms,
         f"what came last is of {clock(arrived.utc_ms)}: it is still catching up, or its clock is wrong"),
        (now_ms - arrived.standing_ms > patience_ms, f"its gateway has not said how it stands since {since}"),
    )  # fmt: skip
    return next((why for holds, why in causes if holds), "")


def _first_words(worst: AreaLine) -> str:
    doing = f", {worst.activity}" if worst.activity else ""
    what = f": {worst.quantity} {worst.why}" if worst.quantity else ""
    return f"{worst.area}{doing}{what}"


def _notes(arrived: Arrived, held: Held, now_ms: int) -> list[str]:
    notes = []
    if arrived.size and held.head is None:
        notes.append("no signed head has come: nothing vouches for its record")
    elif held.head and arrived.utc_ms - held.head.time_ms > HEADS_LATE_MS:
        rest = held.size - held.head.size
        notes.append(f"no head has vouched for its last {rest} entries since {clock(held.head.time_ms)}")
    if arrived.utc_ms - now_ms > AHEAD_MS:
        notes.append(f"its clock is {(arrived.utc_ms - now_ms) / 60_000:.0f} min ahead of the yard's")
    return notes


def _record_words(held: Held) -> str:
    if not held.size:
        return "no entry"
    if held.head is None:
        return f"entries 1 to {held.size}"
    return f"entries 1 to {held.size}; up to {held.head.size} vouched for by {_code(held.head)}"


def _code(head: Head) -> str:
    return heads.record_code(head.number, head.size, head.root)


def clock(utc_ms: int) -> str:
    """Return a moment as a person reads it."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC):%d %b %H:%M} UTC"


def ago(age_ms: int | None) -> str:
    """Return an age in words."""
    if age_ms is None:
        return "never"
    seconds = max(0, age_ms) // 1000
    for size, unit in ((86_400, "days"), (3600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds // size} {unit} ago"
    return f"{seconds} s ago"
