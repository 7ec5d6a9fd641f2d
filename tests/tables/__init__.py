"""Published and computed rows; each file's header names its source and tolerance."""

from __future__ import annotations

import csv
from pathlib import Path

Row = tuple[list[float], float, float]


def rows(name: str, count: int) -> list[Row]:
    """The rows of one table as (inputs, expected, tolerance in the same unit).

    count: how many the table must hold, so that a row cannot be lost unseen.
    """
    text = (Path(__file__).parent / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    table = list(csv.DictReader(line for line in text if not line.startswith("#")))
    assert len(table) == count, f"{name}.csv has {len(table)} rows, expected {count}"
    return [_row(each) for each in table]


def _row(cells: dict[str, str]) -> Row:
    expected, absolute, relative = (cells.pop(key) for key in ("expected", "tolerance_abs", "tolerance_rel"))
    tolerance = float(absolute) if absolute else float(relative) * abs(float(expected))
    return [float(value) for value in cells.values()], float(expected), tolerance
