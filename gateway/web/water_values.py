"""What becomes of the water in one train, in litres an hour, from means of the last quarter of an hour.

Between two measured humidities the difference is measured: it left the vapour there, wherever it is now. Behind
the last one it is modelled: what falls out if the air cools to each wall. Where no flow sensor is fitted the flow
is what the reader states, and every litre is as good as that. Nothing here sees liquid: a humidity probe cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from alerts.measured import Measured
from gateway.compressed_air import dry_air_kg_per_s
from gateway.jobsite import Jobsite, Piece, Station, Train
from gateway.psychrometrics import OutOfRange, humidity_ratio, saturated_vapour_pressure_pa, vapour_pressure_pa
from gateway.train_look import Gas, Look

Read = Callable[[str], Measured]
SATURATED_RH = 0.995
_UNKNOWN = "its humidity is not known, or below what its probe resolves"
LEAST_KG_PER_H = 0.01  # of what is shown


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the table. how: "measured" | "modelled" | "not known" | "not running".

    vapour_g_per_kg: water vapour per kg of dry air there; left_kg_per_h: what left the vapour up to there, since
    the line before; both None where not known. words: what a reader should know of it.
    """

    place: str
    how: str
    vapour_g_per_kg: float | None
    left_kg_per_h: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Water:
    """The water of one train. flow_m3_per_s: free air at the intake; measured: whether a sensor says so."""

    flow_m3_per_s: float
    flow_measured: bool
    entering_kg_per_h: float | None
    steps: tuple[Step, ...]


def water(site: Jobsite, train: Train, read: Read, stated_m3_per_s: float) -> Water:
    """Return the water path of a train. stated_m3_per_s: free air, taken where no flow sensor speaks."""
    sensors = {each.id: each for each in site.sensors}
    station = next(each for each in site.stations if each.id == train.station)
    look = Look(train, station, sensors, read)
    rh = look.value(station.relative_humidity)
    if look.air_c is None or rh is None or look.station_pa is None:
        why = f"the air at {station.label} is not known"
        return Water(stated_m3_per_s, False, None, (Step("intake", "not known", None, None, why),))
    if look.flowing() is False:
        return Water(0.0, False, None, (Step("train", "not running", None, None, "it is not under pressure"),))
    e_pa = vapour_pressure_pa(look.air_c, min(rh, 1.0), look.station_pa)
    measured = look.relative_flow() if any(piece.outlet.flow for piece in train.pieces) else None
    stated = dry_air_kg_per_s(stated_m3_per_s, look.air_c, e_pa, look.station_pa)
    dry = stated if measured is None else measured
    flow = stated_m3_per_s * dry / stated
    came = humidity_ratio(e_pa, look.station_pa)
    first = Step("intake", "measured", 1000 * came, None, f"air at {station.label}")
    steps = (first, *_steps(look, station, came, dry))
    return Water(flow, measured is not None, came * dry * 3600, steps)


def _steps(look: Look, station: Station, came: float, dry: float) -> Iterator[Step]:
    """Every piece from the intake on of which something can be said."""
    ratio, last_at = came, -1
    for at, gas in look.gases:
        found, fitted = gas.ratio, gas.piece.outlet
        if found is None or gas.rh is None:
            if fitted.relative_humidity or fitted.pressure_dew_point:
                yield Step(f"{gas.piece.label}, outlet", "not known", None, None, _UNKNOWN)
            continue
        yield _measured(gas, gas.rh, found, (ratio - found) * dry * 3600)
        ratio, last_at = found, at
    yield from _modelled(look, station, last_at, ratio, dry)


def _measured(gas: Gas, rh: float, ratio: float, left_kg_per_h: float) -> Step:
    if left_kg_per_h < -LEAST_KG_PER_H:
        said = "more vapour than before: liquid has evaporated, or one of the two sensors is wrong"
    elif rh >= SATURATED_RH:
        said = "saturated: liquid may go on with the air, which no humidity probe sees"
    else:
        said = "left the vapour between here and the measured place before"
    return Step(f"{gas.piece.label}, outlet", "measured", 1000 * ratio, left_kg_per_h, said)


def _modelled(look: Look, station: Station, after: int, ratio: float, dry: float) -> Iterator[Step]:
    """What falls out where the air meets a colder wall further on, each piece taken to cool it all the way."""
    pressure, left = None, ratio
    for at, piece in enumerate(look.train.pieces):
        gauge = look.value(piece.outlet.pressure)
        pressure = pressure if gauge is None else gauge
        wall = _wall_c(look, station, piece)
        if at <= after or (not piece.wall and not piece.wall_station):
            continue
        if wall is None or pressure is None or look.station_pa is None:
            yield Step(piece.label, "not known", None, None, "its wall or its pressure is not known")
            continue
        try:
            holds = _saturated(wall, pressure + look.station_pa)
        except OutOfRange as error:
            yield Step(piece.label, "not known", None, None, str(error))
            continue
        fell = max(0.0, left - holds)
        left -= fell
        said = "falls out if the air cools to this wall" if fell else "nothing falls out at this wall"
        yield Step(piece.label, "modelled", 1000 * left, fell * dry * 3600, said)


def _wall_c(look: Look, station: Station, piece: Piece) -> float | None:
    return look.value(piece.wall) if piece.wall else look.value(station.air_temperature)


def _saturated(wall_c: float, p_pa: float) -> float:
    return humidity_ratio(saturated_vapour_pressure_pa(wall_c, p_pa, wall_c < 0.0), p_pa)
