"""How a site looks from the yard: its own last word, aged by the yard's clock, and what the yard itself knows.

A word that is old, not vouched for, or of a key nobody has compared is no verdict: it is unknown, with the reason.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from alerts.limits import SEVERITY, Verdict
from gateway import heads
from gateway.adapters.site_book import Arrived
from gateway.adapters.yard_db import SAYS_OTHERWISE, Checked, Refusal, Site, YardAlarm
from gateway.heads import Head
from gateway.standing import Word, word_of
from gateway.vouching import Held

HEADS_LATE_MS = 1_500_000  # a head is due each ten minutes; two and a half of them
AHEAD_MS = 60_000
UNREADABLE = "what it says of itself cannot be read: update the yard, or ask its keeper what was changed"


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site on the list. word: what it said last of itself. why: why its verdict is unknown, empty where its
    word's worst area says it. fresh: its word counts; said_ms: when it said it, UTC, or 0.

    notes: what a clerk should know beside it. record: how far it is held and vouched for. key: the fingerprint
    that is believed; confirmed: somebody compared it. checked: whether its own words were held against its
    entries, and how far.
    """

    id: str
    word: Word
    verdict: Verdict
    why: str
    fresh: bool
    said_ms: int
    age_ms: int | None
    notes: tuple[str, ...]
    record: str
    key: str
    confirmed: bool
    refusals: tuple[Refusal, ...]
    checked: str

    @property
    def name(self) -> str:
        """The jobsite's own name."""
        return self.word.jobsite or self.id

    @property
    def order(self) -> tuple[int, int, int, str]:
        """Worst first: refused, then by verdict, then by alarms."""
        open_ones = sum(1 for each in self.refusals if not each.seen_by)
        return -min(open_ones, 1), SEVERITY.index(self.verdict), -self.word.alarm_count, self.id


def line(
    site: Site,
    arrived: Arrived,
    held: Held,
    refusals: Sequence[Refusal],
    now_ms: int,
    checked: Checked | None = None,
) -> SiteLine:
    """Return how a site looks at a moment of the yard's clock."""
    word = word_of(arrived.standing) if arrived.standing else Word()
    why = unknown_because(site, arrived, refusals, now_ms) or ("" if word else UNREADABLE)
    word = word or Word()
    verdict = Verdict.UNKNOWN if why or word.worst is None else word.worst.verdict
    return SiteLine(
        site.id, word, verdict,
        why or ("" if word.worst else "no area is named at the site"),
        not why, arrived.standing_ms if arrived.standing else 0,
        max(now_ms - arrived.received_ms, now_ms - arrived.utc_ms) if arrived.size else None,
        (*word.trouble, *_notes(arrived, held, now_ms)),
        _record_words(held), site.pinned, bool(site.confirmed), tuple(refusals), check_words(checked),
    )  # fmt: skip


def unknown_because(site: Site, arrived: Arrived, refusals: Sequence[Refusal], now_ms: int) -> str:
    """Return why nothing can be said of a site now, or nothing."""
    if not arrived.size:
        return "nothing has come from it yet"
    patience_ms, since = 1000 * site.silent_s, clock(arrived.standing_ms) if arrived.standing else "the beginning"
    open_ones = [each for each in refusals if not each.seen_by]
    last = open_ones[0] if open_ones and open_ones[0] == refusals[0] else None
    otherwise = next((each.why for each in open_ones if each.kind == SAYS_OTHERWISE), "")
    causes = (
        (now_ms - arrived.received_ms > patience_ms,
         f"silent since {clock(arrived.received_ms)}: nothing new has come"),
        (bool(otherwise), f"what it says does not follow from its journal: {otherwise}"),
        (last is not None and last.last_ms >= arrived.received_ms,
         f"what it sends is refused: {last.why if last else ''}"),
        (not site.confirmed, "nobody has compared its key yet"),
        (now_ms - arrived.utc_ms > patience_ms,
         f"what came last is of {clock(arrived.utc_ms)}: it is still catching up, or its clock is wrong"),
        (now_ms - arrived.standing_ms > patience_ms, f"its gateway has not said how it stands since {since}"),
    )  # fmt: skip
    return next((why for holds, why in causes if holds), "")


def check_words(found: Checked | None) -> str:
    """Say how far a site's words were held against its entries, and what was found."""
    if found is None:
        return "what it says of itself was not yet checked against its entries"
    upto = f"checked {clock(found.at_ms)} up to entry {found.upto} of {clock(found.upto_ms)}"
    if found.wrong:
        often = f"{found.wrong} of {found.words} times"
        return f"what it said of itself does not follow from its entries ({often}); {upto}"
    untold = f"; of {found.untold} times it cannot be told, another version said it" if found.untold else ""
    return f"what it said of itself follows from its entries (all {found.words} times); {upto}{untold}"


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
    try:
        return f"{datetime.fromtimestamp(utc_ms / 1000, UTC):%d %b %H:%M} UTC"
    except (ValueError, OverflowError, OSError):  # a site's own number
        return "an impossible time"


def ago(age_ms: int | None) -> str:
    """Return an age in words."""
    if age_ms is None:
        return "never"
    seconds = max(0, age_ms) // 1000
    for size, unit in ((86_400, "days"), (3600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds // size} {unit} ago"
    return f"{seconds} s ago"


def times(refusal: Refusal) -> str:
    """Return how often something was refused, and when."""
    often = f"{refusal.times} time{'s' if refusal.times > 1 else ''}"
    return f"{often}, first {clock(refusal.first_ms)}, last {clock(refusal.last_ms)}"


def span(alarm: YardAlarm) -> str:
    """Return from when to when an alarm of the yard stood."""
    return f"{clock(alarm.begun_ms)} to {clock(alarm.ended_ms) if alarm.ended_ms else 'now'}"


def tally(lines: Sequence[SiteLine]) -> list[tuple[Verdict, int]]:
    """Return how many sites are how, the worst first."""
    many = Counter(each.verdict for each in lines)
    return [(each, many[each]) for each in SEVERITY if many[each]]
