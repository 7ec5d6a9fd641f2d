"""The weather over the simulated jobsite: one afternoon turning into a clear night.

Times are seconds since the scenario began. The plate balance and the air train read what is made here.
Saturation over water follows the Magnus form with the constants of Sonntag (1990), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

STEFAN_BOLTZMANN = 5.670374e-8
"""[W/(m2 K4)]. Source: CODATA 2018."""


def saturation_pa(temperature_c: float) -> float:
    """Saturation vapour pressure over water [Pa] at temperature_c [degC].

    Source: Sonntag 1990, Magnus form, constants from memory. Good to about 0.3 % within 0 .. 60 degC.
    """
    return 611.2 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


def dew_point_c(vapour_pa: float) -> float:
    """Temperature [degC] at which vapour_pa [Pa, above 0] saturates; the inverse of saturation_pa."""
    x = math.log(vapour_pa / 611.2)
    return 243.12 * x / (17.62 - x)


@dataclass(frozen=True, slots=True)
class Weather:
    """The outside air at one time, and the radiation from above."""

    air_c: float
    dew_c: float
    pressure_pa: float
    shortwave_w_m2: float
    sky_w_m2: float

    @property
    def vapour_pa(self) -> float:
        """Partial pressure of water vapour [Pa]."""
        return saturation_pa(self.dew_c)

    @property
    def rh_percent(self) -> float:
        """Relative humidity over water [%]."""
        return 100.0 * self.vapour_pa / saturation_pa(self.air_c)


@dataclass(frozen=True, slots=True)
class Dusk:
    """The shape of one evening. All figures are invented for the demonstration.

    day_c and night_c bound the air temperature [degC]; it falls fastest at fall_s and takes about four
    times width_s [s] to do so. The dew point creeps from dew_day_c to dew_night_c, fastest at damp_s [s] and
    half as fast, as damp air comes in from the marsh after sunset.
    diffuse_w_m2 is the sky's light on a shaded wall at the start; it is gone at sunset_s.
    """

    day_c: float = 22.6
    night_c: float = 18.65
    fall_s: float = 1620.0
    width_s: float = 1080.0
    dew_day_c: float = 13.2
    dew_night_c: float = 14.2
    diffuse_w_m2: float = 31.0
    sunset_s: float = 8400.0
    damp_s: float = 12600.0
    pressure_pa: float = 100_800.0

    def at(self, elapsed_s: float) -> Weather:
        """The weather elapsed_s [s] after the start (negative: before it)."""
        night = _turn(elapsed_s, self.fall_s, self.width_s)
        damp = _turn(elapsed_s, self.damp_s, 2 * self.width_s)
        air_c = self.day_c + (self.night_c - self.day_c) * night
        dew_c = self.dew_day_c + (self.dew_night_c - self.dew_day_c) * damp
        light = min(max(1.0 - elapsed_s / self.sunset_s, 0.0), 1.3)
        sky_w_m2 = clear_sky_w_m2(air_c, dew_c)
        return Weather(air_c, dew_c, self.pressure_pa, self.diffuse_w_m2 * light, sky_w_m2)


def _turn(elapsed_s: float, middle_s: float, width_s: float) -> float:
    """How far a change has come (0..1): half at middle_s, most of it within 2 width_s to either side."""
    return 1.0 / (1.0 + math.exp((middle_s - elapsed_s) / width_s))


def clear_sky_w_m2(air_c: float, dew_c: float) -> float:
    """Long-wave radiation of a clear sky onto a level surface [W/m2]; temperatures in degC.

    Source: Berdahl and Martin 1984, emissivity from the dew point, constants from memory.
    """
    x = dew_c / 100.0
    return (0.711 + 0.56 * x + 0.73 * x * x) * STEFAN_BOLTZMANN * (air_c + 273.15) ** 4
