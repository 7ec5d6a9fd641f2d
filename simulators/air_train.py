"""The blast air from the intake to the hose: how warm, how moist, at what pressure, and what falls out.

compressor -> aftercooler -> separator -> receiver -> salt dryer -> pot -> hose

Each piece is a function from the gas that enters to the gas that leaves. Pressures are absolute [Pa].
Source of the salt bed: outlet vapour is at most RH_eq of saturation at the outlet temperature, and the heat
of absorption warms the gas; physics of an ideal bed, common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from simulators.weather import Weather, saturation_pa

BAR = 100_000.0
VAPOUR_TO_AIR = 0.622
"""Molar mass of water over that of dry air."""
GAS_J_KG_K = 1010.0
"""Specific heat of the gas [J/(kg K)]. From memory."""
ABSORPTION_J_KG = 2.5e6
"""Heat set free per kg of water taken up: condensation plus a little for the dilution. From memory."""


@dataclass(frozen=True, slots=True)
class Gas:
    """Compressed air at one place. liquid is kg of carried water per kg of dry air."""

    temperature_c: float
    vapour_pa: float
    pressure_pa: float
    liquid: float = 0.0

    @property
    def vapour(self) -> float:
        """Water vapour per dry air [kg/kg]."""
        return VAPOUR_TO_AIR * self.vapour_pa / (self.pressure_pa - self.vapour_pa)

    @property
    def rh_percent(self) -> float:
        """Relative humidity over water [%] at this place."""
        return 100.0 * self.vapour_pa / saturation_pa(self.temperature_c)


@dataclass(frozen=True, slots=True)
class Train:
    """The machine: gauge pressures [bar], differences [K], fractions 0..1. All figures are invented.

    approach_k: receiver gas above outside air. shell_loss: share of the absorption heat that leaves through
    the bed's shell.
    """

    line_bar_g: float = 7.0
    pot_bar_g: float = 6.4
    hose_loss_bar: float = 0.7
    compression_k: float = 75.0
    approach_k: float = 4.0
    shell_loss: float = 0.3
    separation: float = 0.95


@dataclass(frozen=True, slots=True)
class TrainState:
    """The gas at the outlet of each piece that matters to a sensor or to the water path."""

    receiver: Gas
    dryer: Gas
    pot: Gas
    hose: Gas


def compressor(gas: Gas, pressure_pa: float, rise_k: float) -> Gas:
    """Raise the pressure; vapour and air are squeezed alike, so the vapour's share stays."""
    return Gas(gas.temperature_c + rise_k, gas.vapour_pa * pressure_pa / gas.pressure_pa, pressure_pa)


def cooled(gas: Gas, temperature_c: float) -> Gas:
    """Bring the gas to temperature_c [degC]; what it cannot hold as vapour becomes carried liquid."""
    vapour_pa = min(gas.vapour_pa, saturation_pa(temperature_c))
    colder = Gas(temperature_c, vapour_pa, gas.pressure_pa)
    return replace(colder, liquid=gas.liquid + gas.vapour - colder.vapour)


def separator(gas: Gas, efficiency: float) -> Gas:
    """Drain this share (0..1) of the carried liquid."""
    return replace(gas, liquid=gas.liquid * (1.0 - efficiency))


def receiver(gas: Gas, temperature_c: float) -> Gas:
    """Settle in the tank: cool to temperature_c [degC] and leave all liquid at the bottom."""
    return separator(cooled(gas, temperature_c), 1.0)


def throttled(gas: Gas, pressure_pa: float) -> Gas:
    """Lower the pressure; the vapour's falls in proportion. The slight cooling is left out."""
    return replace(gas, vapour_pa=gas.vapour_pa * pressure_pa / gas.pressure_pa, pressure_pa=pressure_pa)


def over_salt(gas: Gas, equilibrium_rh: float, temperature_c: float) -> Gas:
    """Gas that leaves the bed at temperature_c [degC]: e = min(e_in, RH_eq * e_w(T_out)), RH_eq 0..1."""
    vapour_pa = min(gas.vapour_pa, equilibrium_rh * saturation_pa(temperature_c))
    return Gas(temperature_c, vapour_pa, gas.pressure_pa)


def salt_dryer(gas: Gas, equilibrium_rh: float, shell_loss: float = 0.0) -> Gas:
    """Outlet of a salt bed whose brine holds equilibrium_rh (0..1; 1 = spent: no water is taken).

    The outlet temperature solves cp (T_out - T_in) = L (w_in - w_out) (1 - shell_loss) by halving. A warmer
    outlet holds more vapour and so frees less heat: there is one root.
    """
    low, high = gas.temperature_c, gas.temperature_c + 30.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        taken = gas.vapour - over_salt(gas, equilibrium_rh, middle).vapour
        freed_k = ABSORPTION_J_KG * taken * (1.0 - shell_loss) / GAS_J_KG_K
        low, high = (middle, high) if gas.temperature_c + freed_k > middle else (low, middle)
    return over_salt(gas, equilibrium_rh, low)


def run(train: Train, weather: Weather, equilibrium_rh: float, pot_wall_c: float) -> TrainState:
    """The whole train: the salt holds equilibrium_rh (0..1), the pot's wall is at pot_wall_c [degC]."""
    outside = weather.pressure_pa
    intake = Gas(weather.air_c, weather.vapour_pa, outside)
    hot = compressor(intake, outside + train.line_bar_g * BAR, train.compression_k)
    drained = separator(cooled(hot, weather.air_c + train.approach_k + 3.0), train.separation)
    tank = receiver(drained, weather.air_c + train.approach_k)
    dried = salt_dryer(tank, equilibrium_rh, train.shell_loss)
    pot_pa = outside + train.pot_bar_g * BAR
    pot = cooled(throttled(dried, pot_pa), pot_wall_c)
    hose = cooled(throttled(pot, pot_pa - train.hose_loss_bar * BAR), weather.air_c)
    return TrainState(tank, dried, pot, hose)
