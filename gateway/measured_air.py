"""Moist air as the sensors gave it, worked out once and met by many walls.

The vapour of one probe is kept as e at its pressure p: its share e/p stays the same along a line (Dalton). What
temperature, humidity and pressure contribute is worked out here, once, for every wall it meets, in closed form: a
difference quotient would ask the physics twice for each.
"""

from __future__ import annotations

from collections.abc import Callable
from math import hypot
from typing import NamedTuple

from alerts.measured import BOUND, UNKNOWN, Measured, unknown
from gateway.accuracy import RECTANGULAR
from gateway.compressed_air import condensation_point_at
from gateway.jobsite import Sensor
from gateway.psychrometrics import (
    WATER_GAS_CONSTANT,
    ZERO_C,
    OutOfRange,
    condensation_point_c,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)
from gateway.said import Channel, Said, Told, joined
from gateway.uncertainty import Uncertain, asymmetric_interval, u_of_two, weighted

LATENT_J, LATENT_FALL_J, SUBLIMATION_J = 2.501e6, 2361.0, 2.834e6  # J/kg, J/(kg K)
SYMMETRIC = 2.5 * RECTANGULAR
"""Standard uncertainties a humidity must hold for its point to be as likely drier as wetter, within 5 %: 2.5 half
widths of a rectangle (ours, by Monte Carlo, JCGM 101:2008)."""


class Vapour(NamedTuple):
    """Vapour as one probe gives it: e [Pa] at its own pressure p; rh and its sensor where these gave it.

    What p does to e, by the enhancement factor, is left out of its uncertainty; but p's must be stated.
    """

    e: Uncertain
    p: Uncertain
    rh: Uncertain | None = None
    hygrometer: Sensor | None = None


class Air(NamedTuple):
    """The air of one probe: what its sensors said, and its vapour; None when told is unknown and says why."""

    told: Said
    vapour: Vapour | None


def _vapour(t: Uncertain, rh: Uncertain, p: Uncertain, hygrometer: Sensor) -> Vapour:
    e_pa = vapour_pressure_pa(t.value, rh.value, p.value)
    by_rh, by_t = (e_pa / rh.value, rh), (e_pa * ln_slope_per_k(t.value, False), t)
    return Vapour(weighted(e_pa, by_rh, by_t, (0.0, p)), p, rh, hygrometer)


def _vapour_of_dew_point(point: Uncertain, p: Uncertain, frost: bool) -> Vapour:
    e_pa = saturated_vapour_pressure_pa(point.value, p.value, frost)
    return Vapour(weighted(e_pa, (e_pa * ln_slope_per_k(point.value, frost), point), (0.0, p)), p)


def air_of(t: Channel, rh: Channel, p: Uncertain, p_said: Said) -> Air:
    """Return the air of a probe at its own absolute pressure p [Pa]."""
    told = joined(joined(t.measured, rh.measured), p_said)
    if told.validity is UNKNOWN:
        return Air(told, None)
    try:
        return Air(told, _vapour(t.exact, rh.exact, p, rh.sensor))
    except OutOfRange as error:
        return Air(_out(told, error), None)


def air_of_dew_point(point: Channel, p: Uncertain, p_said: Said) -> Air:
    """Return the air of a dew-point transmitter at absolute pressure p [Pa]; its basis says dew or frost."""
    told = joined(point.measured, p_said)
    if told.validity is UNKNOWN:
        return Air(told, None)
    try:
        return Air(
            told, _vapour_of_dew_point(point.exact, p, point.sensor.basis == "frost" and point.exact.value < 0.0)
        )
    except OutOfRange as error:
        return Air(_out(told, error), None)


def ln_slope_per_k(t_c: float, frost: bool) -> float:
    """Relative rise of the saturated vapour pressure per K at t_c, over ice where frost.

    Clausius and Clapeyron's equation for an ideal vapour, with the latent heats of vaporisation (2501 - 2.361 t
    kJ/kg) and of sublimation (2834 kJ/kg), both from memory, held to the surface by a test: within 0.8 % of the
    difference quotient of `saturated_vapour_pressure_pa` from -60 to 60 C and 0.7 to 8 bar, 1.6 % up to 100 C and
    16 bar, 4 % down to -100 C. What the total pressure does through the enhancement factor is left out: at most
    8 % of the pressure's own part.
    """
    t_k = t_c + ZERO_C
    return (SUBLIMATION_J if frost else LATENT_J - LATENT_FALL_J * t_c) / (WATER_GAS_CONSTANT * t_k * t_k)


def _out(told: Said, error: OutOfRange) -> Told:
    return Told(told.since_ms, UNKNOWN, f"outside the range of the physics: {error}")


class Skew(NamedTuple):
    """How far the 95 % interval of a humidity near 0 moves the point: up and down [K]; down None = no end."""

    humidity: str
    up_k: float
    down_k: float | None
    words: str


class Point(NamedTuple):
    """Where vapour condenses at one pressure: dew point, below 0 C frost point. skew: where that is lopsided."""

    told: Said
    value_c: float | None = None
    frost: bool = False
    exact: Uncertain | None = None
    skew: Skew | None = None


def point_of(air: Air, at: Uncertain, at_said: Said | None = None) -> Point:
    """Return the condensation point of this air's vapour where the absolute pressure is `at` [Pa].

    at_said: what the sensor of that pressure said, where it is another than the air's own.
    """
    told = air.told if at_said is None else joined(at_said, air.told)
    if told.validity is UNKNOWN or air.vapour is None:
        return Point(told)
    try:
        point_c, frost = condensation_point_at(air.vapour.e.value, air.vapour.p.value, at.value)
        exact = _exactly(point_c, frost, air.vapour, at)
        skew = None if told.validity is BOUND else _skew(air.vapour, exact, at.value)  # a bound says so by itself
    except OutOfRange as error:
        return Point(_out(told, error))
    return Point(told, point_c, frost, exact, skew)


def _exactly(point_c: float, frost: bool, vapour: Vapour, at: Uncertain) -> Uncertain:
    """A point with its parts: there ln e - ln p + ln at is that of saturation; at its own pressure p cancels."""
    e, p = vapour.e, vapour.p
    k = 1.0 / ln_slope_per_k(point_c, frost)
    if at is p:
        return weighted(point_c, (k / e.value, e))
    return weighted(point_c, (k / e.value, e), (-k / p.value, p), (k / at.value, at))


def _skew(vapour: Vapour, point: Uncertain, at_pa: float) -> Skew | None:
    """The lopsided part, where the humidity is too near 0 for a symmetric one."""
    humidity, sensor = vapour.rh, vapour.hygrometer
    if humidity is None or sensor is None:
        return None
    if not humidity.u or humidity.value >= SYMMETRIC * humidity.u or point.u is None:
        return None

    def at(rh: float) -> float:
        share = vapour.e.value / vapour.p.value * rh / humidity.value
        return condensation_point_c(share * at_pa, at_pa)[0]

    half, others = humidity.u * sensor.coverage_95, _without(sensor.id, point)
    low, high = asymmetric_interval(at, humidity.value, half, others)
    alone_low, alone_high = asymmetric_interval(at, humidity.value, half, 0.0)
    down = None if alone_low is None else point.value - alone_low
    ends = f"up to {high:.1f} °C, no lower bound" if low is None else f"{low:.1f} to {high:.1f} °C"
    words = (
        f"{sensor.id}: near the least this sensor resolves, uncertainty lopsided: condensation point {ends} (95 %)"
    )
    return Skew(sensor.id, alone_high - point.value, down, words)


def _without(name: str, exact: Uncertain) -> float:
    """Standard uncertainty from all inputs but one."""
    return hypot(*(part for each, part in exact.parts.items() if each != name))


def gap(wall: Channel, point: Point) -> Measured:
    """Return the margin of a wall over the point of the vapour that meets it [K]."""
    told, exact = joined(wall.measured, point.told), point.exact
    if told.validity is UNKNOWN or exact is None:
        return unknown(told.reason, told.since_ms)
    k = wall.exact.value - exact.value
    if point.skew is not None:
        return measured(told, weighted(k, (1.0, wall.exact), (-1.0, exact)), point.skew)
    return _rounded(told, k, u_of_two(1.0, wall.exact, -1.0, exact))


def minus(one: Channel, other: Channel) -> Measured:
    """Return the difference of two readings, in their unit."""
    told = joined(one.measured, other.measured)
    if told.validity is UNKNOWN:
        return unknown(told.reason, told.since_ms)
    difference = one.exact.value - other.exact.value
    return _rounded(told, difference, u_of_two(1.0, one.exact, -1.0, other.exact))


def saturation(wall_c: float, p_pa: float) -> tuple[float, float]:
    """Return the saturated vapour pressure at a wall [Pa], over water, and its relative rise per K.

    Raises: OutOfRange.
    """
    return saturated_vapour_pressure_pa(wall_c, p_pa, False), ln_slope_per_k(wall_c, False)


def humidity_at(
    wall: Channel, air: Air, saturation: Callable[[float, float], tuple[float, float]] = saturation
) -> Measured:
    """Return the humidity over water that this air has at a wall, at the probe's pressure, a fraction."""
    told, vapour = joined(wall.measured, air.told), air.vapour
    if told.validity is UNKNOWN or vapour is None:
        return unknown(told.reason, told.since_ms)
    e = vapour.e
    try:
        saturated_pa, per_k = saturation(wall.exact.value, vapour.p.value)
    except OutOfRange as error:
        return measured(_out(told, error), None)
    rh = e.value / saturated_pa
    return _rounded(told, rh, u_of_two(-rh * per_k, wall.exact, 1.0 / saturated_pa, e))


def measured(told: Said, exact: Uncertain | None, skew: Skew | None = None) -> Measured:
    """Return a derived value, rounded, with what its inputs said; a lopsided u is never understated.

    Where the dry side has no end, the wet side or the first-order u counts, whichever is larger.
    """
    if told.validity is UNKNOWN or exact is None:
        return unknown(told.reason, told.since_ms)
    if skew is None or exact.u is None:
        return _rounded(told, exact.value, exact.u)
    others = _without(skew.humidity, exact)
    u = max(exact.u, hypot(max(skew.up_k, skew.down_k or 0.0), 2.0 * others) / 2.0)
    reason = f"{told.reason}; {skew.words}" if told.reason else skew.words
    return _rounded(Told(told.since_ms, told.validity, reason), exact.value, u)


def _rounded(told: Said, value: float, u: float | None) -> Measured:
    u = None if u is None else round(u, 4)
    return Measured(round(value, 4), u, told.since_ms, told.validity, told.reason)
