"""The board's values, made from the flow: read-only, once a second."""

from __future__ import annotations

from dataclasses import replace

from alerts import fault_words, notification, time_to_limit
from alerts.alarm import AlarmState
from alerts.limits import PRIORITIES, SEVERITY, Limit, Verdict, conformity_note, written
from alerts.measured import DIMENSION, UNITS, Quantity, Validity
from alerts.saying import ENGLISH
from gateway import flow_ahead, flow_findings, productivity, steel_board
from gateway.board import (
    AlarmLine,
    Amount,
    AreaVerdict,
    Board,
    ChannelLine,
    Counts,
    FindingLine,
    Gap,
    JudgedLimit,
    SensorLine,
)
from gateway.conditions import Condition
from gateway.flow import Flow
from gateway.flow_health import GOOD
from gateway.jobsite import Area, Jobsite, Sensor
from gateway.overview_work import work_of

ACTIVITIES = ("blasting", "coating")  # shown even where no limit names them
COUNTED = frozenset({Quantity.RAIN_OR_FOG, Quantity.TIME_INSIDE})  # said in words; no unit of a reader's fits
UNRULED = frozenset({Verdict.NOT_RUNNING, Verdict.NOT_ENTERED})


def board(flow: Flow, core_ms: int) -> Board | None:
    """Return the board as of core_ms, or None while no jobsite is set."""
    site, state = flow.site, flow.state
    if site is None:
        return None
    return Board(
        jobsite=site.label,
        time_zone=site.time_zone,
        simulated=site.simulated,
        utc_ms=core_ms + state.offset_ms,
        verdicts=tuple(v for area in site.areas for v in _verdicts(flow, site, area)),
        gaps=tuple(_gaps(flow, site)),
        alarms=tuple(_alarms(flow)),
        sensors=tuple(_sensor(flow, sensor, core_ms) for sensor in site.sensors),
        people=tuple(person.id for person in site.people),
        counts=_counts(flow),
        notices_sent=state.counts.get("delivery delivered", 0),
        record_code="",  # the writer knows which head is on disk
        findings=tuple(_findings(flow, site)),
        notes=tuple(said.words for train in site.trains if (said := productivity.note(train, flow.read))),
        works=tuple(work_of(state, site, area) for area in site.areas),
        faults=tuple(_faults(flow)),
        channels=tuple(_channels(flow)),
        steel=steel_board.areas(state, site, core_ms, flow.judged),
    )


def standing_still(board: Board, why: str, utc_ms: int) -> Board:
    """Return a board that says of everything that it is unknown, and why: what came since was not recorded."""
    return replace(
        board,
        utc_ms=utc_ms,
        trouble=(why,),
        verdicts=tuple(_unjudged(area, why) for area in board.verdicts),
        gaps=tuple(
            Gap(each.group, each.place, None, None, None, None, None, False, Validity.UNKNOWN, why)
            for each in board.gaps
        ),
        sensors=tuple(
            replace(each, value="not known", age_ms=None, validity=Validity.UNKNOWN, reason=why)
            for each in board.sensors
        ),
    )


def _unjudged(area: AreaVerdict, why: str) -> AreaVerdict:
    limits = tuple(
        replace(
            each,
            verdict=Verdict.UNKNOWN,
            value="not known",
            reason=why,
            rule="",
            amount=None,
            outlook=None,
            ahead="",
        )
        for each in area.limits
    )
    return replace(area, verdict=Verdict.UNKNOWN, limits=limits) if limits else area


def _verdicts(flow: Flow, site: Jobsite, area: Area) -> list[AreaVerdict]:
    limits = site.limits_of(area.id)
    named = [activity for limit in limits for activity in limit.activities]
    return [
        _verdict(flow, area, activity, [limit for limit in limits if activity in limit.activities])
        for activity in dict.fromkeys((*ACTIVITIES, *named))
    ]


def _verdict(flow: Flow, area: Area, activity: str, limits: list[Limit]) -> AreaVerdict:
    waits_last = sorted(
        limits, key=lambda each: each.quantity is Quantity.TIME_INSIDE
    )  # it follows from the others
    said = [_judged(flow, limit) for limit in waits_last]
    said.sort(key=lambda judged: SEVERITY.index(judged.verdict))
    verdict = said[0].verdict if said else Verdict.NO_LIMIT
    return AreaVerdict(area.id, area.label, activity, verdict, tuple(said))


def _judged(flow: Flow, limit: Limit) -> JudgedLimit:
    words = notification.limit_words(limit)
    quantity = limit.quantity.replace("_", " ")
    judged = flow.judged.get(limit.id)
    if judged is None:
        return JudgedLimit(Verdict.UNKNOWN, quantity, "not known", words, limit.clause, "not judged yet", 0)
    m = judged.condition.measured
    value = notification.value_words(limit, m)
    since = judged.since_ms + flow.state.offset_ms
    reason = f"{judged.condition.place}: {judged.judgement.reason}".removesuffix(": ").removeprefix(": ")
    verdict = judged.judgement.verdict
    counted = limit.quantity in COUNTED
    rule = "" if verdict in UNRULED or counted else conformity_note(limit, judged.condition.measured)
    amount = None if m.value is None or counted else Amount(limit.quantity, m.value, m.u)
    threshold = None if counted else Amount(limit.quantity, limit.threshold_inside)
    outlook = flow_ahead.outlook(flow.state, limit, judged, flow.state.judged_ms)
    return JudgedLimit(
        verdict, quantity, value, words, limit.clause, reason, since, rule, amount, threshold,
        outlook, "" if counted else time_to_limit.words(outlook),
    )  # fmt: skip


def _gaps(flow: Flow, site: Jobsite) -> list[Gap]:
    """Steel first, then each train in the order the air flows."""
    found = []
    for area in site.areas:
        steel = flow.conditions.get((area.id, Quantity.DEW_POINT_MARGIN), [])
        limit_k = _notch(site, Quantity.DEW_POINT_MARGIN, area=area.id)
        found += [_gap(f"steel, area {area.id}", each, limit_k) for each in steel]
    for train in site.trains:
        for piece in train.pieces:
            margins = flow.conditions.get((f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN), [])
            limit_k = _notch(site, Quantity.CONDENSATION_MARGIN, train=train.id, piece=piece.id)
            found += [
                _gap(train.label, each, limit_k)
                for each in margins
                if each.point_c is not None or each.measured.value is None
            ]
    return found


def _notch(site: Jobsite, quantity: Quantity, area: str = "", train: str = "", piece: str = "") -> float | None:
    """The highest margin any limit asks for at a place, in K."""
    asked = [
        limit.threshold_inside
        for limit in site.limits
        if limit.quantity is quantity and (limit.area, limit.train, limit.piece) == (area, train, piece)
    ]
    return max(asked, default=None)


def _gap(group: str, at: Condition, limit_k: float | None) -> Gap:
    m = at.measured
    u = None if m.u is None else 2 * m.u
    return Gap(group, at.place, at.point_c, at.temperature_c, m.value, u, limit_k, at.frost, m.validity, m.reason)


def _alarms(flow: Flow) -> list[AlarmLine]:
    lines = []
    for limit_id, alarm in flow.state.alarms.items():
        judged = flow.judged.get(limit_id)
        if alarm.shown is AlarmState.NORMAL or judged is None or flow.judging is None:
            continue
        limit = flow.judging.limits[limit_id]
        value = notification.value_words(limit, judged.condition.measured)
        lines.append(
            AlarmLine(
                f"A-{alarm.number}", limit_id, alarm.shown.value, limit.advice,
                f"{judged.condition.place}: {value}; limit {notification.limit_words(limit)}",
                alarm.since_ms + flow.state.offset_ms, limit.priority,
            )
        )  # fmt: skip
    return lines


def _faults(flow: Flow) -> list[AlarmLine]:
    """What is wrong with instruments and gateway: the reason where it still stands, whose verdict needs it."""
    lines, state = [], flow.state
    for name, alarm in state.alarms.items():
        watched = flow.judging.faults.all.get(name) if flow.judging else None
        if watched is None or flow.judging is None or alarm.shown is AlarmState.NORMAL or not alarm.number:
            continue
        reason = flow.judging.faults.stands.get(name, "")
        needed = fault_words.needed(watched, ENGLISH) if alarm.active else ""
        body = " ".join(filter(None, (f"{reason[:1].upper()}{reason[1:]}." if reason else "", needed)))
        title = fault_words.one_title(watched.kind, watched.label, ENGLISH)
        since = alarm.since_ms + state.offset_ms
        lines.append(AlarmLine(alarm.name, name, alarm.shown.value, title, body, since, watched.priority))
    return sorted(lines, key=lambda line: PRIORITIES.index(line.priority))


def _channels(flow: Flow) -> list[ChannelLine]:
    return [
        ChannelLine(name, "" if said.level == GOOD else said.words, said.since_ms + flow.state.offset_ms)
        for name, said in sorted(flow.state.health.channels.items())
    ]


def _findings(flow: Flow, site: Jobsite) -> list[FindingLine]:
    return [
        FindingLine(
            number, said.train, said.piece, said.kind, said.title, said.evidence, said.confidence,
            said.check_first, said.also, said.since_ms + flow.state.offset_ms,
        ) for number, said in flow_findings.standing(flow.state, site)
    ]  # fmt: skip


def _sensor(flow: Flow, sensor: Sensor, core_ms: int) -> SensorLine:
    m = flow.read(sensor.id)
    newest = flow.state.newest.get(sensor.id)
    value = "not known" if m.value is None else written(m.value, DIMENSION[sensor.quantity], UNITS[sensor.unit])
    age = None if newest is None else core_ms - newest.measured_ms
    amount = None if m.value is None else Amount(sensor.quantity, m.value, m.u)
    return SensorLine(sensor.id, sensor.label, value, age, m.validity, m.reason, amount)


def _counts(flow: Flow) -> Counts:
    counts = flow.state.counts
    return Counts(
        counts.get("message", 0), counts.get("rejected", 0), counts.get("duplicate", 0),
        counts.get("late", 0) + counts.get("age unknown", 0), tuple(sorted(flow.state.rejected.items())),
    )  # fmt: skip
