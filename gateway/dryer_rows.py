"""The readings of a dryer test: a CSV, a row a minute, as a bench's logger or a gateway's own record gives it."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import UTC, datetime
from math import isfinite

from gateway import dryer_tables as tables
from gateway.dryer_unit import Row
from gateway.plan_reading import PlanErrors as FileErrors
from gateway.site_amounts import closest


def rows_of(text: str, file: str = "readings") -> tuple[Row, ...]:
    """Rows of a CSV: column `time` (minutes, or ISO 8601) and columns of COLUMNS. Raises: FileErrors.

    An empty cell is a value that is missing. A row whose time does not follow the one before is a mistake.
    """
    lines = csv.reader(text.splitlines())
    head = [cell.strip() for cell in next(lines, [])]
    unknown = [name for name in head if name != "time" and name not in tables.COLUMNS]
    if "time" not in head or unknown:
        why = "no column 'time'" if not unknown else f"column '{unknown[0]}' is not known here"
        raise FileErrors(f"{file}:1: {why}{closest(unknown[0], tables.COLUMNS) if unknown else ''}")
    rows: list[Row] = []
    first: float | None = None
    for number, cells in enumerate(lines, 2):
        if not any(cell.strip() for cell in cells):
            continue
        row = dict(zip(head, cells, strict=False))
        at = _minute(row["time"], file, number)
        first = at if first is None else first
        if rows and at - first <= rows[-1].minute:
            raise FileErrors(f"{file}:{number}: time {row['time']} does not follow the row before")
        rows.append(Row(at - first, _values(row, file, number)))
    return tuple(rows)


def _minute(text: str, file: str, line: int) -> float:
    try:
        return float(text)
    except ValueError:
        pass
    try:
        at = datetime.fromisoformat(text.strip())
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp() / 60.0
    except ValueError:
        raise FileErrors(f"{file}:{line}: time '{text}': minutes, or 2026-03-31T08:00:00+00:00") from None


def _values(row: Mapping[str, str], file: str, line: int) -> dict[str, float]:
    found = {}
    for name, cell in row.items():
        if name == "time" or not cell.strip():
            continue
        channel, turn = tables.COLUMNS[name]
        try:
            value = turn(float(cell))
        except ValueError:
            value = float("nan")
        if not isfinite(value):
            raise FileErrors(f"{file}:{line}: {name} = '{cell}' is not a number")
        found[channel] = value
    return found
