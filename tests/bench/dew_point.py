"""The dew point against CoolProp and a short formula: how fast, how far off, and how soon it is ready."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
from CoolProp.CoolProp import HAPropsSI

from gateway.psychrometrics import dew_point_array_c, dew_point_c, frost_point_c, saturation_pressure_water_pa

ZERO_C = 273.15
NEAR_ICE_K = 0.02  # this close to 0 C the two phases cannot be told apart
TRIES = 5  # the best of several: other programs only ever add time


def one_ratio() -> float:
    """Return CoolProp's time over ours, one value a call."""
    cases = [(t, rh, 101_325.0) for t in range(10, 40, 3) for rh in np.linspace(0.35, 0.95, 20).tolist()]

    def ours() -> None:
        for t, rh, p in cases:
            dew_point_c(t, rh, p)

    def theirs() -> None:
        for t, rh, p in cases:
            HAPropsSI("D", "T", t + ZERO_C, "R", rh, "P", p)

    return _best(theirs, TRIES) / _best(ours, TRIES)


def array_ratio() -> float:
    """Return CoolProp's time over ours, 10,000 values a call."""
    chance = np.random.default_rng(1)
    t, rh = chance.uniform(10, 40, 10_000), chance.uniform(0.35, 0.95, 10_000)
    p = chance.uniform(90_000, 108_000, 10_000)
    theirs = _best(lambda: HAPropsSI("D", "T", t + ZERO_C, "R", rh, "P", p), 2)
    return theirs / _best(lambda: dew_point_array_c(t, rh, p), 20)


def array_over_metpy() -> float:
    """Return our time over MetPy's for the same 10,000 values, units attached beforehand.

    MetPy's is the inverse of a short formula: no enhancement factor, no pressure, no check of the range.
    """
    from metpy.calc import dewpoint_from_relative_humidity
    from metpy.units import units

    chance = np.random.default_rng(1)
    t, rh = chance.uniform(10, 40, 10_000), chance.uniform(0.35, 0.95, 10_000)
    p = chance.uniform(90_000, 108_000, 10_000)
    warm, moist = t * units.degC, rh * units.dimensionless
    assert np.allclose(dew_point_array_c(t, rh, p), dewpoint_from_relative_humidity(warm, moist).m, atol=0.15)
    theirs = _best(lambda: dewpoint_from_relative_humidity(warm, moist), 50)
    return _best(lambda: dew_point_array_c(t, rh, p), 50) / theirs


def import_ms() -> float:
    """Return what importing the physics adds to the start of Python, ms. Raises if it brings numpy or CoolProp."""
    ours = "import gateway.psychrometrics, sys; sys.exit(len({'numpy', 'CoolProp'} & set(sys.modules)))"
    return 1000 * (_best(lambda: _python(ours), 10) - _best(lambda: _python("import sys; sys.exit(0)"), 10))


def _python(work: str) -> None:
    subprocess.run([sys.executable, "-c", work], check=True)


def worst_error_mk() -> float:
    """Return the largest distance from CoolProp on a grid of weather and compressed air, mK.

    Below 0 C CoolProp's answer is the frost point, so it is compared with ours.
    """
    worst = 0.0
    for p in np.geomspace(70_000, 1_600_000, 12).tolist():
        for t in np.linspace(1, 80, 24).tolist():
            for rh in (0.002, 0.02, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0):
                truth = HAPropsSI("D", "T", t + ZERO_C, "R", rh, "P", p) - ZERO_C
                if abs(truth) > NEAR_ICE_K and p > 2 * saturation_pressure_water_pa(t):
                    ours = dew_point_c if truth > 0 else frost_point_c
                    worst = max(worst, abs(ours(t, rh, p) - truth) * 1000)
    return worst


def _best(act: Callable[[], object], tries: int) -> float:
    times = []
    for _ in range(tries):
        began = time.perf_counter()
        act()
        times.append(time.perf_counter() - began)
    return min(times)
