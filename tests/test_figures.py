"""How well alarms serve a crew, from made-up events with known counts."""

from __future__ import annotations

import pytest

from alerts.figures import HOUR_MS, Happened, Load, figures

MINUTE = 60_000


def told(minute: float, person: str = "lead", why: str = "first told", number: str = "A-1") -> Happened:
    return Happened(round(minute * MINUTE), number, "told", "margin", f"{person} (phone): {why}")


def raised(minute: float, limit: str = "margin", change: str = "outside limits", number: str = "A-1") -> Happened:
    return Happened(round(minute * MINUTE), number, change, limit, "")


def test_each_person_has_their_own_load_and_limits_back_is_none() -> None:
    """Three in ten minutes, four in two hours; the good news is not counted."""
    events = [told(1), told(5), told(10.9), told(11, why="limits back"), told(100), told(3, "chief")]
    found = figures(sorted(events, key=lambda each: each.at_ms), 0, 2 * HOUR_MS)
    assert found.loads == (Load("chief", 1, 0.5, 1), Load("lead", 4, 2.0, 3))


@pytest.mark.parametrize(
    ("an_hour", "most", "words"), [(6.0, 9, "manageable"), (6.1, 9, "too many"), (1.0, 10, "a flood")]
)
def test_what_a_person_copes_with(an_hour: float, most: int, words: str) -> None:
    """EEMUA 191: one in ten minutes; ten in ten minutes are a flood."""
    assert Load("lead", 1, an_hour, most).words == words


def test_top_repeaters_and_chattering_limits() -> None:
    """Three within an hour chatter; three in three hours do not."""
    events = [raised(m, "steel") for m in (0, 30, 60)] + [raised(m, "air", "unknown") for m in (0, 61, 122)]
    found = figures(sorted(events, key=lambda each: each.at_ms), 0, 3 * HOUR_MS)
    assert dict(found.raised) == {"steel": 3, "air": 3}
    assert found.chattering == ("steel",)


def test_what_is_wrong_with_instruments_is_counted_apart() -> None:
    """A sensor silent twice is no alarm of a limit: not raised, kept back, answered; told it is a load."""
    wrong = [raised(m, "sensor steel silent", "fault", f"K-{m}") for m in (1, 60)]
    events = [*wrong, raised(62, "sensor steel silent", "kept back", "K-60"), told(2, "keeper", number="K-1")]
    events += [raised(50, "sensor steel silent", "acknowledged", "K-1"), told(90, "keeper", "fault over", "K-1")]
    found = figures(sorted(events, key=lambda each: each.at_ms), 0, 2 * HOUR_MS)
    assert found.faults == (("sensor steel silent", 2),)
    assert (found.raised, found.kept_back, found.answer_s) == ((), 0, None)
    assert found.loads == (Load("keeper", 1, 0.5, 1),)


def test_stale_alarms_stand_for_more_than_a_day_whatever_the_stretch() -> None:
    """Raised long before the shift and never back; one that came back is not stale, nor one a day old."""
    day = 24 * 60
    events = [raised(0, "old", number="A-1"), raised(1, "back", number="A-2"), raised(10, "new", number="A-3"),
              raised(20, "back", "limits back", number="A-2"), raised(30, "old", number="A-4")]  # fmt: skip
    found = figures(events, (day - 60) * MINUTE, (day + 10) * MINUTE)
    assert found.stale == (("A-1", "old", 0),)


def test_the_time_to_an_answer_is_the_median_and_counts_each_message_once() -> None:
    """Two, four and ten minutes: four."""
    events = []
    for number, minutes in (("A-1", 2), ("A-2", 4), ("A-3", 10)):
        events += [told(0, number=number), raised(minutes, change="acknowledged", number=number)]
        events += [raised(minutes, "second", change="acknowledged", number=number)]
    found = figures(sorted(events, key=lambda each: each.at_ms), 0, HOUR_MS)
    assert found.answer_s == 240.0
    assert figures([], 0, HOUR_MS).answer_s is None


def test_only_the_stretch_counts() -> None:
    """What was kept back before it or after it is another shift's."""
    kept = [Happened(m * MINUTE, "A-1", "kept back", "margin", "lead: off duty") for m in (1, 70, 130)]
    assert figures(kept, HOUR_MS, 2 * HOUR_MS).kept_back == 1
