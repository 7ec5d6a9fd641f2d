"""What one minute of a train says about its pieces: figures that stand still while a healthy machine runs.

Each figure is made so that weather, flow and pressure cancel as far as physics allows; what is left moves when a
piece fails or a sensor lies. `findings` remembers and compares them. Temperatures of gas, humidity and pressure
are those of the outlets; a piece's inlet is the outlet before it.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from math import exp, hypot, log
from typing import NamedTuple

from gateway.jobsite import Jobsite, Train
from gateway.psychrometrics import (
    ZERO_C,
    OutOfRange,
    dew_point_from_vapour_pressure_c,
    humidity_ratio,
    relative_humidity,
    saturated_vapour_pressure_pa,
)
from gateway.said import Read
from gateway.train_look import DRYER_KINDS, Gas, Look
from gateway.water_path import DRY_J, LATENT_J, LIQUID_J, VAPOUR_J

# The least moves that mean something, all ours: what weather, offsets and noise of usual sensors do not make.
UNITS_K = 1.5  # of its gas: what a cooler's transfer units would move by with it counts
COOLER_EXPONENT = (
    0.4  # transfer units fall as flow to this: heat passes as flow to 0.6 (common practice, no source)
)
# Largest step of flow between neighbours of the usual nozzles, 5/16 to 1/2 inch by sixteenths (common practice, no
# source): (6/5)²; a nozzle is worn out when it has grown as much.
NOZZLE_STEP = 1.44
HOUSING_K, PAIR_K, HEAT_K = 3.0, 1.5, 1.5
INLET_RH, OUTLET_RH = 0.07, 0.06
ELEMENT_PA, CHOKE_PA = 5_000.0, 12_000.0
UNSTATED_PA = 6_000.0  # standard uncertainty of a difference of gauges whose accuracy nobody stated
LEVEL, POSITION = 0.06, 0.05
NEVER = 1e9  # of a figure that is only looked at, never judged
VAPOUR_SHARE_PER_K = 0.055  # by which saturation pressure rises at 40 °C (Hardy 1998)
FILTERS = ("separator", "coalescing filter", "after-filter")


class Told(NamedTuple):
    """One figure of this minute: its value, and the least change that means something now, in the same unit."""

    value: float
    floor: float


class Water(NamedTuple):
    """What a drain should have got this minute [kg, to the constant of an unmeasured flow], and its counter.

    came_kg: all the vapour that the intake brought. u: standard uncertainty of it and of what stays vapour, as a
    share of either: where little of much falls out, little is known of it.
    """

    kg: float
    opened: float
    came_kg: float = 0.0
    u: float = 0.0


class Minute(NamedTuple):
    """Everything one minute of a train says. flowing: None where no sensor tells; figures by "name piece".

    came_rh: humidity that the arriving vapour would have in the dryer's outlet gas, untouched; above 1 where the
    intake's is all that is known; None without either.
    """

    flowing: bool | None
    figures: Mapping[str, Told]
    drains: Mapping[str, Water]
    came_rh: float | None = None


Figures = dict[str, Told]


def minute(site: Jobsite, train: Train, read: Read) -> Minute:
    """Return the figures of a train from the newest readings; what cannot be made is left out."""
    sensors = {each.id: each for each in site.sensors}
    station = next(each for each in site.stations if each.id == train.station)
    look = Look(train, station, sensors, read)
    flowing = look.flowing()
    if not flowing:
        return Minute(flowing, {}, {})
    found: Figures = {}
    _plain(look, found)
    try:
        _cooler(look, found)
        _passive(look, found)
        _element(look, found)
        came_rh = _dryer(look, found)
        return Minute(True, found, _drains(look), came_rh)
    except OutOfRange:  # a value outside the physics: its sensor is told of elsewhere
        return Minute(True, found, {})


def _cooler(look: Look, found: Figures) -> None:
    """What the cooler does for the air that cools it, and how much warmer that air is than outside."""
    for at, piece in enumerate(look.train.pieces):
        if piece.kind != "aftercooler" or look.air_c is None:
            continue
        drawn_c, gas = look.value(piece.cooling_air), look.first(at)
        if drawn_c is not None:
            found[f"housing {piece.id}"] = Told(drawn_c - look.air_c, HOUSING_K)
        cooling_c = look.air_c if drawn_c is None else drawn_c
        if gas is None or gas.t_c - cooling_c < 0.5:
            continue
        found[f"approach {piece.id}"] = Told(gas.t_c - cooling_c, NEVER)
        flow = look.metered_flow() if look.has_meter() else 1.0
        if flow:
            told = _transfer(look, gas, cooling_c, flow**COOLER_EXPONENT)
            found[f"cooling {piece.id}"] = told if look.has_meter() else _of_any_nozzle(told)


def _of_any_nozzle(told: Told) -> Told:
    """Transfer units where nothing measures the flow: a nozzle one size larger than in the first hour is no fault.

    What it takes from them and what UNITS_K stands for have nothing to do with each other: root of the squares.
    """
    return told._replace(floor=hypot(told.floor, told.value * (NOZZLE_STEP**COOLER_EXPONENT - 1.0)))


def _transfer(look: Look, gas: Gas, cooling_c: float, scale: float) -> Told:
    """Transfer units with the flow taken out; the least move is what UNITS_K of the gas would make of them."""
    share, hot_c = look.intake_share(), look.discharge_c(cooling_c)
    wet = share is not None and share * gas.p_pa > saturated_vapour_pressure_pa(gas.t_c, gas.p_pa, frost=False)
    least = UNITS_K * (1.0 + wet * _wet_share(gas.t_c, gas.p_pa)) / (gas.t_c - cooling_c)
    return Told(scale * transfer_units(gas, cooling_c, share, hot_c), scale * least)


def _passive(look: Look, found: Figures) -> None:
    """Gas on its way through pieces that only lose heat, and its humidity against that of the intake."""
    line = [gas for at, gas in look.gases if at < look.dryer_at]
    for one, other in pairwise(line):
        found[f"pair {other.piece.id}"] = Told(other.t_c - one.t_c, PAIR_K)
    share, inlet = look.intake_share(), look.inlet
    if inlet is None or inlet.rh is None or share is None:
        return
    most = relative_humidity(inlet.t_c, share * inlet.p_pa, inlet.p_pa)
    u_share = look.u_of_intake()
    floor = INLET_RH + (2.0 * u_share if most * (1.0 - 2.0 * u_share) < 1.0 else 0.0)
    found[f"inlet_rh {inlet.piece.id}"] = Told(inlet.rh - min(most, 1.0), floor)


def _element(look: Look, found: Figures) -> None:
    """Loss of a separator or filter, with flow, density and temperature taken out: Δp p / (ṁ² T).

    What two gauges are off for good is in the first hour too, and cancels while the flow stays: then only their
    standard uncertainty is kept as a floor. `gauges` is what they may be off at all, which grows as 1/ṁ².
    """
    flow, gas, before = look.relative_flow(), look.inlet or look.outlet, ""
    if flow is None or gas is None or look.station_pa is None:
        return
    for piece in look.train.pieces:
        after, after_pa, before_pa = piece.outlet.pressure, look.value(piece.outlet.pressure), look.value(before)
        if after_pa is None:
            continue
        if piece.kind in FILTERS and before_pa is not None:
            scale = (after_pa + look.station_pa) / (flow * flow * (gas.t_c + ZERO_C))
            u_pa = look.u_of_difference(before, after)
            u_pa = UNSTATED_PA if u_pa is None else u_pa
            found[f"element {piece.id}"] = Told((before_pa - after_pa) * scale, max(ELEMENT_PA, u_pa) * scale)
            found[f"gauges {piece.id}"] = Told(2.0 * u_pa * scale, NEVER)
        before = after


def _dryer(look: Look, found: Figures) -> float | None:
    """Humidity at the outlet, and the heat of what was taken against the warming; returns came_rh."""
    out, inlet, share = look.outlet, look.inlet, look.intake_share()
    left = None if out is None else out.ratio
    if out is None or out.rh is None or left is None:
        return None
    found[f"outlet_rh {out.piece.id}"] = Told(out.rh, OUTLET_RH)
    came = None if inlet is None else inlet.ratio
    if inlet is None or came is None:
        return None if share is None else out.rh * humidity_ratio(share * out.p_pa, out.p_pa) / left
    most = humidity_ratio(saturated_vapour_pressure_pa(out.t_c, out.p_pa, frost=False), out.p_pa)
    found[f"span {out.piece.id}"] = Told(heat_k(most, out.t_c), NEVER)
    if look.air_c is not None:
        found[f"over {out.piece.id}"] = Told(0.5 * (out.t_c + inlet.t_c) - look.air_c, NEVER)
    found[f"heat {out.piece.id}"] = Told(out.t_c - inlet.t_c - heat_k(came - left, out.t_c), HEAT_K)
    came_rh = out.rh * came / left
    found[f"came {out.piece.id}"] = Told(came_rh, NEVER)
    return came_rh


def _plain(look: Look, found: Figures) -> None:
    """What sensors say by themselves: level, position, choke, and the inlet over the dryer's rating."""
    for piece in look.train.pieces:
        level, position = look.value(piece.level), look.value(piece.position)
        pot_pa, line_pa = look.value(piece.outlet.pressure), look.value(piece.blast_line)
        if level is not None:
            found[f"level {piece.id}"] = Told(level, LEVEL)
        if position is not None:
            found[f"position {piece.id}"] = Told(position, POSITION)
        if pot_pa is not None and line_pa is not None:
            u_pa = look.u_of_difference(piece.outlet.pressure, piece.blast_line) or 0.0
            found[f"choke {piece.id}"] = Told(pot_pa - line_pa, max(CHOKE_PA, u_pa))
        if piece.kind in DRYER_KINDS and piece.rated_inlet_c is not None and look.inlet is not None:
            u = look.sensors[look.inlet.piece.outlet.temperature].u or 0.0
            found[f"hot {piece.id}"] = Told(look.inlet.t_c - piece.rated_inlet_c, 2.0 * u)


def _drains(look: Look) -> dict[str, Water]:
    """Water that should have reached each separator's drain: the intake's vapour less what stays vapour."""
    found: dict[str, Water] = {}
    share, flow = look.intake_share(), look.relative_flow()
    if share is None or flow is None:
        return found
    for at, piece in enumerate(look.train.pieces):
        opened, gas = look.value(piece.drain_count), look.first(at)
        if piece.kind == "separator" and opened is not None and gas is not None:
            most = humidity_ratio(saturated_vapour_pressure_pa(gas.t_c, gas.p_pa, gas.t_c < 0.0), gas.p_pa)
            came = humidity_ratio(share * gas.p_pa, gas.p_pa)
            u = hypot(
                look.u_of_intake(), VAPOUR_SHARE_PER_K * (look.sensors[gas.piece.outlet.temperature].u or 0.0)
            )
            found[piece.id] = Water(60.0 * flow * max(came - most, 0.0), opened, 60.0 * flow * came, u)
    return found


def transfer_units(gas: Gas, cooling_c: float, share: float | None, hot_c: float) -> float:
    """Transfer units of a cooler from its own gas: the integral of (1 + L/c dw/dT) dT / (T - T cooling).

    The heat of what falls out counts, so that a damp day is not taken for a dirty cooler. share: vapour over
    pressure at the intake, None = taken for dry. Valid gas above cooling_c. Source: the definition of the number
    of transfer units of a stream at one temperature outside; below the dew point Simpson's rule in its logarithm.
    """
    hottest_c = max(hot_c, cooling_c + 2.0 * (gas.t_c - cooling_c))
    dry = log((hottest_c - cooling_c) / (gas.t_c - cooling_c))
    dew_c = (
        gas.t_c if share is None else min(dew_point_from_vapour_pressure_c(share * gas.p_pa, gas.p_pa), hottest_c)
    )
    if dew_c <= gas.t_c:
        return dry
    low, high = log(gas.t_c - cooling_c), log(dew_c - cooling_c)
    step, weights = (high - low) / 8, [1.0, *[4.0, 2.0] * 3, 4.0, 1.0]
    at = [cooling_c + exp(low + i * step) for i in range(9)]
    return dry + step / 3.0 * sum(w * _wet_share(t_c, gas.p_pa) for w, t_c in zip(weights, at, strict=True))


def _wet_share(t_c: float, p_pa: float) -> float:
    """Heat of the water that falls out of saturated gas for each K, over the heat of the gas."""
    more, less = (
        humidity_ratio(saturated_vapour_pressure_pa(t_c + by, p_pa, frost=False), p_pa) for by in (0.1, -0.1)
    )
    return heat_k((more - less) / 0.2, t_c)


def heat_k(taken: float, t_c: float) -> float:
    """By how much taking up `taken` [kg/kg] at t_c [°C] warms the gas [K], with nothing lost through the shell."""
    return taken * (LATENT_J + (VAPOUR_J - LIQUID_J) * t_c) / DRY_J
