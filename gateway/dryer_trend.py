"""How a unit changes from rental to rental since its last refill: a table, and what it loses a rental.

The humidity a bed leaves in its outlet gas does not depend on the inlet; as kelvin below the outlet gas it is
restated at one outlet temperature and pressure, so that tests on a cold and on a hot day stand side by side.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from math import ceil, hypot
from typing import NamedTuple

from gateway.dryer_file import FileErrors
from gateway.dryer_past import Kept
from gateway.dryer_unit import NOT_STATED, Rental, Unit
from gateway.psychrometrics import OutOfRange, condensation_point_c, vapour_pressure_pa

AT_C, AT_PA = 35.0, 8e5  # where kelvin below the outlet gas are compared: ours
AT_WORDS = "at 35 °C outlet gas, 8 bar(a)"
COLUMNS = ("Day", "Test", "Result", "Bed leaves", f"Below outlet, {AT_WORDS}", "Loss at the rated flow")
NOT_KNOWN = "not known"


class Loss(NamedTuple):
    """What a unit loses a rental: kelvin below the outlet gas, its expanded uncertainty, over how many rentals."""

    k: float
    expanded_u: float | None
    rentals: int


def history_of(text: str, file: str) -> list[Kept]:
    """The tests that were kept, a line each. Raises: FileErrors for a line that cannot be read."""
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        try:
            found.append(Kept(**json.loads(line)))
        except (TypeError, ValueError) as error:
            raise FileErrors(f"{file}:{number}: not a kept test: {error}") from None
    return found


def since_refill(unit: Unit, history: Sequence[Kept], day: str) -> list[Kept]:
    """The tests since the last refill up to a day, oldest first: a refill begins a new trend.

    A dryer is tested as it comes back and refilled then: a return test of the refill's own day lies before it,
    unless an outgoing test of that day was made first.
    """
    refilled = _refilled(unit, day)
    found = sorted((each for each in history if refilled <= each.day <= day), key=lambda each: each.day)
    while found and found[0].kind == "return" and found[0].day == refilled:
        found.pop(0)
    return found


def _refilled(unit: Unit, day: str) -> str:
    return max((each.day for each in unit.refills if each.day <= day), default="")


def below_outlet_k(bed_rh: float) -> float | None:
    """Kelvin that a bed's dew point lies below its outlet gas, at AT_C and AT_PA; None outside the physics."""
    try:
        return AT_C - condensation_point_c(vapour_pressure_pa(AT_C, bed_rh, AT_PA), AT_PA)[0]
    except OutOfRange:
        return None


def rentals_before(test: Kept, rentals: Sequence[Rental]) -> int:
    """How many rentals lie before a test; for a return also the one that is out since an earlier day."""
    if test.kind == "return":
        return sum(each.out < test.day if each.back == NOT_STATED else each.back <= test.day for each in rentals)
    return sum(each.out < test.day for each in rentals)


def loss_a_rental(tests: Sequence[Kept], rentals: Sequence[Rental] = ()) -> Loss | None:
    """What is lost a rental: the slope over the rentals so far, of the tests since a refill, oldest first.

    rentals: of the unit's register; where it has none each return test stands for one.

    Its uncertainty is that of the first and the last test, since one bench's error stays the same. None where no
    rental lies between two tests whose bed is known.
    """
    points: list[tuple[int, float, Kept]] = []
    returns = 0
    for each in tests:
        returns += each.kind == "return"
        k = None if each.bed_rh is None else below_outlet_k(each.bed_rh)
        if k is not None:
            points.append((rentals_before(each, rentals) if rentals else returns, k, each))
    if len({x for x, _, _ in points}) < 2:
        return None
    middle, mean = sum(x for x, _, _ in points) / len(points), sum(k for _, k, _ in points) / len(points)
    slope = sum((x - middle) * (k - mean) for x, k, _ in points) / sum((x - middle) ** 2 for x, _, _ in points)
    over = points[-1][0] - points[0][0]
    us = [_u_k(each) for _, _, each in (points[0], points[-1])]
    u = None if None in us else 2.0 * hypot(*(each or 0.0 for each in us)) / over
    return Loss(-slope, u, over)


def _u_k(test: Kept) -> float | None:
    if test.bed_rh is None or test.u_bed is None:
        return None
    ends = [below_outlet_k(min(max(test.bed_rh + by, 0.01), 1.0)) for by in (test.u_bed, -test.u_bed)]
    return None if ends[0] is None or ends[1] is None else 0.5 * abs(ends[1] - ends[0])


def rows(tests: Sequence[Kept]) -> list[tuple[str, ...]]:
    """A row of COLUMNS for each test."""
    found: list[tuple[str, ...]] = []
    for each in tests:
        k = None if each.bed_rh is None else below_outlet_k(each.bed_rh)
        bed = NOT_KNOWN if each.bed_rh is None else f"{each.bed_rh:.0%} RH"
        loss = NOT_KNOWN if each.loss_pa is None else f"{each.loss_pa / 1e5:.2f} bar"
        found.append((each.day, each.kind, each.result, bed, NOT_KNOWN if k is None else f"{k:.1f} K", loss))
    return found


class TrendBar(NamedTuple):
    """One test drawn as the gap: words as in `rows`; left end and half the soft edge, percent of the scale."""

    words: tuple[str, ...]
    left: float | None
    soft: float | None


def bars(tests: Sequence[Kept]) -> list[TrendBar]:
    """Each test with its gap at AT_C, dew point to outlet gas, on one scale of whole fives of kelvin."""
    known = [k for each in tests if each.bed_rh is not None and (k := below_outlet_k(each.bed_rh)) is not None]
    scale_k = 5.0 * ceil(max(known, default=5.0) / 5.0 + 0.1)
    found = []
    for each, words in zip(tests, rows(tests), strict=True):
        k, u = None if each.bed_rh is None else below_outlet_k(each.bed_rh), _u_k(each)
        left = None if k is None else round(100.0 * (1.0 - k / scale_k), 1)
        found.append(TrendBar(words, left, None if u is None else round(200.0 * u / scale_k, 1)))
    return found


def since(unit: Unit, day: str) -> str:
    """From when on the trend counts."""
    refilled = _refilled(unit, day)
    return f"Since the refill of {refilled}:" if refilled else "Since the first test kept:"


def sentence(tests: Sequence[Kept], rentals: Sequence[Rental] = ()) -> str:
    """What the unit loses a rental, or why nothing can be said of it."""
    loss = loss_a_rental(tests, rentals)
    if loss is None:
        return "No rental lies between two of these tests yet, so nothing is said of what it loses."
    over = f"over {loss.rentals} rental{'s' * (loss.rentals > 1)}, {AT_WORDS}; a refill resets it"
    if loss.expanded_u is None:
        return f"This dryer loses {loss.k:.1f} K below outlet a rental, uncertainty not stated, {over}."
    amount = f"{abs(loss.k):.1f} ± {loss.expanded_u:.1f} K below outlet a rental"
    if abs(loss.k) < loss.expanded_u:
        return f"No change beyond the uncertainty: {'less' if loss.k > 0 else 'more'} by {amount}, {over}."
    return (
        f"This dryer gained {amount}, {over}: was it refilled?"
        if loss.k < 0
        else f"This dryer loses {amount}, {over}."
    )


def trend(unit: Unit, history: Sequence[Kept], day: str) -> list[str]:
    """The unit's tests since its last refill, a line each, and what it loses a rental."""
    tests = since_refill(unit, history, day)
    lines = [
        f"  {at}  {kind:8}  {result:12}  bed leaves {bed}, {below} below outlet, loss at rated flow {loss}"
        for at, kind, result, bed, below, loss in rows(tests)
    ]
    return [
        since(unit, day),
        *lines,
        f"  {sentence(tests, unit.rentals) if tests else 'No test is kept; check one with --keep.'}",
    ]
