"""The figures of a climate record: a channel by quarters of an hour, joined to intervals, columns and tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from alerts.measured import DIMENSION, Dimension, Quantity, Unit
from gateway.jobsite import Area, Jobsite, Train
from gateway.tiers import channel_of

HALF = 0.5


class Interval(NamedTuple):
    """One stretch of the record: least, mean, greatest value in the unit inside; None where nothing was known."""

    low: float | None
    mean: float | None
    high: float | None
    known_ms: int

    def shown(self, unit: Unit) -> Interval:
        """Return it in the reader's unit."""
        low, mean, high = (None if value is None else unit.outside(value) for value in self[:3])
        return Interval(low, mean, high, self.known_ms)


class Total(NamedTuple):
    """Of a channel that is 1 or 0: how long it was 1, and how long it was known [ms]."""

    so_ms: int
    known_ms: int


@dataclass(frozen=True, slots=True)
class Quarters:
    """One channel by quarters of an hour side by side, in the unit inside; weight: what a mean counts with."""

    low: Sequence[float | None]
    mean: Sequence[float | None]
    high: Sequence[float | None]
    weight: Sequence[int]
    known_ms: Sequence[int]

    def part(self, first: int, last: int) -> Quarters:
        """Return the quarters from one number until before another."""
        return Quarters(
            self.low[first:last], self.mean[first:last], self.high[first:last], self.weight[first:last],
            self.known_ms[first:last],
        )  # fmt: skip

    def joined(self, first: int, last: int) -> Interval:
        """Return the quarters from one number until before another as one interval."""
        lows = [each for each in self.low[first:last] if each is not None]
        if not lows:
            return Interval(None, None, None, sum(self.known_ms[first:last]))
        highs = [each for each in self.high[first:last] if each is not None]
        pairs = zip(self.mean[first:last], self.weight[first:last], strict=True)
        total = sum(mean * weight for mean, weight in pairs if mean is not None)
        mean = total / (sum(self.weight[first:last]) or 1)
        return Interval(min(lows), mean, max(highs), sum(self.known_ms[first:last]))

    def total(self) -> Total:
        """Return a channel of ones and zeros summed up."""
        pairs = zip(self.mean, self.weight, strict=True)
        so_ms = round(sum(mean * weight for mean, weight in pairs if mean is not None))
        return Total(so_ms, sum(self.known_ms))


@dataclass(frozen=True, slots=True)
class Column:
    """One quantity of a place as it stands in a table: the worst, or the whole spread, of these channels."""

    name: str
    dimension: Dimension
    channels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The table of one area or one train."""

    subject: str
    label: str
    columns: tuple[Column, ...]
    is_train: bool = False


_AREA = (
    Quantity.DEW_POINT_MARGIN, Quantity.RH_AT_STEEL, Quantity.STEEL_TEMPERATURE, Quantity.RELATIVE_HUMIDITY,
    Quantity.AIR_TEMPERATURE, Quantity.WIND_SPEED, Quantity.PRODUCT_TEMPERATURE,
)  # fmt: skip


def name_of(quantity: str) -> str:
    """Return a quantity as people write it."""
    return quantity.replace("_", " ").replace("rh ", "RH ")


def sheets(site: Jobsite, known: Iterable[str]) -> list[Sheet]:
    """Return the tables of a record: the margin first, then what it comes from. known: channels there are."""
    names = sorted(known)
    found = [_area_sheet(area, names) for area in site.areas]
    found += [_train_sheet(train, names) for train in site.trains]
    return [sheet for sheet in found if sheet.columns]


def _area_sheet(area: Area, names: list[str]) -> Sheet:
    columns = (_column(area.id, quantity, name_of(quantity), names) for quantity in _AREA)
    return Sheet(area.id, f"{area.id}, {area.label}", tuple(each for each in columns if each.channels))


def _train_sheet(train: Train, names: list[str]) -> Sheet:
    columns = (
        _column(f"{train.id}/{piece.id}", Quantity.CONDENSATION_MARGIN, piece.label, names)
        for piece in train.pieces
    )
    return Sheet(train.id, train.label, tuple(each for each in columns if each.channels), is_train=True)


def _column(subject: str, quantity: Quantity, name: str, names: list[str]) -> Column:
    start = channel_of(subject, quantity, "")
    return Column(name, DIMENSION[quantity], tuple(each for each in names if each.startswith(start)))


def joined(found: Sequence[Interval]) -> Interval:
    """Return one interval over several places: least of the least, greatest of the greatest, mean of the means.

    Known is as long as the place that was known least.
    """
    known = min((each.known_ms for each in found), default=0)
    lows = [each.low for each in found if each.low is not None]
    highs = [each.high for each in found if each.high is not None]
    means = [each.mean for each in found if each.mean is not None]
    if not (lows and highs and means):
        return Interval(None, None, None, known)
    return Interval(min(lows), sum(means) / len(means), max(highs), known)


Span = tuple[float, float]
"""From and to, as places 0..1 in the record."""


def spans(shares: Sequence[float]) -> list[Span]:
    """Return the stretches of quarters of which most was so, neighbours joined."""
    found: list[Span] = []
    for place, share in enumerate(shares):
        begin, end = place / len(shares), (place + 1) / len(shares)
        if share >= HALF and found and found[-1][1] == begin:
            found[-1] = (found[-1][0], end)
        elif share >= HALF:
            found.append((begin, end))
    return found
