"""Hours of weather for a plan, from CSV with units in its head or from an EPW file. Text in, hours out.

An hour that is missing or impossible, or has no row, stays in its place as the reason it is not known: it is never
taken for dry.
EPW: columns of the EnergyPlus weather format, dry bulb 7, dew point 8, relative humidity 9, station pressure 10
(counted from 1), missing 99.9, 99.9, 999 and 999999, after eight lines of head.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from math import isfinite

from gateway.plan import Weather
from gateway.plan_times import Hour, Row, WeatherErrors, When, checked, in_their_places, when
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


def read(text: str, name: str, pot_wall_below_air_k: float = 0.0) -> list[Hour]:
    """All hours of a file, EPW by its name's ending, else CSV. Raises: WeatherErrors."""
    epw = name.lower().endswith(".epw")
    rows = list(_epw(text, pot_wall_below_air_k) if epw else _csv(text, pot_wall_below_air_k))
    if not rows:
        raise WeatherErrors(f"{name}: no hours in it")
    return in_their_places(rows, whole_year=epw, leap=epw and _leap(text))


def _leap(text: str) -> bool:
    """Whether the head of an EPW file says that its year has a 29 February."""
    return any(line.upper().startswith("HOLIDAYS/DAYLIGHT SAVINGS,YES") for line in text.splitlines()[:EPW_HEAD])


def _epw(text: str, pot_k: float) -> Iterator[Row]:
    for number, row in enumerate(csv.reader(text.splitlines()[EPW_HEAD:]), EPW_HEAD + 1):
        if len(row) < 10:
            raise WeatherErrors(f"line {number}: an EPW row has at least 10 columns, this has {len(row)}")
        if not all(cell.strip().isdigit() for cell in row[:4]):
            raise WeatherErrors(f"line {number}: year, month, day and hour are whole numbers, this has {row[:4]}")
        year, month, day, hour = (int(cell) for cell in row[:4])
        stamp = checked(When(year, month, day, hour), f"line {number}")
        yield stamp, _epw_hour(f"{month:02d}-{day:02d} {hour:02d}:00", month, row, pot_k)


def _epw_hour(time: str, month: int, row: list[str], pot_k: float) -> Hour:
    given = {"air": (row[6], 99.9), "rh": (row[8], 999.0), "pressure": (row[9], 999_999.0)}
    values = {what: _number(cell) for what, (cell, _) in given.items()}
    missing = [what for what, (_, fill) in given.items() if values[what] is None or values[what] == fill]
    if missing:
        return Hour(time, month, None, f"{', '.join(missing)} missing")
    air, rh, pressure = (float(values[what] or 0.0) for what in given)
    return _hour(time, month, air, rh / 100.0, pressure, pot_k)


def _csv(text: str, pot_k: float) -> Iterator[Row]:
    rows = csv.reader(text.splitlines())
    head = [cell.strip() for cell in next(rows, [])]
    places = _places(head)
    for number, row in enumerate(rows, 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < len(head):
            raise WeatherErrors(f"line {number}: {len(row)} columns, the head has {len(head)}")
        time = row[head.index("time")].strip()
        stamp = when(time)
        month = stamp.month if stamp else 0
        values = {what: _turned(row[at], turn) for what, (at, turn) in places.items()}
        lacking = [f"{head[at]} {_lack(row[at])}" for what, (at, _) in places.items() if values[what] is None]
        if lacking:
            yield stamp, Hour(time, month, None, ", ".join(lacking))
            continue
        yield (
            stamp,
            _from_csv(time, month, {what: value for what, value in values.items() if value is not None}, pot_k),
        )


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


def _from_csv(time: str, month: int, values: dict[str, float], pot_k: float) -> Hour:
    rh = values.get("rh")
    if rh is None:
        try:
            e_pa = saturated_vapour_pressure_pa(values["dew"], values["pressure"], frost=False)
            rh = relative_humidity(values["air"], e_pa, values["pressure"])
        except OutOfRange as error:
            return Hour(time, month, None, str(error))
        # Rounded figures of saturated air may cross by a little.
        rh = 1.0 if 1.0 < rh < 1.02 else rh
    return _hour(time, month, values["air"], rh, values["pressure"], values.get("pot", pot_k))


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
