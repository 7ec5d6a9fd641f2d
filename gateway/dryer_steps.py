"""What the clerk does next, from what has been entered and read so far: one step is now, those before are done.

Nobody is told to open, drain or adjust anything under pressure. A unit that has not been looked at, or whose
inspections are overdue, is not pressurised.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.dryer_past import Kept
from gateway.dryer_steady import WINDOW_MIN, Steady, steady, still_moves
from gateway.dryer_trend import since_refill
from gateway.dryer_unit import NOT_STATED, Criteria, Test, Unit, not_to_be_pressurised
from gateway.train_state import RUNNING_PA


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it is, whether it is done, and what to do or what is known of it."""

    name: str
    done: bool
    words: str


def steps(unit: Unit, criteria: Criteria, test: Test) -> list[Step]:
    """Return the steps in order; after one that forbids pressure there are none."""
    against = not_to_be_pressurised(unit, test.facts)
    first = "; ".join(against) or "visual inspection, relief valve and due days are in order"
    look = Step("look", not against, f"Do not pressurise: {first}." if against else f"{first}.")
    if against:
        return [look]
    still = steady(test.rows)
    found = [look, _warm_up(test), _blow_out(test), _hold(test, still)]
    if criteria:
        found.append(_accuracy(test))
    if "least_flow" in criteria:
        found.insert(2, _flow(unit, criteria, test))
    if "drain_balance" in criteria:
        found.append(_brine(test, still))
    if "leak" in criteria:
        found.append(_leak(test))
    return found


def now(found: Sequence[Step]) -> Step:
    """The first step that is not done; the last says that the test is complete."""
    return next(
        (each for each in found if not each.done),
        Step("verdict", True, "All steps are done: judge the test."),
    )


def stands(unit: Unit, history: Sequence[Kept]) -> str:
    """Where a unit is between its rentals, and what is entered next."""
    rental, last = unit.rentals[-1] if unit.rentals else None, history[-1] if history else None
    if rental is not None and rental.back == NOT_STATED:
        return f"Out since {rental.out} on rental {rental.contract}. Enter its return when it is back."
    if rental is not None and not any(each.kind == "return" and each.day >= rental.back for each in history):
        return f"Back since {rental.back} from rental {rental.contract}. Begin its return test."
    if last is None:
        return "No test is kept yet. Begin an outgoing test before it goes out."
    said = f"{last.kind.capitalize()} test of {last.day}: {last.result}."
    if last.kind == "return" and unit.refills and not since_refill(unit, history, "9999-12-31"):
        said = f"Refilled on {unit.refills[-1].day}."
    if last.kind == "outgoing" and last.result == "pass":
        return f"{said} Enter its rental when it goes out."
    return f"{said} An outgoing test comes before the next rental."


def _running(test: Test) -> bool:
    last = test.rows[-1].values if test.rows else {}
    return last.get("inlet_pressure", last.get("outlet_pressure", 0.0)) > RUNNING_PA


def _warm_up(test: Test) -> Step:
    ran = bool(test.rows) and _running(test)
    minutes = test.rows[-1].minute if test.rows else 0.0
    words = (
        f"Readings for {minutes:.0f} min." if ran else "Bring bench and unit up to the test's pressure and flow."
    )
    return Step("warm up", ran and minutes >= WINDOW_MIN, words)


def _flow(unit: Unit, criteria: Criteria, test: Test) -> Step:
    least, rated = criteria["least_flow"].limit, unit.rating.flow_m3_per_s
    flow = test.rows[-1].values.get("flow") if test.rows else None
    if rated is None or flow is None:
        return Step("flow", False, "The flow or the rated flow is not known: the bed cannot be judged without.")
    enough = flow >= least * rated
    words = f"{flow / rated:.0%} of the rated flow; at least {least:.0%} is asked."
    return Step("flow", enough, words if enough else f"{words} Channelling hides at low flow.")


def _blow_out(test: Test) -> Step:
    words = (
        "Blown out."
        if test.facts.blown_out
        else "Blow out what condensed at the start; then enter that it is blown out."
    )
    return Step("blow out", test.facts.blown_out, words)


def _hold(test: Test, still: Steady | None) -> Step:
    if still is not None:
        return Step("steady", True, f"Steady from minute {still.start_min:.0f} to {still.end_min:.0f}.")
    why = "; ".join(still_moves(test.rows)) or f"fewer than {WINDOW_MIN:.0f} minutes without a gap"
    return Step("steady", False, f"Hold: {why}.")


def _accuracy(test: Test) -> Step:
    words = "State the accuracy of the bench's instruments: without it nothing can pass or fail."
    return Step("accuracy", bool(test.u), "Stated." if test.u else words)


def _brine(test: Test, still: Steady | None) -> Step:
    brine = test.facts.brine
    if brine is not None and brine.salt_share is not None:
        return Step(
            "brine", True, f"{brine.mass_kg:.2f} kg in {brine.minutes:.0f} min, {brine.salt_share:.0%} salt."
        )
    since = "" if still is None else " while steady"
    return Step(
        "brine", False,
        f"Weigh what the drain's own line lets into a can{since}; enter mass, time, density and temperature.",
    )  # fmt: skip


def _leak(test: Test) -> Step:
    done = test.facts.leak_pa_per_min is not None
    return Step(
        "leak", done, "Entered." if done else "Enter the pressure at the begin and end of the time shut in."
    )
