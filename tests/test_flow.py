"""The whole path, pure: what entries bring about, and that nothing but the entries decides it."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.limits import Verdict
from gateway import entry, tree
from gateway.conditions import Workings
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.flow_work import Areas
from gateway.jobsite import Jobsite
from gateway.payload import canonical
from tests.sites import T0, margin_limit, pack, site

MINUTE = 60_000
SAY = {"air-t": 20.0, "air-rh": 50.0, "baro": 1010.0, "steel": 20.0}


class Day:
    """A flow with its journal in memory, and hands to send messages with."""

    def __init__(self, *limits: object, at: Jobsite | None = None) -> None:
        self.flow, self.out, self.entries = Flow(), Outcomes(), []
        self.now = T0
        self.put(Kind.STARTED, {"offset_ms": 0})
        made = at or site(*limits)  # type: ignore[arg-type]
        self.add(entry.plain(Kind.CONFIG_SET, self.now, canonical.config_set(made, "keeper", "test")))

    def act(self, act: str, person: str = "lead", **words: object) -> None:
        self.put(Kind.ACTION, {"act": act, "person": person, **words})

    def add(self, made: bytes) -> None:
        self.entries.append(made)
        self.flow.advance([made], self.out)

    def put(self, kind: Kind, body: dict[str, object]) -> None:
        self.add(entry.plain(kind, self.now, canonical.to_bytes(body)))

    def put_heartbeat(self) -> None:
        """Anchor what ticks brought about, as the writer does."""
        self.put(Kind.HEARTBEAT, {})

    def send(self, name: str, value: float, *, timed: bool = True, **facts: bool) -> bytes:
        payload = pack(name, value, self.now if timed else None)
        return self.arrive(Arrival(f"dewgate/test/{name}", payload, **facts))

    def arrive(self, arrival: Arrival) -> bytes:
        made = self.flow.receive(arrival, self.now, self.out)
        self.entries.append(made)
        return made

    def pass_time(self, seconds: int, **values: float) -> None:
        """Every ten seconds each named sensor speaks; with none, silence."""
        for _ in range(seconds // 10):
            self.now += 10_000
            for name, value in values.items():
                self.send(name, value)
        outcomes = self.flow.tick(self.now)
        self.out.events += outcomes.events
        self.out.notices += outcomes.notices

    def events(self, series: str = "A") -> list[dict[str, Any]]:
        """Events of limits, or those of another series: K of instruments and the gateway."""
        found = map(json.loads, self.out.events)
        return [each for each in found if each["number"].startswith("K-") == (series == "K")]

    def changes(self, series: str = "A") -> list[tuple[str, str]]:
        """What happened to alarms; who was told is in `told`."""
        lived = (each for each in self.events(series) if each["change"] not in ("told", "kept back"))
        return [(e["number"], e["change"]) for e in lived]

    def told(self, series: str = "A") -> list[tuple[str, str, str]]:
        told = (each for each in self.events(series) if each["change"] in ("told", "kept back"))
        return [(e["number"], e["change"], e["reason"]) for e in told]

    def verdict(self) -> Verdict:
        return self.flow.judged["margin"].judgement.verdict


def values(**changes: float) -> dict[str, float]:
    return {
        k.replace("_", "-"): v
        for k, v in ({**{k.replace("-", "_"): v for k, v in SAY.items()}, **changes}).items()
    }


@pytest.fixture
def day() -> Day:
    return Day(margin_limit())


def test_a_breach_alarms_after_the_on_delay_and_returns_after_the_off_delay(day: Day) -> None:
    """Outside for a minute raises one alarm; ten minutes past the deadband return it."""
    day.pass_time(120, **values())
    assert day.verdict() is Verdict.INSIDE
    day.pass_time(50, **values(steel=11.0))
    assert day.changes() == []
    day.pass_time(30, **values(steel=11.0))
    assert day.changes() == [("A-1", "outside limits")]
    day.pass_time(590, **values())
    assert len(day.changes()) == 1
    day.pass_time(30, **values())
    assert day.changes() == [("A-1", "outside limits"), ("A-1", "limits back")]


def test_silence_never_clears_an_alarm(day: Day) -> None:
    """An alarm stands for as long as nothing is heard."""
    day.pass_time(120, **values(steel=11.0))
    day.pass_time(7200)
    assert [change for _, change in day.changes()] == ["outside limits"]
    assert day.verdict() is Verdict.UNKNOWN


def test_silence_becomes_an_alarm_of_its_own(day: Day) -> None:
    """A sensor that stops speaking is unknown after its patience and alarms after the unknown delay."""
    day.pass_time(120, **values())
    day.pass_time(MINUTE // 1000 + 310)
    assert day.changes() == [("A-1", "unknown")]


def test_a_sensor_that_comes_and_goes_cannot_put_an_alarm_off(day: Day) -> None:
    """Outside and unknown in turn still alarms: only a good value resets the timers."""
    day.pass_time(60, **values())
    for _ in range(6):
        day.pass_time(20, **values(steel=11.0))
        day.pass_time(80)
    assert ("A-1", "outside limits") in day.changes()


def test_no_limit_is_in_force_that_nobody_stated() -> None:
    """Wet steel without a limit gives no judgement and no alarm."""
    day = Day()
    day.pass_time(600, **values(steel=5.0))
    assert day.changes() == [] and day.flow.judged == {}


@pytest.mark.parametrize("facts", [{"retain": True}, {"before_marker": True}])
def test_an_untimed_reading_that_may_be_old_is_never_judged_as_current(day: Day, facts: dict[str, bool]) -> None:
    """Retained or waiting messages without a time are stored and shown, and stay unknown."""
    for name, value in SAY.items():
        day.send(name, value, timed=False, **facts)
    day.pass_time(10)
    assert day.verdict() is Verdict.UNKNOWN
    assert day.flow.state.counts["age unknown"] == len(SAY)


@pytest.mark.parametrize("facts", [{"retain": True}, {"before_marker": True}])
def test_a_relative_time_tells_nothing_of_a_message_that_waited(day: Day, facts: dict[str, bool]) -> None:
    """RFC 8428, 4.5.3: "five seconds ago" counts from reception, which is wrong after an hour at the broker."""
    day.arrive(Arrival("dewgate/test/steel", b'[{"n":"steel","v":20,"t":-5}]', **facts))
    assert day.flow.state.counts["age unknown"] == 1
    assert "steel" not in day.flow.state.newest


def test_a_relative_time_sent_again_is_one_message(day: Day) -> None:
    """Its time moves with reception, so only the broker's DUP says that it is the same."""
    payload = b'[{"n":"steel","v":20,"t":-5}]'
    kinds = []
    for dup in (False, True):
        kinds.append(entry.unpack(day.arrive(Arrival("dewgate/test/steel", payload, 9, dup=dup)))[0])
        day.now += 1_700
    assert kinds == [Kind.MESSAGE, Kind.DUPLICATE]


def test_a_backlog_is_stored_and_not_judged(day: Day) -> None:
    """Readings an hour old count as late; the verdict stays unknown."""
    for name, value in SAY.items():
        day.arrive(Arrival(f"dewgate/test/{name}", pack(name, value, day.now - 3_600_000)))
    day.pass_time(10)
    assert day.flow.state.counts["late"] == len(SAY)
    assert day.verdict() is Verdict.UNKNOWN


def test_a_redelivered_message_names_its_first(day: Day) -> None:
    """The same identity again is an entry that names the first one, and counts once."""
    first = day.send("steel", 20.0)
    again = day.send("steel", 20.0, dup=True)
    assert entry.unpack(first)[0] is Kind.MESSAGE
    kind, _, body = entry.unpack(again)
    assert kind is Kind.DUPLICATE and entry.duplicate_of(body) == day.flow.state.sequence - 1


def test_an_untimed_repeat_needs_the_dup_flag(day: Day) -> None:
    """Two equal untimed readings are two readings unless the broker says it sent one again."""
    kinds = [entry.unpack(day.send("steel", 20.0, timed=False, dup=dup))[0] for dup in (False, False, True)]
    assert kinds == [Kind.MESSAGE, Kind.MESSAGE, Kind.DUPLICATE]


def set_clock(day: Day, offset_ms: int) -> None:
    day.put(
        Kind.CLOCK_STEP, {"new_offset_ms": offset_ms, "old_offset_ms": day.flow.state.offset_ms, "cause": "test"}
    )


BESIDE = b'[{"n":"steel","v":20},{"n":"steel","v":21,"t":1780000000}]'  # one of the two without a time


@pytest.mark.parametrize("payload", [pack("steel", 20.0, T0), BESIDE], ids=["timed", "beside an untimed one"])
@pytest.mark.parametrize("id_again", [9, 10], ids=["by the broker", "by the sensor"])
def test_what_was_refused_as_ahead_is_taken_once_when_the_clock_is_right(
    day: Day, payload: bytes, id_again: int
) -> None:
    """A refusal read nothing, so it is no first one: sent again it is a message, and after that a repeat."""
    before = Arrival("dewgate/test/steel", payload, 9)
    again = Arrival("dewgate/test/steel", payload, id_again, dup=id_again == 9)
    set_clock(day, -120_000)
    refused = [entry.unpack(day.arrive(each))[0] for each in (before, Arrival(before.topic, payload, 9, dup=True))]
    assert refused == [Kind.REJECTION, Kind.DUPLICATE], "while the clock is wrong it is refused once"
    set_clock(day, 0)
    kinds = [
        entry.unpack(day.arrive(each))[0] for each in (again, Arrival(again.topic, payload, id_again, dup=True))
    ]
    assert kinds == [Kind.MESSAGE, Kind.DUPLICATE]
    assert day.flow.state.newest["steel"].value in (20.0, 21.0) and day.flow.state.counts["message"] == 1


def test_what_was_taken_is_known_again_while_the_clock_is_set_back(day: Day) -> None:
    """It looks measured ahead then, and is no sensor's mistake: a repeat, and no refusal."""
    payload = pack("steel", 20.0, day.now)
    first = day.arrive(Arrival("dewgate/test/steel", payload, 9))
    number = day.flow.state.sequence
    set_clock(day, -120_000)
    kind, _, body = entry.unpack(day.arrive(Arrival("dewgate/test/steel", payload, 9, dup=True)))
    assert entry.unpack(first)[0] is Kind.MESSAGE
    assert (kind, entry.duplicate_of(body)) == (Kind.DUPLICATE, number)
    ahead = pack("steel", 20.0, day.now + 1)
    kind, _, body = entry.unpack(day.arrive(Arrival("dewgate/test/steel", ahead, 10)))
    assert (kind, entry.rejection_of(body).code) == (Kind.REJECTION, "bad time")


def test_the_same_time_with_another_value_is_a_conflict(day: Day) -> None:
    """Both are kept, the first is judged, the conflict is counted."""
    day.send("steel", 20.0)
    made = day.send("steel", 25.0)
    assert entry.unpack(made)[0] is Kind.MESSAGE
    assert day.flow.state.counts["conflict"] == 1 and day.flow.state.newest["steel"].value == 20.0
    again = day.send("steel", 25.0)  # the broker sends it again: known, not kept twice
    assert entry.unpack(again)[0] is Kind.DUPLICATE
    assert day.flow.state.counts["conflict"] == 1


def test_an_acknowledgement_is_an_event(day: Day) -> None:
    """A person acknowledges by number; the alarm stays until the limit is back."""
    day.pass_time(120, **values(steel=11.0))
    day.put(Kind.ACTION, {"act": "acknowledge", "number": "A-1", "person": "lead"})
    assert day.changes()[-1] == ("A-1", "acknowledged")
    assert day.flow.state.alarms["margin"].state == "acknowledged"


def test_nothing_is_derived_across_downtime(day: Day) -> None:
    """An hour off does not count as an hour outside limits, and old values are not current after a start."""
    day.pass_time(40, **values(steel=11.0))
    day.now += 3_600_000
    day.put(Kind.STARTED, {"offset_ms": 0})
    day.pass_time(20)
    assert day.changes() == [] and day.verdict() is Verdict.UNKNOWN


def test_a_clock_step_raises_no_alarm(day: Day) -> None:
    """The wall clock jumps back 30 years; core time and alarms do not notice."""
    day.pass_time(120, **values())
    day.put(Kind.CLOCK_STEP, {"new_offset_ms": -30 * 365 * 86_400_000})
    for _ in range(30):
        day.now += 10_000
        for name, value in values().items():
            utc = day.now + day.flow.state.offset_ms
            day.arrive(Arrival(f"dewgate/test/{name}", pack(name, value, utc)))
    assert day.changes() == [] and day.verdict() is Verdict.INSIDE


def test_a_sensor_whose_clock_is_wrong_is_judged_on_receipt_after_a_live_hour(day: Day) -> None:
    """Late for more than a whole live hour, even at best, is a wrong clock: flagged, and judged as received."""
    slow = 20 * MINUTE

    def hear(minutes: int) -> None:
        for turn in range(minutes * 6):
            day.now += 10_000
            for name, value in values(air_t=20.0 + turn % 2 / 10, air_rh=50.0 + turn % 2 / 10).items():
                late = slow if name == "steel" else 0
                day.arrive(Arrival(f"dewgate/test/{name}", pack(name, value, day.now - late)))

    hear(40)
    assert day.verdict() is Verdict.UNKNOWN
    hear(85)
    assert day.verdict() is Verdict.INSIDE
    assert "its clock is wrong" in day.flow.judged["margin"].judgement.reason
    hear_late = day.flow.state.counts["late"]
    day.arrive(
        Arrival("dewgate/test/air-t", pack("air-t", 20.0, day.now - slow - 1))
    )  # one straggler is only late
    assert day.flow.state.counts["late"] == hear_late + 1


def test_a_message_to_a_person_says_stop_value_limit_and_clause(day: Day) -> None:
    """The alert carries the advice, the number with its uncertainty, the limit and its clause."""
    day.pass_time(120, **values(steel=11.0))
    (notice,) = day.out.notices
    assert notice.title == "A-1 Stop blasting area A"
    for word in ("1.7", "±", "at least 3 K", "test specification 4.2", "Advisory only"):
        assert word in notice.body
    assert (notice.person, notice.channel) == ("lead", "lead-phone")


def a_shift(seed: int) -> Day:
    """A random hour of messages good and bad, with silences, restarts and steps."""
    chance, day = random.Random(seed), Day(margin_limit())
    for _ in range(120):
        day.now += chance.choice((500, 1_000, 10_000, 90_000, 900_000))
        match chance.randrange(12):
            case 0:
                day.put(Kind.HEARTBEAT, {})
            case 1:
                day.arrive(Arrival("dewgate/test/steel", chance.randbytes(12)))
            case 2:
                day.put(Kind.STARTED, {"offset_ms": chance.choice((0, 5_000))})
            case _:
                humid, steel = (
                    chance.choice((50.0, 50.0, 85.0, 101.0, 1.0)),
                    chance.choice((20.0, 13.2, 10.0, 60.0)),
                )
                for name, value in values(steel=steel, air_rh=humid).items():
                    day.send(name, value, timed=chance.random() < 0.8, dup=chance.random() < 0.1)
    return day


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.lists(st.integers(1, 60), max_size=20))
def test_any_split_of_the_same_entries_gives_the_same_bytes(seed: int, cuts: list[int]) -> None:
    """Batches, restarts from a checkpoint and one long fold agree in events and in state."""
    day = a_shift(seed)
    flow, events, rest = Flow(), Outcomes(), list(day.entries)
    for cut in [*cuts, len(rest)]:
        flow.advance(rest[:cut], events)
        rest = rest[cut:]
        flow = Flow.from_checkpoint(flow.checkpoint())
    assert events.events == day.out.events
    assert flow.checkpoint() == day.flow.checkpoint()


def test_the_tree_over_the_entries_is_the_one_of_rfc_6962() -> None:
    """Peaks give the same root as the recursive definition in RFC 6962, 2.1."""

    def mth(entries: list[bytes]) -> bytes:
        if len(entries) == 1:
            return tree.leaf(entries[0])
        k = 1 << ((len(entries) - 1).bit_length() - 1)
        return tree.node(mth(entries[:k]), mth(entries[k:]))

    entries = [bytes([i]) * 3 for i in range(70)]
    for size in range(1, 71):
        assert tree.root_of(entries[:size]) == mth(entries[:size])


def _said(flow: Flow) -> dict[object, list[object]]:
    """What the conditions say; of what was never known, since when it is not is not compared."""
    known = {
        key: [each for each in found if each.measured.value is not None] for key, found in flow.conditions.items()
    }
    return known | {(key, "?"): [each.measured.reason for each in found] for key, found in flow.conditions.items()}


def test_what_is_kept_from_the_last_judging_changes_nothing() -> None:
    """Values of sensors that said nothing new are not made again; made anew each time they are the same."""
    chance, day = random.Random(11), Day(margin_limit())
    for _ in range(400):
        day.now += chance.choice((1000, 4000, 9000, 70_000))
        name = chance.choice(sorted(values()))
        day.send(name, values(steel=11.5)[name] + round(3 * chance.random(), 1))
    anew, out = Flow(), Outcomes()
    for each in day.entries:
        if anew.judging:
            anew.hearing.begin()
            anew.judging.workings = Workings(anew.site, anew.hearing.read)
            anew.judging.conditions = anew.judging.workings.found
            anew.judging.areas = Areas(anew.state, anew.site, anew.judging.conditions)
        anew.advance([each], out)
    assert out.events == day.out.events and len(out.events) >= 2
    assert out.sheet == day.out.sheet
    assert _said(anew) == _said(day.flow)


def test_limits_that_go_together_are_withdrawn_in_one_order() -> None:
    """The order of the journal's events must not hang on how a set happens to lie in memory."""
    many = [margin_limit(id=f"margin-{number}") for number in range(8)]
    day = Day(*many)
    day.pass_time(400)  # nothing speaks: all are unknown
    assert len(day.changes()) >= 8
    before = len(day.out.events)
    day.add(entry.plain(Kind.CONFIG_SET, day.now, canonical.config_set(site(), "keeper", "test")))
    gone = [json.loads(each)["limit"] for each in day.out.events[before:]]
    assert gone == [limit.id for limit in many]
