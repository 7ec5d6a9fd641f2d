"""Moist air as the sensors gave it, worked out once and met by many walls.

The vapour of one probe is kept as its share, e/p: that stays the same along a line (Dalton), and its derivatives
to temperature, humidity and pressure are worked out here, once, for every wall it meets.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot

from alerts.measured import Measured, Validity, unknown
from gateway.compressed_air import condensation_point_at
from gateway.jobsite import RECTANGULAR, Jobsite, Sensor
from gateway.psychrometrics import (
    OutOfRange,
    condensation_point_c,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)
from gateway.uncertainty import Uncertain, asymmetric_interval, raw, slope, through, weighted

Read = Callable[[str], Measured]
SYMMETRIC = 2.5 * RECTANGULAR
"""Standard uncertainties a humidity must hold for its point to be as likely drier as wetter, within 5 %: 2.5 half
widths of a rectangle (ours, by Monte Carlo, JCGM 101:2008)."""


@dataclass(frozen=True, slots=True)
class Told:
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


@dataclass(frozen=True, slots=True)
class Channel:
    """The newest value of one sensor: as measured, and as an input of what is made from it (0 where unknown)."""

    name: str
    measured: Measured
    exact: Uncertain
    sensor: Sensor


class Channels:
    """The sensors of a jobsite at one moment, each read once however many values are made from it."""

    def __init__(self, site: Jobsite, read: Read) -> None:
        self._read = read
        self._sensors = {sensor.id: sensor for sensor in site.sensors}
        self._known: dict[str, Channel] = {}

    def __getitem__(self, name: str) -> Channel:
        """Return a sensor's newest value."""
        known = self._known.get(name)
        if known is None:
            known = self._known[name] = self._channel(name)
        return known

    def label(self, name: str) -> str:
        """Return what people call a sensor."""
        return self._sensors[name].label

    def _channel(self, name: str) -> Channel:
        m = self._read(name)
        return Channel(name, m, raw(name, m.value or 0.0, m.u), self._sensors[name])


@dataclass(frozen=True, slots=True)
class Vapour:
    """Water vapour as one probe gives it: e [Pa] at the probe's own pressure p, and e/p with its parts.

    full_per_pa: relative change of the share that saturates, per Pa of p.
    """

    e_pa: float
    p: Uncertain
    share: Uncertain
    humidity: Channel
    full_per_pa: float


@dataclass(frozen=True, slots=True)
class Air:
    """The air of one probe: what its sensors said, and its vapour; None when told is unknown and says why."""

    told: Said
    vapour: Vapour | None


def air_of(t: Channel, rh: Channel, p: Uncertain, p_said: Said) -> Air:
    """Return the air of a probe at its own absolute pressure p [Pa]."""
    told = joined(t.measured, rh.measured, p_said)
    if told.validity is Validity.UNKNOWN:
        return Air(told, None)
    state = (t.exact.value, p.value)
    try:
        e_pa = vapour_pressure_pa(t.exact.value, rh.exact.value, p.value)
        by_t, by_p = slope(_full_share, state, 0, t.exact.u), slope(_full_share, state, 1, p.u)
    except OutOfRange as error:
        return Air(_out(told, error), None)
    humidity, share = rh.exact.value, e_pa / p.value
    full = share / humidity
    parts = weighted(share, (full, rh.exact), (humidity * by_t, t.exact), (humidity * by_p, p))
    return Air(told, Vapour(e_pa, p, parts, rh, by_p / full))


def _out(told: Said, error: OutOfRange) -> Told:
    return Told(told.since_ms, Validity.UNKNOWN, f"outside the range of the physics: {error}")


def _full_share(t_c: float, p_pa: float) -> float:
    """Share of vapour in saturated air."""
    return saturated_vapour_pressure_pa(t_c, p_pa, False) / p_pa


@dataclass(frozen=True, slots=True)
class Skew:
    """How far the 95 % interval of a humidity near 0 moves the point: up and down [K]; down None = no end."""

    humidity: str
    up_k: float
    down_k: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Point:
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
        exact = through(_point_of_share, vapour.share, at, value=point_c)
        return Point(told, exact, frost, _skew(vapour, exact, at.value, told))
    except OutOfRange as error:
        return Point(_out(told, error))


def _point_of_share(share: float, p_pa: float) -> float:
    return condensation_point_c(share * p_pa, p_pa)[0]


def _skew(vapour: Vapour, point: Uncertain, at_pa: float, told: Said) -> Skew | None:
    """The lopsided part, where the humidity is too near 0 for a symmetric one. A bound says so by itself."""
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


def humidity_at(wall: Channel, air: Air) -> Measured:
    """Return the humidity over water that this air has at a wall, at the probe's pressure, a fraction.

    The pressure moves saturation at the wall as it does at the probe, but for the enhancement factor: a
    difference below 1e-8 per Pa, which is left out.
    """
    told, vapour = joined(wall.measured, air.told), air.vapour
    if told.validity is Validity.UNKNOWN or vapour is None:
        return unknown(told.reason, told.since_ms)
    wall_c, p_pa = wall.exact.value, vapour.p.value
    try:
        rh = relative_humidity(wall_c, vapour.e_pa, p_pa)
        by_wall = slope(_full_share, (wall_c, p_pa), 0, wall.exact.u)
    except OutOfRange as error:
        return measured(_out(told, error), None)
    per_share = rh / vapour.share.value
    at_wall, at_probe = (-rh * per_share * by_wall, wall.exact), (-rh * vapour.full_per_pa, vapour.p)
    return measured(told, weighted(rh, (per_share, vapour.share), at_wall, at_probe))


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
