"""What moved figures mean together: which piece fails, or which sensor lies, or what looks the same from here.

A sensor's fault is told from a piece's by what physics ties together: gas that passes a cold pipe cannot warm up,
vapour that is taken up must warm the gas, air cannot hold more or less than the intake brought.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import NamedTuple

ABSOLUTE = ("housing", "hot", "position", "seen")  # figures that mean something by themselves, without a measure
PAIRED = 0.5  # share of what a lying sensor would do to its partner, above which it is the sensor: ours
STANDS = 0.3  # of that share, by which a finding that stands is believed longer: ours
BEDS = frozenset({"bed", "bed or bypass", "bed, bypass or sensor"})
SURE = 10  # minutes that a sensor must contradict the others before it is said to: metal is slow: ours
SLOW = 20  # minutes: metal has long followed its gas: ours
SHELL_SHARE = 0.2  # of a dryer's height above the air, that its shell may lose: ours
APPROACH_K = 2.0  # by which an approach must move before the inlet's thermometer may be what moved: ours
PIPE_SHARE = 0.25  # of its height above the air, that gas may lose on the way to the next sensor: ours
TELLS_K = 1.0  # a partner that would move by less than this tells nothing: ours


class Moved(NamedTuple):
    """How far a figure moved, whether that counts, the least that counts, what it was and is, whether it rests.

    held: for how many minutes it has been beyond, with the sign of its move.
    """

    off: float
    counts: bool
    least: float
    base: float
    mean: float
    still: bool = True
    held: int = 0


class Meaning(NamedTuple):
    """What figures mean: a kind of `finding_words.KINDS`, the piece, and the figures that say so."""

    kind: str
    piece: str
    figures: tuple[str, ...]


Figures = Mapping[str, Moved]
Measures = Callable[[str], bool]


def meaning(figures: Figures, measures: Measures, standing: Collection[str] = ()) -> dict[str, Meaning]:
    """Return what the moved figures mean, by "kind piece"; the smallest set of causes, sensors first.

    standing: keys of the findings that are open; between a piece and a sensor the one that stands is believed
    longer.
    """
    found: list[Meaning] = []
    lying = _explained(figures, _sensors(figures, standing, measures))
    found += [each for each in lying if max(abs(figures[name].held) for name in each.figures) >= SURE]
    at_inlet = any(each.kind == "inlet sensor" for each in lying)
    at_outlet = any(each.kind == "outlet sensor" for each in lying)
    if not at_inlet and _at_rest(figures, INLET, _longest(figures, "cooling", "hot")):
        found += _cooler(figures, measures)
        found += _each(figures, "hot", "hot inlet", above=True)
    found += _elements(figures, standing)
    found += _drains(figures)
    found += _each(figures, "choke", "forced pot", above=True)
    found += _bed(figures, measures, standing, lies=at_inlet or at_outlet)
    return {f"{each.kind} {each.piece}": each for each in found}


def _named(figures: Figures, name: str) -> list[tuple[str, str, Moved]]:
    """(figure, piece, moved) of every figure of this name."""
    return [(key, key.split(" ", 1)[1], at) for key, at in figures.items() if key.startswith(f"{name} ")]


def _counts(figures: Figures, name: str) -> list[tuple[str, str, Moved]]:
    return [each for each in _named(figures, name) if each[2].counts]


def _each(figures: Figures, name: str, kind: str, *, above: bool) -> list[Meaning]:
    return [Meaning(kind, piece, (key,)) for key, piece, at in _counts(figures, name) if (at.held > 0) is above]


# -- sensors ------------------------------------------------------------------------------------------------


def _explained(figures: Figures, lying: list[Meaning]) -> list[Meaning]:
    """While its bypass stands open, a wetter outlet and what goes with it are the bypass's, not a sensor's."""
    drier = any(at.held < 0 for _, _, at in _counts(figures, "outlet_rh"))
    if drier or not _opened(figures):
        return lying
    return [each for each in lying if each.kind == "inlet sensor"]


def _opened(figures: Figures) -> list[Meaning]:
    return [each for name in ("position", "seen") for each in _each(figures, name, "bypass open", above=True)][:1]


def _paired(standing: Collection[str]) -> float:
    """The share of PAIRED, moved towards what is already said."""
    kinds = {key.rpartition(" ")[0] for key in standing}
    return PAIRED + STANDS * bool(kinds & BEDS) - STANDS * ("outlet sensor" in kinds)


def _sensors(figures: Figures, standing: Collection[str], measures: Measures) -> list[Meaning]:
    """The inlet's sensors against the pieces before and the intake; the outlet's against the heat of the dryer."""
    inlet = _pairs(figures) + _counts(figures, "inlet_rh")
    if inlet:
        return [Meaning("inlet sensor", inlet[0][1], tuple(key for key, _, _ in inlet))]
    if _counts(figures, "pair"):
        return []  # the line has not come to rest: whatever the dryer says may be this
    heat = next(iter(_named(figures, "heat")), None)
    return _too_dry(figures) if heat is None else _by_heat(figures, standing, measures, *heat)


def _by_heat(
    figures: Figures, standing: Collection[str], measures: Measures, key: str, piece: str, at: Moved
) -> list[Meaning]:  # fmt: skip
    """What is taken up must warm the gas: the dryer's four sensors hold each other to it."""
    outlet = next(iter(_named(figures, "outlet_rh")), None)
    if outlet is not None and outlet[2].counts:
        if not _at_rest(figures, DRYER, outlet[2].held):
            return []
        tells_k, past_k = _heat_tells(figures, outlet[2], measures), _unlost_k(figures, outlet[2], measures)
        silent = outlet[2].off < 0 or f"outlet sensor {piece}" in standing  # what the heat once told stands
        lies = (at.off - past_k) / tells_k > _paired(standing) if tells_k else silent
        return [Meaning("outlet sensor", piece, (outlet[0], key))] if lies else []
    if not at.counts or not _at_rest(figures, DRYER) or abs(at.off) < at.least + _shell_k(figures):
        return []
    if not _named(figures, "pair") and _approach_k(figures) > APPROACH_K:
        return []  # the inlet's only thermometer: told together with the cooler
    return [Meaning("dryer sensor", piece, (key,))]


def _pairs(figures: Figures) -> list[tuple[str, str, Moved]]:
    """Gas that passes a pipe follows the gas before it, but for what the pipe loses the more, the hotter it is."""
    if not _at_rest(figures, INLET):
        return []
    housing_k = max((abs(at.off) for _, _, at in _named(figures, "housing")), default=0.0)
    allowed_k = PIPE_SHARE * (_approach_k(figures) + housing_k)
    return [each for each in _counts(figures, "pair") if abs(each[2].off) > each[2].least + allowed_k]


def _approach_k(figures: Figures) -> float:
    """By how much the cooled gas stands higher or lower above its cooling air than it did [K]."""
    return max((abs(at.off) for _, _, at in _named(figures, "approach")), default=0.0)


INLET, DRYER = ("approach", "pair"), ("approach", "outlet_rh", "heat", "over")


def _at_rest(figures: Figures, names: tuple[str, ...], since: int = 0) -> bool:
    """Whether these have come to rest, so that one may be weighed against another.

    since: for how many minutes the figure in question has been beyond; what moves on for longer than SLOW is
    slower than any metal.
    """
    return abs(since) >= SLOW or all(at.still for name in names for _, _, at in _named(figures, name))


def _longest(figures: Figures, *names: str) -> int:
    return max((abs(at.held) for name in names for _, _, at in _counts(figures, name)), default=0)


def _shell_k(figures: Figures) -> float:
    """What the dryer's shell may lose more or less, since its gas stands further above the air than it did [K]."""
    over = next(iter(_named(figures, "over")), None)
    return SHELL_SHARE * abs(over[2].off) if over else 0.0


def _too_dry(figures: Figures) -> list[Meaning]:
    """Without the inlet's humidity: an outlet drier than its bed has ever been, while the air came in wet."""
    return [Meaning("outlet sensor", piece, (k,)) for k, piece, at in _counts(figures, "outlet_rh") if at.held < 0]


def _heat_tells(figures: Figures, outlet: Moved, measures: Measures) -> float:
    """By how much more a lying humidity at the outlet would move the heat's figure than air past the dryer [K].

    0 where it cannot tell: where that is less than the figure may move by itself, as in cold air, which holds too
    little water.
    """
    span, heat = (next(iter(_named(figures, name)), None) for name in ("span", "heat"))
    expected_k = outlet.off * span[2].mean - _unlost_k(figures, outlet, measures) if span else 0.0
    return expected_k if abs(expected_k) > max(TELLS_K, heat[2].least if heat else 0.0) else 0.0


def _unlost_k(figures: Figures, outlet: Moved, measures: Measures) -> float:
    """What the heat's figure gains by air that passes an open bypass: it loses nothing through the dryer's shell.

    Its share is told from how much wetter the outlet is; 0 where a position sensor watches the bypass.
    """
    came, heat = (next(iter(_named(figures, name)), None) for name in ("came", "heat"))
    if came is None or heat is None or measures("position") or outlet.off <= 0.0:
        return 0.0
    room = came[2].mean - outlet.base
    share = min(outlet.off / room, 1.0) if room > 0.0 else 1.0
    return share * max(-heat[2].base, 0.0)


# -- pieces -------------------------------------------------------------------------------------------------


def _cooler(figures: Figures, measures: Measures) -> list[Meaning]:
    found = _each(figures, "housing", "housing air", above=True)
    kind = "cooler" if measures("housing") else "cooler or housing air"
    if not measures("pair"):
        kind = "cooler, housing air or sensor"
    return found + _each(figures, "cooling", kind, above=False)


def _elements(figures: Figures, standing: Collection[str]) -> list[Meaning]:
    """A loss that rose by more than what its two gauges may be off does at another flow than in the first hour.

    One that is said already stays said: a smaller flow proves nothing against it.
    """
    found = _each(figures, "element", "element blocked", above=True)
    return [
        each for each in found
        if f"{each.kind} {each.piece}" in standing or _beyond_gauges(figures, each.figures[0], each.piece)
    ]  # fmt: skip


def _beyond_gauges(figures: Figures, element: str, piece: str) -> bool:
    gauges = figures.get(f"gauges {piece}")
    return gauges is None or figures[element].off > figures[element].least + abs(gauges.off)


def _drains(figures: Figures) -> list[Meaning]:
    stuck = _each(figures, "drain", "separator drain", above=False)
    return stuck or _each(figures, "level", "receiver drain", above=True)


def _bed(figures: Figures, measures: Measures, standing: Collection[str], *, lies: bool) -> list[Meaning]:
    """What a wetter outlet means; the narrower name that the heat once told is kept while it cannot tell."""
    opened = [each for name in ("position", "seen") for each in _each(figures, name, "bypass open", above=True)][
        :1
    ]
    wetter = [each for each in _counts(figures, "outlet_rh") if each[2].held > 0]
    if lies or not wetter or not _at_rest(figures, DRYER, wetter[0][2].held):
        return opened
    if opened:
        return [Meaning(opened[0].kind, opened[0].piece, (*opened[0].figures, wetter[0][0]))]
    kind = "bed" if measures("position") else "bed or bypass"
    if not _heat_tells(figures, wetter[0][2], measures) and f"{kind} {wetter[0][1]}" not in standing:
        kind = "bed, bypass or sensor"
    return [Meaning(kind, wetter[0][1], (wetter[0][0],))]
