"""Findings in the fold: fed by the first second judged in each minute, journalled as events like alarms."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gateway import finding_service, findings, manual
from gateway.finding_words import Finding
from gateway.findings import SHORT, Change, Watched
from gateway.flow_state import Event, Outcomes, State
from gateway.jobsite import Jobsite, Train
from gateway.payload import canonical
from gateway.said import Read
from gateway.train_features import minute

BEGAN, ENDED = "finding began", "finding ended"
MINUTE = 60_000


def judged(state: State, site: Jobsite, read: Read, now_ms: int, outcomes: Outcomes) -> None:
    """Take a minute of every train in, if this is the first second of it that is judged."""
    if now_ms // MINUTE == state.findings_minute:
        return
    state.findings_minute = now_ms // MINUTE
    for train in site.trains:
        watched = state.findings.setdefault(train.id, Watched())
        for change in findings.take(watched, train, minute(site, train, read), now_ms):
            _event(state, train, watched, change, outcomes)


def _event(
    state: State, train: Train, watched: Watched, change: Change, outcomes: Outcomes, reason: str = ""
) -> None:
    state.events += 1
    if change.began:
        state.finding_numbers += 1
        watched.numbers[change.key] = state.finding_numbers
    number = watched.numbers.pop(change.key) if not change.began else state.finding_numbers
    said = [each for each in findings.told(watched, train) if each.key == change.key]
    reason = words(said[0]) if said else reason
    what, verdict = (BEGAN, "finding") if change.began else (ENDED, "")
    event = Event(
        state.events, state.judged_ms, f"F-{number}", what, f"{train.id}/{change.key}", verdict, None, None, reason
    )
    outcomes.events.append(canonical.to_bytes(event))


def words(said: Finding) -> str:
    """A finding in a few sentences, as an event keeps it."""
    return (
        f"{said.title}. Evidence: {said.evidence}. Confidence {said.confidence}. First: {said.check_first} "
        f"It may also be: {said.also}."
    )


def standing(state: State, site: Jobsite) -> list[tuple[str, Finding]]:
    """Every open finding with its number, train by train."""
    return [
        (f"F-{watched.numbers[each.key]}", each)
        for train in site.trains
        if (watched := state.findings.get(train.id)) is not None
        for each in findings.told(watched, train)
    ]


def keep_only(state: State, before: Jobsite | None, site: Jobsite) -> None:
    """Another jobsite is in force: a train that changed, or a sensor of its, begins with a new measure."""
    same = {} if before is None else {train.id: _all_of(before, train) for train in before.trains}
    kept = {train.id for train in site.trains if same.get(train.id) == _all_of(site, train)}
    state.findings = {name: watched for name, watched in state.findings.items() if name in kept}


def _all_of(site: Jobsite, train: Train) -> object:
    """What a train's figures are made from; sensors of other places are taken along for simplicity."""
    return (train, [each for each in site.stations if each.id == train.station], site.sensors)


def started(state: State) -> None:
    """Nothing is derived across downtime: every train counts as just switched on."""
    for watched in state.findings.values():
        watched.steady, watched.stopped = 0, SHORT


def cannot_serve(_: State, site: Jobsite, body: Mapping[str, Any]) -> str | None:
    """Say why work on a piece of a train cannot be noted, or None."""
    train = next((each for each in site.trains if each.id == body["train"]), None)
    if train is None:
        return f"There is no train {body['train']}."
    if body["piece"] not in {piece.id for piece in train.pieces}:
        return f"Train {train.id} has no piece {body['piece']}."
    return None


def acted(state: State, site: Jobsite | None, body: Mapping[str, Any], outcomes: Outcomes) -> None:
    """Take in what persons do to a train: work on a piece, or a level and a bypass they have looked at."""
    train = next((each for each in site.trains if each.id == body.get("train")), None) if site else None
    if train is None:
        return
    watched = state.findings.setdefault(train.id, Watched())
    if body["act"] == "manual":
        watched.seen |= manual.seen_of(body)
    elif body["act"] == "serviced":
        for change in finding_service.serviced(watched, train, body["piece"], body["what"]):
            _event(state, train, watched, change, outcomes, f"{body['what']}, entered by {body['person']}.")
