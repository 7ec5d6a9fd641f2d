"""Limits of the project specification, and what a value says against one of them.

The program has no limit of its own. A limit is what the keeper entered with its clause; a value is
judged against it by the decision rule the specification names (simple acceptance when it names none).
Sources: ILAC-G8:09/2019 (decision rules), JCGM 106:2012 (probability of conformance).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from math import erf, sqrt

from alerts.measured import DIMENSION, UNITS, Dimension, Measured, Quantity, Unit, Validity


class Verdict(StrEnum):
    """The words a person reads. None of them is permission."""

    INSIDE = "inside limits"
    CLOSE = "close to limit"
    OUTSIDE = "outside limits"
    UNKNOWN = "unknown"
    NO_LIMIT = "no limit set"
    NOT_RUNNING = "not running"  # a train that is off: neither dry nor unknown
    NOT_ENTERED = "nothing entered"  # of what only a person sees: no word is neither dry nor wet


# Worst first: an area shows the worst of what is judged for it.
SEVERITY = (
    Verdict.OUTSIDE, Verdict.UNKNOWN, Verdict.CLOSE, Verdict.NO_LIMIT, Verdict.NOT_RUNNING, Verdict.INSIDE,
    Verdict.NOT_ENTERED,
)  # fmt: skip

PRIORITIES = ("high", "medium", "low")


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit as the specification states it.

    quantity: what is judged. relation: "at least" | "at most". threshold and deadband in `unit` and
    `deadband_unit`, the specification's own. Exactly one of area and train is set; piece names the place in
    a train. activities: for which activities it holds. Delays in seconds; unknown_delay_s has no default
    anywhere. decision_rule: "simple" | "guarded".
    """

    id: str
    quantity: Quantity
    relation: str
    threshold: float
    unit: str
    clause: str
    activities: tuple[str, ...]
    deadband: float
    deadband_unit: str
    on_delay_s: float
    off_delay_s: float
    unknown_delay_s: float
    advice: str
    area: str = ""
    train: str = ""
    piece: str = ""
    decision_rule: str = "simple"
    priority: str = "high"
    group: str = ""
    latching: bool = False
    advice_es: str = ""  # the same for readers of Spanish; empty = as written

    @property
    def subject(self) -> str:
        """The area, or train/piece, whose value is judged."""
        return self.area or f"{self.train}/{self.piece}"

    @property
    def threshold_inside(self) -> float:
        """The threshold in the unit used inside."""
        return UNITS[self.unit].inside(self.threshold)

    @property
    def deadband_inside(self) -> float:
        """The deadband in the unit used inside (a difference: no offset)."""
        return self.deadband * UNITS[self.deadband_unit].factor


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one limit says of one value: the verdict, how far beyond or short of the limit, and why.

    distance is positive on the good side of the limit, in the unit used inside; None when unknown.
    well_inside says whether the value has also passed the deadband, so that an alarm may begin to return.
    """

    verdict: Verdict
    distance: float | None
    well_inside: bool
    reason: str


def judge(limit: Limit, measured: Measured) -> Judgement:
    """Judge one value against one limit; missing or doubtful values are unknown, never inside."""
    if measured.value is None:
        return Judgement(Verdict.UNKNOWN, None, False, measured.reason or "no value")
    sign = 1.0 if limit.relation == "at least" else -1.0
    distance = round(sign * (measured.value - limit.threshold_inside), 4)
    if measured.validity is Validity.BOUND:
        return _bound(limit, distance, measured)
    expanded = None if measured.u is None else 2 * measured.u
    if limit.decision_rule == "guarded" and expanded is None:
        return Judgement(Verdict.UNKNOWN, distance, False, "guarded rule, but the uncertainty is not stated")
    guard = expanded if limit.decision_rule == "guarded" and expanded is not None else 0.0
    if distance - guard < 0:
        return Judgement(Verdict.OUTSIDE, distance, False, measured.reason)
    well_inside = distance - guard >= round(limit.deadband_inside, 4)
    close = expanded is not None and distance < expanded and DIMENSION[limit.quantity] not in _NEVER_CLOSE
    return Judgement(Verdict.CLOSE if close else Verdict.INSIDE, distance, well_inside, measured.reason)


# A trend that hardly moves is always near a limit of none: nobody is to be warned of it.
_NEVER_CLOSE = frozenset({Dimension.WARMING, Dimension.MOISTENING})


def _bound(limit: Limit, distance: float, measured: Measured) -> Judgement:
    """A bound on the dry side decides only where the true value cannot lie across the limit.

    A humidity below what its sensor resolves is an upper bound; the margins made from it are lower bounds. The
    other inputs keep their uncertainty, so a bound that is inside is judged as any value.
    """
    dry_side = "at least" if DIMENSION[limit.quantity] is Dimension.DIFFERENCE else "at most"
    if limit.relation != dry_side and distance < 0:
        return Judgement(Verdict.OUTSIDE, distance, False, measured.reason)
    as_a_value = judge(limit, measured._replace(validity=Validity.GOOD))
    if limit.relation == dry_side and as_a_value.verdict in (Verdict.INSIDE, Verdict.CLOSE):
        return as_a_value
    return Judgement(Verdict.UNKNOWN, None, False, measured.reason)


def together(judgements: list[Judgement]) -> Judgement:
    """Return what limits say that are a breach only together: what the best of them says, if it says anything.

    One that is inside decides alone; an unknown one decides nothing while another is inside.
    """
    best = min(judgements, key=lambda each: (_GOOD_FIRST.index(each.verdict), -(each.distance or 0.0)))
    return replace(best, well_inside=any(each.well_inside for each in judgements))


_GOOD_FIRST = (
    Verdict.NOT_RUNNING, Verdict.INSIDE, Verdict.CLOSE, Verdict.UNKNOWN, Verdict.NO_LIMIT, Verdict.NOT_ENTERED,
    Verdict.OUTSIDE,
)  # fmt: skip


def conformity_note(limit: Limit, measured: Measured) -> str:
    """Return the decision rule in force and, beside it, where the value lies by a guard band of U on both sides.

    Shown with every verdict, so that simple acceptance never stands alone. A value at the edge of the band is
    outside it; at the limit it conforms within the uncertainty. A bound is taken as the value that it is.
    Source: ILAC-G8:09/2019, 4.2.3 (four states, guard band w = U, U = 2u); the words are ours.
    """
    guarded = "guarded by U; before the guard band: "
    rule = guarded if limit.decision_rule == "guarded" else "simple acceptance; "
    return f"{rule}{_conformity(judge(limit, measured), measured)}"


def _conformity(judgement: Judgement, measured: Measured) -> str:
    if judgement.distance is None:
        return "not known whether it conforms"
    conforms = "conforms" if judgement.distance >= 0 else "does not conform"
    if measured.u is None:
        return f"{conforms}, uncertainty not stated"
    within = -2 * measured.u <= judgement.distance < 2 * measured.u
    return f"{conforms}, within the uncertainty" if within else conforms


def probability_of_conformance(distance: float, u: float) -> float:
    """Probability that the true value is on the good side, for a normal distribution.

    Args: distance, u (> 0): in the same unit. Source: JCGM 106:2012, 7.2.
    """
    return 0.5 * (1 + erf(distance / (u * sqrt(2))))


def written(value: float, dimension: Dimension, unit: Unit | None = None, decimals: int = 1) -> str:
    """Return a value of this dimension as a person reads it, in `unit` or the site's default."""
    shown = unit or UNITS[_DEFAULT_SPELLING[dimension]]
    return f"{shown.outside(value):.{decimals}f} {shown.spelling}"


_DEFAULT_SPELLING = {
    Dimension.TEMPERATURE: "°C",
    Dimension.DIFFERENCE: "K",
    Dimension.PRESSURE: "bar",
    Dimension.FRACTION: "%RH",
    Dimension.RATIO: "g/kg",
    Dimension.DENSITY: "g/m3",
    Dimension.FLOW: "m3/min",
    Dimension.SHARE: "%FS",
    Dimension.COUNT: "count",
    Dimension.SPEED: "m/s",
    Dimension.TIME: "min",
    Dimension.WARMING: "K/h",
    Dimension.MOISTENING: "%RH/h",
}


def worst(judgements: list[Judgement]) -> int:
    """Return the place of the judgement a person must see first: worst verdict, then least distance."""
    return min(
        range(len(judgements)),
        key=lambda i: (SEVERITY.index(judgements[i].verdict), judgements[i].distance or 0.0),
    )
