"""A real month of weather, published as if it happened now: jobsite `payerne`.

The month is June 2016 of the BSRN station Payerne (CH, 491 m), one row a minute, as it comes with pvlib
(test extra; the file stays there). Air is the 10 m sensor and pressure the station's own. The steel plate is
computed from the measured radiation. Also here: the station's SYNOP text, six reports a day, for checking.
    python -m simulators.feed --broker localhost:1883 --time-lapse 60,2016-06-01T00:00:00Z,1764080000.0
"""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from itertools import islice
from pathlib import Path

from simulators.publish import Row, Source, options, play
from simulators.steel import Plate, Surroundings, after, film_w_m2_k
from simulators.time_lapse import TimeLapse

JOBSITE = "payerne"
STEP_S = 60.0
START = datetime(2016, 6, 1, tzinfo=UTC)
UNITS = {"air-t": "Cel", "air-rh": "%RH", "baro": "hPa", "steel": "Cel"}
FILLS = frozenset({"-999", "-99.9", "-99.99"})
"""How the file writes a missing value. Source: the file itself."""
PLATE = Plate(0.010, faces=2)
CALM_M_S = 2.0
"""Wind [m/s] until the first SYNOP report has come; invented."""


@dataclass(frozen=True, slots=True)
class Minute:
    """One row: UTC, 10 m air [degC, %RH], station pressure [hPa], fluxes [W/m2]; None where missing."""

    time: datetime
    air_c: float | None
    rh_percent: float | None
    pressure_hpa: float | None
    shortwave_down: float | None
    shortwave_up: float | None
    longwave_down: float | None
    longwave_up: float | None


@dataclass(frozen=True, slots=True)
class Synop:
    """One report: UTC, air temperature and dew point [degC], wind [m/s]; None where not given."""

    time: datetime
    air_c: float | None
    dew_c: float | None
    wind_m_s: float | None


def month_file() -> Path:
    """Where pvlib keeps the month. Only looked up: importing pvlib would take seconds and much memory."""
    package = find_spec("pvlib")
    if package is None or package.origin is None:
        message = "the measured month comes with pvlib 0.11.2; install dewgate with the test extra"
        raise FileNotFoundError(message)
    return Path(package.origin).parent / "data" / "bsrn-pay0616.dat.gz"


def sections(path: Path) -> dict[str, list[str]]:
    """Lines of the file by logical record, such as 0100. Source: BSRN station-to-archive format."""
    found: dict[str, list[str]] = {}
    lines: list[str] = []
    with gzip.open(path, "rt", encoding="latin-1") as text:
        for line in text:
            if line.startswith("*"):
                lines = found.setdefault(line[2:6], [])
            else:
                lines.append(line)
    return found


def number(word: str) -> float | None:
    """The value of one field, or None for the file's fills."""
    return None if word in FILLS else float(word)


def two_line_rows(lines: list[str]) -> Iterator[list[str]]:
    """Fields of the records that take two lines a minute."""
    for first, second in zip(lines[::2], lines[1::2], strict=True):
        yield first.split() + second.split()


def month(path: Path | None = None) -> Iterator[Minute]:
    """Every minute of the month in order: 0100 (down, pressure), 0300 (up), 3010 (10 m air) side by side.

    Raises: ValueError: the records do not speak of the same minute.
    """
    parts = sections(path or month_file())
    up_rows = (line.split() for line in parts["0300"])
    rows = zip(two_line_rows(parts["0100"]), up_rows, two_line_rows(parts["3010"]), strict=True)
    for down, up, mast in rows:
        if not down[:2] == up[:2] == mast[:2]:
            message = f"records out of step at day {down[0]}, minute {down[1]}"
            raise ValueError(message)
        yield minute(down, up, mast)


def minute(down: list[str], up: list[str], mast: list[str]) -> Minute:
    """One row from the fields of the three records (0100, 0300, 3010); fields found by reading the file."""
    return Minute(
        time=START + timedelta(days=int(down[0]) - 1, minutes=int(down[1])),
        air_c=number(mast[-2]),
        rh_percent=number(mast[-1]),
        pressure_hpa=number(down[-1]),
        shortwave_down=number(down[2]),
        shortwave_up=number(up[2]),
        longwave_down=number(down[14]),
        longwave_up=number(up[6]),
    )


def synop(path: Path | None = None) -> list[Synop]:
    """The station's SYNOP reports of the month, in order (record 1000)."""
    return [report(line) for line in sections(path or month_file())["1000"]]


def report(line: str) -> Synop:
    """One SYNOP line: DDHHi 06610 Nddff 1sTTT 2sTTT ... with tenths of degC, s = 1 below zero.

    Only groups before 333 count, since the numbers start anew there. The wind's unit figure (9) is not in the
    code table, so m/s is an assumption. Source: WMO code FM 12, from memory.
    """
    words = line.split()
    head = words[: words.index("333")] if "333" in words else words
    time = START + timedelta(days=int(line[:2]) - 1, hours=int(line[2:4]))
    wind = head[2][3:5]
    return Synop(time, tenths(head[3:], "1"), tenths(head[3:], "2"), float(wind) if wind.isdigit() else None)


def tenths(groups: list[str], kind: str) -> float | None:
    """The temperature [degC] of the first group of this kind (1 air, 2 dew point), or None."""
    for group in groups:
        if group[0] == kind and group[1] in "01" and group[2:].isdigit():
            return int(group[2:]) / 10.0 * (-1.0 if group[1] == "1" else 1.0)
    return None


def wind_by_minute(reports: list[Synop]) -> Iterator[float]:
    """The wind [m/s] of each minute: that of the latest report; without end."""
    known = {r.time: r.wind_m_s for r in reports if r.wind_m_s is not None}
    wind, time = CALM_M_S, START
    while True:
        wind = known.get(time, wind)
        yield wind
        time += timedelta(seconds=STEP_S)


def around(row: Minute, before: Surroundings, wind_m_s: float) -> Surroundings:
    """What the plate stands in: both faces' fluxes added.

    A missing flux (0.03 % of minutes) keeps the one before, since a zero would cool the plate.
    """
    return Surroundings(
        before.air_c if row.air_c is None else row.air_c,
        total(row.shortwave_down, row.shortwave_up, before.shortwave_w_m2),
        total(row.longwave_down, row.longwave_up, before.longwave_w_m2),
        film_w_m2_k(wind_m_s),
    )


def total(down: float | None, up: float | None, before: float) -> float:
    """Flux from both sides [W/m2], or the one before when either is missing."""
    return before if down is None or up is None else down + up


def plate_c(rows: list[Minute], reports: list[Synop]) -> Iterator[float]:
    """Temperature [degC] of a 10 mm plate lying in the open, for every row.

    C dT/dt = a (SW + SWup) + e (LWdown + LWup) - 2 e s T^4 + 2 h (Ta - T). It starts at air temperature.
    """
    first = rows[0].air_c or 0.0
    here = Surroundings(first, 0.0, 700.0, film_w_m2_k(CALM_M_S))
    temperature_c = first
    for row, wind_m_s in zip(rows, wind_by_minute(reports), strict=False):
        here = around(row, here, wind_m_s)
        temperature_c = after(PLATE, temperature_c, here, STEP_S)
        yield temperature_c


def samples(path: Path | None = None) -> Iterator[Row]:
    """One row of readings for every minute of the month; None, so not published, where the file has fills."""
    rows = list(month(path))
    for row, steel_c in zip(rows, plate_c(rows, synop(path)), strict=True):
        yield {
            "air-t": row.air_c,
            "air-rh": row.rh_percent,
            "baro": row.pressure_hpa,
            "steel": round(steel_c, 2),
        }


def first_row(lapse: TimeLapse) -> int:
    """Row of the epoch's time of day on the first day, so that day and night agree with the clock."""
    epoch = datetime.fromtimestamp(lapse.epoch_s, UTC)
    return epoch.hour * 60 + epoch.minute


def main() -> None:
    """Publish the measured month."""
    parser = options("Publish a measured month of weather (Payerne, June 2016) with a computed steel plate")
    parser.add_argument("--days", type=float, default=30.0, help="stop after this many simulated days")
    chosen = parser.parse_args()
    lapse: TimeLapse = chosen.time_lapse
    first = first_row(lapse)
    rows = islice(samples(), first, first + round(chosen.days * 1440))
    play(chosen.broker, Source(JOBSITE, UNITS, rows, STEP_S), lapse)


if __name__ == "__main__":
    main()
