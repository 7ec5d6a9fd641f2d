"""The picture of a dryer test, as SVG text: the gap of the inlet, of the outlet, and of the outlet as it went out.

A bar on a scale of °C from the pressure dew point to the gas; the owner's limit is the notch, the uncertainty of
the dew point the soft edge. Lengths in points, text in a font that the certificate's program carries.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from math import ceil, floor
from typing import NamedTuple

WIDTH, LEFT, ROW, TOP, THICK = 500.0, 150.0, 34.0, 8.0, 11.0
INK, FILL, SOFT, RULE, NOTCH = "#1b2a33", "#c9d6df", "#8fa6b5", "#c4ccd2", "#8f3f1f"
_X = Callable[[float], float]
FONT = 'font-family="Libertinus Serif"'


class GapBar(NamedTuple):
    """One bar: from dew point to gas [°C], half width of the soft edge [K] or None, notch [°C] or None, words."""

    place: str
    point_c: float
    gas_c: float
    u_k: float | None
    notch_c: float | None
    words: str


def svg(bars: Sequence[GapBar]) -> str:
    """Return the picture."""
    low, high = _range(bars)

    def x(at_c: float) -> float:
        return LEFT + (WIDTH - LEFT - 8.0) * (at_c - low) / (high - low)

    height = TOP + ROW * len(bars) + 18.0
    parts = [_grid(low, high, x, TOP + ROW * len(bars))]
    parts += [_bar(bar, x, TOP + ROW * at) for at, bar in enumerate(bars)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {WIDTH:g} {height:g}">{"".join(parts)}</svg>'
    )


def _range(bars: Sequence[GapBar]) -> tuple[float, float]:
    """Whole fives around everything drawn."""
    ends = [
        at for bar in bars for at in (bar.point_c - (bar.u_k or 0.0), bar.gas_c, bar.notch_c) if at is not None
    ]
    low, high = 5.0 * floor(min(ends) / 5.0), 5.0 * ceil(max(ends) / 5.0)
    return low, max(high, low + 10.0)


def _grid(low: float, high: float, x: _X, bottom: float) -> str:
    found = []
    for step in range(round((high - low) / 5.0) + 1):
        at = low + 5.0 * step
        found.append(
            f'<line x1="{x(at):.1f}" x2="{x(at):.1f}" y1="{TOP}" y2="{bottom:.1f}" stroke="{RULE}" '
            f'stroke-width="0.5"/><text x="{x(at):.1f}" y="{bottom + 11:.1f}" {FONT} font-size="8" fill="{INK}" '
            f'text-anchor="middle">{at:.0f} °C</text>'
        )
    return "".join(found)


def _bar(bar: GapBar, x: _X, top: float) -> str:
    y, left, right = top + 9.0, x(min(bar.point_c, bar.gas_c)), x(max(bar.point_c, bar.gas_c))
    parts = [
        f'<text x="0" y="{top + 13:.1f}" {FONT} font-size="9" font-weight="bold" fill="{INK}">'
        f"{escape(bar.place)}</text>"
        f'<text x="0" y="{top + 23:.1f}" {FONT} font-size="8" fill="{INK}">{escape(bar.words)}</text>',
        f'<rect x="{left:.1f}" y="{y:.1f}" width="{max(right - left, 0.5):.1f}" height="{THICK}" fill="{FILL}"/>',
        _end(x(bar.point_c), y, 1.2), _end(x(bar.gas_c), y, 2.0),
    ]  # fmt: skip
    if bar.u_k:
        soft, wide = x(bar.point_c - bar.u_k), x(bar.point_c + bar.u_k) - x(bar.point_c - bar.u_k)
        parts.insert(2, f'<rect x="{soft:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{THICK}" fill="{SOFT}" '
                        'fill-opacity="0.7"/>')  # fmt: skip
    if bar.notch_c is not None:
        at = x(bar.notch_c)
        parts.append(
            f'<line x1="{at:.1f}" x2="{at:.1f}" y1="{y - 4:.1f}" y2="{y + THICK + 4:.1f}" stroke="{NOTCH}" '
            f'stroke-width="1.2" stroke-dasharray="3 2"/>'
            f'<polygon points="{at - 3:.1f},{y - 5:.1f} {at + 3:.1f},{y - 5:.1f} {at:.1f},{y:.1f}" '
            f'fill="{NOTCH}"/>'
        )
    return "".join(parts)


def _end(at: float, y: float, width: float) -> str:
    return (
        f'<line x1="{at:.1f}" x2="{at:.1f}" y1="{y - 2:.1f}" y2="{y + THICK + 2:.1f}" stroke="{INK}" '
        f'stroke-width="{width}"/>'
    )
