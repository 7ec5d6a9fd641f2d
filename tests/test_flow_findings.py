"""Findings in the fold: a function of the entries alone, journalled as they begin and end, shown in words."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

from gateway import acts, entry, flow_findings, overview
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from simulators.faults import START_S, Failure
from tests.bench.findings import climates, rows, site
from tests.sites import T0

SITE = site("every piece", 60.0)
COAST = climates()["coast"]
OPENED = Failure("bypass", 0.5, START_S + 205 * 60.0)


@cache
def journal(upto: int = 235) -> tuple[bytes, ...]:
    """A morning of the simulated train, its bypass opened at 10:25."""
    made = [
        entry.plain(Kind.STARTED, T0, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(SITE, "keeper", "test")),
    ]
    units = {each.id: each.unit for each in SITE.sensors}
    for n, (_, row) in enumerate(rows(COAST, OPENED, 0)[:upto]):
        now = T0 + 60_000 * (n + 1)
        for name, value in row.items():
            pack = json.dumps([{"n": name, "v": value, "u": units[name], "t": now / 1000}]).encode()
            made.append(entry.message(Arrival(f"dewgate/bench/{name}", pack), now))
    made.append(entry.plain(Kind.HEARTBEAT, T0 + 60_000 * (upto + 2)))
    return tuple(made)


def folded(entries: tuple[bytes, ...]) -> tuple[Flow, Outcomes]:
    flow, outcomes = Flow(), Outcomes()
    flow.advance(entries, outcomes)
    return flow, outcomes


def test_an_open_bypass_is_journalled_once_and_shown_in_words() -> None:
    """The event names train and piece and keeps the whole sentence; the board has the same number."""
    flow, outcomes = folded(journal())
    (event,) = [json.loads(each) for each in outcomes.events]
    assert (event["number"], event["change"], event["limit"]) == ("F-1", "finding began", "T1/bypass open bypass")
    assert event["reason"].startswith("bypass: open: part of the air passes the dryer untouched. Evidence")
    board = overview.board(flow, flow.state.core_ms)
    assert board is not None
    (line,) = board.findings
    assert (line.number, line.train, line.piece, line.kind) == ("F-1", "T1", "bypass", "bypass open")
    assert "50% open" in line.evidence
    assert "outlet at 7" in line.evidence
    assert line.confidence == "high"
    minutes = (line.since_utc_ms - T0) / 60_000
    assert 195 < minutes < 235  # it begins to open at minute 195


def test_any_split_into_batches_and_a_checkpoint_give_the_same_bytes() -> None:
    """Nothing but the entries decides: one by one, in blocks, or from a checkpoint in the middle."""
    whole, expected = folded(journal())
    flow, events = Flow(), list[bytes]()
    entries = journal()
    for start in range(0, len(entries), 777):
        outcomes = Outcomes()
        flow.advance(entries[start : start + 777], outcomes)
        events += outcomes.events
        flow = Flow.from_checkpoint(flow.checkpoint())
    assert events == expected.events
    assert flow.state.findings == whole.state.findings


def test_one_minute_is_taken_in_once_however_often_it_is_judged() -> None:
    """Sensors that speak every second must not fill the measure sixty times as fast."""
    flow, _ = folded(journal(100))
    trend = flow.state.findings["T1"].trends["level recv"]
    assert 0 < trend.count + len(trend.recent) <= 75  # 100 minutes less the warm-up and the pause


def test_downtime_counts_as_a_stop_and_derives_nothing() -> None:
    """After a start the first twenty minutes are a machine that warms up."""
    flow, _ = folded(journal())
    before = {key: replace(trend) for key, trend in flow.state.findings["T1"].trends.items()}
    now = flow.state.core_ms + 3_600_000
    flow.advance([entry.plain(Kind.STARTED, now, canonical.to_bytes({"offset_ms": 0}))], Outcomes())
    watched = flow.state.findings["T1"]
    assert (watched.steady, watched.trends) == (0, before)
    assert list(watched.open) == ["bypass open bypass"]  # nobody shut it meanwhile, as far as is known


def test_another_train_begins_with_a_new_measure_the_same_keeps_its_own() -> None:
    """A jobsite that is applied again keeps what was learnt; a changed dryer does not."""
    flow, _ = folded(journal())
    now = flow.state.core_ms + 1000
    flow.advance([entry.plain(Kind.CONFIG_SET, now, canonical.config_set(SITE, "keeper", "again"))], Outcomes())
    assert "T1" in flow.state.findings
    pieces = tuple(
        replace(each, salt="lithium chloride") if each.id == "dryer" else each for each in SITE.trains[0].pieces
    )
    other = replace(SITE, trains=(replace(SITE.trains[0], pieces=pieces),))
    flow.advance([entry.plain(Kind.CONFIG_SET, now, canonical.config_set(other, "keeper", "salt"))], Outcomes())
    assert flow.state.findings.get("T1", None) is None or not flow.state.findings["T1"].trends


def done(flow: Flow, **said: str) -> list[dict[str, object]]:
    """Fold an act in and return the events it brought about."""
    body, outcomes = {"person": "lead", "train": "T1", **said}, Outcomes()
    assert acts.refusal(flow.state, flow.site, body) is None
    flow.advance([entry.plain(Kind.ACTION, flow.state.core_ms, canonical.to_bytes(body))], outcomes)
    return [json.loads(each) for each in outcomes.events]


def test_new_salt_is_a_new_measure_of_the_dryer_only() -> None:
    """The act names a train and one of its pieces, else it is refused; the element's measure is not the salt's."""
    flow, _ = folded(journal())
    before = flow.state.findings["T1"].trends.keys()
    said = {"act": "serviced", "person": "lead", "train": "T1", "piece": "dryer", "what": "salt refilled"}
    assert acts.refusal(flow.state, flow.site, said | {"train": "T9"}) == "There is no train T9."
    assert acts.refusal(flow.state, flow.site, said | {"piece": "mast"}) == "Train T1 has no piece mast."
    assert done(flow, act="serviced", piece="dryer", what="salt refilled") == []  # the bypass stays open
    gone = {"outlet_rh dryer", "came dryer", "span dryer", "over dryer", "heat dryer"}
    assert flow.state.findings["T1"].trends.keys() == before - gone
    assert list(flow.state.findings["T1"].open) == ["bypass open bypass"]
    assert done(flow, act="serviced", piece="sep", what="drain cleaned") == []
    assert not {"drain sep", "sep"} & {*flow.state.findings["T1"].trends, *flow.state.findings["T1"].drains}
    assert "element sep" in flow.state.findings["T1"].trends


def test_work_on_a_piece_ends_what_was_said_of_it() -> None:
    """At once, under its number, with what was done and by whom; a word that is not in the list does as well."""
    flow, _ = folded(journal())
    assert done(flow, act="serviced", piece="bypass", what="element changed") == []  # nothing that speaks of it
    assert list(flow.state.findings["T1"].open) == ["bypass open bypass"]
    (ended,) = done(flow, act="serviced", piece="bypass", what="shut and locked")
    assert (ended["number"], ended["change"]) == ("F-1", "finding ended")
    assert ended["reason"] == "shut and locked, entered by lead."
    assert flow.state.findings["T1"].open == {}
    changed = done(flow, act="serviced", piece="recv", what="sensor changed")
    assert changed == []
    assert not [name for name in flow.state.findings["T1"].trends if name.startswith(("pair", "heat", "cooling"))]
    assert "element sep" in flow.state.findings["T1"].trends


BLIND = site("dryer outlet only", 60.0)


def by_hand(**seen: str) -> dict[str, str]:
    return {"act": "manual", "kind": "air train", "area": "N/A", "level": "N/A", "drain_count": "N/A",
            "bypass": "N/A", "words": "seen on the round", **seen}  # fmt: skip


def minutes_on(flow: Flow, first: int, count: int) -> list[dict[str, object]]:
    """Healthy minutes of the blind train; returns the events."""
    outcomes, units = Outcomes(), {each.id: each.unit for each in BLIND.sensors}
    for n in range(first, first + count):
        now = T0 + 60_000 * (n + 1)
        for name, value in rows(COAST, Failure(), 0)[n % 45 + 5][1].items():
            if name in units:
                pack = json.dumps([{"n": name, "v": value, "u": units[name], "t": now / 1000}]).encode()
                flow.advance([entry.message(Arrival(f"dewgate/bench/{name}", pack), now)], outcomes)
    return [json.loads(each) for each in outcomes.events]


def test_a_bypass_seen_open_is_a_finding_without_a_sensor_at_it() -> None:
    """A person's word stands until another one; a level that rose by hand is one too."""
    flow = Flow()
    flow.advance([
        entry.plain(Kind.STARTED, T0, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(BLIND, "keeper", "test")),
    ], Outcomes())  # fmt: skip
    assert minutes_on(flow, 0, 25) == []
    done(flow, **by_hand(piece="bypass", bypass="partly open"))
    done(flow, **by_hand(piece="recv", level="20 %FS"))
    (began,) = minutes_on(flow, 25, 20)
    assert (began["number"], began["limit"]) == ("F-1", "T1/bypass open bypass")
    assert "entered by hand as not shut" in str(began["reason"])
    done(flow, **by_hand(piece="bypass", bypass="shut"))
    (ended,) = minutes_on(flow, 45, 40)
    assert (ended["number"], ended["change"]) == ("F-1", "finding ended")
    done(flow, **by_hand(piece="recv", level="60 %FS"))
    (began,) = minutes_on(flow, 85, 25)
    assert began["limit"] == "T1/receiver drain recv"
    assert "level 60%, was 20%" in str(began["reason"])


def test_a_finding_that_ended_keeps_its_number() -> None:
    """The bypass is shut again: the end bears the number of the beginning."""
    flow, _ = folded(journal())
    outcomes = Outcomes()
    shut = rows(COAST, Failure(), 3)
    units = {each.id: each.unit for each in SITE.sensors}
    for n in range(60):
        now = T0 + 60_000 * (240 + n)
        for name, value in shut[60 + n % 45][1].items():
            pack = json.dumps([{"n": name, "v": value, "u": units[name], "t": now / 1000}]).encode()
            flow.advance([entry.message(Arrival(f"dewgate/bench/{name}", pack), now)], outcomes)
    ended = [json.loads(each) for each in outcomes.events if b"bypass open" in each]
    assert [(each["number"], each["change"]) for each in ended] == [("F-1", flow_findings.ENDED)]
