"""What a low pressure at the pot may be costing: a rule of thumb with the user's own prices, and said to be one.

Common practice, no source: every psi less at the nozzle costs 1.5 % of the work. It is a note, not a figure to
settle anything by: hose, nozzle, abrasive and the person count as much.
"""

from __future__ import annotations

from dataclasses import dataclass

from alerts.measured import UNITS
from gateway.compressed_air import productivity_loss_share
from gateway.costs import Costs
from gateway.jobsite import Train
from gateway.psychrometrics import OutOfRange
from gateway.said import Read
from gateway.train_state import RUNNING_PA

LABEL = "Rule of thumb (common practice, no source): 1.5 % of the work for every psi"
MOST_SHARE = 0.5  # beyond it the rule says nothing worth printing: ours


@dataclass(frozen=True, slots=True)
class Note:
    """What may be lost: drop [Pa], share of the work, hours and abrasive [kg] for each hour of blasting, words."""

    train: str
    drop_pa: float
    share: float
    hours_per_hour: float
    abrasive_kg_per_hour: float | None
    words: str


def note(train: Train, read: Read) -> Note | None:
    """Return the note of a train, None where no set point is stated, nothing blasts, or no drop can be told."""
    costs = train.costs
    pot = next((p.outlet.pressure for p in train.pieces if p.kind == "pot" and p.outlet.pressure), "")
    if costs.pot_set_point_pa is None or not pot:
        return None
    at = read(pot)
    if at.value is None or at.value < RUNNING_PA:
        return None
    drop_pa = costs.pot_set_point_pa - at.value
    if drop_pa <= 2.0 * (at.u or 0.0):
        return None
    try:
        share = productivity_loss_share(drop_pa)
    except OutOfRange:
        return None
    return _note(train, costs, drop_pa, share) if share <= MOST_SHARE else None


def _note(train: Train, costs: Costs, drop_pa: float, share: float) -> Note:
    """What is not done in an hour is done later, at the same rate: share / (1 - share) hours more."""
    more = share / (1.0 - share)
    abrasive = None if costs.abrasive_kg_per_h is None else more * costs.abrasive_kg_per_h
    return Note(train.id, drop_pa, share, more, abrasive, _words(train, costs, drop_pa, share, more, abrasive))


def _words(
    train: Train, costs: Costs, drop_pa: float, share: float, more: float, abrasive_kg: float | None
) -> str:  # fmt: skip
    low = f"{drop_pa / 1e5:.2f} bar ({drop_pa / UNITS['psi'].factor:.0f} psi)"
    said = [
        f"{train.label}: the pot stands {low} below its set point. {LABEL}; so about {share:.0%} may be lost, or "
        f"{60.0 * more:.0f} min of blasting for each hour"
    ]
    if abrasive_kg is not None:
        said.append(f", and {abrasive_kg:.0f} kg of abrasive")
    price = _price(costs, more, abrasive_kg)
    return "".join(said) + (f": about {price} for each hour, at your prices." if price else ".")


def _price(costs: Costs, more: float, abrasive_kg: float | None) -> str:
    parts = [more * costs.hour_price] if costs.hour_price is not None else []
    if abrasive_kg is not None and costs.abrasive_price is not None:
        parts.append(abrasive_kg * costs.abrasive_price)
    return f"{sum(parts):.0f} {costs.currency}" if parts else ""
