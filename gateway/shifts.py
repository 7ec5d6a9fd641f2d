"""When a shift ends: the one thing about acts that needs the site's clock, filled in before an act is an entry."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from gateway.jobsite import Jobsite
from gateway.work_acts import IDLE


def next_end_ms(site: Jobsite, utc_ms: int) -> int | None:
    """Return the UTC of the next shift end after a moment, None where the jobsite states none."""
    zone = ZoneInfo(site.time_zone)
    today = datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone)
    ends = []
    for said in site.shift_ends:
        hour, minute = map(int, said.split(":"))
        for day in (0, 1):
            at = (today + timedelta(days=day)).replace(hour=hour, minute=minute, second=0, microsecond=0)
            ends.append(round(at.timestamp() * 1000))
    return min((end for end in ends if end > utc_ms), default=None)


def with_end(site: Jobsite | None, body: Mapping[str, Any], utc_ms: int) -> Mapping[str, Any]:
    """Return an act as it was, but idle without an end gets the one of its shift, where the jobsite states it."""
    if site is None or body.get("activity") != IDLE or body.get("act") != "begin" or "until_ms" in body:
        return body
    end = next_end_ms(site, utc_ms)
    return body if end is None else {**body, "until_ms": end}
