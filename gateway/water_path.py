"""Where water falls out: mass and heat balance of moist air through an ordered train of pieces.

Each piece takes the air that reaches it and gives the air that leaves it, with what it drained, took up or
kept. Liquid is reported apart from vapour: in equilibrium with liquid the local margin is never below zero, so
a margin speaks of vapour and of walls only. Water that is not vapour is counted as `liquid`, also where it
would be ice; its heat of freezing is left out of the heat balance.

The pieces are models of one steady hour. Efficiencies, approaches and contact shares are the caller's, none is
built in. Heat: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 30, with liquid water at 4.186 kJ/(kg K).
Valid 0.55..16 bar absolute, gas -100 °C and up; above 200 °C no water can leave the air at these pressures.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import Protocol

from gateway.compressed_air import condensation_point_at
from gateway.psychrometrics import (
    HOTTEST_GAS_C,
    OutOfRange,
    condensation_point_c,
    humidity_ratio,
    saturated_vapour_pressure_pa,
    saturation_pressure_water_pa,
    vapour_pressure_from_humidity_ratio_pa,
    vapour_pressure_pa,
)
from gateway.wet_bulb import DRY_AIR_HEAT, LATENT, VAPOUR_HEAT

# J/(kg K) and J/kg; liquid water from ASHRAE Handbook Fundamentals 2017, chapter 1, equation 33.
DRY_J, VAPOUR_J, LATENT_J, LIQUID_J = 1e3 * DRY_AIR_HEAT, 1e3 * VAPOUR_HEAT, 1e3 * LATENT, 4186.0
HOUR_S = 3600.0
HALVINGS = 100  # down to the last bit of a double


@dataclass(frozen=True, slots=True)
class Place:
    """One place along the train: its coldest wall [°C] and absolute pressure [Pa]."""

    name: str
    wall_c: float
    pressure_pa: float


def condensation_margin_k(vapour_pressure_pa: float, from_pa: float, places: Sequence[Place]) -> float:
    """Return min over the places downstream of (wall - condensation point there) [K].

    Args: vapour_pressure_pa at absolute pressure from_pa; places: at least one, in the order of the flow.
    """
    return min(p.wall_c - condensation_point_at(vapour_pressure_pa, from_pa, p.pressure_pa)[0] for p in places)


@dataclass(frozen=True, slots=True)
class Air:
    """Moist air at one place [°C, Pa absolute] and what of it flows: dry air, vapour, liquid water [kg/s]."""

    temperature_c: float
    pressure_pa: float
    dry_kg_per_s: float
    vapour_kg_per_s: float
    liquid_kg_per_s: float = 0.0

    @property
    def water_kg_per_s(self) -> float:
        """Vapour and liquid together."""
        return self.vapour_kg_per_s + self.liquid_kg_per_s

    @property
    def vapour_pressure_pa(self) -> float:
        """Partial pressure of the vapour [Pa]."""
        return vapour_pressure_from_humidity_ratio_pa(self.vapour_kg_per_s / self.dry_kg_per_s, self.pressure_pa)

    @property
    def point(self) -> tuple[float, bool]:
        """(dew point [°C], False) or below 0 °C (frost point [°C], True) of the vapour at this pressure."""
        return condensation_point_c(self.vapour_pressure_pa, self.pressure_pa)

    @property
    def enthalpy_w(self) -> float:
        """Flow of enthalpy [W]; 0 for dry air and liquid water at 0 °C."""
        t = self.temperature_c
        vapour = self.vapour_kg_per_s * (LATENT_J + VAPOUR_J * t)
        return self.dry_kg_per_s * DRY_J * t + vapour + self.liquid_kg_per_s * LIQUID_J * t


def intake(t_c: float, rh: float, p_pa: float, dry_kg_per_s: float) -> Air:
    """Air drawn in at t_c [°C], rh 0..1 over water, p_pa [Pa], with dry_kg_per_s above 0. Raises: OutOfRange."""
    if not dry_kg_per_s > 0.0:
        raise OutOfRange("dry air (kg/s)", dry_kg_per_s, "above 0")
    ratio = humidity_ratio(vapour_pressure_pa(t_c, rh, p_pa), p_pa)
    return Air(t_c, p_pa, dry_kg_per_s, ratio * dry_kg_per_s)


def saturated_ratio(t_c: float, p_pa: float) -> float:
    """Most vapour that dry air at t_c [°C] and p_pa [Pa] can hold [kg/kg]; inf where water would boil.

    Below 0 °C over ice. Valid -100 °C and up, 0.55..16 bar absolute. Raises: OutOfRange.
    """
    if t_c > HOTTEST_GAS_C or (t_c > 80.0 and saturation_pressure_water_pa(t_c) >= 0.98 * p_pa):
        return inf
    return humidity_ratio(saturated_vapour_pressure_pa(t_c, p_pa, frost=t_c < 0.0), p_pa)


def settled(air: Air, t_c: float, p_pa: float) -> Air:
    """The same air and water at t_c [°C] and p_pa [Pa], in equilibrium: what it cannot hold is liquid."""
    most = saturated_ratio(t_c, p_pa) * air.dry_kg_per_s
    vapour = min(air.water_kg_per_s, most)
    return Air(t_c, p_pa, air.dry_kg_per_s, vapour, air.water_kg_per_s - vapour)


def adiabatic(air: Air, p_pa: float, enthalpy_w: float) -> Air:
    """The air and water of `air` at p_pa [Pa] in equilibrium, holding enthalpy_w [W]: nothing given or taken.

    Liquid evaporates and cools the air as far as it can be held. Raises: OutOfRange.
    """
    water, dry = air.water_kg_per_s, air.dry_kg_per_s
    all_vapour_c = (enthalpy_w - water * LATENT_J) / (dry * DRY_J + water * VAPOUR_J)
    if all_vapour_c > -99.0 and saturated_ratio(all_vapour_c, p_pa) * dry >= water:
        return Air(all_vapour_c, p_pa, dry, water)
    all_liquid_c = enthalpy_w / (dry * DRY_J + water * LIQUID_J)
    t_c = root(lambda t: settled(air, t, p_pa).enthalpy_w - enthalpy_w, max(all_vapour_c, -99.0), all_liquid_c)
    # Between saturation over ice and over water there is a small step at 0 °C: the heat decides the vapour.
    free = enthalpy_w - dry * DRY_J * t_c - water * LIQUID_J * t_c
    vapour = free / (LATENT_J + (VAPOUR_J - LIQUID_J) * t_c)
    return Air(t_c, p_pa, dry, vapour, water - vapour)


def root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses zero between low and high, by halving to the last bit."""
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if not low < middle < high:
            break
        low, high = (low, middle) if rising(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class Step:
    """What one piece did: the air that leaves, and water [kg/s] drained, taken up, or left lying in the piece.

    heat_w: given to the surroundings [W], negative where work came in; worked out from the balance of the
    piece. purged_kg_per_s: dry air blown off.
    """

    outlet: Air
    drained_kg_per_s: float = 0.0
    taken_kg_per_s: float = 0.0
    left_kg_per_s: float = 0.0
    heat_w: float = 0.0
    purged_kg_per_s: float = 0.0
    inner: tuple[Passage, ...] = ()


class Piece(Protocol):
    """A piece of the train: its label, its kind in the words of the jobsite, its coldest wall, what it does."""

    @property
    def label(self) -> str:
        """The name a person reads."""

    @property
    def kind(self) -> str:
        """One of `jobsite.PIECE_KINDS`."""

    @property
    def wall_c(self) -> float | None:
        """Coldest wall [°C] the air touches, None where it is no colder than the air."""

    def through(self, air: Air) -> Step:
        """Lead air through. Raises: OutOfRange."""


@dataclass(frozen=True, slots=True)
class Passage:
    """The way through one piece. Water per hour; gap and margin in K.

    gap_k: coldest wall less the condensation point of the *arriving* vapour at the arriving pressure: below 0
    water falls out here. margin_k: the least of (wall less condensation point of the *leaving* vapour there)
    over the places downstream, as far as the next dryer; None where no wall follows.
    """

    label: str
    kind: str
    inlet: Air
    step: Step
    wall_c: float | None
    gap_k: float | None
    point_c: float
    frost: bool
    margin_k: float | None = field(default=None)

    @property
    def outlet(self) -> Air:
        """The air that leaves the piece."""
        return self.step.outlet

    @property
    def drained_kg_per_h(self) -> float:
        """Liquid that leaves by this piece's drain."""
        return self.step.drained_kg_per_s * HOUR_S

    @property
    def taken_kg_per_h(self) -> float:
        """Vapour taken up by salt or adsorbent."""
        return self.step.taken_kg_per_s * HOUR_S

    @property
    def left_kg_per_h(self) -> float:
        """Liquid that stays in the piece, in its abrasive."""
        return self.step.left_kg_per_s * HOUR_S

    @property
    def carried_kg_per_h(self) -> float:
        """Liquid carried on to the next piece."""
        return self.outlet.liquid_kg_per_s * HOUR_S

    @property
    def formed_kg_per_h(self) -> float:
        """Vapour that became liquid here; negative where liquid evaporated."""
        vapour = self.inlet.vapour_kg_per_s - self.outlet.vapour_kg_per_s
        return (vapour - self.step.taken_kg_per_s) * HOUR_S

    @property
    def heat_w(self) -> float:
        """Heat given to the surroundings [W]; negative where work or heat comes in."""
        return self.step.heat_w


def each_piece(passages: Sequence[Passage]) -> list[Passage]:
    """Every passage in the order of the flow, those inside a bypass before its own."""
    return [each for passage in passages for each in (*passage.step.inner, passage)]


DRYERS = ("deliquescent dryer", "refrigerated dryer", "adsorption dryer", "bypass")


def walk(air: Air, pieces: Sequence[Piece]) -> tuple[Passage, ...]:
    """Lead air through the pieces in order. Raises: OutOfRange, naming the piece's own figure."""
    passages: list[Passage] = []
    for piece in pieces:
        passages.append(_passage(air, piece))
        air = passages[-1].outlet
    return tuple(replace(p, margin_k=_margin_k(p.outlet, passages[i + 1 :])) for i, p in enumerate(passages))


def _passage(air: Air, piece: Piece) -> Passage:
    point_c, frost = air.point
    wall_c = piece.wall_c
    gap_k = None if wall_c is None else wall_c - point_c
    return Passage(piece.label, piece.kind, air, piece.through(air), wall_c, gap_k, point_c, frost)


def _margin_k(air: Air, downstream: Sequence[Passage]) -> float | None:
    places = []
    for passage in downstream:
        if passage.kind in DRYERS:
            break
        if passage.wall_c is not None:
            places.append(Place(passage.label, passage.wall_c, passage.inlet.pressure_pa))
    return condensation_margin_k(air.vapour_pressure_pa, air.pressure_pa, places) if places else None
