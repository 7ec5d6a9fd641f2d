"""Where water falls out: the vapour at one place against every colder wall downstream.

Vapour only: liquid that is already there is reported apart, because in equilibrium with it the local margin
is zero by definition.
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.psychrometrics import condensation_point_c


@dataclass(frozen=True, slots=True)
class Place:
    """One place along the train: its coldest wall [°C] and absolute pressure [Pa]."""

    name: str
    wall_c: float
    pressure_pa: float


def condensation_point_at(vapour_pressure_pa: float, from_pa: float, at_pa: float) -> tuple[float, bool]:
    """Return dew (or frost) point [°C] of vapour measured at from_pa where the pressure is at_pa.

    The share of vapour stays, so its partial pressure follows the pressure (Dalton). The flag is True for a
    frost point. Raises OutOfRange outside the range of `psychrometrics`.
    """
    return condensation_point_c(vapour_pressure_pa * at_pa / from_pa, at_pa)


def condensation_margin_k(vapour_pressure_pa: float, from_pa: float, places: list[Place]) -> float:
    """Return min over the places downstream of (wall - condensation point there) [K].

    Args: vapour_pressure_pa at absolute pressure from_pa; places: at least one, in the order of the flow.
    """
    return min(p.wall_c - condensation_point_at(vapour_pressure_pa, from_pa, p.pressure_pa)[0] for p in places)
