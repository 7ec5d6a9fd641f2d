"""The plan as our one drawing, the gap: for each place a bar between the dew (frost) point and its coldest wall.

SVG text for phone and desk, light and dark. Red hatching means that water falls out where the work is; where a
piece is there to take water out, the hatching is grey. Colours after IEC 60073, never colour alone.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from math import ceil, floor
from textwrap import wrap

from gateway.plan import DRY_KG_PER_H, WORKPLACE, Plan, Result
from gateway.plan_units import Units
from gateway.plan_words import sentence
from gateway.water_path import Passage, each_piece

WIDTH, LEFT, RIGHT = 420, 16, 16
TALL, SLIM, HEAD = 62, 26, 96
STYLE = """
svg{background:#fff;color:#1b1f24;font:14px system-ui,sans-serif}
text{fill:currentColor}.name{font-weight:600}.words{font-size:12.5px}.small{font-size:11px;opacity:.75}
.scale{stroke:currentColor;opacity:.25}.wall{stroke:currentColor;stroke-width:3}
.clear{fill:#1a7f37}.wet{fill:url(#wet);stroke:#b42318}.taken{fill:url(#taken);stroke:#6b7280}
.wetline{stroke:#b42318;stroke-width:3}.takenline{stroke:#6b7280;stroke-width:3}
@media (prefers-color-scheme:dark){svg{background:#14181d;color:#eef1f4}
.clear{fill:#3fb950}.wet{stroke:#ff7b72}.wetline{stroke:#ff7b72}.taken{stroke:#9aa4b0}.takenline{stroke:#9aa4b0}}
"""
HATCH = (
    '<pattern id="{0}" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<line class="{0}line" x1="0" y1="0" x2="0" y2="7"/></pattern>'
)


def picture(plan: Plan, result: Result, units: Units) -> str:
    """One hour of a plan as SVG text. The widths of bars follow one temperature scale."""
    rows = each_piece(result.passages)
    ends = [t for p in rows if p.wall_c is not None for t in (p.wall_c, p.point_c)] or [0.0, 10.0]
    place = _scale(ends)
    said = wrap(sentence(plan, result, units), 62)
    top = HEAD + 17 * (len(said) - 1)
    parts, y = [], top + 14
    for row in rows:
        parts.append(_row(row, y, place, units))
        y += SLIM if row.wall_c is None else TALL
    height = y + 44
    head = _head(plan, said)
    ticks = _ticks(ends, place, units, top, y)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" width="100%" '
        f'style="max-width:{2 * WIDTH}px"><title>{escape(plan.label)}: where water falls out</title>'
        f"<style>{STYLE}</style><defs>{HATCH.format('wet')}{HATCH.format('taken')}</defs>"
        f"{head}{ticks}{''.join(parts)}{_foot(height)}</svg>\n"
    )


def _scale(ends: list[float]) -> Callable[[float], float]:
    """Where a temperature [°C] stands on the page."""
    low, high = 5.0 * floor(min(ends) / 5.0), 5.0 * ceil(max(ends) / 5.0 + 1e-9)
    return lambda t_c: LEFT + (WIDTH - LEFT - RIGHT) * (t_c - low) / max(high - low, 5.0)


def _head(plan: Plan, said: list[str]) -> str:
    kind = "simulated weather, modelled train" if plan.simulated else "modelled, not measured"
    lines = "".join(
        f'<text x="{LEFT}" y="{52 + 17 * i}" class="words">{escape(s)}</text>' for i, s in enumerate(said)
    )
    return (
        f'<text x="{LEFT}" y="26" class="name">{escape(plan.label)}</text>'
        f'<text x="{WIDTH - RIGHT}" y="26" class="small" text-anchor="end">{kind}</text>{lines}'
    )


def _ticks(ends: list[float], place: Callable[[float], float], units: Units, top: float, bottom: float) -> str:
    step = 5.0 if max(ends) - min(ends) <= 30.0 else 10.0
    first = step * floor(min(ends) / step)
    made = []
    for i in range(int((max(ends) - first) / step) + 2):
        t_c = first + i * step
        if LEFT <= place(t_c) <= WIDTH - RIGHT:
            x = place(t_c)
            made.append(f'<line class="scale" x1="{x:.1f}" y1="{top}" x2="{x:.1f}" y2="{bottom}"/>')
            made.append(
                f'<text class="small" x="{x:.1f}" y="{top - 4}" text-anchor="middle">{_plain(t_c, units)}</text>'
            )
    made.append(f'<text class="small" x="{LEFT}" y="{bottom + 12}">scale in {units.temperature.unit}</text>')
    return "".join(made)


def _plain(t_c: float, units: Units) -> str:
    return f"{units.temperature.outside(t_c):.0f}"


def _row(p: Passage, y: float, place: Callable[[float], float], units: Units) -> str:
    if p.wall_c is None or p.gap_k is None:
        return f'<text x="{LEFT}" y="{y + 14}" class="words">{escape(f"{p.label}: {_does(p, units)}")}</text>'
    low, high = sorted((place(p.point_c), place(p.wall_c)))
    wall = place(p.wall_c)
    return (
        f'<text x="{LEFT}" y="{y + 14}" class="name">{escape(p.label)}</text>'
        f'<text x="{WIDTH - RIGHT}" y="{y + 14}" class="words" text-anchor="end">{escape(_gap(p, units))}</text>'
        f'<rect class="{_colour(p)}" x="{low:.1f}" y="{y + 22}" width="{high - low:.1f}" height="16"/>'
        f'<line class="wall" x1="{wall:.1f}" y1="{y + 19}" x2="{wall:.1f}" y2="{y + 41}"/>'
        f'<text class="small" x="{min(max(wall, LEFT + 30), WIDTH - 46):.1f}" y="{y + 52}" text-anchor="middle">'
        f"wall {escape(units.temperature(p.wall_c))}</text>"
    )


def _colour(p: Passage) -> str:
    if (p.gap_k or 0.0) > 0.0:
        return "clear"
    return "wet" if p.kind in WORKPLACE else "taken"


def _gap(p: Passage, units: Units) -> str:
    """The gap in words: how far from wet, or how much falls out."""
    point = "frost point" if p.frost else "dew point"
    gap_k = p.gap_k or 0.0
    if gap_k > 0.0:
        return f"{units.difference(gap_k)} above the {point}"
    ice = ", ice may block" if p.wall_c is not None and p.wall_c < 0.0 else ""
    if p.formed_kg_per_h <= DRY_KG_PER_H:
        return f"{units.difference(-gap_k)} below the {point}{ice}"
    return f"water falls out: {units.water(p.formed_kg_per_h)}{ice}"


def _does(p: Passage, units: Units) -> str:
    did = [
        f"{word} {units.water(kg_per_h)}"
        for word, kg_per_h in (
            ("drains", p.drained_kg_per_h), ("takes up", p.taken_kg_per_h), ("carries on", p.carried_kg_per_h),
        )
        if kg_per_h > DRY_KG_PER_H
    ]  # fmt: skip
    return ", ".join(did) or f"{units.temperature(p.outlet.temperature_c)} out, no liquid"


def _foot(height: float) -> str:
    words = "bar: dew point to coldest wall. hatched: water falls out. advisory only"
    return f'<text class="small" x="{LEFT}" y="{height - 12}">{words}</text>'
