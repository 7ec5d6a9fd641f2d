"""The measured part of a climate record: the picture of each area and train, and the tables of intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway import record_work
from gateway.climate_record import Material, limits_in_force, rows
from gateway.record_channels import Column, Interval, Sheet, spans
from gateway.record_chart import Chart, svg
from gateway.record_words import Words
from gateway.tiers import QUARTER_MS

MOST_ROWS = 2000
DAY_MS, HOUR_MS = 86_400_000, 3_600_000


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the document.

    widths: shares of the page; numbers: columns set to the right in even figures. groups: (words, how many columns
    they stand over). fine: small type, for tables of many figures.
    """

    title: str
    text: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()
    numbers: tuple[int, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    pictures: tuple[str, ...] = ()
    groups: tuple[tuple[str, int], ...] = ()
    fine: bool = False


def _thresholds(material: Material, column: Column) -> list[float]:
    subject, quantity, _ = column.channels[0].split("|", 2)
    return [
        each.limit.threshold_inside for each in limits_in_force(material)
        if each.limit.subject == subject and each.limit.quantity == quantity
    ]  # fmt: skip


def picture(material: Material, words: Words, sheet: Sheet) -> Section:
    """The margin of each area; of a train the piece that had least."""
    margins = [column for column in sheet.columns if "margin" in column.channels[0].split("|")[1]]
    found = [(column, rows(material, column)) for column in margins]
    column, intervals = min(found, key=lambda each: _least(each[1]), default=(None, []))
    if column is None:
        return Section("")
    unit = words.unit(column.dimension)
    shown = [each.shown(unit) for each in intervals]
    limits = [unit.outside(each) for each in _thresholds(material, column)]
    asked = material.asked
    activities = record_work.activity_spans(material, words, sheet.subject)
    unknown = spans([1.0 - each / QUARTER_MS for each in _known(material, column)])
    chart = Chart(shown, unknown, limits, unit.spelling, _ticks(material, words), activities)
    name = words(column.name) if len(margins) == 1 else f"{words('condensation margin')}, {column.name}"
    each = words.length(asked.every_ms)
    text = words(
        "Box: least to greatest of each {each}; line: mean; dashed: the limit; hatched: not known.", each=each
    )
    return Section(f"{_title(sheet, words)}: {name}", (text,), pictures=(svg(chart),))


def _known(material: Material, column: Column) -> list[int]:
    """For how long each quarter [ms] was known at the place of a column that was known least."""
    places = (material.quarters[name].known_ms for name in column.channels)
    return [min(each) for each in zip(*places, strict=True)]


def _title(sheet: Sheet, words: Words) -> str:
    return sheet.label if sheet.is_train else f"{words('Area')} {sheet.label}"


def _least(intervals: Sequence[Interval]) -> float:
    return min((each.low for each in intervals if each.low is not None), default=1e9)


def _ticks(material: Material, words: Words) -> list[tuple[float, str]]:
    """Midnights, or full hours in a short record, at most a dozen."""
    asked = material.asked
    length = asked.until_ms - asked.from_ms
    short = length <= 2 * DAY_MS
    hours = range(asked.from_ms - asked.from_ms % HOUR_MS, asked.until_ms, HOUR_MS)
    found = [
        ((at - asked.from_ms) / length, words.clock(at) if short else words.day(at)[5:])
        for at in hours if asked.from_ms <= at <= asked.until_ms - length // 50
        and (short or words.clock(at)[:2] == "00")
    ]  # fmt: skip
    return found[:: -(-len(found) // 12) or 1]


def tables(material: Material, words: Words, every: list[Sheet], left: int = MOST_ROWS) -> list[Section]:
    """The tables of intervals while `left` rows last; the CSV file has every row."""
    found = []
    for sheet in every:
        whole = len(material.asked.starts)
        count = max(0, min(left, whole))
        left -= count
        found.append(_interval_table(material, words, sheet, count, whole))
    return found


def _interval_table(material: Material, words: Words, sheet: Sheet, count: int, whole: int) -> Section:
    """Of an area each quantity with least, mean and greatest; of a train the least margin of each piece."""
    ends = ("min",) if sheet.is_train else ("min", "mean", "max")
    columns = [(each, rows(material, each)[:count], _thresholds(material, each)) for each in sheet.columns]
    made = []
    for place, at in enumerate(material.asked.starts[:count]):
        cells = [words.moment(at)]
        for column, found, limits in columns:
            cells += [words.number(value, column.dimension, limits) for value in found[place][: len(ends)]]
        known = min(found[place].known_ms for _, found, _ in columns)
        made.append((*cells, f"{known / material.asked.length_ms(at):.0%}"))
    text = [words("Mean over the time known. Known: of the place known least. Over all places of a column.")]
    if count < whole:
        text.append(words("{left} further rows are in the CSV file.", left=whole - count))
    heads = (words("from"), *(words(end) for _ in columns for end in ends), words("known"))
    groups = (("", 1), *((_head(each, words), len(ends)) for each, _, _ in columns), ("", 1))
    numbers = tuple(range(1, len(heads)))
    widths = (2.5, *(1.0 for _ in heads[2:]), 1.0)
    title = f"{words('Intervals')}: {_title(sheet, words)}"
    return Section(title, tuple(text), heads, widths, numbers, tuple(made), (), groups, fine=True)


def _head(column: Column, words: Words) -> str:
    return f"{words(column.name)}, {words.unit(column.dimension).spelling}"
