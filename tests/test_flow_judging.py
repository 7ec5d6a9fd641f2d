"""What is left out of a judging changes nothing: a day judged whole, second by second, ends in the same bytes."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts import fault
from alerts.alarm import Alarm, AlarmState, Change, deadline_ms, step
from alerts.fault import Fault, Watched
from alerts.limits import Judgement, Limit, Verdict
from gateway import entry
from gateway.area_work import UNSET
from gateway.entry import Kind
from gateway.flow_faults import Faults
from gateway.flow_judging import Judging
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from tests.golden_days import HERE, _Day, _site
from tests.sites import margin_limit
from tests.test_flow import Day, values
from tests.test_kinds import COATING, PAINT, RAIN, WAIT, fitted
from tests.test_train_state import pot_limit

DAYS = ("coat-ends", "held")


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


def judge_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave nothing out of a judging from now on."""
    judge = Judging.judge

    def whole(self: Judging, *args: Any) -> None:
        self.acted = True
        judge(self, *args)

    monkeypatch.setattr(Judging, "judge", whole)
    monkeypatch.setattr(Faults, "_due", lambda self, _: list(self.watch.sensors))


@pytest.mark.parametrize("name", DAYS)
def test_a_day_judged_whole_each_second_is_the_same_day(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every limit, alarm, fault and area brought up to date at each judging, or only those that may change."""
    lines, state = lived(name)
    judge_all(monkeypatch)
    assert lived(name) == (lines, state)
    assert lines


def jobsite() -> Jobsite:
    """Limits of an area that ask for others and for time, one of a train that warms up, steel to be primed."""
    made = fitted(COATING, WAIT, RAIN, PAINT, margin_limit(id="free", on_delay_s=90.0), pot_limit())
    return replace(
        made,
        trains=(replace(made.trains[0], warm_up_s=330.0),),
        areas=(replace(made.areas[0], prime_within_s=2_000.0, prime_clause="test 5.1"),),
        sensors=tuple(replace(each, interval_s=900.0) for each in made.sensors),
    )


def script(seed: int) -> Iterator[Callable[[Day], object]]:
    """Steps at random: a sensor speaks, time passes, somebody does something; with long pauses between sensors."""
    chance, air = random.Random(seed), {"dryer_t": 30.0, "dryer_rh": 60.0, "line_p": 6.9, "wind": 5.0}
    wet = values(steel=10.0, pot_skin=5.0, paint=12.0, **air)
    dry = values(steel=20.0, pot_skin=35.0, paint=20.0, **air)
    for _ in range(400):
        name = chance.choice(list(wet))
        value = chance.choice((wet, dry))[name] + chance.uniform(-0.2, 0.2)
        value = chance.choice((0.0, 6.9)) if name == "line-p" and chance.random() < 0.3 else value
        wait_ms = chance.choice((700, 4_000, 31_000, 47_000, 130_000))
        act = chance.choice(ACTS)
        broker = chance.choice(("away", "good")) if chance.random() < 0.05 else None
        act = act if chance.random() < 0.2 else None
        yield partial(_step, name=name, value=value, wait_ms=wait_ms, act=act, broker=broker)


ACTS: tuple[dict[str, object], ...] = (
    {"act": "begin", "area": "A", "activity": "blasting"}, {"act": "end", "area": "A", "activity": "blasting"},
    {"act": "begin", "area": "A", "activity": "coating"}, {"act": "end", "area": "A", "activity": "coating"},
    {"act": "acknowledge", "number": "A-1"}, {"act": "acknowledge", "number": "A-3"},
    {"act": "acknowledge", "number": "K-2"}, {"act": "out_of_service", "limit": "free", "reason": "test"},
    {"act": "back_in_service", "limit": "free", "reason": "test"},
)  # fmt: skip


def _step(
    day: Day, name: str, value: float, wait_ms: int, act: dict[str, object] | None, broker: str | None
) -> None:
    day.now += wait_ms
    if broker:
        said = {"figure": "broker", "class": broker, "said": "as seen"}
        day.add(entry.plain(Kind.HEALTH, day.now, canonical.to_bytes(said)))
    if act:
        day.act(**act)  # type: ignore[arg-type]
    day.send(name, round(value, 2))
    day.now += wait_ms
    day.pass_time(0)


def states(seed: int) -> list[tuple[int, str]]:
    """How many events there are, and a hash of all that is remembered, after each step."""
    day, found = Day(at=jobsite()), []
    for act in script(seed):
        act(day)
        found.append((len(day.out.events), sha256(day.flow.checkpoint()).hexdigest()))
    return found


@pytest.mark.parametrize("seed", range(2))
def test_any_steps_judged_whole_leave_the_same_state(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Byte for byte after every step, whoever spoke last and whatever was due without a message."""
    lean = states(seed)
    judge_all(monkeypatch)
    assert states(seed) == lean
    assert lean[-1][0] > 40


def quiet(*limits: Limit) -> Day:
    """All is dry and known at five seconds past a minute, and no sensor needs to speak for long."""
    made = fitted(*limits)
    day = Day(at=replace(made, sensors=tuple(replace(each, interval_s=3_600.0) for each in made.sensors)))
    day.now += 65_000 - day.now % 60_000
    for name, value in values(steel=14.5, paint=20.0).items():
        day.send(name, value)
    day.now += 1_000
    day.pass_time(0)
    return day


def test_an_exposure_opens_with_the_alarm_that_no_message_brings() -> None:
    """Too cold at 6 s past the minute, told twenty seconds later: exposed from then, not from the minute."""
    day = quiet(margin_limit(activities=("coating",), on_delay_s=20.0))
    day.act("begin", area="A", activity="coating")
    day.send("steel", 12.0)
    day.now += 30_000
    day.pass_time(0)
    at = {each["change"]: each["core_ms"] for each in day.events()}
    assert at["outside limits"] == at["exposure opened"] == day.now - 9_000  # judged at the next whole second


def test_a_wait_that_is_over_is_history_from_that_second() -> None:
    """Half an hour inside is up at 6 s past the minute; the board's verdict and what is kept agree."""
    day = quiet(margin_limit(activities=("coating",)), WAIT)
    day.now += 1_797_000
    day.send("wind", 5.1)  # judged in the minute in which it ends
    day.now += 3_000
    day.pass_time(0)
    assert day.flow.judged["wait"].judgement.verdict is Verdict.INSIDE
    assert day.flow.state.standing[f"A|outside wait|{UNSET}"].whole == 0


def test_an_activity_that_ends_by_itself_ends_in_history_that_second() -> None:
    """Idle until a time: from then on nothing is set."""
    day = quiet()
    day.act("begin", area="A", activity="idle", until_ms=day.now + 40_000)
    day.now += 41_000
    day.pass_time(0)
    assert [name for name in day.flow.state.standing if name.startswith("A|activity|")] == [f"A|activity|{UNSET}"]


TIMES = st.one_of(st.none(), st.integers(0, 5_000))


def alarms(*causes: Change) -> st.SearchStrategy[Alarm]:
    """Any alarm there can be: it clears only while it stands, and counts calm time only while it does not."""
    made = st.builds(
        Alarm, state=st.sampled_from(AlarmState), cause=st.sampled_from(causes), breach_since=TIMES,
        clearing_since=TIMES, inside_since=TIMES, warned=st.booleans(), untold=st.booleans(),
    )  # fmt: skip
    return made.filter(lambda each: (each.inside_since if each.active else each.clearing_since) is None)


@given(alarms(Change.FAULT), st.sampled_from(Fault), st.booleans(), st.integers(5_000, 10**9), st.integers(0))
def test_the_alarm_of_a_fault_is_moved_by_time_only_when_a_timer_is_over(
    alarm: Alarm, kind: Fault, stands: bool, now_ms: int, wait_ms: int
) -> None:
    """Once a step has changed nothing, the next does neither, whatever was before, until the time it tells."""
    watched = Watched("it", kind, "it", "it")
    if fault.step(alarm, watched, now_ms, stands=stands) is not None:
        return
    due_ms, before = deadline_ms(alarm, fault.patient(alarm, watched)), repr(alarm)
    later_ms = now_ms + wait_ms if due_ms is None else min(now_ms + wait_ms, due_ms - 1)
    assert fault.step(alarm, watched, later_ms, stands=stands) is None
    assert repr(alarm) == before


@given(
    alarms(Change.BREACH, Change.UNKNOWN), st.sampled_from(Verdict), st.booleans(), st.integers(5_000, 10**9),
    st.integers(0),
)  # fmt: skip
def test_the_alarm_of_a_limit_is_moved_by_time_only_when_a_timer_is_over(
    alarm: Alarm, verdict: Verdict, well: bool, now_ms: int, wait_ms: int
) -> None:
    """The same, by what is judged of its value. A timer that another verdict left may be over all the while."""
    said, limit = Judgement(verdict, None, well, ""), margin_limit()
    if step(alarm, limit, said, now_ms) is not None:
        return
    due_ms, before = deadline_ms(alarm, limit), repr(alarm)
    later_ms = now_ms + wait_ms if due_ms is None else max(now_ms, min(now_ms + wait_ms, due_ms - 1))
    assert step(alarm, limit, said, later_ms) is None
    assert repr(alarm) == before
