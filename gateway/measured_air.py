"""Moist air as the sensors gave it, worked out once and met by many walls.

The vapour of one probe is kept as its share, e/p: that stays the same along a line (Dalton), and its derivatives
to temperature, humidity and pressure are worked out here, once, for every wall it meets.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot

from alerts.measured import Measured, Validity, unknown
from gateway.jobsite import RECTANGULAR, Jobsite, Sensor
from gateway.psychrometrics import OutOfRange, condensation_point_c, relative_humidity, vapour_pressure_pa
from gateway.uncertainty import Uncertain, asymmetric_interval, raw, through, weighted
from gateway.water_path import condensation_point_at

Read = Callable[[str], Measured]
SYMMETRIC = 2.5 * RECTANGULAR
"""Standard uncertainties a humidity must hold for its point to be as likely drier as wetter, within 5 %: 2.5 half
widths of a rectangle (ours, by Monte Carlo, JCGM 101:2008)."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the inputs of a value said: since when, why it is missing if it is, the worst flag, their reasons."""

    since_ms: int
    missing: str | None
    validity: Validity
    reason: str


def joined(first: Told, *others: Told) -> Told:
    """Return what several inputs said together; the first that is missing says why."""
    for other in others:
        first = _both(first, other)
    return first


def _both(one: Told, other: Told) -> Told:
    since = min(one.since_ms, other.since_ms)
    if one.missing is not None or other.missing is not None:
        return Told(since, other.missing if one.missing is None else one.missing, Validity.UNKNOWN, "")
    reason = f"{one.reason}; {other.reason}" if one.reason and other.reason else one.reason or other.reason
    return Told(since, None, _worse(one.validity, other.validity), reason)


def _worse(one: Validity, other: Validity) -> Validity:
    if Validity.BOUND in (one, other):
        return Validity.BOUND
    return Validity.SATURATED if Validity.SATURATED in (one, other) else Validity.GOOD


@dataclass(frozen=True, slots=True)
class Channel:
    """The newest value of one sensor: as measured, what it said, and as an input of what is made from it."""

    name: str
    measured: Measured
    told: Told
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
        missing = m.reason if m.value is None else None
        told = Told(m.since_ms, missing, m.validity, m.reason)
        return Channel(name, m, told, raw(name, m.value or 0.0, m.u), self._sensors[name])


@dataclass(frozen=True, slots=True)
class Vapour:
    """Water vapour as one probe gives it: e [Pa] at the probe's own pressure, and e/p with its parts."""

    e_pa: float
    p: Uncertain
    share: Uncertain
    humidity: Channel


@dataclass(frozen=True, slots=True)
class Air:
    """The air of one probe: what its sensors said, and its vapour; None when told.missing says why not."""

    told: Told
    vapour: Vapour | None


def air_of(t: Channel, rh: Channel, p: Uncertain, p_told: Told) -> Air:
    """Return the air of a probe at its own absolute pressure p [Pa]."""
    told = joined(t.told, rh.told, p_told)
    if told.missing is not None:
        return Air(told, None)
    try:
        e_pa = vapour_pressure_pa(t.exact.value, rh.exact.value, p.value)
        full = through(_full_share, t.exact, p, value=e_pa / rh.exact.value / p.value)
    except OutOfRange as error:
        return Air(_out(told, error), None)
    share = weighted(e_pa / p.value, (full.value, rh.exact), (rh.exact.value, full))
    return Air(told, Vapour(e_pa, p, share, rh))


def _out(told: Told, error: OutOfRange) -> Told:
    return Told(told.since_ms, f"outside the range of the physics: {error}", Validity.UNKNOWN, "")


def _full_share(t_c: float, p_pa: float) -> float:
    """Share of vapour in saturated air."""
    return vapour_pressure_pa(t_c, 1.0, p_pa) / p_pa


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

    told: Told
    exact: Uncertain | None = None
    frost: bool = False
    skew: Skew | None = None

    @property
    def value_c(self) -> float | None:
        """The point [C], None when it is not known."""
        return None if self.exact is None else self.exact.value


def point_of(air: Air, at: Uncertain, at_told: Told | None = None) -> Point:
    """Return the condensation point of this air's vapour where the absolute pressure is `at` [Pa]."""
    told = air.told if at_told is None else joined(at_told, air.told)
    if told.missing is not None or air.vapour is None:
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


def _skew(vapour: Vapour, point: Uncertain, at_pa: float, told: Told) -> Skew | None:
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
    told = joined(wall.told, point.told)
    if told.missing is not None or point.exact is None:
        return unknown(told.missing or "", told.since_ms)
    k = weighted(wall.exact.value - point.exact.value, (1.0, wall.exact), (-1.0, point.exact))
    return measured(told, k, point.skew)


def humidity_at(wall: Channel, air: Air) -> Measured:
    """Return the humidity over water that this air has at a wall, at the probe's pressure, a fraction."""
    told = joined(wall.told, air.told)
    if told.missing is not None or air.vapour is None:
        return unknown(told.missing or "", told.since_ms)
    vapour = air.vapour
    try:
        rh = relative_humidity(wall.exact.value, vapour.e_pa, vapour.p.value)
        full = through(_full_share, wall.exact, vapour.p, value=vapour.share.value / rh)
    except OutOfRange as error:
        return measured(_out(told, error), None)
    return measured(told, weighted(rh, (1.0 / full.value, vapour.share), (-rh / full.value, full)))


def measured(told: Told, exact: Uncertain | None, skew: Skew | None = None) -> Measured:
    """Return a derived value, rounded, with what its inputs said; a lopsided u is never understated."""
    if told.missing is not None or exact is None:
        return unknown(told.missing or "", told.since_ms)
    u, reason = exact.u, told.reason
    if skew is not None and exact.parts is not None and u is not None:
        others = hypot(*(part for each, part in exact.parts.items() if each != skew.humidity))
        u = max(u, hypot(max(skew.up_k, skew.down_k or 0.0), 2.0 * others) / 2.0)
        reason = f"{reason}; {skew.words}" if reason else skew.words
    return Measured(
        round(exact.value, 4), None if u is None else round(u, 4), told.since_ms, told.validity, reason
    )
