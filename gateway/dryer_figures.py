"""What a test measured: every figure from the means of its steady stretch, each with its uncertainty.

Always said: below inlet or below outlet. The humidity that the bed leaves in the gas at the gas's own outlet
temperature does not depend on the inlet, so it is what tests at different inlets are compared by.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from gateway.compressed_air import condensation_point_at
from gateway.dryer_steady import Steady
from gateway.dryer_unit import Rating, Test, Unit
from gateway.pieces import SALTS, SaltBed, salt_equilibrium_rh
from gateway.psychrometrics import (
    ZERO_C,
    OutOfRange,
    humidity_ratio,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)
from gateway.train_features import heat_k
from gateway.uncertainty import Uncertain, raw, through, u_of_mean
from gateway.water_path import Air

ATMOSPHERE_PA = 101_325.0
DRY_AIR_KG_M3 = 1.189  # of a flow given as free air, 1 bar, 20 °C, dry (CoolProp); its share of flow cancels below
SHORTEST_DRYING_RH = 0.08  # how much wetter than its bed air must arrive for a bed to be judged: ours

Figures = dict[str, Uncertain]


def channels(test: Test, still: Steady) -> Figures:
    """The mean of every channel over the steady stretch: scatter shrinks with the readings, accuracy does not."""
    found = {}
    for name, mean in still.means.items():
        u = u_of_mean(mean.scatter, test.u.get(name), mean.count)
        found[name] = raw(name, mean.value, u)
    if "station_pressure" not in found:
        found["station_pressure"] = raw("station_pressure", ATMOSPHERE_PA, 4000.0 / 3**0.5)  # weather at sea level
    return found


def figures(test: Test, still: Steady, unit: Unit) -> Figures:
    """Every figure that can be made from the channels measured. Raises: OutOfRange."""
    at = channels(test, still)
    found: Figures = {}
    makers: tuple[Callable[[Figures, Figures, Unit], None], ...] = (_pressures, _inlet, _outlet, _loss, _balance)
    for make in makers:
        make(at, found, unit)
    if "inlet_temperature" in at and "ambient_temperature" in at:
        found["approach"] = through(
            lambda inlet, ambient: inlet - ambient, at["inlet_temperature"], at["ambient_temperature"]
        )
    brine, leak = test.facts.brine, test.facts.leak_pa_per_min
    if leak is not None:
        found["leak"] = raw("leak", leak, test.facts.u_leak)
    if brine is not None and brine.salt_share is not None and "taken" in found:
        share, mass = (
            raw("salt share", brine.salt_share, brine.u_share),
            raw("brine", brine.mass_kg, brine.u_mass_kg),
        )
        water = through(lambda m, s: m * (1.0 - s) * 60.0 / brine.minutes, mass, share)
        found["drained"] = water
        off = through(lambda w, t: w / t - 1.0, water, found["taken"])
        # The size of it, kept straight: a slope across the kink of a size at zero would lose its uncertainty.
        found["drain_balance"] = off if off.value >= 0.0 else through(lambda r: -r, off)
    return found


def _pressures(at: Figures, found: Figures, _: Unit) -> None:
    """Absolute pressures at both ends; one end from the other where the loss is measured between them."""
    inlet, outlet, loss = at.get("inlet_pressure"), at.get("outlet_pressure"), at.get("pressure_loss")
    if inlet is None and outlet is not None and loss is not None:
        inlet = through(lambda o, d: o + d, outlet, loss)
    if outlet is None and inlet is not None:
        outlet = inlet if loss is None else through(lambda i, d: i - d, inlet, loss)
    for name, gauge in (("inlet_pa", inlet or outlet), ("outlet_pa", outlet)):
        if gauge is not None:
            found[name] = through(lambda g, s: g + s, gauge, at["station_pressure"])
    if loss is not None:
        found["loss"] = loss
    elif at.get("inlet_pressure") is not None and at.get("outlet_pressure") is not None:
        found["loss"] = through(lambda i, o: i - o, at["inlet_pressure"], at["outlet_pressure"])


def _vapour(at: Figures, end: str, p: Uncertain) -> Uncertain | None:
    """Vapour pressure at one end [Pa], from humidity or dew point; humidity first."""
    t, rh, point = (at.get(f"{end}_{what}") for what in ("temperature", "humidity", "dew_point"))
    if t is not None and rh is not None:
        return through(lambda t_c, r, p_pa: vapour_pressure_pa(t_c, min(max(r, 1e-4), 1.0), p_pa), t, rh, p)
    if point is not None:
        return through(lambda d, p_pa: saturated_vapour_pressure_pa(d, p_pa, frost=d < 0.0), point, p)
    return None


def _inlet(at: Figures, found: Figures, _: Unit) -> None:
    e = _vapour(at, "inlet", found["inlet_pa"]) if "inlet_pa" in found else None
    if e is not None:
        found["inlet_e"] = e
        found["inlet_point"] = through(_point, e, found["inlet_pa"])
    if "inlet_temperature" in at:
        found["inlet_temperature"] = at["inlet_temperature"]


def _point(e_pa: float, p_pa: float) -> float:
    return condensation_point_at(e_pa, p_pa, p_pa)[0]


def _outlet(at: Figures, found: Figures, _: Unit) -> None:
    e = _vapour(at, "outlet", found["outlet_pa"]) if "outlet_pa" in found else None
    if e is None:
        return
    found["outlet_e"] = e
    point = found["pressure_dew_point"] = through(_point, e, found["outlet_pa"])
    out, inlet = at.get("outlet_temperature"), at.get("inlet_temperature")
    if inlet is not None:
        found["suppression_below_inlet"] = through(lambda t, d: t - d, inlet, point)
    if out is None:
        return
    found["outlet_temperature"] = out
    found["suppression_below_outlet"] = through(lambda t, d: t - d, out, point)
    found["outlet_humidity"] = through(_rh, out, e, found["outlet_pa"])
    if "inlet_e" in found:  # the humidity the arriving vapour would have in the outlet gas, had nothing been taken
        came = through(lambda e_in, p_in, p_out: e_in * p_out / p_in, found["inlet_e"], found["inlet_pa"],
                       found["outlet_pa"])  # fmt: skip
        found["came_humidity"] = through(_rh, out, came, found["outlet_pa"])


def _rh(t_c: float, e_pa: float, p_pa: float) -> float:
    return relative_humidity(t_c, e_pa, p_pa)


def _loss(at: Figures, found: Figures, unit: Unit) -> None:
    """Loss at the rated flow, pressure and inlet: Δp · (ṁ₀/ṁ)² · (p/p₀) · (T₀/T). Source: Δp p / (ṁ² T) stays."""
    rated, flow, inlet = unit.rating, at.get("flow"), at.get("inlet_temperature")
    if flow is not None:
        found["flow"] = flow
        if rated.flow_m3_per_s:
            found["flow_share"] = through(lambda f: f / (rated.flow_m3_per_s or 1.0), flow)
    if "loss" in found and flow is not None and inlet is not None and flow.value > 0.0 and _conditions(rated):
        p0, f0, t0 = (rated.pressure_pa or 0.0), rated.flow_m3_per_s or 0.0, rated.inlet_c or 0.0
        found["loss_at_rating"] = through(
            lambda d, f, p, t, s: d * (f0 / f) ** 2 * p / (p0 + s) * (t0 + ZERO_C) / (t + ZERO_C),
            found["loss"], flow, found["outlet_pa"], inlet, at["station_pressure"],
        )  # fmt: skip


def _conditions(rated: Rating) -> bool:
    return rated.flow_m3_per_s is not None and rated.pressure_pa is not None and rated.inlet_c is not None


def _balance(at: Figures, found: Figures, _: Unit) -> None:
    """Water taken [kg/h], and warming against the heat that goes with it [K]."""
    if not {"inlet_e", "outlet_e"} <= found.keys():
        return
    e_in, p_in, e_out, p_out = (found[name] for name in ("inlet_e", "inlet_pa", "outlet_e", "outlet_pa"))
    dried = found["dried"] = through(_dried, e_in, p_in, e_out, p_out)
    flow, inlet, out = at.get("flow"), at.get("inlet_temperature"), at.get("outlet_temperature")
    if flow is not None:
        found["taken"] = through(lambda f, w: f * DRY_AIR_KG_M3 * w * 3600.0, flow, dried)
    if inlet is not None and out is not None:
        found["warming"] = through(lambda i, o: o - i, inlet, out)
        found["heat"] = through(heat_k, dried, out)


def _dried(e_in: float, p_in: float, e_out: float, p_out: float) -> float:
    return humidity_ratio(e_in, p_in) - humidity_ratio(e_out, p_out)


def salt_rh(unit: Unit, t_c: float) -> float | None:
    """Humidity 0..1 over the brine of a unit's salt at t_c [°C], None where neither it nor the salt is stated."""
    if unit.equilibrium_rh is not None:
        return unit.equilibrium_rh
    if unit.salt not in SALTS:
        return None
    try:
        return salt_equilibrium_rh(unit.salt, t_c)
    except OutOfRange:
        return None


def expected_outlet(bed_rh: float, inlet_c: float, inlet_rh: float, p_pa: float) -> Air:
    """The outlet of a bed that leaves bed_rh, at an inlet; modelled, no heat lost.

    Raises: OutOfRange. Source: the heat balance of `pieces.SaltBed`.
    """
    ratio = humidity_ratio(vapour_pressure_pa(inlet_c, min(inlet_rh, 1.0), p_pa), p_pa)
    return SaltBed("dryer", min(bed_rh, 1.0)).through(Air(inlet_c, p_pa, 1.0, ratio)).outlet


def expected_suppression_k(bed_rh: float, inlet_c: float, inlet_rh: float, p_pa: float) -> float:
    """Suppression below the inlet gas [K] of `expected_outlet`. Raises: OutOfRange."""
    return inlet_c - expected_outlet(bed_rh, inlet_c, inlet_rh, p_pa).point[0]


def inlet_rh(found: Mapping[str, Uncertain]) -> float | None:
    """Relative humidity of the inlet gas, None where it was not measured."""
    if not {"inlet_e", "inlet_pa", "inlet_temperature"} <= found.keys():
        return None
    return _rh(found["inlet_temperature"].value, found["inlet_e"].value, found["inlet_pa"].value)
