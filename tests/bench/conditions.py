"""How long it takes to work out every derived value of a jobsite of 40 sensors, each with its uncertainty."""

from __future__ import annotations

import time
from statistics import median

from alerts.measured import Measured, Quantity, Validity
from gateway.conditions import Workings
from gateway.jobsite import Area, Jobsite, Piece, Point, Sensor, Station, SteelSpot, Train
from tests.sites import sensor

ROUNDS = 400


def a_jobsite() -> Jobsite:
    """Return 4 stations of 3 sensors, 12 steel spots and 2 trains of 8 sensors: 40 in all."""
    stations = tuple(Station(f"s{n}", f"s{n}", f"s{n}-t", f"s{n}-rh", f"s{n}-p") for n in range(4))
    areas = tuple(
        Area(f"A{n}", f"A{n}", (f"s{n}",), tuple(SteelSpot(f"steel{n}-{k}", "coldest") for k in range(3)))
        for n in range(4)
    )
    trains = tuple(_train(n) for n in range(2))
    return Jobsite("bench", "bench", "UTC", 20.0, True, tuple(_sensors()), stations, areas, trains)


def _train(n: int) -> Train:
    pieces = (
        Piece("receiver", "receiver", "receiver", Point(f"t{n}-r-t", f"t{n}-r-rh", f"t{n}-r-p"), f"t{n}-r-w"),
        Piece("dryer", "dryer", "deliquescent dryer", Point(f"t{n}-d-t", f"t{n}-d-rh")),
        Piece("pot", "pot", "pot", Point(pressure=f"t{n}-pot-p"), wall=f"t{n}-pot-w"),
        Piece("hose", "hose", "hose", wall_station="s0"),
        Piece("nozzle", "nozzle", "nozzle", wall_station="s1"),
    )
    return Train(f"T{n}", f"T{n}", (f"A{n}",), f"s{n}", pieces)


def _sensors() -> list[Sensor]:
    made = []
    for n in range(4):
        made.append(sensor(f"s{n}-t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air"))
        made.append(sensor(f"s{n}-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"))
        made.append(sensor(f"s{n}-p", Quantity.STATION_PRESSURE, "hPa", 100.0, "absolute"))
        made += [sensor(f"steel{n}-{k}", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact") for k in range(3)]
    for n in range(2):
        made += [sensor(f"t{n}-{p}-t", Quantity.GAS_TEMPERATURE, "Cel", 0.3, "thermowell") for p in "rd"]
        made += [sensor(f"t{n}-{p}-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water") for p in "rd"]
        made += [sensor(f"t{n}-{p}-p", Quantity.GAUGE_PRESSURE, "bar", 5e3, "gauge") for p in ("r", "pot")]
        made += [sensor(f"t{n}-{p}-w", Quantity.WALL_TEMPERATURE, "Cel", 0.5, "pipe skin") for p in ("r", "pot")]
    return made


VALUES = {
    Quantity.AIR_TEMPERATURE: 22.0, Quantity.STATION_PRESSURE: 101_300.0, Quantity.RELATIVE_HUMIDITY: 0.62,
    Quantity.STEEL_TEMPERATURE: 19.0, Quantity.GAS_TEMPERATURE: 32.0, Quantity.WALL_TEMPERATURE: 25.0,
    Quantity.GAUGE_PRESSURE: 690_000.0,
}  # fmt: skip


def site_ms() -> float:
    """Return the median time to bring all values up to new readings of all sensors, ms, as `run` does.

    Raises if a value has no uncertainty.
    """
    site, said = a_jobsite(), dict[str, Measured]()
    made = Workings(site, said.__getitem__)

    def hear(turn: int) -> float:
        for n, each in enumerate(site.sensors):
            value = VALUES[each.quantity] * (1 + n / 10_000 + turn / 1_000_000)
            said[each.id] = Measured(value, each.u, turn, Validity.GOOD)
        began = time.perf_counter()
        made.update(said)
        return time.perf_counter() - began

    spent = [hear(turn) for turn in range(ROUNDS)]
    if len(said) != 40 or any(each.measured.u is None for at in made.found.values() for each in at):
        raise RuntimeError("not 40 sensors, or a value without its uncertainty")
    return 1000 * median(spent)
