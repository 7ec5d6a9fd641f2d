"""A made board with every verdict, every kind of gap and alarms in several states."""

from __future__ import annotations

from dataclasses import replace

from alerts.limits import Verdict
from alerts.measured import Quantity, Validity
from gateway.board import (
    AlarmLine,
    Amount,
    AreaVerdict,
    AreaWork,
    Board,
    Counts,
    ExposureLine,
    Gap,
    GoingOn,
    JudgedLimit,
    SensorLine,
)

NOW_MS = 1_783_946_400_000  # 2026-07-13 12:40:00 UTC
STARTED_MS = NOW_MS - 3_600_000


def judged(
    verdict: Verdict, value: str = "3.4 K ± 0.9 K", reason: str = "", limit: str = "at least 3.0 K"
) -> JudgedLimit:
    """One limit's say."""
    quantity = "dew point margin" if limit.endswith("K") else "relative humidity"
    return JudgedLimit(verdict, quantity, value, limit, "clause 3.2.1", reason, STARTED_MS)


def area(verdict: Verdict, label: str, activity: str, *limits: JudgedLimit) -> AreaVerdict:
    """One area's verdict."""
    return AreaVerdict(label.lower(), label, activity, verdict, limits)


VERDICTS = (
    area(
        Verdict.OUTSIDE, "Hull frames 12 to 18", "coating",
        replace(
            judged(Verdict.OUTSIDE, "1.2 K ± 0.9 K", "Steel at the keel is 1.8 K short of the limit."),
            amount=Amount(Quantity.DEW_POINT_MARGIN, 1.2, 0.45),
            threshold=Amount(Quantity.DEW_POINT_MARGIN, 3.0),
        ),
        judged(Verdict.CLOSE, "83.6 % ± 2.1 %", "", "at most 85 %RH"),
    ),
    area(
        Verdict.UNKNOWN, "Ballast tank 3", "curing",
        judged(Verdict.UNKNOWN, "unknown", "No reading from the steel sensor for 12 min."),
    ),
    area(
        Verdict.CLOSE, "Deck, port side", "blasting",
        judged(Verdict.CLOSE, "3.4 K ± 0.9 K", "The limit lies within the uncertainty."),
    ),
    area(Verdict.INSIDE, "Deck house", "stripe coat", judged(Verdict.INSIDE, "6.1 K ± 0.7 K")),
    area(Verdict.NOT_RUNNING, "Train 2", "blasting", judged(Verdict.NOT_RUNNING, "not running", "No flow.")),
    area(Verdict.NO_LIMIT, "Paint store", "no activity set"),
    area(Verdict.NOT_ENTERED, "Gangway", "coating", judged(Verdict.NOT_ENTERED, "not known", "Nobody looked.")),
)  # fmt: skip


def gap(
    group: str, place: str, low: float | None, high: float | None, *, u: float | None = 0.9,
    limit: float | None = 3.0, frost: bool = False, validity: Validity = Validity.GOOD, reason: str = "",
) -> Gap:  # fmt: skip
    """One gap with its margin taken from its ends."""
    margin = None if low is None or high is None else high - low
    return Gap(group, place, low, high, margin, u, limit, frost, validity, reason)


GAPS = (
    gap("steel", "Hull frames, coldest spot", 12.0, 13.2),
    gap("steel", "Hull frames, warmest spot", 12.0, 21.4, u=0.8),
    gap("steel", "Deck, port side", 12.3, 15.7),
    gap(
        "steel", "Ballast tank 3, coldest spot", 11.2, None, u=None, validity=Validity.UNKNOWN,
        reason="No reading from the steel sensor for 12 min.",
    ),
    gap("Train 1", "Aftercooler outlet", 31.0, 31.8, u=0.6, limit=None),
    gap("Train 1", "Separator outlet", 24.0, 22.5, u=0.7, limit=None),
    gap("Train 1", "Dryer outlet", 9.5, 24.8, u=1.6, limit=5.0),
    gap("Train 1", "Pot wall", -3.0, -1.5, u=None, limit=None, frost=True),
    gap(
        "Train 1", "Nozzle", -8.0, 19.0, u=3.0, limit=None, frost=True, validity=Validity.BOUND,
        reason="Humidity is below what this sensor resolves.",
    ),
)  # fmt: skip

WORKS = (
    AreaWork(
        "hull frames 12 to 18", "Hull frames 12 to 18", "primed", STARTED_MS,
        (GoingOn("coating", STARTED_MS, "lead", None),), (), ("zinc-1",),
    ),
    AreaWork(
        "ballast tank 3", "Ballast tank 3", "coated", STARTED_MS - 7_200_000,
        (GoingOn("curing", STARTED_MS, "lead", None),),
        (ExposureLine("E-4", "stripe coat", "curing", STARTED_MS, NOW_MS - 600_000, 0.4),), (),
    ),
    AreaWork("deck, port side", "Deck, port side", "not stated", 0, (), (), ()),
)  # fmt: skip

ALARMS = (
    AlarmLine(
        "A-1042", "hull-margin", "unacknowledged", "Hull frames: margin outside limits",
        "Do not start the coat. The margin is 1.2 K, the limit 3.0 K.", STARTED_MS, "high",
    ),
    AlarmLine(
        "A-1041", "tank-steel", "returned to normal unacknowledged", "Ballast tank 3: humidity was high",
        "Limits back; the area needs the inspector's disposition.", STARTED_MS - 90_000_000, "medium",
    ),
    AlarmLine(
        "A-1039", "deck-rh", "acknowledged", "Deck: close to limit", "Watch the next hour.", STARTED_MS, "low"
    ),
)  # fmt: skip

SENSORS = (
    SensorLine(
        "st-1",
        "Station air temperature",
        "18.4 °C",
        2_000,
        Validity.GOOD,
        "",
        Amount(Quantity.AIR_TEMPERATURE, 18.4, 0.2),
    ),
    SensorLine("st-2", "Station humidity", "66.2 %RH", 2_000, Validity.GOOD, ""),
    SensorLine(
        "tank-3", "Tank 3 steel", "14.0 °C", 721_000, Validity.UNKNOWN, "The newest reading is 12 min old."
    ),
    SensorLine("train-1", "Train 1 humidity", "0.4 %RH", None, Validity.BOUND, "Below what it resolves."),
)

BOARD = Board(
    jobsite="North slip",
    time_zone="Europe/Lisbon",
    simulated=True,
    utc_ms=NOW_MS,
    verdicts=VERDICTS,
    gaps=GAPS,
    alarms=ALARMS,
    sensors=SENSORS,
    people=("Ana Reis", "Jo Lund"),
    counts=Counts(48_211, 7, 1, 12, (("unit not known", 4), ("not a number", 3))),
    notices_sent=5,
    record_code="7F3K-92QD-M4XA",
    works=WORKS,
)


def at(seconds: int, board: Board = BOARD) -> Board:
    """Return the board so many seconds later."""
    return replace(board, utc_ms=NOW_MS + 1000 * seconds)
