"""The certificate of a dryer test: as text for a person, as plain values for a machine."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, log10

from gateway.dryer_check import JUDGED, Judged, Result, Verdict
from gateway.dryer_figures import inlet_rh
from gateway.dryer_past import Kept, beside_outgoing, beside_rating, hours_beyond, kept
from gateway.dryer_trend import trend
from gateway.dryer_unit import NOT_STATED, Facts, Test, Unit

SHOWN = {
    "inlet_temperature": ("inlet gas", "°C", 1.0, 1), "outlet_temperature": ("outlet gas", "°C", 1.0, 1),
    "inlet_point": ("pressure dew point of the inlet", "°C", 1.0, 1),
    "pressure_dew_point": ("pressure dew point of the outlet", "°C", 1.0, 1),
    "suppression_below_inlet": ("below the inlet gas", "K", 1.0, 1),
    "suppression_below_outlet": ("below the outlet gas", "K", 1.0, 1),
    "outlet_humidity": ("humidity of the outlet gas", "%RH", 100.0, 1),
    "came_humidity": ("humidity it would have had untouched", "%RH", 100.0, 1),
    "inlet_pa": ("pressure at the inlet", "bar(a)", 1e-5, 2), "flow": ("flow", "m3/min", 60.0, 1),
    "flow_share": ("of the rated flow", "%", 100.0, 0), "loss": ("loss of pressure", "bar", 1e-5, 3),
    "loss_at_rating": ("loss at the rated flow and density", "bar", 1e-5, 3),
    "approach": ("inlet gas above ambient", "K", 1.0, 1), "taken": ("water taken", "kg/h", 1.0, 2),
    "drained": ("water in the brine", "kg/h", 1.0, 2), "warming": ("warming of the gas", "K", 1.0, 1),
    "heat": ("warming the water taken accounts for", "K", 1.0, 1),
}  # fmt: skip
IN_ORDER, NOT_ENTERED = "in order", "not entered yet"
CAUTION = "Advisory: how this unit performed at the inlet stated. No inspection of a vessel, no release."
RULE = (
    "Pass and fail: the whole 95 % interval lies on one side of the limit. Inconclusive: it does not, or as said."
)


def text(unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None = None) -> str:
    """The whole certificate."""
    facts = test.facts
    lines = [
        f"Dryer check of {unit.serial}, {unit.label}: {verdict.result.value.upper()}",
        f"{facts.kind} test of {facts.day} by {facts.person}, {facts.bench}",
        "",
        *(f"{what}: {words}" for what, words in (*register(unit), *looked(facts))),
    ]
    if verdict.against:
        lines += ["", "DO NOT PRESSURISE:", *(f"  {why}" for why in verdict.against)]
        return "\n".join([*lines, "", CAUTION])
    lines += ["", *_criteria(verdict), "", *_figures(verdict)]
    lines += ["", *beside_outgoing(test, verdict, history), *beside_rating(unit, verdict)]
    today = kept(test, verdict)
    lines += ["", *trend(unit, [*(each for each in history if each != today), today], facts.day)]
    if record is not None:
        lines += ["", *hours_beyond(unit, record)]
    return "\n".join([*lines, "", CAUTION])


def register(unit: Unit) -> list[tuple[str, str]]:
    """What the register says of a unit: (what, words)."""
    salt = unit.salt or NOT_STATED
    if unit.equilibrium_rh is not None:
        salt += f", {unit.equilibrium_rh:.0%} RH over its brine as its maker states"
    found = [
        ("Salt", salt),
        ("Inspections", f"relief valve due {unit.relief_valve_due}, vessel due {unit.vessel_due}"),
    ]
    if unit.rentals:
        last = unit.rentals[-1]
        found.append((
            f"Rental {last.contract}",
            f"{last.customer}, {last.out} to {last.back}, {last.hours}; salt level out {last.level_out}, "
            f"in {last.level_in}; {len(last.photos)} photos",
        ))  # fmt: skip
    if unit.refills:
        filled = unit.refills[-1]
        found.append(("Last refill", f"{filled.day}: {filled.kg:g} kg {filled.salt}, lot {filled.lot} (billable)"))
    return found


def looked(facts: Facts) -> list[tuple[str, str]]:
    """What was seen before the test, and what was weighed: (what, words)."""
    shell, valve = (
        IN_ORDER if said == "pass" else said or NOT_ENTERED for said in (facts.visual, facts.relief_valve)
    )
    found = [("Looked at", f"shell, nozzles, gauge, supports: {shell}; relief valve: {valve}")]
    brine = facts.brine
    if brine is not None and brine.salt_share is not None:
        found.append(
            ("Brine weighed", f"{brine.mass_kg:.2f} kg in {brine.minutes:.0f} min, {brine.salt_share:.0%} salt.")
        )
    return found


def _criteria(verdict: Verdict) -> list[str]:
    if not verdict.judged:
        return ["No criteria are set by the owner: figures only, no verdict."]
    return [*(line for each in verdict.judged for line in _judged(each)), RULE]


def _judged(each: Judged) -> list[str]:
    asked = JUDGED[each.name]
    lines = [
        f"{each.result.value.upper():13} {asked.words}: {value_words(each)}; {limit_words(each)} ({each.clause})"
    ]
    if each.reason:
        lines.append(f"{'':13} {each.reason}; conclusive would be: {each.conclusive}")
    return lines


def limit_words(each: Judged) -> str:
    """The limit of a criterion, such as "at least 6 K"."""
    asked = JUDGED[each.name]
    return f"{asked.relation} {each.limit * asked.factor:.4g} {asked.unit}"


def value_words(each: Judged) -> str:
    """What was found, with its expanded uncertainty."""
    asked = JUDGED[each.name]
    if each.value is None:
        return "not known"
    value, u = each.value * asked.factor, None if each.expanded_u is None else each.expanded_u * asked.factor
    if not u:
        return f"{value:.3g} {asked.unit}"
    digits = max(0, 1 - floor(log10(u)))  # two digits of the uncertainty
    return f"{value:.{digits}f} ± {u:.{digits}f} {asked.unit}"


def _figures(verdict: Verdict) -> list[str]:
    if verdict.steady is None:
        return ["No steady stretch was found; nothing was measured."]
    still = verdict.steady
    lines = [
        f"Steady from minute {still.start_min:.0f} to {still.end_min:.0f}; means, ± expanded uncertainty (k = 2):"
    ]
    lines += [f"  {words:38} {mean:>9} ± {sure} {unit}" for words, mean, sure, unit in figure_rows(verdict)]
    rh = inlet_rh(verdict.figures)
    return lines if rh is None else [*lines, f"  {'humidity of the inlet gas':38} {100 * rh:9.1f} %RH"]


def figure_rows(verdict: Verdict) -> list[tuple[str, str, str, str]]:
    """Every figure that was measured: words, mean, expanded uncertainty or "not stated", unit."""
    found = []
    for name, (words, unit, factor, digits) in SHOWN.items():
        if name in verdict.figures:
            at = verdict.figures[name]
            sure = "not stated" if at.u is None else f"{2 * at.u * factor:.{digits}f}"
            found.append((words, f"{at.value * factor:.{digits}f}", sure, unit))
    return found


def as_values(unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept]) -> dict[str, object]:
    """The certificate as plain values; the unit used inside stands in each key or in `unit`."""
    still = verdict.steady
    return {
        "serial": unit.serial, "kind": test.facts.kind, "day": test.facts.day, "person": test.facts.person,
        "bench": test.facts.bench, "result": verdict.result.value, "do_not_pressurise": list(verdict.against),
        "steady_from_min": None if still is None else still.start_min,
        "steady_to_min": None if still is None else still.end_min,
        "criteria": [_as_values(each) for each in verdict.judged],
        "figures": {
            name: {"value": at.value, "expanded_u": None if at.u is None else 2.0 * at.u}
            for name, at in verdict.figures.items()
        },
        "compared": [] if verdict.result is Result.NOT_TESTED
        else [*beside_outgoing(test, verdict, history), *beside_rating(unit, verdict)],
    }  # fmt: skip


def _as_values(each: Judged) -> dict[str, object]:
    return {
        "name": each.name, "result": each.result.value, "value": each.value, "expanded_u": each.expanded_u,
        "limit": each.limit, "clause": each.clause, "reason": each.reason, "conclusive": each.conclusive,
    }  # fmt: skip
