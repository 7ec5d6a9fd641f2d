"""Did this dryer perform at its real inlet conditions? Each of the owner's criteria: pass, fail or inconclusive.

A figure passes when all of its 95 % interval is inside the limit, fails when all of it is outside; else it is
inconclusive, and what would make it conclusive is said. What a test cannot show is inconclusive, never failed: too
little flow (channelling hides), air that arrives as dry as the bed would leave it, readings that contradict each
other. The program ships no criterion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from gateway.dryer_figures import SHORTEST_DRYING_RH, Figures, figures, salt_rh
from gateway.dryer_steady import WINDOW_MIN, Steady, steady
from gateway.dryer_unit import Criteria, Test, Unit, not_to_be_pressurised
from gateway.psychrometrics import OutOfRange


class Result(StrEnum):
    """What a test says of one criterion, and of the unit."""

    PASS = "pass"  # noqa: S105  a result, no secret
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    NOT_TESTED = "not tested"
    NO_CRITERIA = "no criteria set"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a criterion is about: figure, words, "at least" or "at most", unit shown and its factor, of the bed."""

    figure: str
    words: str
    relation: str
    unit: str
    factor: float = 1.0
    of_the_bed: bool = False


JUDGED = {
    "suppression_below_inlet": Asked(
        "suppression_below_inlet", "pressure dew point below the inlet gas", "at least", "K", of_the_bed=True
    ),
    "suppression_below_outlet": Asked(
        "suppression_below_outlet", "pressure dew point below the outlet gas", "at least", "K", of_the_bed=True
    ),
    "pressure_dew_point": Asked(
        "pressure_dew_point", "pressure dew point at the outlet", "at most", "°C", of_the_bed=True
    ),
    "outlet_humidity": Asked(
        "outlet_humidity", "humidity of the outlet gas", "at most", "%RH", 100.0, of_the_bed=True
    ),
    "loss": Asked("loss_at_rating", "loss of pressure at the rated flow", "at most", "bar", 1e-5),
    "approach": Asked("approach", "inlet gas above ambient", "at most", "K"),
    "drain_balance": Asked(
        "drain_balance", "brine's water against the water taken, off by", "at most", "%", 100.0
    ),
    "leak": Asked("leak", "fall of pressure while shut in", "at most", "mbar/min", 0.01),
}


@dataclass(frozen=True, slots=True)
class Judged:
    """One criterion's say. value, expanded_u, limit in the unit used inside; conclusive: what would decide it."""

    name: str
    result: Result
    value: float | None
    expanded_u: float | None
    limit: float
    clause: str
    reason: str = ""
    conclusive: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one test says: the worst of its criteria, the steady stretch, every figure, what stands against it."""

    result: Result
    judged: tuple[Judged, ...]
    steady: Steady | None
    figures: Figures
    against: tuple[str, ...] = ()


def check(unit: Unit, criteria: Criteria, test: Test) -> Verdict:
    """Judge one test of one unit by its owner's criteria."""
    against = not_to_be_pressurised(unit, test.facts)
    if against:
        return Verdict(Result.NOT_TESTED, (), None, {}, tuple(against))
    still = steady(test.rows)
    found: Figures = {}
    trouble = ""
    if still is not None:
        try:
            found = figures(test, still, unit)
        except OutOfRange as error:
            trouble = f"outside the range of the physics: {error}"
    judged = tuple(
        _judge(name, criteria, found, _why_not(name, unit, criteria, still, found) or (trouble, ""))
        for name in JUDGED
        if name in criteria
    )
    return Verdict(_worst([each.result for each in judged]), judged, still, found)


def _worst(results: Sequence[Result]) -> Result:
    for each in (Result.FAIL, Result.INCONCLUSIVE, Result.PASS):
        if each in results:
            return each
    return Result.NO_CRITERIA


def _judge(name: str, criteria: Criteria, found: Figures, why_not: tuple[str, str]) -> Judged:
    asked, limit, clause = JUDGED[name], criteria[name].limit, criteria[name].clause
    at = found.get(asked.figure)
    value, u = (None, None) if at is None else (at.value, at.u)
    expanded = None if u is None else 2.0 * u
    if why_not[0]:
        return Judged(name, Result.INCONCLUSIVE, value, expanded, limit, clause, *why_not)
    if value is None:
        return Judged(name, Result.INCONCLUSIVE, None, None, limit, clause, "not measured", _needs(asked.figure))
    if expanded is None:
        reason = "the accuracy of a sensor behind it is not stated"
        return Judged(
            name,
            Result.INCONCLUSIVE,
            value,
            None,
            limit,
            clause,
            reason,
            "state the accuracy of the bench's instruments",
        )
    room = value - limit if asked.relation == "at least" else limit - value
    if abs(room) < expanded:
        reason = "the limit lies within the uncertainty"
        better = "sensors of better accuracy, or a test further from the limit"
        return Judged(name, Result.INCONCLUSIVE, value, expanded, limit, clause, reason, better)
    return Judged(name, Result.PASS if room >= 0.0 else Result.FAIL, value, expanded, limit, clause)


def _needs(figure: str) -> str:
    return {
        "loss_at_rating": "measure flow, loss of pressure and inlet temperature; state the rating's conditions",
        "approach": "measure the ambient temperature",
        "drain_balance": "weigh what the drain's line let out, with its density; measure the flow",
        "leak": "enter the fall of pressure while shut in",
    }.get(figure, "measure humidity or dew point at the outlet, with temperature and pressure")


def _why_not(
    name: str, unit: Unit, criteria: Criteria, still: Steady | None, found: Figures
) -> tuple[str, str] | None:
    """(why a criterion cannot be decided by this test, what would), or None."""
    if name == "leak":
        return None
    if still is None:
        return "no steady stretch was found", f"run on until {WINDOW_MIN:.0f} minutes stand still"
    if name in ("approach", "drain_balance"):
        return None
    return _too_little_flow(criteria, found) or (_says_nothing(unit, found) if JUDGED[name].of_the_bed else None)


def _too_little_flow(criteria: Criteria, found: Figures) -> tuple[str, str] | None:
    if "least_flow" not in criteria:
        return None
    least, share = criteria["least_flow"].limit, found.get("flow_share")
    if share is None:
        return "the flow's share of the rated flow is not known", "measure the flow; state the rated flow"
    if share.value - 2.0 * (share.u or 0.0) < least:
        said = f"flow is {share.value:.0%} of rated, asked are {least:.0%}: channelling hides at low flow"
        return said, f"test again at {least:.0%} of the rated flow or more"
    return None


def _says_nothing(unit: Unit, found: Figures) -> tuple[str, str] | None:
    """Air too dry to test a bed with, a reading no salt can bring about, or a dryer whose heat does not add up."""
    out, bed, came = found.get("outlet_temperature"), found.get("outlet_humidity"), found.get("came_humidity")
    if out is None or bed is None:
        return None
    over_salt = salt_rh(unit, out.value)
    if over_salt is not None and bed.value + 2.0 * (bed.u or 0.0) < 0.9 * over_salt and not _dry_inlet(came, bed):
        why = f"{bed.value:.0%} RH in the outlet gas is drier than this salt can bring about ({over_salt:.0%})"
        return f"{why}: brine mist on the probe mimics a perfect dryer", "test with another probe at the outlet"
    if came is None:
        return "the inlet's humidity was not measured, so it may have been dry already", "measure it"
    if came.value < (over_salt if over_salt is not None else bed.value) + SHORTEST_DRYING_RH:
        why = f"the air arrived with {came.value:.0%} RH in the outlet's gas: nothing was left to take out"
        return why, "test with air that arrives near saturation"
    return _heat_does_not_add_up(found)


def _dry_inlet(came: object, bed: object) -> bool:
    came_rh, bed_rh = getattr(came, "value", None), getattr(bed, "value", 0.0)
    return came_rh is not None and came_rh < bed_rh + SHORTEST_DRYING_RH


def _heat_does_not_add_up(found: Figures) -> tuple[str, str] | None:
    """Vapour that is taken up warms the gas: by no more than its heat, and by some of it."""
    warming, heat = found.get("warming"), found.get("heat")
    if warming is None or heat is None:
        return None
    unsure = 1.0 + 2.0 * (warming.u or 0.0) + 2.0 * (heat.u or 0.0)
    if 0.3 * heat.value - unsure <= warming.value <= heat.value + unsure:
        return None
    why = f"the gas warmed by {warming.value:.1f} K, but the water taken would warm it by {heat.value:.1f} K"
    return f"{why}: one of the four probes is wrong", "compare the probes; test again"
