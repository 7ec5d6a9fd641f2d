"""Which tables the files of a dryer check have, which figures each holds, which columns its readings may have."""

from __future__ import annotations

from collections.abc import Callable

from gateway.plan_figures import Figure

_K, _BAR = "temperature difference", "pressure difference"


def _may(measures: str, meaning: str) -> Figure:
    return Figure(measures, meaning, optional=True)


RATING = {
    "flow": _may("flow of free air", "rated flow"),
    "inlet_temperature": _may("temperature", "inlet gas it is rated for"),
    "pressure": _may("gauge pressure", "line pressure it is rated for"),
    "suppression_below_inlet": _may(_K, "outlet pressure dew point below the inlet gas, saturated"),
    "loss": _may(_BAR, "loss of pressure at the rated flow"),
}
UNIT = {"equilibrium_humidity": _may("share", "humidity over its brine, instead of salt")}
REFILL = {"mass": Figure("mass", "salt filled in, such as '60 kg'")}
BRINE = {
    "mass": Figure("mass", "what the drain's line let out, such as '2.4 kg'"),
    "time": Figure("time", "over how long, such as '45 min'"),
    "mass_accuracy": _may("mass", "half width of the scale's accuracy"),
    "density": _may("density", "of the brine, by hydrometer, such as '1.21 kg/l'"),
    "temperature": _may("temperature", "of the brine in the hydrometer's jar"),
    "salt_share": _may("share", "mass share of salt, instead of density and temperature"),
}
LEAK = {
    "from": Figure("gauge pressure", "when it was shut in"),
    "to": Figure("gauge pressure", "at the end"),
    "time": Figure("time", "over how long, such as '10 min'"),
    "accuracy": _may(_BAR, "half width of the gauge's accuracy"),
}
LIMITS = {
    "suppression_below_inlet": Figure(_K, "such as '7 K'"),
    "suppression_below_outlet": Figure(_K, "such as '12 K'"),
    "pressure_dew_point": Figure("temperature", "such as '30 °C'"),
    "outlet_humidity": Figure("share", "such as '55 %RH'"),
    "loss": Figure(_BAR, "at the rated flow, such as '0.3 bar'"),
    "approach": Figure(_K, "such as '10 K'"),
    "drain_balance": Figure("share", "such as '25 %'"),
    "leak": Figure("fall of pressure", "such as '5 mbar/min'"),
    "least_flow": Figure("share", "share of the rated flow below which a test says nothing, such as '60 %'"),
}
ACCURACY = {
    "inlet_temperature": _may(_K, "half width"), "outlet_temperature": _may(_K, "half width"),
    "ambient_temperature": _may(_K, "half width"), "inlet_dew_point": _may(_K, "half width"),
    "outlet_dew_point": _may(_K, "half width"), "inlet_humidity": _may("share", "half width, such as '2 %RH'"),
    "outlet_humidity": _may("share", "half width, such as '2 %RH'"), "inlet_pressure": _may(_BAR, "half width"),
    "outlet_pressure": _may(_BAR, "half width"), "pressure_loss": _may(_BAR, "half width"),
    "flow": _may("flow of free air", "half width"), "station_pressure": _may("station pressure", "half width"),
}  # fmt: skip

Turn = Callable[[float], float]
_CELSIUS: dict[str, Turn] = {"_C": lambda v: v, "_F": lambda v: (v - 32.0) / 1.8}
_PERCENT: dict[str, Turn] = {"_%": lambda v: v / 100.0}
_GAUGE: dict[str, Turn] = {
    "_bar": lambda v: v * 1e5,
    "_psi": lambda v: v * 6894.757293168,
    "_kPa": lambda v: v * 1e3,
}
_FLOW: dict[str, Turn] = {
    "_m3_min": lambda v: v / 60.0, "_cfm": lambda v: v * 0.3048**3 / 60.0, "_l_s": lambda v: v * 1e-3,
}  # fmt: skip
_ENDS = {
    "temperature": _CELSIUS, "dew_point": _CELSIUS, "humidity": _PERCENT, "pressure": _GAUGE,
}  # fmt: skip
COLUMNS: dict[str, tuple[str, Turn]] = {
    **{f"{end}_{what}{unit}": (f"{end}_{what}", turn)
       for end in ("inlet", "outlet") for what, units in _ENDS.items() for unit, turn in units.items()},
    **{f"ambient_temperature{unit}": ("ambient_temperature", turn) for unit, turn in _CELSIUS.items()},
    **{f"pressure_loss{unit}": ("pressure_loss", turn) for unit, turn in _GAUGE.items()},
    **{f"flow{unit}": ("flow", turn) for unit, turn in _FLOW.items()},
    "station_pressure_hPa": ("station_pressure", lambda v: v * 100.0),
}  # fmt: skip
"""Column of a CSV of readings: its channel, and what turns it into the unit used inside; pressures are gauge."""
