"""The picture of an area in a climate record: its margin over time, as SVG text.

A band from least to greatest with its mean as a line, the limit as a notched line, hatched where nothing is known;
below it a strip of what went on. Colours after IEC 60073 (red danger, grey no meaning), never alone: below the
limit the band is also outlined. Lengths in points, text in a font that the report's program carries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor

from gateway.record_channels import Interval, Span

WIDTH, HEIGHT, LEFT, TOP, STRIP = 500.0, 120.0, 56.0, 8.0, 9.0
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
FONT = 'font-family="Libertinus Serif" font-size="7.5"'
HATCH = (
    '<defs><pattern id="none" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<line x1="0" y1="0" x2="0" y2="5" stroke="#6b7280" stroke-width="0.9"/></pattern></defs>'
)
OUTLINED = {"unset": ' stroke="#6b7280" stroke-width="0.4"', "exposure": ' stroke="#b42318" stroke-width="0.7"'}
FRAME = (
    f'<rect x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT}" height="{HEIGHT}" fill="none" stroke="#374151" '
    'stroke-width="0.6"/>'
)
SHADES = {
    "blasting": "#8a6d3b", "priming": "#5b4a8a", "stripe coat": "#7a68a6", "coating": "#3e5c93",
    "curing": "#9db4d6", "washing": "#3f7f86", "blow-down": "#b59b6a", "idle": "#d4d7db",
    "unset": "#ffffff", "exposure": "#f4c7c3",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Chart:
    """What is drawn: one interval after another, limits and marks in the shown unit; what went on.

    ticks: (place 0..1, words) along the time. unknown: where nothing was known. activities: name, words, when.
    """

    intervals: Sequence[Interval]
    unknown: Sequence[Span]
    limits: Sequence[float]
    unit: str
    ticks: Sequence[tuple[float, str]]
    activities: Sequence[tuple[str, str, Sequence[Span]]]


def svg(chart: Chart) -> str:
    """Return the picture."""
    strips = len(chart.activities) * (STRIP + 2)
    height = TOP + HEIGHT + strips + 14
    low, high = _range(chart)
    parts = [HATCH, _grid(low, high, chart.unit), _band(chart, low, high), _limits(chart, low, high)]
    parts += [_ticks(chart), _strips(chart), FRAME]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {WIDTH:g} {height:g}">{"".join(parts)}</svg>'
    )


def _range(chart: Chart) -> tuple[float, float]:
    ends = [each for i in chart.intervals for each in (i.low, i.high) if each is not None]
    ends += [0.0, *chart.limits]
    low, high = min(ends), max(ends)
    room = max((high - low) * 0.06, 0.5)
    return low - room, high + room


def _y(value: float, low: float, high: float) -> float:
    return TOP + HEIGHT * (high - value) / (high - low)


def _x(chart: Chart, place: int) -> float:
    return LEFT + (WIDTH - LEFT) * place / max(1, len(chart.intervals))


def _grid(low: float, high: float, unit: str) -> str:
    step = next((each for each in STEPS if (high - low) / each <= 6), STEPS[-1])
    made = ""
    for number in range(ceil(low / step), floor(high / step) + 1):
        y = _y(number * step, low, high)
        weight = "0.8" if number == 0 else "0.3"
        made += (
            f'<line x1="{LEFT}" x2="{WIDTH}" y1="{y:.2f}" y2="{y:.2f}" stroke="#9aa4b0" stroke-width="{weight}"/>'
        )
        made += f'<text x="{LEFT - 3}" y="{y + 2.5:.2f}" text-anchor="end" {FONT}>{number * step:g}</text>'
    return made + f'<text x="0" y="{TOP + 5}" {FONT}>{escape(unit)}</text>'


def _band(chart: Chart, low: float, high: float) -> str:
    """Each interval is a box from its least to its greatest; over it all is hatched what was not known."""
    worst = max(chart.limits, default=None)
    made = ""
    for place, each in enumerate(chart.intervals):
        x, width = _x(chart, place), _x(chart, place + 1) - _x(chart, place)
        if each.low is None or each.high is None or each.mean is None:
            continue
        top, bottom = _y(each.high, low, high), _y(each.low, low, high)
        broken = worst is not None and each.low < worst
        look = 'fill="#f4c7c3" stroke="#b42318" stroke-width="0.7"' if broken else 'fill="#c9d6df"'
        made += (
            f'<rect x="{x:.2f}" y="{top:.2f}" width="{width:.2f}" height="{max(0.6, bottom - top):.2f}" {look}/>'
        )
        mean = _y(each.mean, low, high)
        made += (
            f'<line x1="{x:.2f}" x2="{x + width:.2f}" y1="{mean:.2f}" y2="{mean:.2f}" '
            'stroke="#1b2a33" stroke-width="0.9"/>'
        )
    return made + "".join(_box(span, TOP, HEIGHT, 'fill="url(#none)"') for span in chart.unknown)


def _box(span: Span, y: float, height: float, look: str) -> str:
    x, end = (LEFT + (WIDTH - LEFT) * place for place in span)
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{max(0.3, end - x):.2f}" height="{height:g}" {look}/>'


def _limits(chart: Chart, low: float, high: float) -> str:
    made = ""
    for each in sorted(set(chart.limits)):
        y = _y(each, low, high)
        made += (
            f'<line x1="{LEFT}" x2="{WIDTH}" y1="{y:.2f}" y2="{y:.2f}" stroke="#b42318" stroke-width="0.8" '
            f'stroke-dasharray="5 2"/><path d="M{LEFT} {y - 3:.2f} l5 3 l-5 3 z" fill="#b42318"/>'
        )
    return made


def _ticks(chart: Chart) -> str:
    y = TOP + HEIGHT + len(chart.activities) * (STRIP + 2) + 10
    made = ""
    for place, words in chart.ticks:
        x = LEFT + (WIDTH - LEFT) * place
        made += (
            f'<line x1="{x:.2f}" x2="{x:.2f}" y1="{TOP}" y2="{y - 8:.2f}" stroke="#9aa4b0" stroke-width="0.3"/>'
        )
        made += f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="middle" {FONT}>{escape(words)}</text>'
    return made


def _strips(chart: Chart) -> str:
    made, y = "", TOP + HEIGHT + 2
    for name, words, when in chart.activities:
        made += f'<text x="{LEFT - 3}" y="{y + 7:.2f}" text-anchor="end" {FONT}>{escape(words)}</text>'
        look = f'fill="{SHADES.get(name, "#6b7280")}"' + OUTLINED.get(name, "")
        made += "".join(_box(span, y, STRIP - 1, look) for span in when)
        y += STRIP + 2
    return made
