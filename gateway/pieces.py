"""The pieces an air train is made of, each as a steady model: what reaches it, what leaves it, what it keeps.

Efficiencies, approaches and contact shares are the caller's; none is built in. Every figure that can be impossible
raises OutOfRange with the piece's own label. Balances and walls are in `water_path`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import ClassVar

from gateway.psychrometrics import OutOfRange, humidity_ratio, vapour_pressure_pa
from gateway.water_path import (
    DRY_J,
    LATENT_J,
    LIQUID_J,
    VAPOUR_J,
    Air,
    Piece,
    Step,
    adiabatic,
    root,
    saturated_ratio,
    settled,
    walk,
)


def _share(what: str, value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise OutOfRange(what, value, "0 to 1")


def _lower_pa(what: str, air: Air, drop_pa: float) -> float:
    if not 0.0 <= drop_pa < air.pressure_pa:
        raise OutOfRange(f"pressure drop of {what} (Pa)", drop_pa, f"0 to {air.pressure_pa:.0f}")
    return air.pressure_pa - drop_pa


def _without(air: Air, liquid_kg_per_s: float) -> Air:
    return replace(air, liquid_kg_per_s=air.liquid_kg_per_s - liquid_kg_per_s)


def _liquid_w(kg_per_s: float, t_c: float) -> float:
    return kg_per_s * LIQUID_J * t_c


WARMED_K = 60.0  # the most a salt bed is taken to warm its gas; ours
UNBALANCED = 1e-6  # share of the heat brought in


@dataclass(frozen=True, slots=True)
class Compressor:
    """Brings the air to outlet_pa [Pa] and discharge_c [°C], entered: an oil-flooded screw's follows its oil.

    Where the discharge is so cool that water forms, it is in the oil.
    """

    label: str
    outlet_pa: float
    discharge_c: float
    kind: ClassVar[str] = "compressor"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Compress and heat. Raises: OutOfRange when outlet_pa is below the inlet."""
        if not self.outlet_pa >= air.pressure_pa:
            raise OutOfRange("compressor outlet pressure (Pa)", self.outlet_pa, f"at least {air.pressure_pa:.0f}")
        outlet = settled(air, self.discharge_c, self.outlet_pa)
        return Step(outlet, heat_w=air.enthalpy_w - outlet.enthalpy_w)


@dataclass(frozen=True, slots=True)
class Aftercooler:
    """Cools to approach_k [K] above the air it draws: ambient, or the warm housing air of the compressor.

    What forms is carried on as mist. A cooler never warms.
    """

    label: str
    cooling_air_c: float
    approach_k: float
    drop_pa: float = 0.0
    kind: ClassVar[str] = "aftercooler"

    @property
    def wall_c(self) -> float:
        """The cooling air: no wall is colder."""
        return self.cooling_air_c

    def through(self, air: Air) -> Step:
        """Cool. Raises: OutOfRange when the approach is negative."""
        if not self.approach_k >= 0.0:
            raise OutOfRange(f"approach of {self.label} (K)", self.approach_k, "0 or more")
        t_c = min(air.temperature_c, self.cooling_air_c + self.approach_k)
        outlet = settled(air, t_c, _lower_pa(self.label, air, self.drop_pa))
        return Step(outlet, heat_w=air.enthalpy_w - outlet.enthalpy_w)


@dataclass(frozen=True, slots=True)
class Separator:
    """Takes the share `efficiency` (0..1) of the liquid; the rest is carried over. Vapour passes untouched.

    Also a coalescing filter, an after-filter or a pot-inlet trap, by its kind.
    """

    label: str
    efficiency: float
    drop_pa: float = 0.0
    kind: str = "separator"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Drain. The pressure drop is adiabatic: some of what is carried over may evaporate."""
        _share(f"efficiency of {self.label}", self.efficiency)
        drained = self.efficiency * air.liquid_kg_per_s
        rest = _without(air, drained)
        return Step(adiabatic(rest, _lower_pa(self.label, air, self.drop_pa), rest.enthalpy_w), drained)


@dataclass(frozen=True, slots=True)
class Receiver:
    """Wet tank: the air cools the share `contact` (0..1) of the way to the wall; the share `drained` leaves."""

    label: str
    wall_c: float
    contact: float
    drained: float
    kind: ClassVar[str] = "receiver"

    def through(self, air: Air) -> Step:
        """Cool, settle and drain. Raises: OutOfRange."""
        cooled = _towards(self.label, air, self.wall_c, self.contact, air.pressure_pa)
        _share(f"drained share of {self.label}", self.drained)
        drained = self.drained * cooled.liquid_kg_per_s
        return Step(_without(cooled, drained), drained, heat_w=air.enthalpy_w - cooled.enthalpy_w)


def _towards(what: str, air: Air, wall_c: float, contact: float, p_pa: float) -> Air:
    _share(f"contact of {what}", contact)
    return settled(air, air.temperature_c + contact * (wall_c - air.temperature_c), p_pa)


@dataclass(frozen=True, slots=True)
class RefrigeratedDryer:
    """Cools to pdp_c [°C, not below 0], drains the share `drained` of the liquid, warms again to outlet_c [°C].

    Air that is already drier passes with its water. What is not drained evaporates in the warm outlet.
    """

    label: str
    pdp_c: float
    outlet_c: float
    drained: float
    drop_pa: float = 0.0
    kind: ClassVar[str] = "refrigerated dryer"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Dry. Raises: OutOfRange when pdp_c is below 0 °C, where it would ice up, or above outlet_c."""
        if not 0.0 <= self.pdp_c <= self.outlet_c:
            raise OutOfRange(f"pressure dew point of {self.label} (C)", self.pdp_c, f"0 to {self.outlet_c:.6g}")
        _share(f"drained share of {self.label}", self.drained)
        p_pa = _lower_pa(self.label, air, self.drop_pa)
        cold = settled(air, min(self.pdp_c, air.temperature_c), p_pa)
        drained = self.drained * cold.liquid_kg_per_s
        outlet = settled(_without(cold, drained), self.outlet_c, p_pa)
        heat = air.enthalpy_w - outlet.enthalpy_w - _liquid_w(drained, cold.temperature_c)
        return Step(outlet, drained, heat_w=heat)


@dataclass(frozen=True, slots=True)
class AdsorptionDryer:
    """Takes vapour down to pdp_c [°C] at the line and warms the air by warming_k [K].

    The share `purge` (0..1) of the dry air is blown off. Liquid that reaches it stays in it, which ruins the
    adsorbent in time.
    """

    label: str
    pdp_c: float
    warming_k: float
    purge: float = 0.0
    drop_pa: float = 0.0
    kind: ClassVar[str] = "adsorption dryer"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Dry. Raises: OutOfRange."""
        _share(f"purge of {self.label}", self.purge)
        p_pa = _lower_pa(self.label, air, self.drop_pa)
        purged = self.purge * air.dry_kg_per_s
        dry = air.dry_kg_per_s - purged
        held = min(air.vapour_kg_per_s / air.dry_kg_per_s, saturated_ratio(self.pdp_c, p_pa))
        outlet = Air(air.temperature_c + self.warming_k, p_pa, dry, held * dry)
        taken, left = air.vapour_kg_per_s - outlet.vapour_kg_per_s, air.liquid_kg_per_s
        gone = _liquid_w(taken + left, outlet.temperature_c) + purged * DRY_J * outlet.temperature_c
        heat = air.enthalpy_w - outlet.enthalpy_w - gone
        return Step(outlet, 0.0, taken, left, heat, purged)


@dataclass(frozen=True, slots=True)
class SaltBed:
    """Deliquescent dryer: its brine holds the leaving air at equilibrium_rh (0..1 over water) of the *outlet* gas.

    e_out = min(e_in, RH_eq e_w(T_out)), with the heat of absorption (taken as that of condensation) warming the
    gas; the share shell_loss (0..1) of it leaves through the shell. 1 stands for spent salt. Liquid that reaches
    the bed runs off with the brine. Source: heat balance, ours; saturated salts of Greenspan 1977.
    """

    label: str
    equilibrium_rh: float
    shell_loss: float = 0.0
    drop_pa: float = 0.0
    kind: ClassVar[str] = "deliquescent dryer"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Dry and warm. Raises: OutOfRange."""
        _share(f"equilibrium RH of {self.label}", self.equilibrium_rh)
        _share(f"shell loss of {self.label}", self.shell_loss)
        gas = _without(air, air.liquid_kg_per_s)
        p_pa = _lower_pa(self.label, air, self.drop_pa)
        t_c = root(lambda t: self._surplus_w(gas, t, p_pa), gas.temperature_c, gas.temperature_c + WARMED_K)
        if abs(self._surplus_w(gas, t_c, p_pa)) > UNBALANCED * abs(gas.enthalpy_w):  # it boils before it balances
            raise OutOfRange(f"inlet of {self.label} (C)", gas.temperature_c, "where its heat balance closes")
        outlet = self._over_brine(gas, t_c, p_pa)
        taken = gas.vapour_kg_per_s - outlet.vapour_kg_per_s
        heat = self.shell_loss * _absorbed_w(taken, t_c)
        return Step(outlet, air.liquid_kg_per_s, taken, heat_w=heat)

    def _over_brine(self, gas: Air, t_c: float, p_pa: float) -> Air:
        held = inf
        if saturated_ratio(t_c, p_pa) < inf:
            held = humidity_ratio(vapour_pressure_pa(t_c, self.equilibrium_rh, p_pa), p_pa)
        return Air(t_c, p_pa, gas.dry_kg_per_s, min(gas.vapour_kg_per_s, held * gas.dry_kg_per_s))

    def _surplus_w(self, gas: Air, t_c: float, p_pa: float) -> float:
        """Heat out less heat in if the gas left at t_c; rises with t_c."""
        outlet = self._over_brine(gas, t_c, p_pa)
        taken = gas.vapour_kg_per_s - outlet.vapour_kg_per_s
        out_w = outlet.enthalpy_w + _liquid_w(taken, t_c) + self.shell_loss * _absorbed_w(taken, t_c)
        return out_w - gas.enthalpy_w


def _absorbed_w(taken_kg_per_s: float, t_c: float) -> float:
    """Heat set free by vapour that becomes liquid at t_c [W]."""
    return taken_kg_per_s * (LATENT_J + (VAPOUR_J - LIQUID_J) * t_c)


@dataclass(frozen=True, slots=True)
class Regulator:
    """Lets the pressure down to outlet_pa [Pa], adiabatically. It cannot raise it."""

    label: str
    outlet_pa: float
    kind: ClassVar[str] = "regulator"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Throttle; the cooling of a real gas, about 0.2 K/bar (from memory), is left out."""
        return Step(adiabatic(air, min(self.outlet_pa, air.pressure_pa), air.enthalpy_w))


@dataclass(frozen=True, slots=True)
class Bypass:
    """Leads the share `share` (0..1) past the pieces `around` and mixes it again, adiabatically."""

    label: str
    share: float
    around: tuple[Piece, ...]
    kind: ClassVar[str] = "bypass"
    wall_c: ClassVar[None] = None

    def through(self, air: Air) -> Step:
        """Split, lead the rest through, mix at the lower pressure. Raises: OutOfRange."""
        _share(f"share of {self.label}", self.share)
        if self.share == 1.0 or not self.around:
            return Step(air)
        past = _part(air, self.share)
        inner = walk(_part(air, 1.0 - self.share), self.around)
        dried = inner[-1].outlet
        mixed = Air(
            air.temperature_c, dried.pressure_pa, past.dry_kg_per_s + dried.dry_kg_per_s,
            past.vapour_kg_per_s + dried.vapour_kg_per_s, past.liquid_kg_per_s + dried.liquid_kg_per_s,
        )  # fmt: skip
        outlet = adiabatic(mixed, dried.pressure_pa, past.enthalpy_w + dried.enthalpy_w)
        steps = [passage.step for passage in inner]
        return Step(
            outlet, sum(s.drained_kg_per_s for s in steps), sum(s.taken_kg_per_s for s in steps),
            sum(s.left_kg_per_s for s in steps), sum(s.heat_w for s in steps),
            sum(s.purged_kg_per_s for s in steps), inner,
        )  # fmt: skip


def _part(air: Air, share: float) -> Air:
    return replace(
        air,
        dry_kg_per_s=share * air.dry_kg_per_s,
        vapour_kg_per_s=share * air.vapour_kg_per_s,
        liquid_kg_per_s=share * air.liquid_kg_per_s,
    )


@dataclass(frozen=True, slots=True)
class Pot:
    """Blast pot: the air cools the share `contact` (0..1) of the way to its wall or abrasive, the colder [°C].

    All liquid that forms or arrives stays in the abrasive.
    """

    label: str
    wall_c: float
    contact: float = 1.0
    drop_pa: float = 0.0
    kind: ClassVar[str] = "pot"

    def through(self, air: Air) -> Step:
        """Cool; keep the liquid. Raises: OutOfRange."""
        cooled = _towards(self.label, air, self.wall_c, self.contact, _lower_pa(self.label, air, self.drop_pa))
        left = cooled.liquid_kg_per_s
        return Step(_without(cooled, left), left_kg_per_s=left, heat_w=air.enthalpy_w - cooled.enthalpy_w)


@dataclass(frozen=True, slots=True)
class Hose:
    """Blast hose: the air cools the share `contact` of the way to the wall and loses drop_pa; liquid goes on."""

    label: str
    wall_c: float
    contact: float = 1.0
    drop_pa: float = 0.0
    kind: ClassVar[str] = "hose"

    def through(self, air: Air) -> Step:
        """Cool. Raises: OutOfRange."""
        outlet = _towards(self.label, air, self.wall_c, self.contact, _lower_pa(self.label, air, self.drop_pa))
        return Step(outlet, heat_w=air.enthalpy_w - outlet.enthalpy_w)


DRIEST_SALT_RH = 0.105
"""Lowest humidity over a saturated salt solution that a drying bed may be made of: lithium chloride, 11.3 % at
20 °C, 10.5 % at 80 °C (Greenspan 1977, J. Res. NBS 81A, 89, from memory): 36 K below the gas at 40 °C."""
# Relative humidity [%] over saturated solutions, polynomials in t [°C]: Greenspan 1977, J. Res. NBS 81A, 89
# (coefficients from memory, checked against its table); valid from..to °C.
SALTS: dict[str, tuple[tuple[float, ...], float, float]] = {
    "lithium chloride": ((11.2323, 8.24245e-3, -2.14890e-4), 0.0, 80.0),
    "magnesium chloride": ((33.6686, -7.97397e-3, -1.08988e-3), 0.0, 99.0),
    "sodium chloride": ((75.5164, 0.0398321, -2.65459e-3, 2.84800e-5), 0.0, 80.0),
    "potassium chloride": ((88.6190, -0.193340, 8.99706e-4), 0.0, 90.0),
    "potassium sulfate": ((98.7792, -0.0590502), 0.0, 50.0),
}


def salt_equilibrium_rh(salt: str, t_c: float) -> float:
    """Relative humidity 0..1 that a saturated solution of a salt of `SALTS` holds at t_c [°C].

    Raises: KeyError for another salt, OutOfRange outside its temperatures. Source: Greenspan 1977.
    """
    coefficients, low, high = SALTS[salt]
    if not low <= t_c <= high:
        raise OutOfRange(f"temperature over {salt} (C)", t_c, f"{low:.0f} to {high:.0f}")
    return sum(c * t_c**n for n, c in enumerate(coefficients)) / 100.0
