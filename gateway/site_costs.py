"""What the user says blasting costs, as a jobsite file writes it: a set point, prices in any currency, a rate."""

from __future__ import annotations

import re

from alerts.measured import UNITS, Dimension
from gateway.costs import Costs
from gateway.site_amounts import amount, split_amount

RATES = {"kg/h": 1.0, "t/h": 1000.0, "lb/h": 0.45359237}


def bar_or_nothing(text: str) -> float | None:
    """Return a gauge pressure such as "6.9 bar" or "100 psi" in Pa, None for an empty text. Raises ValueError."""
    if not text:
        return None
    number, unit = amount(text, Dimension.PRESSURE)
    if number <= 0:
        raise ValueError("a pot is set to more than no pressure")
    return UNITS[unit].inside(number)


def price(text: str) -> tuple[float | None, str]:
    """Return number and currency of "240 EUR", (None, "") for an empty text. Raises ValueError."""
    if not text:
        return None, ""
    found = re.fullmatch(r"(\d+(?:\.\d+)?) +(\w{1,8}|[€$£])", text.strip())
    if not found:
        raise ValueError("write a number, a blank and a currency, such as '240 EUR'")
    return float(found[1]), found[2]


def rate(text: str) -> float | None:
    """Return a rate such as "600 kg/h" in kg/h, None for an empty text. Raises ValueError."""
    if not text:
        return None
    number, unit = split_amount(text, RATES)
    return number * RATES[unit]


def costs(pot_set_point: str, hour_price: str, abrasive_rate: str, abrasive_price: str) -> Costs:
    """Return the costs a train's table states."""
    (hour, currency), (kg, other) = price(hour_price), price(abrasive_price)
    return Costs(bar_or_nothing(pot_set_point), hour, rate(abrasive_rate), kg, currency or other)


def written(costs: Costs) -> dict[str, object]:
    """Return the keys of a train's table that read back to these costs; what is not stated is empty."""
    bar, hour, kg, each = costs.pot_set_point_pa, costs.hour_price, costs.abrasive_kg_per_h, costs.abrasive_price
    return {
        "pot_set_point": "" if bar is None else f"{bar!r} Pa",
        "hour_price": "" if hour is None else f"{hour!r} {costs.currency}",
        "abrasive_rate": "" if kg is None else f"{kg!r} kg/h",
        "abrasive_price": "" if each is None else f"{each!r} {costs.currency}",
    }
