"""A rented dryer on the yard's bench, simulated: good, tired or broken, in the weather of the day.

`readings` is the file a clerk's logger would write; `brine_kg` what its drain's line let out meanwhile. Physics of
`faults`; the unit's loss of pressure grows with the square of the flow.
"""

from __future__ import annotations

from dataclasses import replace

from simulators.faults import START_S, Climate, Failure, Plant, minutes, ratio
from simulators.weather import saturation_pa

CONDITIONS = {"good": 0.50, "tired": 0.62, "broken": 0.92}
"""Humidity over what is left of the salt."""
LOSS_BAR = 0.15
HEAD = (
    "time,inlet_temperature_C,inlet_humidity_%,inlet_pressure_bar,outlet_temperature_C,outlet_humidity_%,"
    "pressure_loss_bar,flow_m3_min,ambient_temperature_C,station_pressure_hPa"
)
COLUMNS = ("recv-t", "recv-rh", "line-p", "dryer-t", "dryer-rh", "", "flow", "air-t", "baro")


def readings(climate: Climate, condition: str, *, share: float = 1.0, seed: int = 1, count: int = 75) -> str:
    """CSV text of a test, a row a minute. share: of the plant's full flow."""
    plant = replace(
        Plant(), flow_kg_per_s=share * Plant().flow_kg_per_s, blasting_min=1e6, salt_rh=CONDITIONS[condition]
    )
    lines = [HEAD]
    for n, (_, row) in enumerate(minutes(plant, climate, Failure(), seed, START_S, count)):
        values = [f"{LOSS_BAR * share**2:.3f}" if not name else f"{row[name]:g}" for name in COLUMNS]
        lines.append(",".join([str(n), *values]))
    return "\n".join(lines) + "\n"


def brine_kg(text: str, since_min: int, salt_share: float) -> float:
    """Brine that the water taken since a minute makes [kg], from the readings themselves."""
    water = 0.0
    for line in text.splitlines()[1 + since_min :]:
        t_in, rh_in, bar, t_out, rh_out, _, flow, _, hpa = (float(cell) for cell in line.split(",")[1:])
        p_pa = 100.0 * hpa + 1e5 * bar
        came = ratio(rh_in / 100.0 * saturation_pa(t_in), p_pa)
        left = ratio(rh_out / 100.0 * saturation_pa(t_out), p_pa)
        water += flow * 1.189 * (came - left)
    return water / (1.0 - salt_share)
