"""Margins of a steel plate by the minute, for the benches of forecast and alarms: measured weather, and fronts.

Payerne, June 2016: the plate of `simulators.feed` in measured radiation, the dew point of the 10 m sensor.
Alamosa, 1 January 2016: the same plate in the fluxes and wind of a SURFRAD day as carried by pvlib 0.11.2. The
fronts are simulated: moments drawn by chance, so that no day is like another.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from gateway.psychrometrics import condensation_point_c, vapour_pressure_pa
from simulators import feed
from simulators.steel import Plate, Surroundings, after, film_w_m2_k

DAY_MIN = 1440
PLATE = Plate(0.010, faces=2)


class Air(NamedTuple):
    """One minute: air and steel [°C], humidity [0..1], station pressure [Pa]."""

    air_c: float
    rh: float
    pressure_pa: float
    steel_c: float

    def margin_k(self, noise_k: float = 0.0, noise_rh: float = 0.0) -> float:
        """Steel minus condensation point, with noise added to the steel's reading and to the humidity."""
        rh = max(0.02, min(1.0, self.rh + noise_rh))
        vapour_pa = vapour_pressure_pa(self.air_c, rh, self.pressure_pa)
        return round(self.steel_c + noise_k - condensation_point_c(vapour_pa, self.pressure_pa)[0], 4)


@cache
def payerne() -> tuple[Air, ...]:
    """Return the month, every minute; the file has no minute without air. Humidity above 100 % counts as 100."""
    found = []
    for row in feed.samples():
        air, rh, pressure, steel = row["air-t"], row["air-rh"], row["baro"], row["steel"]
        assert air is not None
        assert rh is not None
        assert pressure is not None
        assert steel is not None
        found.append(Air(air, min(rh, 100.0) / 100, pressure * 100, steel))
    return tuple(found)


def alamosa() -> Iterator[Air]:
    """Yield the day. Columns as numbered in NOAA's SURFRAD readme, from memory; a flux below -999 is missing."""
    path = feed.month_file().parent / "surfrad-slv16001.dat"
    steel_c, around = None, Surroundings(0.0, 0.0, 0.0, 0.0)
    for line in path.read_text().splitlines()[2:]:
        word = [float(each) for each in line.split()]
        down, up, sky, ground = word[8], word[10], word[16], word[22]
        air_c, rh, wind, hpa = word[38], word[40], word[42], word[46]
        if min(down, up, sky, ground, air_c, rh, wind, hpa) > -999:
            around = Surroundings(air_c, max(down + up, 0.0), sky + ground, film_w_m2_k(wind))
        steel_c = after(PLATE, around.air_c if steel_c is None else steel_c, around, 60.0)
        yield Air(around.air_c, rh / 100, hpa * 100, steel_c)


def fronts(days: int, seed: int) -> list[float]:
    """Return margins [K] that fall and rise at moments that have nothing to do with the hour; invented."""
    chance, margin, aim, found = random.Random(seed), 8.0, 8.0, []
    for _ in range(days * DAY_MIN):
        if chance.random() < 1 / 360:
            aim = chance.choice((0.5, 6.0, 12.0))
        margin += (aim - margin) / 90 + chance.gauss(0, 0.06)
        found.append(margin)
    return found
