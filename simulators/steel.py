"""The temperature of a steel plate that stands outside: sun, sky, ground and wind against its heat capacity.

At dusk the plate radiates more to the clear sky than it receives and falls below the air. Weather comes
from `weather` or from a measured month (`feed`); the result goes to the surface sensors.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulators.weather import STEFAN_BOLTZMANN, Weather

STEEL_J_M3_K = 7850.0 * 480.0
"""Density [kg/m3] times specific heat [J/(kg K)] of carbon steel. Common handbook values, from memory."""


@dataclass(frozen=True, slots=True)
class Plate:
    """A plate: thickness [m], faces that exchange heat (1 or 2), absorptance and emissivity (0..1).

    sky_view is the share (0..1) of the outer face's view that is sky; the rest is ground at air temperature.
    """

    thickness_m: float
    faces: int = 1
    absorptance: float = 0.7
    emissivity: float = 0.9
    sky_view: float = 0.5


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the plate exchanges heat with; the fluxes [W/m2] are sums over its faces.

    film_w_m2_k is the convective coefficient of one face; inner_w_m2 is heat from gas behind the plate.
    """

    air_c: float
    shortwave_w_m2: float
    longwave_w_m2: float
    film_w_m2_k: float
    inner_w_m2: float = 0.0


def film_w_m2_k(wind_m_s: float) -> float:
    """Convective coefficient of a flat plate [W/(m2 K)] in wind [m/s]: 5.7 + 3.8 U. From memory."""
    return 5.7 + 3.8 * wind_m_s


def net_w_m2(plate: Plate, temperature_c: float, around: Surroundings) -> float:
    """Heat gained per area of plate [W/m2]: a SW + e LW - n e s T^4 + n h (Ta - T) + inner.

    Source: energy balance of a thin plate of one temperature, n faces; common practice.
    """
    absorbed = plate.absorptance * around.shortwave_w_m2 + plate.emissivity * around.longwave_w_m2
    emitted = plate.faces * plate.emissivity * STEFAN_BOLTZMANN * (temperature_c + 273.15) ** 4
    convected = plate.faces * around.film_w_m2_k * (around.air_c - temperature_c)
    return absorbed - emitted + convected + around.inner_w_m2


def after(plate: Plate, temperature_c: float, around: Surroundings, seconds: float) -> float:
    """Plate temperature [degC] after `seconds` [s, at most about 120] in these surroundings.

    One explicit step: the plates here need tens of minutes, so a minute's step is stable and close.
    """
    gained_j_m2 = net_w_m2(plate, temperature_c, around) * seconds
    return temperature_c + gained_j_m2 / (STEEL_J_M3_K * plate.thickness_m)


def outdoors(plate: Plate, weather: Weather, wind_m_s: float, inner_w_m2: float = 0.0) -> Surroundings:
    """The surroundings of a one-faced plate of the simulated jobsite in this weather."""
    ground = STEFAN_BOLTZMANN * (weather.air_c + 273.15) ** 4
    longwave = plate.sky_view * weather.sky_w_m2 + (1.0 - plate.sky_view) * ground
    return Surroundings(weather.air_c, weather.shortwave_w_m2, longwave, film_w_m2_k(wind_m_s), inner_w_m2)
