"""What the history page draws, as one JSON value: panels in columns, limits, gaps, activities and alarms.

Input: the journal, read-only. The values are in the reader's units; times are UTC in ms.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from gateway import entry
from gateway.adapters.history import Drawn, channels
from gateway.adapters.landmarks import Clocks, clocks
from gateway.entry import Kind
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from gateway.web.history_panels import Line, Panel, panels
from gateway.web.history_spans import Span, absences, activities, alarms
from gateway.web.taste import Taste
from gateway.web.tongue import translated

WHOLE = 1000  # of a column known, in thousandths
_LIMITS = "SELECT core_ms, entry FROM landmarks WHERE kind = ? AND core_ms < ? ORDER BY seq"
Draw = Callable[[Sequence[str]], Mapping[str, Drawn]]
Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class View:
    """What somebody looks at: a place, and a range of UTC ms. What lies after now_ms is to come, not unknown."""

    place: str
    from_ms: int
    until_ms: int
    now_ms: int


def drawn_values(db: sqlite3.Connection, site: Jobsite, view: View, taste: Taste, draw: Draw) -> Json:
    """Return the page's value; draw gives the columns of the channels asked for."""
    time = clocks(db)
    shown = panels(site, view.place, channels(db), taste)
    wanted = dict.fromkeys(
        name for panel in shown for line in panel.lines for name in (line.channel, line.less) if name
    )
    found = draw(list(wanted))
    jobsites = _jobsites(db, time, view)
    subjects = {subject for panel in shown for subject, _ in panel.judged}
    limits = {limit.id: limit for _, _, each in jobsites for limit in each.limits if limit.subject in subjects}
    span = Span(view.from_ms, view.until_ms, view.now_ms)
    first = next(iter(found.values()), None)
    return {
        "from": view.from_ms, "until": view.until_ms, "now": view.now_ms,
        "begin": first.from_ms if first else view.from_ms, "each": first.each_ms if first else 0,
        "panels": [_panel(panel, found, jobsites, view, taste.language) for panel in shown],
        "activities": [_told(each, taste) for each in activities(db, time, site, view.place, span)],
        "absences": absences(db, time, span),
        "alarms": alarms(db, time, limits, {each.id for each in site.trains if each.id == view.place}, span),
    }  # fmt: skip


def _told(activity: Json, taste: Taste) -> Json:
    return activity | {"activity": translated(activity["activity"], taste.language)}


def _panel(
    panel: Panel, found: Mapping[str, Drawn], jobsites: list[tuple[int, int, Jobsite]], view: View, language: str
) -> Json:
    lines = [_line(panel, line, found, view, language) for line in panel.lines if line.channel in found]
    limits = [
        {
            "label": translated(f"{limit.relation} {panel.unit.outside(limit.threshold_inside):.4g}", language),
            "clause": limit.clause, "least": limit.relation == "at least",
            "value": panel.unit.outside(limit.threshold_inside),
            "from": since, "until": until, "lines": panel.holds_for(limit),
        }
        for since, until, site in jobsites
        for limit in site.limits
        if panel.takes(limit)
    ]  # fmt: skip
    unit = panel.unit.spelling.removeprefix("Δ").replace("m3", "m³")
    return {
        "id": panel.id, "title": translated(panel.title, language), "unit": unit, "digits": panel.digits,
        "lines": lines, "limits": limits,
    }  # fmt: skip


def _line(panel: Panel, line: Line, found: Mapping[str, Drawn], view: View, language: str) -> Json:
    drawn = found[line.channel]
    said = {"channel": line.channel, "label": translated(line.label, language), "point": bool(line.less)}
    unit, digits = panel.unit, panel.digits

    def outside(values: Iterable[float | None]) -> list[float | None]:
        return [None if each is None else round(unit.outside(each), digits) for each in values]

    known = [WHOLE * each // drawn.each_ms for each in drawn.known_ms]
    if line.less and line.less in found:
        less = found[line.less]
        pairs = zip(drawn.mean, less.mean, strict=True)
        mean = outside(None if one is None or other is None else one - other for one, other in pairs)
        known = [min(one, WHOLE * other // less.each_ms) for one, other in zip(known, less.known_ms, strict=True)]
        return said | {"low": None, "mean": mean, "high": None, "known": known, "gaps": _gaps(known, drawn, view)}
    return said | {
        "low": outside(drawn.low), "mean": outside(drawn.mean), "high": outside(drawn.high), "known": known,
        "gaps": _gaps(known, drawn, view),
    }  # fmt: skip


def _gaps(known: Sequence[int], drawn: Drawn, view: View) -> Json:
    """How often and how long nothing was known, as fine as the columns are; what is to come is no gap."""
    past = [
        max(0, min(1.0, (view.now_ms - drawn.from_ms - at * drawn.each_ms) / drawn.each_ms))
        for at in range(len(known))
    ]
    missing = [max(0.0, share - part / WHOLE) for share, part in zip(past, known, strict=True)]
    runs = [sum(run) for there, run in groupby(missing, key=lambda each: each > 0.01) if there]
    each_s = drawn.each_ms / 1000
    return {
        "count": len(runs), "total_s": round(sum(runs) * each_s),
        "longest_s": round(max(runs, default=0) * each_s), "of_s": round(sum(past) * each_s),
    }  # fmt: skip


def _jobsites(db: sqlite3.Connection, time: Clocks, view: View) -> list[tuple[int, int, Jobsite]]:
    """Return each jobsite in force within the view, from when to when."""
    until_core = time.core_span(view.from_ms, view.until_ms)[1]
    rows = db.execute(_LIMITS, (Kind.CONFIG_SET, until_core)).fetchall()
    since = [time.utc_ms(core_ms) for core_ms, _ in rows]
    since[:1] = [view.from_ms] if rows else []  # before the first one, that one, as where entries are read
    ends = [*since[1:], view.until_ms]
    return [
        (max(begin, view.from_ms), min(end, view.until_ms), canonical.jobsite_of(entry.body_of(made)))
        for (_, made), begin, end in zip(rows, since, ends, strict=True)
        if end > view.from_ms and begin < view.until_ms
    ]
