"""How a site looks from the yard: its own word while it is fresh and vouched for, else unknown and why."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.limits import Verdict
from gateway import entry
from gateway.adapters.site_book import Arrived
from gateway.adapters.yard_db import Checked, Refusal, Site
from gateway.entry import Kind
from gateway.payload.canonical import to_bytes
from gateway.vouching import Held
from gateway.yard import look
from tests.sites import T0
from tests.yard.conftest import Stage, part
from tests.yard_site import Site as Jobsite

SITE = Site("north", "ab" * 16, 1, 300, 0)
NOW = T0 + 1_000_000


def area(verdict: str, name: str = "shell", activity: str = "") -> dict[str, str]:
    return {"area": name, "activity": activity, "verdict": verdict, "quantity": "dew point margin", "why": "1.2 K"}


def word(*areas: dict[str, str], **more: object) -> bytes:
    body = {"jobsite": "north tower", "simulated": False, "areas": list(areas), "alarms": [], "alarm_count": 0,
            "findings": [], "sent": {}, "trouble": []}  # fmt: skip
    return to_bytes(body | more)


def fresh(**changes: object) -> Arrived:
    """What came two seconds ago, of three seconds ago, with a word of a minute ago."""
    at = Arrived(100, NOW - 2000, NOW - 3000, 0, NOW - 60_000, word(area("inside limits")))
    return replace(at, **changes)  # type: ignore[arg-type]


def seen(arrived: Arrived, site: Site = SITE, refusals: tuple[Refusal, ...] = ()) -> look.SiteLine:
    return look.line(site, arrived, Held(), refusals, NOW)


def test_a_fresh_word_is_the_verdict() -> None:
    """With what it is about, and its age by the older of both clocks."""
    line = seen(fresh(standing=word(area("outside limits", activity="blasting"), area("inside limits", "deck"))))
    assert (line.verdict, line.why) == (Verdict.OUTSIDE, "") and line.word.worst
    assert (line.word.worst.area, line.word.worst.activity, line.word.worst.why) == ("shell", "blasting", "1.2 K")
    assert (line.name, line.age_ms, look.ago(line.age_ms)) == ("north tower", 3000, "3 s ago")
    assert seen(fresh()).verdict is Verdict.INSIDE


OTHERWISE = Refusal("north", "says otherwise", "entry 9: shell", NOW - 99_000, NOW - 99_000, 1, "")
REFUSED = Refusal("north", "rewritten", "entry 7 is held with other content", NOW - 9000, NOW - 1000, 3, "")


@pytest.mark.parametrize(
    ("arrived", "site", "refusals", "why"),
    [
        (Arrived(), SITE, (), "nothing has come from it yet"),
        (fresh(received_ms=NOW - 300_001), SITE, (), "silent since"),
        (fresh(core_ms=NOW - 300_001), SITE, (), "still catching up"),
        (fresh(standing_ms=NOW - 300_001), SITE, (), "has not said how it stands since"),
        (fresh(standing=b"", standing_ms=0), SITE, (), "has not said how it stands since the beginning"),
        (fresh(standing=word()), SITE, (), "no area is named"),
        (fresh(), replace(SITE, confirmed=0), (), "nobody has compared its key yet"),
        (fresh(standing=b'{"areas":[1]}'), SITE, (), "cannot be read"),
        (fresh(standing=b"[]"), SITE, (), "cannot be read"),
        (fresh(standing=word(findings=["x" * (1 << 18)])), SITE, (), "cannot be read"),
        (fresh(), SITE, (OTHERWISE,), "what it says does not follow from its journal: entry 9: shell"),
        (fresh(), SITE, (REFUSED,), "what it sends is refused: entry 7 is held with other content"),
    ],
)
def test_what_is_old_or_doubtful_is_unknown(
    arrived: Arrived, site: Site, refusals: tuple[Refusal, ...], why: str
) -> None:
    """A site that said "inside limits" is unknown from then on, and the reason is said."""
    line = seen(arrived, site, refusals)
    assert line.verdict is Verdict.UNKNOWN and why in line.why


def test_at_the_very_limit_of_patience_it_still_counts() -> None:
    """Three hundred seconds are borne, one more ms is not."""
    line = seen(fresh(received_ms=NOW - 300_000, core_ms=NOW - 300_000, standing_ms=NOW - 300_000))
    assert (line.verdict, line.age_ms) == (Verdict.INSIDE, 300_000)


def test_a_refusal_somebody_looked_at_or_that_was_followed_by_entries_is_past() -> None:
    """It stays on the page of the site, and hides no verdict."""
    assert seen(fresh(), refusals=(replace(REFUSED, seen_by="ann"),)).verdict is Verdict.INSIDE
    assert seen(fresh(), refusals=(replace(REFUSED, last_ms=NOW - 3000),)).verdict is Verdict.INSIDE


def test_how_far_its_words_were_checked_is_said() -> None:
    """Never, all of them, some that do not follow, some that cannot be told."""
    good = Checked("north", upto=99, at_ms=NOW, upto_ms=NOW, words=7)
    assert look.check_words(None) == "what it says of itself was not yet checked against its entries"
    upto = f"checked {look.clock(NOW)} up to entry 99 of {look.clock(NOW)}"
    assert look.check_words(good) == f"what it said of itself follows from its entries (all 7 times); {upto}"
    bad = look.check_words(replace(good, wrong=2))
    assert bad == f"what it said of itself does not follow from its entries (2 of 7 times); {upto}"
    assert look.check_words(replace(good, untold=3)).endswith(
        "of 3 times it cannot be told, another version said it"
    )


def test_a_time_that_cannot_be_is_no_fault_of_the_page() -> None:
    """A site may write any number."""
    assert look.clock(1 << 62) == "an impossible time"


def test_a_clock_that_is_ahead_makes_nothing_younger(stage: Stage, site: Jobsite) -> None:
    """Its entries count from when they came; the difference is told."""
    line = seen(fresh(core_ms=NOW + 600_000, received_ms=NOW - 5000))
    assert line.age_ms == 5000 and any("10 min ahead" in note for note in line.notes)


def test_a_record_without_heads_is_told(stage: Stage, site: Jobsite) -> None:
    """No head at all; none for long."""
    assert any("no signed head" in note for note in seen(fresh()).notes)
    stage.take(1, part(site, 1, 101))
    arrived, held = stage.intake.newest["north"]
    line = look.line(SITE, arrived, held, (), stage.now_ms)
    assert line.notes == () and line.record.startswith("entries 1 to 101; up to 81 vouched for by H3-81-")
    late = replace(arrived, core_ms=arrived.core_ms + look.HEADS_LATE_MS + 20_000)
    assert "no head has vouched for its last 20 entries" in look.line(SITE, late, held, (), NOW).notes[0]


def test_a_word_is_found_among_what_comes(stage: Stage, site: Jobsite) -> None:
    """The newest of them, with UTC by the site's own clock."""
    step = entry.plain(Kind.CLOCK_STEP, site.now_ms, to_bytes({"new_offset_ms": 7000}))
    site.grow([step, *site.readings(3), site.standing(alarm_count=2), *site.readings(2)], head=True)
    stage.take(1, part(site, 1, len(site.entries)))
    arrived, _ = stage.intake.newest["north"]
    assert b'"alarm_count":2' in arrived.standing
    assert arrived.standing_ms == site.now_ms - 800 + 7000 and arrived.utc_ms == site.now_ms + 7000
