"""What is left out of a judging changes nothing: a day judged whole, second by second, ends in the same bytes."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts import fault
from alerts.alarm import Alarm, AlarmState, Change, deadline_ms
from alerts.fault import Fault, Watched
from gateway.flow_faults import Faults
from gateway.flow_judging import Judging
from gateway.flow_state import Outcomes
from tests.golden_days import HERE, _Day, _site

DAYS = ("coat-ends", "held", "dead-station", "stopped-train")


class _Sparse(_Day):
    """A golden day in which a third of the sensors speak at a time, as sensors do."""

    def _speak(self, minute: float) -> Outcomes:
        whole, turn = self.table, int(minute * 60)
        self.table = [(at, {n: v for n, v in row.items() if (hash_of(n) + turn) % 3 == 0}) for at, row in whole]
        try:
            return super()._speak(minute)
        finally:
            self.table = whole


def hash_of(name: str) -> int:
    return sum(name.encode())


def lived(name: str) -> tuple[list[str], bytes]:
    """What happened on a day, and all that is remembered of it."""
    told: Mapping[str, Any] = tomllib.loads((HERE / f"{name}.toml").read_text())
    day = _Sparse(_site(told.get("limits", "")), told)
    return [str(line) for line in day.play()], day.flow.checkpoint()


@pytest.mark.parametrize("name", DAYS)
def test_a_day_judged_whole_each_second_is_the_same_day(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every limit, alarm, fault and area brought up to date at each judging, or only those that may change."""
    lines, state = lived(name)
    judge = Judging.judge

    def whole(self: Judging, *args: Any) -> None:
        self.acted = True
        judge(self, *args)

    monkeypatch.setattr(Judging, "judge", whole)
    monkeypatch.setattr(Faults, "_due", lambda self, _: list(self.watch.sensors))
    assert lived(name) == (lines, state)
    assert lines


TIMES = st.one_of(st.none(), st.integers(0, 5_000))
ALARMS = st.builds(
    Alarm,
    state=st.sampled_from(AlarmState),
    cause=st.sampled_from(("", Change.FAULT, Change.UNKNOWN)),
    breach_since=TIMES,
    unknown_since=TIMES,
    close_since=TIMES,
    clearing_since=TIMES,
    inside_since=TIMES,
    warned=st.booleans(),
    untold=st.booleans(),
)


@given(ALARMS, st.sampled_from(Fault), st.booleans(), st.integers(5_000, 10**9))
def test_an_alarm_at_rest_is_not_moved_by_time(alarm: Alarm, kind: Fault, stands: bool, now_ms: int) -> None:
    """What `rests` says holds for any kind and any later time; and no timer of it is due."""
    if not fault.rests(alarm, stands=stands):
        return
    watched, before = Watched("it", kind, "it", "it"), repr(alarm)
    assert fault.step(alarm, watched, now_ms, stands=stands) is None
    assert repr(alarm) == before
    assert deadline_ms(alarm, watched) is None
