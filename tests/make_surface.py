"""Fit the saturation surface that `gateway.psychrometrics` reads, and write it as JSON.

Run by hand: `python tests/make_surface.py`. Needs CoolProp and numpy; the gateway itself needs neither.

Four pieces are fitted:

* warm_water and hot_water: e and f from CoolProp (IAPWS-95; ASHRAE RP-1485), 0 to 100 and 100 to 200 C.
* supercooled_water: Hardy 1998, 0 to -100 C. Hardy's f is published for -50 to 0 C and is extrapolated below.
* ice: e from IAPWS R14-08(2011), f from CoolProp (ASHRAE RP-1485), -100 to 0 C.

forward: u = scale / (t + shift) - offset;  ln e = S(u);  ln f = (1 - e/p) (A(u) + p B(u) + p^2 C(u)).
inverse: the same shape in a linear axis of ln(f e) gives ln f; v = scale / (shift - ln e) - offset gives t.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from CoolProp.CoolProp import HAPropsSI, PropsSI

ZERO_C = 273.15
LOWEST_PA, HIGHEST_PA = 55e3, 16e5
# Degrees of A, B and C: the smallest that hold 1 mK in every phase.
DEGREES = (4, 5, 3)
TARGET = Path(__file__).parent.parent / "gateway" / "psychrometrics_surface.json"

# Hardy, B., "ITS-90 formulations for vapor pressure, frostpoint temperature, dewpoint temperature, and
# enhancement factors", 1998: vapour pressure over water, and f over supercooled water (-50 to 0 C).
HARDY_WATER = (
    -2.8365744e3,
    -6.028076559e3,
    1.954263612e1,
    -2.737830188e-2,
    1.6261698e-5,
    7.0229056e-10,
    -1.8680009e-13,
)
HARDY_WATER_LN = 2.7150305
HARDY_ALPHA = (-5.5898101e-2, 6.7140389e-4, -2.7492721e-6, 3.8268958e-9)
HARDY_BETA = (-8.1985393e1, 5.8230823e-1, -1.6340527e-3, 1.6725084e-6)

# IAPWS R14-08(2011), equation 6 (sublimation pressure of ordinary ice).
R14_A = (-21.2144006, 27.3203819, -6.10598130)
R14_B = (0.00333333333, 1.20666667, 1.70333333)


def hardy_water_pa(t_c: float) -> float:
    """Vapour pressure over water [Pa] at t_c [C], Hardy 1998."""
    kelvin = t_c + ZERO_C
    powers = sum(g * kelvin ** (i - 2) for i, g in enumerate(HARDY_WATER))
    return float(np.exp(powers + HARDY_WATER_LN * np.log(kelvin)))


def hardy_ln_factor(t_c: float, p_pa: float) -> float:
    """Natural log of the enhancement factor over supercooled water, Hardy 1998."""
    kelvin, e = t_c + ZERO_C, hardy_water_pa(t_c)
    alpha = sum(a * kelvin**i for i, a in enumerate(HARDY_ALPHA))
    beta = float(np.exp(sum(b * kelvin**i for i, b in enumerate(HARDY_BETA))))
    return alpha * (1 - e / p_pa) + beta * (p_pa / e - 1)


def r14_ice_pa(t_c: float) -> float:
    """Sublimation pressure [Pa] at t_c [C], IAPWS R14-08(2011)."""
    theta = (t_c + ZERO_C) / 273.16
    return float(611.657 * np.exp(sum(a * theta**b for a, b in zip(R14_A, R14_B, strict=True)) / theta))


def coolprop_water_pa(t_c: float) -> float:
    """Vapour pressure over water [Pa], IAPWS-95 by CoolProp (0.01 C and above)."""
    return float(PropsSI("P", "T", t_c + ZERO_C, "Q", 0, "Water"))


def coolprop_saturated_pa(t_c: float, p_pa: float) -> float:
    """Partial pressure of water [Pa] in saturated air: water above 0.01 C, ice below."""
    return float(HAPropsSI("P_w", "T", t_c + ZERO_C, "P", p_pa, "R", 1.0))


def coolprop_ln_factor(pure: Callable[[float], float]) -> Callable[[float, float], float]:
    """ln f as CoolProp's saturated partial pressure over the pure pressure fitted here."""
    return lambda t_c, p_pa: float(np.log(coolprop_saturated_pa(t_c, p_pa) / pure(t_c)))


def spread(low: float, high: float, count: int) -> Any:
    """Chebyshev points with both ends: a least-squares fit on them is nearly minimax."""
    return (low + high) / 2 - (high - low) / 2 * np.cos(np.pi * np.arange(count) / (count - 1))


def axis(raw: Any) -> tuple[float, float]:
    """(scale, offset) that carry raw onto -1..1."""
    scale = 2 / float(np.ptp(raw))
    return scale, scale * float(raw.max()) - 1


def fit_factor(u: Any, p: Any, share: Any, ln_f: Any, weight: Any) -> list[list[float]]:
    """Coefficients of A, B, C by weighted least squares; share = 1 - e/p. Columns are scaled to one bar."""
    columns = [share * u**i * (p / 1e5) ** j for j, degree in enumerate(DEGREES) for i in range(degree + 1)]
    flat = np.linalg.lstsq(np.stack(columns, 1) * weight[:, None], ln_f * weight, rcond=None)[0]
    ends = np.cumsum([degree + 1 for degree in DEGREES])[:-1]
    return [(part / 1e5**j).tolist() for j, part in enumerate(np.split(flat, ends))]


def fit_line(u: Any, y: Any, degree: int) -> list[float]:
    """Coefficients, lowest power first."""
    return [float(c) for c in np.polynomial.polynomial.polyfit(u, y, degree)]


def surface_points(t: Any, pure: Callable[[float], float], ln_factor: Callable[[float, float], float]) -> Any:
    """Rows (t, p, e, ln f) where the saturated vapour stays under 0.93 p, CoolProp's own ceiling."""
    rows = [(a, p, pure(a)) for a in t for p in spread(LOWEST_PA, HIGHEST_PA, 16)]
    return np.array([(a, p, e, ln_factor(a, p)) for a, p, e in rows if e < 0.92 * p]).T


def trust(t: Any, e: Any, p: Any) -> Any:
    """Weights: less near pure steam, where CoolProp ends, and below -66 C, seldom met and extrapolated."""
    return np.where(e < 0.8 * p, 1.0, 0.3) * np.where(t > -66.0, 1.0, 0.3)


def forward(t: Any, pure: Any, points: Any, shift: float) -> dict[str, Any]:
    """Fit ln e and ln f against temperature."""
    scale, offset = axis(1 / (t + shift))
    at, p, e, ln_f = points
    ln_e = np.log([pure(a) for a in t])
    return {
        "axis": [shift, scale, offset],
        "ln_saturation": fit_line(scale / (t + shift) - offset, ln_e, 6),
        "ln_factor": fit_factor(scale / (at + shift) - offset, p, 1 - e / p, ln_f, trust(at, e, p)),
    }


def inverse(t: Any, pure: Any, points: Any, shift_t: float) -> dict[str, Any]:
    """Fit ln f along the saturation line against the real ln e, and temperature against the pure ln e."""
    ln_e = np.log([pure(a) for a in t])
    shift = float(np.polynomial.polynomial.polyfit(1 / (t + shift_t), ln_e, 1)[0])
    scale, offset = axis(1 / (shift - ln_e))
    at, p, e, ln_f = points
    real = np.log(e) + ln_f
    factor_scale, factor_offset = axis(real)
    reduced = factor_scale * real - factor_offset
    return {
        "axis": [shift, scale, offset],
        "temperature": fit_line(scale / (shift - ln_e) - offset, t, 6),
        "factor_axis": [factor_scale, factor_offset],
        "ln_factor": fit_factor(reduced, p, 1 - np.exp(real) / p, ln_f, trust(at, e, p)),
    }


def fit_phase(low: float, high: float, top: float, shift: float, pure: Any, ln_factor: Any) -> dict[str, Any]:
    """Forward over low..high, inverse over low..top (dew points go no higher than top)."""
    t, dew = spread(low, high, 60), spread(low, top, 60)
    return {
        "range_c": [round(low, 1), high],
        "forward": forward(t, pure, surface_points(t, pure, ln_factor), shift),
        "inverse": inverse(dew, pure, surface_points(dew, pure, ln_factor), shift),
    }


def main() -> None:
    """Fit the three phases and write the file the gateway reads."""
    ice, water = coolprop_ln_factor(r14_ice_pa), coolprop_ln_factor(coolprop_water_pa)
    surface = {
        "made_by": "tests/make_surface.py",
        "sources": {
            "warm_water": "CoolProp 8.0.0: IAPWS-95 vapour pressure, ASHRAE RP-1485 enhancement factor",
            "supercooled_water": "Hardy 1998 (ITS-90); enhancement factor extrapolated below -50 C",
            "ice": "IAPWS R14-08(2011); CoolProp 8.0.0, ASHRAE RP-1485 enhancement factor",
        },
        # CoolProp changes from ice to water at 0.01 C, so the water fit starts just above it.
        "warm_water": fit_phase(0.02, 104.0, 102.0, 250.0, coolprop_water_pa, water),
        "hot_water": fit_phase(96.0, 200.0, 102.0, 250.0, coolprop_water_pa, water),
        "supercooled_water": fit_phase(-101.0, 0.0, 0.0, 275.0, hardy_water_pa, hardy_ln_factor),
        "ice": fit_phase(-101.0, 0.0, 0.0, 275.0, r14_ice_pa, ice),
    }
    TARGET.write_text(json.dumps(surface, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
