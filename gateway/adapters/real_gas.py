"""The door to CoolProp: a second opinion on humid air, loaded only when asked for.

Its humid air takes relative humidity over ice below 0 °C and calls the frost point a dew point there, so it is
given the vapour's partial pressure and its answers go under the names they have here.
"""

from __future__ import annotations

ZERO_C = 273.15
# Our key: CoolProp's name, and what turns its kelvin or J/kg into ours.
_NAMES = {
    "humidity_ratio_kg_per_kg": ("W", 0.0),
    "vapour_pressure_pa": ("P_w", 0.0),
    "enthalpy_j_per_kg": ("Hda", 0.0),
    "wet_bulb_c": ("B", -ZERO_C),
}


class NotInstalled(RuntimeError):
    """CoolProp is not there."""


def humid_air(t_c: float, e_pa: float, p_pa: float) -> dict[str, float]:
    """CoolProp's values by the keys of `air_state`, those it can give. Raises: NotInstalled."""
    try:
        from CoolProp.CoolProp import HAPropsSI
    except ImportError as error:
        raise NotInstalled(
            "CoolProp is not installed here; it comes with the test requirements, or: pip install CoolProp"
        ) from error

    def ask(name: str) -> float | None:
        try:
            return float(HAPropsSI(name, "T", t_c + ZERO_C, "P_w", e_pa, "P", p_pa))
        except ValueError:
            return None

    found = {key: value + shift for key, (name, shift) in _NAMES.items() if (value := ask(name)) is not None}
    point = ask("D")
    if point is not None:
        found["dew_point_c" if point >= ZERO_C else "frost_point_c"] = point - ZERO_C
    rh = ask("R")
    if rh is not None:
        found["relative_humidity" if t_c >= 0.0 else "relative_humidity_ice"] = rh
    return found
