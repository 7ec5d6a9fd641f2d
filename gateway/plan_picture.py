"""The plan as our one drawing, the gap: for each place a bar between the dew (frost) point and its coldest wall.

SVG text for phone and desk, light and dark. Red hatching means that water falls out where the work is; where a
piece is there to take water out, the hatching is grey; dashed means not known. Colours after IEC 60073, never
colour alone. Every line of words has a height of its own, and the scale is drawn behind bars only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor
from textwrap import wrap

from gateway.plan import Plan, Result
from gateway.plan_need import DRY_KG_PER_H, WORKPLACE, doubts
from gateway.plan_units import Units
from gateway.plan_words import sentence
from gateway.water_path import Passage, each_piece

WIDTH, EDGE, CHARACTERS = 390, 16, 54
LINE, BAR, SPACE, ABOVE = 17, 16, 10, 10
STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
STYLE = """
svg{background:#fff;color:#1b1f24;font:13px system-ui,sans-serif}
text{fill:currentColor}.name{font-weight:600;font-size:14px}.small{font-size:12px;opacity:.8}
.scale{stroke:currentColor;opacity:.3}.wall{stroke:currentColor;stroke-width:3}
.clear{fill:#1a7f37}.wet{fill:url(#wet);stroke:#b42318;stroke-width:1.5}.taken{fill:url(#taken);stroke:#6b7280}
.cold,.doubt{fill:none;stroke:#6b7280}.doubt{stroke-dasharray:5 4;stroke-width:1.5}
.wetline{stroke:#b42318;stroke-width:3}.takenline{stroke:#6b7280;stroke-width:2}
@media (prefers-color-scheme:dark){svg{background:#14181d;color:#eef1f4}
.clear{fill:#3fb950}.wet,.wetline{stroke:#ff7b72}.taken,.takenline,.cold,.doubt{stroke:#9aa4b0}}
"""
HATCH = (
    '<pattern id="{0}" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<line class="{0}line" x1="0" y1="0" x2="0" y2="7"/></pattern>'
)
LEGEND = (
    "Bar: from the dew point of the air that arrives to the coldest wall, the thick line.",
    "Filled: the wall is above it. Dashed: not known.",
    "Hatched: water falls out, red where the work is.",
    "Outlined: the wall is below it, yet none falls out.",
    "Advisory only.",
)
AT_K = 0.05  # a gap that is shown as 0.0


@dataclass(frozen=True, slots=True)
class Axis:
    """The one temperature scale of all bars: where a temperature [°C] stands, and its round marks."""

    place: Callable[[float], float]
    marks: tuple[tuple[float, str], ...]


def picture(plan: Plan, result: Result, units: Units) -> str:
    """One hour of a plan as SVG text. The widths of bars follow one temperature scale."""
    rows = each_piece(result.passages)
    axis = _axis([t for p in rows if p.wall_c is not None for t in (p.wall_c, p.point_c)] or [0.0, 10.0], units)
    doubted = bool(doubts(plan, result))
    head, y = _head(plan, sentence(plan, result, units))
    scale, y = _scale(axis, y, units)
    parts = [head, scale]
    for row in rows:
        drawn, y = _row(row, y, axis, units, doubted)
        parts.append(drawn)
    y += SPACE
    for line in LEGEND:
        drawn, y = _words(line, "small", y)
        parts.append(drawn)
    height = y + SPACE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:g}" role="img" width="100%" '
        f'style="max-width:600px"><title>{escape(plan.label)}: where water falls out</title>'
        f"<style>{STYLE}</style><defs>{HATCH.format('wet')}{HATCH.format('taken')}</defs>"
        f"{''.join(parts)}</svg>\n"
    )


def _words(words: str, kind: str, y: float) -> tuple[str, float]:
    """Words broken into lines below y, and where they end."""
    made = ""
    for line in wrap(words, CHARACTERS):
        y += LINE
        made += f'<text x="{EDGE}" y="{y:g}" class="{kind}">{escape(line)}</text>'
    return made, y


def _head(plan: Plan, said: str) -> tuple[str, float]:
    name, y = _words(plan.label, "name", 8)
    kind, y = _words(
        "simulated weather, modelled train" if plan.simulated else "modelled, not measured", "small", y
    )
    lines, y = _words(said, "words", y + SPACE)
    return name + kind + lines, y + SPACE


def _axis(ends: Sequence[float], units: Units) -> Axis:
    """A scale with three to seven marks, round in the reader's unit."""
    low, high = (units.temperature.outside(t) for t in (min(ends), max(ends)))
    step = next(s for s in STEPS if (high - low) / s <= 6.0)
    first, last = step * floor(low / step), step * max(ceil(high / step), floor(low / step) + 1)
    wide = WIDTH - 2 * EDGE

    def at(outside: float) -> float:
        return EDGE + wide * (outside - first) / (last - first)

    marks = [first + i * step for i in range(round((last - first) / step) + 1)]
    return Axis(lambda t_c: at(units.temperature.outside(t_c)), tuple((at(m), f"{m:.0f}") for m in marks))


def _scale(axis: Axis, y: float, units: Units) -> tuple[str, float]:
    """The marks with their numbers, once, above all bars."""
    y += LINE
    sides = {0: "start", len(axis.marks) - 1: "end"}
    numbers = "".join(
        f'<text class="small" x="{x:.1f}" y="{y:g}" text-anchor="{sides.get(i, "middle")}">'
        f"{f'{number} {units.temperature.unit}' if i == 0 else number}</text>"
        for i, (x, number) in enumerate(axis.marks)
    )
    return numbers + _marks(axis, y + 4, 6), y + 10


def _marks(axis: Axis, y: float, tall: float) -> str:
    return "".join(
        f'<line class="scale" x1="{x:.1f}" y1="{y:g}" x2="{x:.1f}" y2="{y + tall:g}"/>' for x, _ in axis.marks
    )


def _row(p: Passage, y: float, axis: Axis, units: Units, doubted: bool) -> tuple[str, float]:
    if p.wall_c is None or p.gap_k is None:
        return _words(f"{p.label}: {_water(p, units) or _air(p, units)}", "words", y + SPACE)
    name, y = _words(p.label, "name", y + SPACE)
    words, y = _words(_gap(p, units, doubted), "words", y)
    water, y = _words(_water(p, units), "words", y)
    bar, y = _bar(p, y + ABOVE, axis, doubted), y + ABOVE + BAR + 2
    ends, y = _words(_ends(p, units), "small", y)
    return name + words + water + bar + ends, y


def _bar(p: Passage, y: float, axis: Axis, doubted: bool) -> str:
    wall = axis.place(p.wall_c or 0.0)
    low, high = sorted((axis.place(p.point_c), wall))
    return (
        f"{_marks(axis, y - 3, BAR + 6)}"
        f'<rect class="{_colour(p, doubted)}" x="{low:.1f}" y="{y:g}" width="{high - low:.1f}" height="{BAR}"/>'
        f'<line class="wall" x1="{wall:.1f}" y1="{y - 3:g}" x2="{wall:.1f}" y2="{y + BAR + 3:g}"/>'
    )


def _wet(p: Passage) -> bool:
    return max(p.formed_kg_per_h, p.left_kg_per_h) > DRY_KG_PER_H


def _colour(p: Passage, doubted: bool) -> str:
    at_work = p.kind in WORKPLACE
    if _wet(p) or (at_work and (p.gap_k or 0.0) <= 0.0):
        return "wet" if at_work else "taken"
    if doubted and at_work:
        return "doubt"
    return "clear" if (p.gap_k or 0.0) > 0.0 else "cold"


def _point(p: Passage) -> str:
    return "frost point" if p.frost else "dew point"


def _gap(p: Passage, units: Units, doubted: bool) -> str:
    """The gap in words: how far the wall is from wet."""
    gap_k = p.gap_k or 0.0
    if abs(gap_k) < AT_K:
        return f"wall at the {_point(p)}"
    if gap_k > 0.0:
        unknown = ", not known" if doubted and p.kind in WORKPLACE and not _wet(p) else ""
        return f"wall {units.difference(gap_k)} above the {_point(p)}{unknown}"
    ice = ", ice may block" if p.wall_c is not None and p.wall_c < 0.0 else ""
    none = "" if _wet(p) or p.kind in WORKPLACE else ", none falls out"
    return f"wall {units.difference(-gap_k)} below the {_point(p)}{none}{ice}"


def _ends(p: Passage, units: Units) -> str:
    return f"{_point(p)} {units.temperature(p.point_c)}, wall {units.temperature(p.wall_c or 0.0)}"


def _water(p: Passage, units: Units) -> str:
    """What becomes of the water in this piece, as in the table: formed, drained, taken up, stays, carried on."""
    did = (
        ("formed", p.formed_kg_per_h), ("drained", p.drained_kg_per_h), ("taken up", p.taken_kg_per_h),
        ("stays", p.left_kg_per_h), ("carried on", p.carried_kg_per_h),
    )  # fmt: skip
    return ", ".join(f"{units.water.little(amount)} {word}" for word, amount in did if amount > DRY_KG_PER_H)


def _air(p: Passage, units: Units) -> str:
    return f"air leaves at {units.temperature(p.outlet.temperature_c)}, no liquid modelled"
