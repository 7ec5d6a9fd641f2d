"""The same journal by other limits: the differences alone, and nothing of the journal changed."""

from __future__ import annotations

import hashlib
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.limits import Limit
from gateway import config, history_command
from gateway.adapters.journal import Journal
from gateway.flow_state import Outcomes
from gateway.what_if import Compared, WrongLimits, compare
from tests.sites import SENSORS, T0, margin_limit, site
from tests.test_flow import SAY, Day

# Dew point of 20 °C at 50 % RH: 9.3 °C. Steel at 13 °C has a margin of 3.7 K, at 11 °C of 1.7 K.
CLOSE, OUTSIDE = {**SAY, "steel": 13.0}, {**SAY, "steel": 11.0}
SET = margin_limit()  # at least 3 K, deadband 0.5 K, after a minute outside, back after ten inside


@pytest.fixture(scope="module")
def day() -> Day:
    """Half an hour at a margin of 3.7 K, five minutes at 1.7 K, then dry; the alarm is acknowledged."""
    made = Day(SET)
    made.pass_time(600, **SAY)
    made.pass_time(1800, **CLOSE)
    made.pass_time(300, **OUTSIDE)
    made.act("acknowledge", number="A-1")
    made.pass_time(1800, **SAY)
    made.put_heartbeat()
    return made


def judged(day: Day, *limits: Limit) -> Compared:
    return compare(iter(day.entries), limits, lambda _: None)


def test_the_same_limits_differ_in_nothing(day: Day) -> None:
    """Both judgements are made now: no line, and the same counts."""
    found = judged(day, SET)
    assert found.lines() == []
    assert (found.entries, found.acts) == (len(day.entries), 1)
    assert "margin, outside limits: 1 then, 1 by the other limits" in found.table()


def test_a_stricter_limit_tells_earlier(day: Day) -> None:
    """At least 4 K: outside since the half hour began, told a minute later, back in one piece."""
    found = judged(day, replace(SET, threshold=4.0))
    outside = [line for line in found.lines() if "outside limits" in line]
    assert [line[0] for line in outside] == ["+", "-"]
    then = next(each for each in found.then if each.change == "outside limits")
    other = next(each for each in found.other if each.change == "outside limits")
    assert 0 <= other.utc_ms - (T0 + 670_000) <= 2000  # from the word at 610 s, on-delay 60 s
    assert 0 <= then.utc_ms - (T0 + 2_470_000) <= 2000
    assert "margin, outside limits: 1 then, 1 by the other limits" in found.table()


def test_a_laxer_limit_a_longer_delay_and_no_limit_tell_nothing(day: Day) -> None:
    """What was told then is a minus line each; the guarded rule makes more of the same journal, not less."""
    for limits in ((replace(SET, threshold=1.0),), (replace(SET, on_delay_s=900.0),), ()):
        found = judged(day, *limits)
        assert [e.change for e in found.other if e.change == "outside limits"] == []
        assert any(line.startswith("- ") and "outside limits" in line for line in found.lines())
    longer = judged(day, replace(SET, off_delay_s=1200.0))
    back = [(line[0], line.split(": ")[1].split(" at")[0]) for line in longer.lines() if "limits back" in line]
    assert back == [("-", "limits back"), ("+", "limits back")]


def test_a_limit_for_a_place_that_is_not_there_is_refused(day: Day) -> None:
    """The places are those of the record; a name that is not among them is told."""
    with pytest.raises(WrongLimits, match="limit margin is for area Z"):
        judged(day, replace(SET, area="Z"))


def test_the_command_reads_a_jobsite_file_and_leaves_the_journal_alone(
    day: Day, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its limits alone are taken; the file of the journal is the same to the byte."""
    with closing(Journal(tmp_path / "journal.db")) as book:
        book.commit(1, day.entries, 1, Outcomes(day.out.events), 0)
    before = hashlib.sha256((tmp_path / "journal.db").read_bytes()).hexdigest()
    other = tmp_path / "other.toml"
    at = replace(site(replace(SET, threshold=4.0)), trains=(), sensors=SENSORS)
    other.write_text(config.to_toml(at))
    words = ["--home", str(tmp_path), "--limits", str(other)]
    assert history_command.run("replay", words, "") == 0
    said = capsys.readouterr().out
    assert said.count("outside limits at 3.7") == 1 and said.count("outside limits at 1.7") == 1
    assert "1 acts on alarms left out of both; nothing was changed" in said
    assert hashlib.sha256((tmp_path / "journal.db").read_bytes()).hexdigest() == before
    other.write_text("nonsense")
    assert history_command.run("replay", words, "") == 2
    assert "other.toml:1" in capsys.readouterr().err
