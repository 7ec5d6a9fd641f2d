"""Draw how far our dew and frost points are from their references, as an SVG heat map.

Run by hand: `python -m tests.make_error_picture`. Three maps of 60 x 30 cells, point against pressure: dew point
and frost point against CoolProp, dew point over supercooled water against Hardy 1998. Each cell takes air that the
reference saturates at its middle, asks us for the point and shows the distance in mK. Cells where vapour would be
more than 0.93 of the total pressure, CoolProp's own ceiling, are left empty.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import groupby
from math import ceil, exp, log
from pathlib import Path
from typing import NamedTuple

from gateway import psychrometrics as air
from tests import make_surface

TARGET = Path(__file__).parent.parent / "deploy" / "pictures" / "error-surface.svg"
ACROSS, UP = 60, 30
LOW_PA, HIGH_PA = air.LOWEST_PA, air.HIGHEST_PA
STEAM_SHARE = 0.93
STEP_MK = 0.1
# Viridis from its dark end; light and dark pages both leave it readable.
COLOURS = ("#440154", "#472d7b", "#3b528b", "#2c728e", "#21918c", "#28ae80", "#5ec962", "#addc30", "#fde725")

WIDTH, HEIGHT = 1080, 506
PANEL_W, PANEL_H, LEFT, TOP, GAP = 300, 240, 66, 136, 36
TICKS_BAR = (0.55, 1, 2, 4, 8, 16)
STYLE = """svg{font:13px system-ui,sans-serif}.page{fill:#fff}text{fill:#1c2024}.soft{fill:#5a6370}
.line{stroke:#1c2024;fill:none}.empty{fill:#e4e7eb}.mark{fill:none;stroke:#fff;stroke-width:2}
@media (prefers-color-scheme:dark){.page{fill:#16191d}text{fill:#e8eaed}.soft{fill:#a5adb8}
.line{stroke:#e8eaed}.empty{fill:#30353c}}"""


class Branch(NamedTuple):
    """One map: its title, what it is measured against, its range [C], the reference and our inverse."""

    title: str
    against: str
    low_c: float
    saturated_pa: Callable[[float, float], float | None]
    point_c: Callable[[float, float], float]


class Cell(NamedTuple):
    """The middle of a cell and the distance there."""

    point_c: float
    p_pa: float
    error_mk: float | None


def coolprop_pa(t_c: float, p_pa: float) -> float | None:
    """Partial pressure of saturated air, None near pure steam."""
    if t_c > 0.0 and make_surface.coolprop_water_pa(t_c) >= STEAM_SHARE * p_pa:
        return None
    return make_surface.coolprop_saturated_pa(t_c, p_pa)


def hardy_pa(t_c: float, p_pa: float) -> float:
    """Partial pressure of air saturated over supercooled water."""
    return make_surface.hardy_water_pa(t_c) * exp(make_surface.hardy_ln_factor(t_c, p_pa))


BRANCHES = (
    Branch("Frost point", "CoolProp 8.0.0", -100.0, coolprop_pa, air.frost_point_from_vapour_pressure_c),
    Branch("Dew point, supercooled", "Hardy 1998", -100.0, hardy_pa, air.dew_point_from_vapour_pressure_c),
    Branch("Dew point", "CoolProp 8.0.0", 0.0, coolprop_pa, air.dew_point_from_vapour_pressure_c),
)


def surface(branch: Branch) -> list[list[Cell]]:
    """Rows of cells, lowest pressure first."""
    ratio = HIGH_PA / LOW_PA
    pressures = [LOW_PA * ratio ** ((row + 0.5) / UP) for row in range(UP)]
    points = [branch.low_c + 100.0 * (column + 0.5) / ACROSS for column in range(ACROSS)]
    return [[cell(branch, t, p) for t in points] for p in pressures]


def cell(branch: Branch, t_c: float, p_pa: float) -> Cell:
    """Distance of our point from the one the reference saturated."""
    e_pa = branch.saturated_pa(t_c, p_pa)
    return Cell(t_c, p_pa, None if e_pa is None else abs(branch.point_c(e_pa, p_pa) - t_c) * 1000.0)


def worst(rows: list[list[Cell]]) -> Cell:
    """The cell farthest off."""
    return max((c for row in rows for c in row), key=lambda c: c.error_mk or 0.0)


def text(x: float, y: float, words: str, more: str = "") -> str:
    """One line of text; more: attributes."""
    return f'<text x="{x:g}" y="{y:g}"{more and " " + more}>{words}</text>'


MIDDLE, END, SOFT = 'text-anchor="middle"', 'text-anchor="end"', 'class="soft"'


def height_of(p_pa: float) -> float:
    """Distance from a panel's top, on a logarithmic scale."""
    return PANEL_H * (1.0 - log(p_pa / LOW_PA) / log(HIGH_PA / LOW_PA))


def shade(found: Cell) -> int | None:
    """Index of the colour, None for an empty cell."""
    return None if found.error_mk is None else min(int(found.error_mk / STEP_MK), len(COLOURS) - 1)


def cells(rows: list[list[Cell]]) -> Iterator[str]:
    """Neighbours of one colour are one rectangle."""
    wide, high = PANEL_W / ACROSS, PANEL_H / UP
    for number, row in enumerate(rows):
        at = 0
        for colour, run in groupby(map(shade, row)):
            count = len(list(run))
            y, fill = PANEL_H - (number + 1) * high, "empty" if colour is None else f"c{colour}"
            yield f'<rect class="{fill}" x="{at * wide:g}" y="{y:g}" width="{count * wide:g}" height="{high:g}"/>'
            at += count


def axes(branch: Branch, first: bool) -> Iterator[str]:
    """Frame, ticks and labels."""
    yield f'<rect class="line" width="{PANEL_W}" height="{PANEL_H}"/>'
    for tick in range(0, 101, 20):
        x = PANEL_W * tick / 100
        yield f'<path class="line" d="M{x:g} {PANEL_H}v5"/>'
        yield text(x, PANEL_H + 20, f"{branch.low_c + tick:.0f}".replace("-", "\N{MINUS SIGN}"), MIDDLE)
    yield text(PANEL_W / 2, PANEL_H + 40, f"{branch.title.split(',')[0].lower()}, °C", MIDDLE)
    for bar in TICKS_BAR:
        y = height_of(bar * 1e5)
        yield f'<path class="line" d="M0 {y:.1f}h-5"/>'
        if first:
            yield text(-9, y + 4.5, f"{bar:g}", END)
    if first:
        yield text(-PANEL_H / 2, -44, "pressure, bar absolute", f'{MIDDLE} transform="rotate(-90)"')


def in_words(found: Cell) -> str:
    """The worst value and where."""
    point = f"{found.point_c:.1f}".replace("-", "\N{MINUS SIGN}")
    return f"worst {found.error_mk:.2f} mK at {point} °C, {found.p_pa / 1e5:.3g} bar"


def panel(place: int, branch: Branch, rows: list[list[Cell]]) -> Iterator[str]:
    """One map with its heading; a ring marks the worst cell."""
    found = worst(rows)
    yield f'<g transform="translate({LEFT + place * (PANEL_W + GAP)} {TOP})">'
    yield text(0, -46, branch.title, 'font-weight="600"')
    yield text(0, -28, f"against {branch.against}", SOFT)
    yield text(0, -10, in_words(found))
    yield f'<g shape-rendering="crispEdges">{"".join(cells(rows))}</g>'
    x = PANEL_W * (found.point_c - branch.low_c) / 100
    yield f'<circle class="mark" cx="{x:.1f}" cy="{height_of(found.p_pa):.1f}" r="6"/>'
    yield from axes(branch, place == 0)
    if branch.against.startswith("Hardy"):
        yield f'<path d="M{PANEL_W / 2} 0v{PANEL_H}" stroke="#fff" stroke-dasharray="4 4"/>'
        yield f'<text x="{PANEL_W / 2 - 6}" y="{PANEL_H - 10}" {END} style="fill:#fff">Hardy extrapolated</text>'
    yield "</g>"


def colour_bar(count: int) -> Iterator[str]:
    """Steps with their limits in mK, and what an empty cell means."""
    y, wide = HEIGHT - 48, 44
    yield text(LEFT, y - 8, "distance from the reference, mK")
    for step in range(count):
        yield f'<rect class="c{step}" x="{LEFT + step * wide}" y="{y}" width="{wide}" height="14"/>'
    for step in range(count + 1):
        yield text(LEFT + step * wide, y + 30, f"{step * STEP_MK:.1f}", MIDDLE)
    x = LEFT + PANEL_W + GAP + 120
    yield f'<rect class="empty" x="{x}" y="{y}" width="{wide}" height="14"/>'
    yield text(x + wide + 8, y + 12, "vapour above 0.93 of the pressure: no reference", SOFT)


def picture() -> str:
    """The whole SVG."""
    found = [surface(branch) for branch in BRANCHES]
    far = max((worst(rows) for rows in found), key=lambda c: c.error_mk or 0.0)
    count = min(ceil((far.error_mk or 0.0) / STEP_MK), len(COLOURS))
    style = STYLE + "".join(f".c{n}{{fill:{colour}}}" for n, colour in enumerate(COLOURS))
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">'
    title = "How far dew and frost points are from their references"
    parts = [
        head, f"<title>{title}: {in_words(far)}</title><style>{style}</style>",
        f'<rect class="page" width="{WIDTH}" height="{HEIGHT}"/>',
        text(LEFT, 34, title, 'font-size="20" font-weight="600"'),
        text(LEFT, 56, f"All cells: {in_words(far)}. One sample a cell, {ACROSS} points by {UP} pressures.", SOFT),
        *(line for place, each in enumerate(BRANCHES) for line in panel(place, each, found[place])),
        *colour_bar(count), "</svg>\n",
    ]  # fmt: skip
    return "\n".join(parts)


if __name__ == "__main__":
    TARGET.write_text(picture(), encoding="utf-8")
