"""Margins of the plate at three places whose days chose no constant: hourly years, with borrowed minutes.

Amsterdam (EPW), Greensboro and Sand Point (TMY3) as carried by pvlib 0.11.2: typical years, each month from
another year. Hourly values lie on straight lines. On the margin lies what a day of the Payerne month, drawn by
chance, differs from its own hours, less where the margin is small.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import NamedTuple

from gateway.psychrometrics import vapour_pressure_pa
from simulators import feed
from simulators.steel import Surroundings, after, film_w_m2_k
from simulators.weather import STEFAN_BOLTZMANN
from tests.bench.weather import DAY_MIN, PLATE, Air, payerne

HOUR_MIN = 60
CALM_K = 8.0  # of margin: below it the borrowed unrest shrinks; ours


class Hour(NamedTuple):
    """One row: air, humidity 0..1, pressure, longwave from the sky, global shortwave, wind."""

    air_c: float
    rh: float
    pressure_pa: float
    sky_w_m2: float
    sun_w_m2: float
    wind_m_s: float


def amsterdam() -> Iterator[Hour]:
    """Columns as in the EPW format of EnergyPlus, from memory; the file's own header gives place and source."""
    path = feed.month_file().parent / "NLD_Amsterdam062400_IWEC.epw"
    for line in path.read_text().splitlines()[8:]:
        word = line.split(",")
        air, rh, hpa, sky, sun, wind = (float(word[at]) for at in (6, 8, 9, 12, 13, 21))
        yield Hour(air, rh / 100, hpa, sky, sun, wind)


def typical(name: str) -> Iterator[Hour]:
    """A TMY3 file; the sky after Brunt 1932 with 0.8 of the rest for clouds, from memory."""
    rows = csv.reader((feed.month_file().parent / name).read_text().splitlines()[1:])
    head = next(rows)
    starts = ("Dry-bulb (C", "RHum (%", "Pressure (mbar", "TotCld (t", "GHI (W", "Wspd (m/s")
    columns = [next(at for at, words in enumerate(head) if words.startswith(start)) for start in starts]
    for row in rows:
        air, rh, hpa, cloud, sun, wind = (float(row[at]) for at in columns)
        clear = 0.53 + 0.065 * (vapour_pressure_pa(air, rh / 100, 1e5) / 100) ** 0.5
        emits = clear + (1 - clear) * 0.8 * cloud / 10
        yield Hour(air, rh / 100, hpa * 100, emits * STEFAN_BOLTZMANN * (air + 273.15) ** 4, sun, wind)


def minutes(hours: list[Hour]) -> Iterator[Hour]:
    """Yield the minutes between hours, straight."""
    for one, other in pairwise(hours):
        for minute in range(HOUR_MIN):
            share = minute / HOUR_MIN
            yield Hour(*(a + share * (b - a) for a, b in zip(one, other, strict=True)))


@cache
def unrest() -> tuple[float, ...]:
    """What each minute at Payerne differs from straight lines between its hourly means [K], 3 K at most."""
    margins = [air.margin_k() for air in payerne()]
    means = [sum(margins[at - 30 : at + 30]) / 60 for at in range(30, len(margins), HOUR_MIN)]
    found = []
    for number, (one, other) in enumerate(pairwise(means)):
        for minute in range(HOUR_MIN):
            straight = one + (other - one) * minute / HOUR_MIN
            found.append(max(-3.0, min(3.0, margins[30 + number * HOUR_MIN + minute] - straight)))
    return tuple(found)


def margins_at(hours: list[Hour], seed: int) -> list[float]:
    """Return the margin of the plate by the minute [K], with a drawn day of unrest on each day."""
    chance, steel_c, start, found = random.Random(seed), hours[0].air_c, 0, []
    for minute, now in enumerate(minutes(hours)):
        ground = STEFAN_BOLTZMANN * (now.air_c + 273.15) ** 4
        around = Surroundings(now.air_c, 1.2 * now.sun_w_m2, now.sky_w_m2 + ground, film_w_m2_k(now.wind_m_s))
        steel_c = after(PLATE, steel_c, around, 60.0)
        if minute % DAY_MIN == 0:
            start = DAY_MIN * chance.randrange(28)
        margin = Air(now.air_c, now.rh, now.pressure_pa, steel_c).margin_k()
        found.append(margin + unrest()[start + minute % DAY_MIN] * min(1.0, max(margin, 1.0) / CALM_K))
    return found


def months(first_day: int, days: int = 28) -> dict[str, list[float]]:
    """Return the margins of these days of the year at the three places."""
    years = {
        "amsterdam": amsterdam(), "greensboro": typical("723170TYA.CSV"), "sand_point": typical("703165TY.csv"),
    }  # fmt: skip
    span = slice(24 * first_day, 24 * (first_day + days) + 1)
    return {name: margins_at([*hours][span], first_day + at) for at, (name, hours) in enumerate(years.items())}
