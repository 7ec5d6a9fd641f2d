"""What stood for a while, for the ribbons of the history page: work on the areas, alarms, exposures, findings, and
when the broker was away.

Activities and absences come from entries, everything else from the journal's events.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping
from typing import Any, NamedTuple

from alerts.alarm import Change
from alerts.limits import Limit
from gateway import entry, flow_exposures, flow_findings, flow_health
from gateway.adapters.landmarks import Clocks
from gateway.entry import Kind
from gateway.jobsite import Jobsite
from gateway.payload import canonical

_OF_KIND = "SELECT core_ms, entry FROM landmarks WHERE kind = ? ORDER BY seq"
BEGINS = {
    Change.BREACH: "outside limits", Change.UNKNOWN: "unknown", flow_exposures.OPENED: "exposure",
    flow_findings.BEGAN: "finding",
}  # fmt: skip
ENDS = frozenset((Change.RETURNED, Change.WITHDRAWN, flow_exposures.ENDED, flow_findings.ENDED))
_HEALTH = "SELECT kind, core_ms, entry FROM landmarks WHERE kind IN (?, ?) ORDER BY seq"
Json = dict[str, Any]


class Span(NamedTuple):
    """A range of UTC ms, and now: what has not ended stands until then."""

    from_ms: int
    until_ms: int
    now_ms: int

    def cut(self, found: list[Json]) -> list[Json]:
        """Return what stood in the range."""
        return [each for each in found if each["until"] > self.from_ms and each["from"] < self.until_ms]


def activities(db: sqlite3.Connection, time: Clocks, site: Jobsite, place: str, span: Span) -> list[Json]:
    """Return what work went on in the areas of a place."""
    areas = {place} | {area for train in site.trains if train.id == place for area in train.feeds}
    begun: dict[tuple[str, str], int] = {}
    found = []
    for core_ms, made in db.execute(_OF_KIND, (Kind.ACTION,)):
        body = canonical.to_dict(entry.body_of(made))
        key = (str(body.get("area", "")), str(body.get("activity", "")))
        if body.get("act") == "begin" and key[0] in areas:
            begun.setdefault(key, time.utc_ms(core_ms))
        elif body.get("act") == "end" and key in begun:
            found.append((*key, begun.pop(key), time.utc_ms(core_ms)))
    found += [(*key, since, span.now_ms) for key, since in begun.items()]
    return span.cut(
        [
            {"area": area, "activity": activity, "from": since, "until": until}
            for area, activity, since, until in found
        ]
    )


def absences(db: sqlite3.Connection, time: Clocks, span: Span) -> list[Json]:
    """Return when the broker was away: nothing was heard, and what it had just taken may be lost with it."""
    found, away_ms = list[tuple[int, int]](), span.now_ms
    for kind, core_ms, made in db.execute(_HEALTH, (Kind.HEALTH, Kind.STARTED)):
        body, now_ms = canonical.to_dict(entry.body_of(made)), time.utc_ms(core_ms)
        if body.get("figure") == flow_health.ABSENCE:
            until_ms, away_ms = now_ms - int(body["ended_ms"]), span.now_ms
            found.append((until_ms - int(body["away_ms"]), until_ms))
        elif body.get("figure") == "broker" and body["class"] == "away":
            away_ms = now_ms
        elif kind == Kind.STARTED and away_ms < span.now_ms:  # stopped meanwhile: how it went on nobody saw
            found.append((away_ms, now_ms))
            away_ms = span.now_ms
    found += [(away_ms, span.now_ms)] if away_ms < span.now_ms else []
    return span.cut([{"from": since, "until": until, "cause": "unknown"} for since, until in found])


def alarms(
    db: sqlite3.Connection, time: Clocks, limits: Mapping[str, Limit], trains: Collection[str], span: Span
) -> list[Json]:
    """Return what stood of these limits, and of the findings on these trains: since when, why, who took note."""
    standing: dict[str, Json] = {}
    found = []
    for (event,) in db.execute("SELECT event FROM events ORDER BY id"):
        said = canonical.to_dict(event)
        words = _words(said, limits, trains)
        if words is None:
            continue
        key, at = _key(said), time.utc_ms(said["core_ms"])
        if said["change"] == Change.ACKNOWLEDGED and key in standing:
            standing[key]["acknowledged"] = at
        if said["change"] in ENDS or said["change"] in BEGINS:
            if stood := standing.pop(key, None):
                found.append(stood | {"until": at})
            if said["change"] in BEGINS:
                standing[key] = {
                    "number": said["number"], "label": words, "from": at, "cause": BEGINS[said["change"]],
                    "acknowledged": None,
                }  # fmt: skip
    found += [each | {"until": span.now_ms} for each in standing.values()]
    return sorted(span.cut(found), key=lambda each: int(each["from"]))


def _key(said: Json) -> str:
    """An alarm is known by its limit, since a new cause has a new number; the others by their number."""
    number: str = said["number"]
    limit: str = said["limit"]
    return limit if number.startswith("A-") else number


def _words(said: Json, limits: Mapping[str, Limit], trains: Collection[str]) -> str | None:
    """Return what is written beside it, or None where it is of another place."""
    if said["limit"] in limits:
        own = said["reason"] if said["change"] == flow_exposures.OPENED else ""
        return own or limits[said["limit"]].advice or str(said["limit"])
    train, _, kind = said["limit"].partition("/")
    return kind if said["number"].startswith("F-") and train in trains else None
