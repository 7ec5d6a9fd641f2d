"""Golden days: readings in; alarms and messages expected at given minutes. An inspector can read the files."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.golden_days import Line, days, expected, play

FORBIDDEN = re.compile(r"\b(safe|clean|resume work|go on|permitted|permission|may start)\b", re.IGNORECASE)
HANDS_OFF = re.compile(r"\b(open|drain|adjust|loosen|unscrew)\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def played() -> dict[Path, list[Line]]:
    return {path: play(path) for path in days()}


@pytest.mark.parametrize("path", days(), ids=lambda path: path.stem)
def test_a_golden_day_happens_as_written(path: Path, played: dict[Path, list[Line]]) -> None:
    """Every alarm, every message and every reason why not, to the minute."""
    assert [str(line).strip() for line in played[path]] == [line.strip() for line in expected(path)]


def test_there_is_a_day_for_each_thing_that_a_crew_lives_through() -> None:
    """A dusk, noise, a dead station, a curing night, a stopped train, a shelved alarm, holds, rain, a coat."""
    assert {path.stem for path in days()} >= {
        "dusk", "noise", "dead-station", "curing-night", "stopped-train", "shelved", "held", "rain", "coat-ends",
    }  # fmt: skip


def test_every_message_of_every_day_keeps_to_the_words(played: dict[Path, list[Line]]) -> None:
    """No permission, nothing called clean or safe, no hand on a piece under pressure; a short title."""
    notices = [line.notice for lines in played.values() for line in lines if line.notice]
    assert len(notices) > 30
    for notice in notices:
        text = f"{notice.title}\n{notice.body}"
        assert not FORBIDDEN.search(text), text
        assert not HANDS_OFF.search(text.replace("open sky", "")), text
        assert len(notice.title) <= 130 and "\n" not in notice.title
        assert notice.title.startswith(f"{notice.event_number} ")
        assert re.search(r"(Advisory only|Solo aviso)", notice.body)
        assert re.search(r"\d\d:\d\d UTC-05:00", notice.body), "the moment is in site time"


def test_a_shift_is_calm(played: dict[Path, list[Line]]) -> None:
    """Four hours at the limit itself with noise: one alarm is told, and no return before it is real."""
    (noise,) = [lines for path, lines in played.items() if path.stem == "noise"]
    assert sum("outside limits" in line.words for line in noise) <= 2
    assert not any("limits back" in line.words for line in noise)
