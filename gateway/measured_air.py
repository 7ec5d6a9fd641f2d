"""Moist air as the sensors gave it, worked out once and met by many walls.

The vapour of one probe is kept as its share, e/p: that stays the same along a line (Dalton), and its derivatives
to temperature, humidity and pressure are worked out here, once, for every wall it meets, in closed form: a
difference quotient would ask the physics twice for each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import hypot
from typing import NamedTuple

from alerts.measured import Measured, Validity, unknown
from gateway.accuracy import RECTANGULAR
from gateway.compressed_air import condensation_point_at
from gateway.jobsite import Jobsite, Sensor
from gateway.psychrometrics import (
    WATER_GAS_CONSTANT,
    ZERO_C,
    OutOfRange,
    condensation_point_c,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)
from gateway.uncertainty import Uncertain, asymmetric_interval, raw, weighted

LATENT_J, LATENT_FALL_J, SUBLIMATION_J = 2.501e6, 2361.0, 2.834e6  # J/kg, J/(kg K)
Read = Callable[[str], Measured]
SYMMETRIC = 2.5 * RECTANGULAR
"""Standard uncertainties a humidity must hold for its point to be as likely drier as wetter, within 5 %: 2.5 half
widths of a rectangle (ours, by Monte Carlo, JCGM 101:2008)."""


class Told(NamedTuple):
    """What the inputs of a value said: since when, the worst flag, their reasons; UNKNOWN: why it is missing."""

    since_ms: int
    validity: Validity
    reason: str


Said = Measured | Told  # a reading says the same of itself


def joined(first: Said, *others: Said) -> Said:
    """Return what several inputs said together; the first that is missing says why."""
    for other in others:
        first = _both(first, other)
    return first


def _both(one: Said, other: Said) -> Said:
    earlier = one if one.since_ms <= other.since_ms else other
    if one.validity is other.validity is Validity.GOOD and not one.reason and not other.reason:
        return earlier
    for each in (one, other):
        if each.validity is Validity.UNKNOWN:
            return Told(earlier.since_ms, Validity.UNKNOWN, each.reason)
    reason = f"{one.reason}; {other.reason}" if one.reason and other.reason else one.reason or other.reason
    return Told(earlier.since_ms, _worse(one.validity, other.validity), reason)


def _worse(one: Validity, other: Validity) -> Validity:
    if Validity.BOUND in (one, other):
        return Validity.BOUND
    return Validity.SATURATED if Validity.SATURATED in (one, other) else Validity.GOOD


class Channel(NamedTuple):
    """The newest value of one sensor: as measured, and as an input of what is made from it (0 where unknown)."""

    name: str
    measured: Measured
    exact: Uncertain
    sensor: Sensor


class Channels:
    """The sensors of a jobsite as they were last heard, however many values are made from each."""

    def __init__(self, site: Jobsite, read: Read) -> None:
        self._read = read
        self._sensors = {sensor.id: sensor for sensor in site.sensors}
        self._known: dict[str, Channel] = {}

    def __getitem__(self, name: str) -> Channel:
        """Return a sensor's newest value; it is read when it is first wanted."""
        known = self._known.get(name)
        return self._hear(name, self._read(name)) if known is None else known

    def renew(self, names: Iterable[str]) -> list[str]:
        """Read sensors again; return those that say something else, or are heard for the first time."""
        changed = []
        for name in names:
            said, last = self._read(name), self._known.get(name)
            if last is None or last.measured != said:
                self._hear(name, said)
                changed.append(name)
        return changed

    def _hear(self, name: str, said: Measured) -> Channel:
        made = Channel(name, said, raw(name, said.value or 0.0, said.u), self._sensors[name])
        self._known[name] = made
        return made


class Vapour(NamedTuple):
    """Water vapour as one probe gives it: e [Pa] at the probe's own pressure p, and e/p with its parts."""

    e_pa: float
    p: Uncertain
    share: Uncertain
    humidity: Channel | None


class Air(NamedTuple):
    """The air of one probe: what its sensors said, and its vapour; None when told is unknown and says why."""

    told: Said
    vapour: Vapour | None


def air_of(t: Channel, rh: Channel, p: Uncertain, p_said: Said) -> Air:
    """Return the air of a probe at its own absolute pressure p [Pa]."""
    told = joined(t.measured, rh.measured, p_said)
    if told.validity is Validity.UNKNOWN:
        return Air(told, None)
    t_c, p_pa = t.exact.value, p.value
    try:
        e_pa = vapour_pressure_pa(t_c, rh.exact.value, p_pa)
    except OutOfRange as error:
        return Air(_out(told, error), None)
    share = e_pa / p_pa
    by_rh, by_t = (share / rh.exact.value, rh.exact), (share * ln_slope_per_k(t_c, False), t.exact)
    return Air(told, Vapour(e_pa, p, weighted(share, by_rh, by_t, (-share / p_pa, p)), rh))


def air_of_dew_point(point: Channel, p: Uncertain, p_said: Said) -> Air:
    """Return the air of a dew-point transmitter at absolute pressure p [Pa]; its basis says dew or frost."""
    told = joined(point.measured, p_said)
    if told.validity is Validity.UNKNOWN:
        return Air(told, None)
    point_c, p_pa = point.exact.value, p.value
    frost = point.sensor.basis == "frost" and point_c < 0.0
    try:
        e_pa = saturated_vapour_pressure_pa(point_c, p_pa, frost)
    except OutOfRange as error:
        return Air(_out(told, error), None)
    share = e_pa / p_pa
    by_point = (share * ln_slope_per_k(point_c, frost), point.exact)
    return Air(told, Vapour(e_pa, p, weighted(share, by_point, (-share / p_pa, p)), None))


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
    return Told(told.since_ms, Validity.UNKNOWN, f"outside the range of the physics: {error}")


class Skew(NamedTuple):
    """How far the 95 % interval of a humidity near 0 moves the point: up and down [K]; down None = no end."""

    humidity: str
    up_k: float
    down_k: float | None
    words: str


class Point(NamedTuple):
    """Where vapour condenses at one pressure [C]: dew point, below 0 C frost point. skew: where lopsided."""

    told: Said
    exact: Uncertain | None = None
    frost: bool = False
    skew: Skew | None = None

    @property
    def value_c(self) -> float | None:
        """The point [C], None when it is not known."""
        return None if self.exact is None else self.exact.value


def point_of(air: Air, at: Uncertain, at_said: Said | None = None) -> Point:
    """Return the condensation point of this air's vapour where the absolute pressure is `at` [Pa].

    at_said: what the sensor of that pressure said, where it is another than the air's own.
    """
    told = air.told if at_said is None else joined(at_said, air.told)
    if told.validity is Validity.UNKNOWN or air.vapour is None:
        return Point(told)
    vapour = air.vapour
    try:
        point_c, frost = condensation_point_at(vapour.e_pa, vapour.p.value, at.value)
        per_k = ln_slope_per_k(point_c, frost)
        by_share = (1.0 / (vapour.share.value * per_k), vapour.share)
        exact = weighted(point_c, by_share, (1.0 / (at.value * per_k), at))
        return Point(told, exact, frost, _skew(vapour, exact, at.value, told))
    except OutOfRange as error:
        return Point(_out(told, error))


def _skew(vapour: Vapour, point: Uncertain, at_pa: float, told: Said) -> Skew | None:
    """The lopsided part, where the humidity is too near 0 for a symmetric one. A bound says so by itself."""
    if vapour.humidity is None:
        return None
    humidity, u = vapour.humidity.exact, vapour.humidity.measured.u
    if not u or humidity.value >= SYMMETRIC * u or told.validity is Validity.BOUND or point.parts is None:
        return None
    name, half = vapour.humidity.name, u * vapour.humidity.sensor.coverage_95

    def at(rh: float) -> float:
        share = vapour.e_pa / vapour.p.value * rh / humidity.value
        return condensation_point_c(share * at_pa, at_pa)[0]

    others = hypot(*(part for each, part in point.parts.items() if each != name))
    low, high = asymmetric_interval(at, humidity.value, half, others)
    alone_low, alone_high = asymmetric_interval(at, humidity.value, half, 0.0)
    down = None if alone_low is None else point.value - alone_low
    ends = f"up to {high:.1f} °C, no lower bound" if low is None else f"{low:.1f} to {high:.1f} °C"
    words = f"{name}: near the least this sensor resolves, uncertainty lopsided: condensation point {ends} (95 %)"
    return Skew(name, alone_high - point.value, down, words)


def gap(wall: Channel, point: Point) -> Measured:
    """Return the margin of a wall over the point of the vapour that meets it [K]."""
    told = joined(wall.measured, point.told)
    if told.validity is Validity.UNKNOWN or point.exact is None:
        return unknown(told.reason, told.since_ms)
    k = weighted(wall.exact.value - point.exact.value, (1.0, wall.exact), (-1.0, point.exact))
    return measured(told, k, point.skew)


def minus(one: Channel, other: Channel) -> Measured:
    """Return the difference of two readings, in their unit."""
    told = joined(one.measured, other.measured)
    if told.validity is Validity.UNKNOWN:
        return unknown(told.reason, told.since_ms)
    return measured(told, weighted(one.exact.value - other.exact.value, (1.0, one.exact), (-1.0, other.exact)))


def humidity_at(wall: Channel, air: Air) -> Measured:
    """Return the humidity over water that this air has at a wall, at the probe's pressure, a fraction."""
    told, vapour = joined(wall.measured, air.told), air.vapour
    if told.validity is Validity.UNKNOWN or vapour is None:
        return unknown(told.reason, told.since_ms)
    wall_c, p = wall.exact.value, vapour.p
    try:
        rh = relative_humidity(wall_c, vapour.e_pa, p.value)
    except OutOfRange as error:
        return measured(_out(told, error), None)
    at_wall = (-rh * ln_slope_per_k(wall_c, False), wall.exact)
    return measured(told, weighted(rh, (rh / vapour.share.value, vapour.share), at_wall, (rh / p.value, p)))


def measured(told: Said, exact: Uncertain | None, skew: Skew | None = None) -> Measured:
    """Return a derived value, rounded, with what its inputs said; a lopsided u is never understated.

    Where the dry side has no end, the wet side or the first-order u counts, whichever is larger.
    """
    if told.validity is Validity.UNKNOWN or exact is None:
        return unknown(told.reason, told.since_ms)
    u, reason = exact.u, told.reason
    if skew is not None and exact.parts is not None and u is not None:
        others = hypot(*(part for each, part in exact.parts.items() if each != skew.humidity))
        u = max(u, hypot(max(skew.up_k, skew.down_k or 0.0), 2.0 * others) / 2.0)
        reason = f"{reason}; {skew.words}" if reason else skew.words
    return Measured(
        round(exact.value, 4), None if u is None else round(u, 4), told.since_ms, told.validity, reason
    )
