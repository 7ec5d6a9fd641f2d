"""The shifts of a climate record: when each began and ended, a row for each; days where no shift end is stated.

A shift goes from one end that the jobsite states to the next, so that no hour belongs to none. Ends are moved back
to whole quarters of an hour, which the figures are kept by.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from alerts.measured import Dimension, Quantity
from gateway.climate_record import Material, exposures, utc_of
from gateway.jobsite import Jobsite
from gateway.record_alarms import OF_LIMITS, alarms
from gateway.record_channels import Quarters
from gateway.record_words import Words
from gateway.tiers import QUARTER_MS

Table = tuple[
    str, tuple[str, ...], tuple[str, ...], tuple[float, ...], tuple[int, ...], tuple[tuple[str, ...], ...]
]
Span = tuple[int, int]
DAY = timedelta(days=1)
ACTIVITY = "activity|"


def ends(site: Jobsite, from_ms: int, until_ms: int) -> list[int]:
    """Return the ends of shifts [UTC ms] from the last at or before a moment to the first at or after another."""
    zone, times = ZoneInfo(site.time_zone), site.shift_ends or ("00:00",)
    day = datetime.fromtimestamp(from_ms / 1000, UTC).astimezone(zone) - 2 * DAY
    last = datetime.fromtimestamp(until_ms / 1000, UTC).astimezone(zone) + 2 * DAY
    found = set[int]()
    while day <= last:
        for hour, minute in (map(int, said.split(":")) for said in times):
            at = round(day.replace(hour=hour, minute=minute, second=0, microsecond=0).timestamp() * 1000)
            found.add(at - at % QUARTER_MS)
        day += DAY
    low = max(each for each in found if each <= from_ms)
    high = min(each for each in found if each >= until_ms)
    return sorted(each for each in found if low <= each <= high)


def shift_at(site: Jobsite, utc_ms: int) -> Span:
    """Return the shift in which a moment lies; one that is an end begins the next."""
    before, after = ends(site, utc_ms, utc_ms + 1)[:2]
    return before, after


def shifts(material: Material) -> list[Span]:
    """Return the shifts of a record, the first and the last cut where the record is."""
    asked = material.asked
    cuts = [each for each in ends(material.site, asked.from_ms, asked.until_ms)
            if asked.from_ms < each < asked.until_ms]  # fmt: skip
    return list(zip([asked.from_ms, *cuts], [*cuts, asked.until_ms], strict=True))


def table(material: Material, words: Words) -> Table:
    """Return one row for each shift; none where the record is no longer than one."""
    every = shifts(material)
    made = tuple(_row(each, material, words) for each in every) if len(every) > 1 else ()
    columns = (
        "from",
        "to",
        "Work",
        "Outside",
        "Margin not known for",
        "Least margin",
        "Alarms raised",
        "Exposures",
    )
    title = words("Shifts") if material.site.shift_ends else words("Days")
    text = words("From one end that the jobsite states to the next. Times of several areas or activities overlap.")
    widths = (2.2, 2.2, 4, 4, 2, 1.6, 3, 2)
    return title, (text,) if made else (), tuple(map(words, columns)), widths, (), made


def _row(span: Span, material: Material, words: Words) -> tuple[str, ...]:
    of_limits = [each for each in alarms(material) if each.number.startswith(OF_LIMITS)]
    raised = [each.number for each in of_limits if span[0] <= each.changes[0][0] < span[1]]
    opened = [each.code for each in exposures(material) if span[0] <= utc_of(material, each.opened_ms) < span[1]]
    work = _lengths(ACTIVITY, span, material, words)
    out = _lengths("outside ", span, material, words)
    margin = _parts(str(Quantity.DEW_POINT_MARGIN), span, material).values()
    known = min((sum(each.known_ms) for each in margin), default=0)
    least = min((low for each in margin for low in each.low if low is not None), default=None)
    said = words.number(least, Dimension.DIFFERENCE)
    unit = "" if least is None else f" {words.unit(Dimension.DIFFERENCE).spelling}"
    unknown = max(0, span[1] - span[0] - known)
    return (
        words.moment(span[0]), words.moment(span[1]), work or words("nothing"), out or words("never"),
        words.length(unknown) if unknown else "0", f"{said}{unit}", _run(raised, words),
        ", ".join(opened) or words("none"),
    )  # fmt: skip


def _run(numbers: list[str], words: Words) -> str:
    """Alarms are numbered as they come, so that those of a shift follow each other."""
    ends = [int(each.removeprefix("A-")) for each in (*numbers[:1], *numbers[-1:])]
    if len(numbers) > 2 and ends[1] - ends[0] == len(numbers) - 1:
        return f"{numbers[0]} {words('to')} {numbers[-1]}"
    return ", ".join(numbers) or words("none")


def _lengths(kind: str, span: Span, material: Material, words: Words) -> str:
    """How long each activity went on, or each limit was broken, by area, where it was at all."""
    found = dict[tuple[str, str], int]()
    for name, quarters in _parts(kind, span, material).items():
        area, _, rest = name.partition("|")
        what = rest.removeprefix(kind).partition("|")[0]
        what = words(what) if kind == ACTIVITY else what  # a limit has the name that the specification gave it
        found[area, what] = found.get((area, what), 0) + quarters.total().so_ms
    return "\n".join(
        f"{area}: {what} {words.length(so_ms)}" for (area, what), so_ms in sorted(found.items()) if so_ms
    )


def _parts(kind: str, span: Span, material: Material) -> dict[str, Quarters]:
    """The channels of a kind, cut to a span."""
    first, last = ((each - material.asked.from_ms) // QUARTER_MS for each in span)
    return {
        name: quarters.part(first, last) for name, quarters in material.quarters.items()
        if name.partition("|")[2].startswith(kind)
    }  # fmt: skip
