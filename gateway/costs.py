"""What the user says blasting costs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Costs:
    """What the user says blasting costs, for a note on pressure; None = not stated. Pressure gauge [Pa].

    hour_price: of an hour of blasting; abrasive_price: of a kg; both in the user's currency.
    """

    pot_set_point_pa: float | None = None
    hour_price: float | None = None
    abrasive_kg_per_h: float | None = None
    abrasive_price: float | None = None
    currency: str = ""
