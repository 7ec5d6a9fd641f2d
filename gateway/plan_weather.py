"""Hours of weather for a plan, from CSV with units in its head or from an EPW file. Text in, hours out.

An hour that is missing or impossible stays in its place as the reason it is not known: it is never taken for dry.
EPW: columns of the EnergyPlus weather format, dry bulb 7, dew point 8, relative humidity 9, station pressure 10
(counted from 1), missing 99.9, 99.9, 999 and 999999, after eight lines of head.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite

from gateway.plan import Weather
from gateway.psychrometrics import OutOfRange, dew_point_c, relative_humidity, saturated_vapour_pressure_pa
from gateway.site_amounts import closest

EPW_HEAD = 8
Turn = Callable[[float], float]
_C, _F, _PERCENT = (lambda v: v), (lambda v: (v - 32.0) / 1.8), (lambda v: v / 100.0)
# Column of a CSV: what it is, and what turns it into the unit used inside.
COLUMNS: dict[str, tuple[str, Turn]] = {
    "air_temperature_C": ("air", _C), "air_temperature_F": ("air", _F),
    "relative_humidity_%": ("rh", _PERCENT), "dew_point_C": ("dew", _C), "dew_point_F": ("dew", _F),
    "station_pressure_hPa": ("pressure", lambda v: v * 100.0),
    "station_pressure_kPa": ("pressure", lambda v: v * 1e3), "station_pressure_Pa": ("pressure", _C),
    "pot_wall_below_air_K": ("pot", _C),
}  # fmt: skip


class WeatherErrors(Exception):
    """A weather file cannot be read at all; the message says which line and what is wanted."""


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour: its time as written, its month (0 where the time does not tell), and its weather or why not."""

    time: str
    month: int
    weather: Weather | None
    reason: str = ""


def read(text: str, name: str, pot_wall_below_air_k: float = 0.0) -> list[Hour]:
    """All hours of a file, EPW by its name's ending, else CSV. Raises: WeatherErrors."""
    found = _epw(text, pot_wall_below_air_k) if name.lower().endswith(".epw") else _csv(text, pot_wall_below_air_k)
    hours = list(found)
    if not hours:
        raise WeatherErrors(f"{name}: no hours in it")
    return hours


def _epw(text: str, pot_k: float) -> Iterator[Hour]:
    for number, row in enumerate(csv.reader(text.splitlines()[EPW_HEAD:]), EPW_HEAD + 1):
        if len(row) < 10:
            raise WeatherErrors(f"line {number}: an EPW row has at least 10 columns, this has {len(row)}")
        if not all(cell.strip().isdigit() for cell in row[1:4]):
            raise WeatherErrors(f"line {number}: month, day and hour are whole numbers, this has {row[1:4]}")
        month = int(row[1])
        if not 1 <= month <= 12:
            raise WeatherErrors(f"line {number}: the month is {month}, allowed is 1 to 12")
        time = f"{month:02d}-{int(row[2]):02d} {int(row[3]):02d}:00"
        given = {"air": (row[6], 99.9), "rh": (row[8], 999.0), "pressure": (row[9], 999_999.0)}
        values = {what: _number(cell) for what, (cell, _) in given.items()}
        missing = [what for what, (_, fill) in given.items() if values[what] is None or values[what] == fill]
        if missing:
            yield Hour(time, month, None, f"{', '.join(missing)} missing")
            continue
        air, rh, pressure = (float(values[what] or 0.0) for what in given)
        yield _hour(time, month, air, rh / 100.0, pressure, pot_k)


def _csv(text: str, pot_k: float) -> Iterator[Hour]:
    rows = csv.reader(text.splitlines())
    head = [cell.strip() for cell in next(rows, [])]
    places = _places(head)
    for number, row in enumerate(rows, 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < len(head):
            raise WeatherErrors(f"line {number}: {len(row)} columns, the head has {len(head)}")
        time = row[head.index("time")].strip()
        values = {what: _turned(row[at], turn) for what, (at, turn) in places.items()}
        lacking = [f"{head[at]} {_lack(row[at])}" for what, (at, _) in places.items() if values[what] is None]
        if lacking:
            yield Hour(time, _month(time), None, ", ".join(lacking))
            continue
        yield _from_csv(time, {what: value for what, value in values.items() if value is not None}, pot_k)


def _places(head: list[str]) -> dict[str, tuple[int, Turn]]:
    for name in head:
        if name != "time" and name not in COLUMNS:
            raise WeatherErrors(f"line 1: column '{name}' is not known here{closest(name, COLUMNS)}")
    told = [name if name == "time" else COLUMNS[name][0] for name in head]
    if twice := {what for what in told if told.count(what) > 1}:
        raise WeatherErrors(f"line 1: said by more than one column: {', '.join(sorted(twice))}; leave one out")
    places = {COLUMNS[name][0]: (at, COLUMNS[name][1]) for at, name in enumerate(head) if name != "time"}
    if (
        "time" not in head
        or "air" not in places
        or "pressure" not in places
        or ("rh" in places) == ("dew" in places)
    ):
        raise WeatherErrors(
            "line 1: wanted are time, air_temperature_C, station_pressure_hPa "
            "and either relative_humidity_% or dew_point_C"
        )
    return places


def _from_csv(time: str, values: dict[str, float], pot_k: float) -> Hour:
    rh = values.get("rh")
    if rh is None:
        try:
            e_pa = saturated_vapour_pressure_pa(values["dew"], values["pressure"], frost=False)
            rh = relative_humidity(values["air"], e_pa, values["pressure"])
        except OutOfRange as error:
            return Hour(time, _month(time), None, str(error))
        # Rounded figures of saturated air may cross by a little.
        rh = 1.0 if 1.0 < rh < 1.02 else rh
    return _hour(time, _month(time), values["air"], rh, values["pressure"], values.get("pot", pot_k))


def _hour(time: str, month: int, air_c: float, rh: float, pressure_pa: float, pot_k: float) -> Hour:
    try:
        dew_point_c(air_c, rh, pressure_pa)
    except OutOfRange as error:
        return Hour(time, month, None, str(error))
    return Hour(time, month, Weather(air_c, rh, pressure_pa, pot_k))


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if isfinite(value) else None


def _turned(cell: str, turn: Turn) -> float | None:
    value = _number(cell)
    return None if value is None else turn(value)


def _lack(cell: str) -> str:
    return f"unreadable: {cell.strip()[:20]!r}" if cell.strip() else "missing"


def _month(time: str) -> int:
    """Month of an ISO 8601 date, 0 where the time is none. Raises: WeatherErrors for a month beyond 12."""
    found = re.match(r"\d{4}-(\d{2})-", time)
    if found is None:
        return 0
    if not 1 <= int(found[1]) <= 12:
        raise WeatherErrors(f"time {time!r}: the month is {found[1]}, allowed is 01 to 12")
    return int(found[1])
