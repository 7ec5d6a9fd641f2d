"""A test beside the unit's past: its outgoing test, its stated rating, its rental's own record.

Tests at different inlets are compared by the humidity the bed leaves in its outlet gas, and by what a bed that
leaves that much would have done at today's inlet (modelled).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

from gateway.dryer_check import Verdict
from gateway.dryer_figures import expected_suppression_k, inlet_rh
from gateway.dryer_unit import ISO_7183, NOT_STATED, Row, Test, Unit
from gateway.psychrometrics import OutOfRange
from gateway.train_state import RUNNING_PA


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept of a test in the unit's history: bed_rh 0..1 with its standard u, loss [Pa] at rated flow."""

    day: str
    kind: str
    result: str
    bed_rh: float | None
    u_bed: float | None
    loss_pa: float | None
    person: str = NOT_STATED


def kept(test: Test, verdict: Verdict) -> Kept:
    """What the history keeps of a test."""
    bed, loss = verdict.figures.get("outlet_humidity"), verdict.figures.get("loss_at_rating")
    return Kept(
        test.facts.day, test.facts.kind, verdict.result.value, None if bed is None else bed.value,
        None if bed is None else bed.u, None if loss is None else loss.value, test.facts.person,
    )  # fmt: skip


def outgoing(test: Test, history: Sequence[Kept]) -> Kept | None:
    """The newest outgoing test kept before a test, or None."""
    before = [each for each in history if each.kind == "outgoing" and each.day <= test.facts.day]
    return max(before, key=lambda each: each.day, default=None)


def beside_outgoing(test: Test, verdict: Verdict, history: Sequence[Kept]) -> list[str]:
    """Sentences about the newest outgoing test; says so where there is none to compare with."""
    if test.facts.kind != "return":
        return []
    then, bed = outgoing(test, history), verdict.figures.get("outlet_humidity")
    if then is None:
        return ["Outgoing test: none is kept, so nothing is said of what changed on this rental."]
    if bed is None or then.bed_rh is None:
        return [f"Outgoing test of {then.day}: its outlet's humidity or today's is not known; not compared."]
    by = bed.value - then.bed_rh
    u = None if bed.u is None or then.u_bed is None else 2.0 * hypot(bed.u, then.u_bed)
    sure = "uncertainty not stated" if u is None else f"± {100 * u:.1f}"
    differs = "" if u is None else ", which is no difference" if abs(by) < u else ", which is a difference"
    said = [
        f"Outgoing test of {then.day}: the bed left {then.bed_rh:.0%} RH in its outlet gas, now {bed.value:.0%}: "
        f"{100 * by:+.1f} {sure} %RH{differs}."
    ]
    return said + _at_this_inlet(verdict, then.bed_rh, "As it went out it")


def _at_this_inlet(verdict: Verdict, bed_rh: float, who: str) -> list[str]:
    found, rh = verdict.figures, inlet_rh(verdict.figures)
    if rh is None or "suppression_below_inlet" not in found:
        return []
    try:
        then_k = expected_suppression_k(
            bed_rh, found["inlet_temperature"].value, rh, found["outlet_pa"].value
        )  # fmt: skip
    except OutOfRange:
        return []
    now_k = found["suppression_below_inlet"].value
    return [f"{who} would have reached {then_k:.1f} K below today's inlet (modelled); it reached {now_k:.1f} K."]


def beside_rating(unit: Unit, verdict: Verdict) -> list[str]:
    """Sentences about the stated rating, restated to its conditions; never without saying what the rating is."""
    rated, bed = unit.rating, verdict.figures.get("outlet_humidity")
    said = [ISO_7183]
    if rated.suppression_k is None or rated.inlet_c is None or rated.pressure_pa is None:
        return [*said, "Rating: suppression and its conditions are not all stated; not compared."]
    at = f"{rated.inlet_c:.0f} °C saturated, {rated.pressure_pa / 1e5:.1f} bar(g)"
    if bed is None:
        return [*said, f"Rating: {rated.suppression_k:.1f} K below the inlet at {at}; not compared."]
    try:
        found_k = expected_suppression_k(bed.value, rated.inlet_c, 1.0, rated.pressure_pa + 101_325.0)
    except OutOfRange as error:
        return [*said, f"Rating: its conditions lie outside the range of the physics: {error}"]
    return [
        *said,
        f"Rating: {rated.suppression_k:.1f} K below the inlet at {at}. Today's bed would reach {found_k:.1f} K "
        "there (modelled, nothing lost through the shell).",
    ]


def hours_beyond(unit: Unit, record: Test) -> list[str]:
    """How long a rental ran beyond the rating, by its own record; a row counts until the next, 5 min at most."""
    rated, spans = unit.rating, _spans(record)
    limits = (
        ("inlet hotter than rated", "inlet_temperature", rated.inlet_c, 1.0),
        ("flow above rated", "flow", rated.flow_m3_per_s, 1.0),
        ("pressure below rated", "inlet_pressure", rated.pressure_pa, -1.0),
    )
    said = [f"Rental's own record: {sum(spans) / 60.0:.1f} h with readings."]
    for words, name, limit, sign in limits:
        known = any(name in row.values for row in record.rows)
        if limit is None or not known:
            said.append(f"{words}: not known, {'no rating stated' if limit is None else 'not in the record'}.")
            continue
        beyond = sum(
            span for row, span in zip(record.rows, spans, strict=True)
            if name in row.values and sign * (row.values[name] - limit) > 0.0 and _ran(row)
        )  # fmt: skip
        said.append(f"{words}: {beyond / 60.0:.1f} h.")
    return said


def _ran(row: Row) -> bool:
    return row.values.get("inlet_pressure", row.values.get("outlet_pressure", 1e6)) > RUNNING_PA


def _spans(record: Test) -> list[float]:
    at = [row.minute for row in record.rows]
    return [min(later - one, 5.0) for one, later in pairwise(at)] + [0.0] * bool(at)
