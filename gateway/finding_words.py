"""The words of a finding: what fails, on what evidence, how sure, what to check first, what else it may be.

No text tells anybody to open, drain or adjust a piece under pressure: work on one begins with isolating it,
locking it, bleeding line and pot to zero and verifying that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.finding_rules import ABSOLUTE, Meaning, Moved
from gateway.jobsite import Train

AT_ZERO = "Before anything is opened: isolate, lock, bleed line and pot to zero, verify. "


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of finding. title: what it says of a piece; check: what first; also: what else looks like this."""

    title: str
    check: str
    also: str
    grouped: bool = False


_BED_ALSO = (
    "a probe at the outlet that reads high; a bed refilled with another salt; flow beyond the dryer's rating"
)
KINDS: dict[str, Kind] = {
    "cooler": Kind(
        "gives less for its air than it did: fins or fan",
        "Look from outside whether the fan turns and the fins are free; note the day and the load.",
        "more air through it than before, such as a second nozzle; a wall or tarpaulin that keeps its air in",
    ),
    "cooler or housing air": Kind(
        "gives less for its air than it did, or breathes air warmer than outside",
        "Look from outside whether fan, fins and the panels around them are as they should be.",
        "more air through it than before; a station in the shade while the cooler stands in the sun",
        grouped=True,
    ),
    "cooler, housing air or sensor": Kind(
        "air reaches the dryer hotter above the outside air than before: cooler, housing air or this thermometer",
        "Hold a second thermometer to the pipe beside the dryer's inlet; look whether fan and fins are as they "
        "should be.",
        "more air through the cooler than before; a station in the shade while the cooler stands in the sun",
        grouped=True,
    ),
    "housing air": Kind(
        "breathes air warmer than outside",
        "Look whether a panel, duct or door lets the machine's own warm air back to the cooler.",
        "sun on the thermometer in the cooler's air; a station in the shade",
    ),
    "hot inlet": Kind(
        "fed hotter than its rating",
        "Compare the day with the rating on the plate; see whether a finding on the cooler stands beside it.",
        "a day too hot for this cooler; more air than before; an inlet thermometer that reads high",
    ),
    "element blocked": Kind(
        "loses more pressure than it did: element blocked",
        AT_ZERO + "Then look at the element; note its hours.",
        "a gauge beside it that has drifted; a flow sensor that reads low; without one, a worn nozzle",
    ),
    "separator drain": Kind(
        "its drain opens too seldom for the water that falls out",
        "Look from outside whether it opens and what it lets out. " + AT_ZERO,
        "a counter that has come loose; an intake probe that reads high",
    ),
    "receiver drain": Kind(
        "not drained: its level rises",
        "Look from outside whether its drain opens. " + AT_ZERO,
        "more water from the separator than before; a level sensor that sticks",
    ),
    "forced pot": Kind(
        "stands above its blast line: choke valve closed, the pot is forced",
        "Look at the position of the choke valve; " + AT_ZERO[0].lower() + AT_ZERO[1:],
        "one of the two gauges has drifted; a blocked line between them",
    ),
    "bed": Kind(
        "takes out less at the same inlet: salt spent, or air finds a way past it",
        AT_ZERO + "Then look at the level and the crust of the salt; weigh what it has drained.",
        _BED_ALSO,
        grouped=True,
    ),
    "bed or bypass": Kind(
        "takes out less at the same inlet: salt spent, a way past it, or its bypass open",
        "Look at the position of the bypass. " + AT_ZERO + "Then look at the level and the crust of the salt.",
        _BED_ALSO,
        grouped=True,
    ),
    "bed, bypass or sensor": Kind(
        "air leaves the dryer wetter than it did: salt, bypass, or the probe there",
        "Look at the position of the bypass; hold a second probe to a sample of the air at the outlet.",
        _BED_ALSO,
        grouped=True,
    ),
    "bypass open": Kind(
        "open: part of the air passes the dryer untouched",
        "Ask who opened it and whether blasting goes on; look at its position.",
        "a position sensor that has slipped",
    ),
    "inlet sensor": Kind(
        "a sensor at the dryer's inlet disagrees with the gas before it and with the intake",
        "Hold a second thermometer or probe beside it; compare after a night at rest.",
        "a pipe in rain or wind; an intake probe that is wet",
    ),
    "outlet sensor": Kind(
        "humidity at the dryer's outlet moved without the heat that goes with it: the probe, not the bed",
        "Compare with a second probe; brine mist on its chip mimics a perfect dryer.",
        "a bed refilled with a drier salt; a thermometer beside it that drifted",
    ),
    "dryer sensor": Kind(
        "the dryer's temperatures and humidities contradict each other",
        "Hold a second thermometer to the pipe before and behind the dryer.",
        "rain or wind on its shell; liquid water that reaches the bed",
    ),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One open finding, in words. key: "kind piece"; confidence: low, medium or high."""

    key: str
    train: str
    piece: str
    kind: str
    title: str
    evidence: str
    confidence: str
    check_first: str
    also: str
    since_ms: int


def finding(train: Train, meant: Meaning, figures: Mapping[str, Moved], since_ms: int) -> Finding:
    """Put a meaning into words."""
    kind = KINDS[meant.kind]
    label = next((piece.label for piece in train.pieces if piece.id == meant.piece), meant.piece)
    evidence = (
        "; ".join(_evidence(name, figures[name], meant.piece) for name in meant.figures) or "its figures are back"
    )
    key = f"{meant.kind} {meant.piece}"
    return Finding(
        key, train.id, meant.piece, meant.kind, f"{label}: {kind.title}", evidence,
        _confidence(kind, [figures[name] for name in meant.figures]), kind.check.strip(), kind.also, since_ms,
    )  # fmt: skip


def _confidence(kind: Kind, moved: list[Moved]) -> str:
    """High where a figure moved twice as far as it must; a grouped finding is never more than medium sure."""
    far = max((abs(at.off) / at.least for at in moved if at.least > 0.0), default=0.0)
    return "low" if far < 1.25 else "medium" if far < 2.0 or kind.grouped else "high"


def _evidence(name: str, at: Moved, of: str) -> str:
    figure, piece = name.split(" ", 1)
    words = {
        "cooling": "what it does for its air, in transfer units, is {ratio:.0%} of what it was",
        "approach": "its gas is {mean:.1f} K above its cooling air, was {base:.1f} K",
        "housing": "its cooling air is {mean:.1f} K warmer than outside",
        "hot": "the inlet is {mean:.1f} K above the rating stated",
        "element": "Δp·p/(ṁ²T) is {ratio:.1f} times what it was",
        "drain": "it opened {mean:.0%} as often as the water that should fall out asks for",
        "level": "level {mean:.0%}, was {base:.0%}",
        "position": "{mean:.0%} open",
        "seen": "entered by hand as not shut",
        "choke": "{bar:.2f} bar above the blast line, was {base_bar:.2f} bar",
        "outlet_rh": "outlet at {mean:.0%} RH, was {base:.0%}",
        "heat": "warming and water taken differ by {off:+.1f} K more than they did",
        "pair": "{off:+.1f} K against the gas before it",
        "inlet_rh": "{off:+.0%} RH against what the intake brought",
    }[figure]
    said = words.format(
        mean=at.mean, base=at.base, off=at.off, bar=at.mean / 1e5, base_bar=at.base / 1e5,
        ratio=at.mean / at.base if at.base else 0.0,
    )  # fmt: skip
    learnt = "" if figure in ABSOLUTE else ", its first hour being the measure"
    return f"{said}{learnt}" if piece == of else f"{piece}: {said}{learnt}"
