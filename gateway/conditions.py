"""From the newest readings to what matters: the margin of the steel and of the air in each piece.

Dew points come from temperature and humidity of one probe at that probe's own pressure. Values are rounded
to 1e-4 (K, fraction of RH) before anything is compared, so that replay cannot differ in the last bit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from alerts.measured import Measured, Quantity, Validity, unknown
from gateway import psychrometrics, water_path
from gateway.jobsite import Area, Jobsite, Piece, Station, Train
from gateway.uncertainty import propagate

Read = Callable[[str], Measured]
RUNNING_PA = 20_000.0  # gauge; below this a train counts as vented (our choice, see DEVELOPERS.md)


@dataclass(frozen=True, slots=True)
class Condition:
    """One derived value at one place, with the two ends of its gap [°C] where it is a margin."""

    place: str
    measured: Measured
    point_c: float | None = None
    temperature_c: float | None = None
    frost: bool = False


Conditions = dict[tuple[str, Quantity], list[Condition]]


def conditions(site: Jobsite, read: Read) -> Conditions:
    """Return every derived value of the jobsite, keyed by (area or train/piece, quantity)."""
    found: Conditions = {}
    stations = {station.id: station for station in site.stations}
    for area in site.areas:
        _area(found, area, [stations[name] for name in area.stations], site, read)
    for train in site.trains:
        _train(found, train, stations, read)
    return found


def derive(inputs: list[Measured], formula: Callable[..., float]) -> Measured:
    """Apply a formula to measured inputs: unknown stays unknown, u is propagated, flags are kept."""
    since = min(m.since_ms for m in inputs)
    for each in inputs:
        if each.value is None:
            return unknown(each.reason, since)
    values = [m.value for m in inputs if m.value is not None]
    try:
        value = formula(*values)
        u = propagate(formula, values, [m.u for m in inputs])
    except psychrometrics.OutOfRange as error:
        return unknown(f"outside the range of the physics: {error}", since)
    validity, reason = _flags(inputs)
    return Measured(round(value, 4), None if u is None else round(u, 4), since, validity, reason)


def _flags(inputs: list[Measured]) -> tuple[Validity, str]:
    reason = "; ".join(m.reason for m in inputs if m.reason)
    for validity in (Validity.BOUND, Validity.SATURATED):
        if any(m.validity is validity for m in inputs):
            return validity, reason
    return Validity.GOOD, reason


def _point_c(t_c: float, rh: float, p_pa: float) -> tuple[float, bool]:
    """Dew point, or below 0 °C the frost point (the higher), of air at this state."""
    return psychrometrics.condensation_point_c(psychrometrics.vapour_pressure_pa(t_c, rh, p_pa), p_pa)


def _area(found: Conditions, area: Area, stations: list[Station], site: Jobsite, read: Read) -> None:
    labels = {sensor.id: sensor.label for sensor in site.sensors}
    for station in stations:
        rh = read(station.relative_humidity)
        found.setdefault((area.id, Quantity.RELATIVE_HUMIDITY), []).append(Condition(station.label, rh))
        air = read(station.air_temperature)
        found.setdefault((area.id, Quantity.AIR_TEMPERATURE), []).append(Condition(station.label, air))
        for spot in area.steel:
            place = f"{labels[spot.sensor]} ({spot.spot})"
            _steel(found, area.id, place, station, read(spot.sensor), read)


def _steel(found: Conditions, area: str, place: str, station: Station, steel: Measured, read: Read) -> None:
    air = [read(station.air_temperature), read(station.relative_humidity), read(station.station_pressure)]
    margin = derive([steel, *air], lambda ts, t, rh, p: ts - _point_c(t, rh, p)[0])
    at_steel = derive([steel, *air], _rh_at_steel)
    point, frost = (None, False) if any(m.value is None for m in air) else _try_point(air)
    found.setdefault((area, Quantity.DEW_POINT_MARGIN), []).append(
        Condition(place, margin, point, steel.value, frost)
    )
    found.setdefault((area, Quantity.RH_AT_STEEL), []).append(Condition(place, at_steel))
    found.setdefault((area, Quantity.STEEL_TEMPERATURE), []).append(Condition(place, steel))


def _rh_at_steel(ts: float, t: float, rh: float, p: float) -> float:
    return psychrometrics.relative_humidity(ts, psychrometrics.vapour_pressure_pa(t, rh, p), p)


def _try_point(air: list[Measured]) -> tuple[float | None, bool]:
    try:
        return _point_c(*(m.value for m in air if m.value is not None))
    except psychrometrics.OutOfRange:
        return None, False


def is_running(train: Train, read: Read) -> bool | None:
    """Whether the train is under pressure; None when no pressure in it is known."""
    pressures = [read(p.outlet.pressure).value for p in train.pieces if p.outlet.pressure]
    known = [p for p in pressures if p is not None]
    return max(known) >= RUNNING_PA if known else None


def _train(found: Conditions, train: Train, stations: dict[str, Station], read: Read) -> None:
    baro = read(stations[train.station].station_pressure)
    vapour: list[Measured] = []  # gas temperature, RH, gauge pressure where the vapour was last measured
    pressure: Measured | None = None
    for number, piece in enumerate(train.pieces):
        outlet = piece.outlet
        pressure = read(outlet.pressure) if outlet.pressure else pressure
        if outlet.temperature and outlet.relative_humidity and pressure:
            vapour = [read(outlet.temperature), read(outlet.relative_humidity), pressure]
            found[f"{train.id}/{piece.id}", Quantity.PRESSURE_DEW_POINT] = [
                Condition(piece.label, derive([*vapour, baro], lambda t, rh, pg, pb: _point_c(t, rh, pg + pb)[0]))
            ]
        if vapour and pressure:
            _margin_from(found, train, number, vapour, pressure, baro, stations, read)


def _walls(
    train: Train, start: int, pressure: Measured, stations: dict[str, Station], read: Read
) -> list[tuple[Piece, Measured, Measured]]:
    """The walls this vapour meets, with gauge pressures: as far as the piece after which it is measured anew."""
    walls = []
    for number, piece in enumerate(train.pieces[start:]):
        if number and piece.outlet.relative_humidity:
            break
        pressure = read(piece.outlet.pressure) if piece.outlet.pressure else pressure
        if piece.wall:
            walls.append((piece, read(piece.wall), pressure))
        elif piece.wall_station:
            walls.append((piece, read(stations[piece.wall_station].air_temperature), pressure))
    return walls


def _margin_from(
    found: Conditions,
    train: Train,
    number: int,
    vapour: list[Measured],
    pressure: Measured,
    baro: Measured,
    stations: dict[str, Station],
    read: Read,
) -> None:
    """Condensation margin of one piece: the worst of the walls from here on for the vapour measured last."""
    here = _walls(train, number, pressure, stations, read)
    if not here:
        return
    margins = [_wall_margin(wall, at, vapour, baro) for _, wall, at in here]
    key = (f"{train.id}/{train.pieces[number].id}", Quantity.CONDENSATION_MARGIN)
    missing = [m for m in margins if m.value is None]
    worst = missing[0] if missing else min(margins, key=lambda m: m.value or 0.0)
    own = here[0] if here[0][0] is train.pieces[number] else None
    point, frost = _local_point(vapour, own[2], baro) if own else (None, False)
    found[key] = [Condition(train.pieces[number].label, worst, point, own[1].value if own else None, frost)]


def _wall_margin(wall: Measured, at: Measured, vapour: list[Measured], baro: Measured) -> Measured:
    def margin(wall_c: float, at_pa: float, t: float, rh: float, pg: float, pb: float) -> float:
        e = psychrometrics.vapour_pressure_pa(t, rh, pg + pb)
        return water_path.condensation_margin_k(e, pg + pb, [water_path.Place("", wall_c, at_pa + pb)])

    return derive([wall, at, *vapour, baro], margin)


def _local_point(vapour: list[Measured], at: Measured, baro: Measured) -> tuple[float | None, bool]:
    values = [m.value for m in (*vapour, at, baro)]
    if any(v is None for v in values):
        return None, False
    t, rh, pg, at_pa, pb = (v for v in values if v is not None)
    try:
        e = psychrometrics.vapour_pressure_pa(t, rh, pg + pb)
        return water_path.condensation_point_at(e, pg + pb, at_pa + pb)
    except psychrometrics.OutOfRange:
        return None, False
