"""The gap as a drawing: positions in percent on one scale of temperature that all places share.

Input: the gaps of the board in the order the air flows. Output: bars for the template `gaps.html`, which
turns them into inline SVG. Nothing is judged here: the words only say where the notch lies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import count
from math import ceil, floor

from alerts.measured import Validity
from gateway.board import Gap
from gateway.web.amounts import degrees, difference, sign
from gateway.web.taste import Taste
from gateway.web.words import number, number_beside

Span = tuple[float, float]
_USUAL = Taste()
STEEL = "steel"
_MOST_STEPS = 6  # labels that fit side by side on a phone
_SAME_K = 0.05  # half of what is shown
_LEAST_SPAN_C = 10.0  # a narrower scale would make sensor noise look like weather


@dataclass(frozen=True, slots=True)
class Scale:
    """The scale shared by every bar, in °C or the reader's °F; both ends are whole steps."""

    low_c: float
    high_c: float
    step_c: float

    def percent(self, value_c: float) -> float:
        """Return the position from the left edge, kept on the drawing."""
        share = (value_c - self.low_c) / (self.high_c - self.low_c)
        return round(100 * min(1.0, max(0.0, share)), 2)

    @property
    def ticks(self) -> list[tuple[float, str, str]]:
        """Position, text and anchor of each tick; the outer labels stay inside the drawing."""
        steps = round((self.high_c - self.low_c) / self.step_c)
        values = [self.low_c + index * self.step_c for index in range(steps + 1)]
        anchors = ["start", *["middle"] * (steps - 1), "end"]
        return [(self.percent(v), number(v, 0), anchor) for v, anchor in zip(values, anchors, strict=True)]


@dataclass(frozen=True, slots=True)
class Bar:
    """One place, ready to draw: spans are (left, width) in percent; None where there is nothing to draw.

    solid is None where an end is not known: then hatching is drawn.
    side: wet | short | near | clear | plain | bound | unknown. reversed: the colder end is the temperature.
    ends: the texts under the bar from left to right.
    """

    place: str
    side: str
    margin: str
    words: str
    reason: str
    solid: Span | None
    soft: Span | None
    condensation_at: float | None
    temperature_at: float | None
    notch_at: float | None
    reversed: bool
    ends: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """The steel or one train: its title and bars."""

    title: str
    bars: tuple[Bar, ...]


def in_units(gap: Gap, taste: Taste) -> Gap:
    """Return the gap with every number in the reader's unit: only its names still say °C and K."""
    if taste.temperature == "°C":
        return gap

    def point(value_c: float | None) -> float | None:
        return None if value_c is None else degrees(value_c, taste)

    def span(value_k: float | None) -> float | None:
        return None if value_k is None else difference(value_k, taste)

    return replace(
        gap, condensation_point_c=point(gap.condensation_point_c), temperature_c=point(gap.temperature_c),
        margin_k=span(gap.margin_k), expanded_u_k=span(gap.expanded_u_k), limit_k=span(gap.limit_k),
    )  # fmt: skip


def scale_for(gaps: tuple[Gap, ...], taste: Taste = _USUAL) -> Scale:
    """Return the smallest whole-step scale that holds every bar, notch and soft edge."""
    values = [value for gap in gaps for value in _values(in_units(gap, taste))] or [0.0]
    low, high = min(values), max(values)
    missing = max(0.0, _LEAST_SPAN_C - (high - low)) / 2
    return _whole_steps(low - missing, high + missing)


def _values(gap: Gap) -> list[float]:
    low, high = gap.condensation_point_c, gap.temperature_c
    edge = gap.expanded_u_k or 0.0
    found: list[float] = [] if high is None else [high - edge, high + edge]
    if low is not None:
        found += [low, low + (gap.limit_k or 0.0)]
    return found


def _whole_steps(low_c: float, high_c: float) -> Scale:
    for power in count():
        for digit in (1, 2, 5):
            step = float(digit * 10**power)
            low, high = floor(low_c / step), ceil(high_c / step)
            if high - low <= _MOST_STEPS:
                return Scale(low * step, high * step, step)
    raise AssertionError  # count() never ends


def groups(gaps: tuple[Gap, ...], scale: Scale, taste: Taste = _USUAL) -> list[Group]:
    """Return the steel first, then each train, places in the order given."""
    names = sorted(dict.fromkeys(gap.group for gap in gaps), key=lambda name: not _is_steel(name))
    return [Group(_title(name), tuple(bar(g, scale, taste) for g in gaps if g.group == name)) for name in names]


def _title(name: str) -> str:
    return f"Steel{name.removeprefix(STEEL)}" if _is_steel(name) else f"{name}, in the order the air flows"


def _is_steel(name: str) -> bool:
    """Steel is one group, or one for each area: "steel, area A"."""
    return name == STEEL or name.startswith(f"{STEEL},")


def bar(found: Gap, scale: Scale, taste: Taste = _USUAL) -> Bar:
    """Place one gap on the scale."""
    side, gap = side_of(found), in_units(found, taste)
    low, high = gap.condensation_point_c, gap.temperature_c
    solid, soft = None, None
    if side != "unknown" and low is not None and high is not None:
        solid, soft = _spans(low, high, gap.expanded_u_k or 0.0, scale)
    return Bar(
        place=gap.place,
        side=side,
        margin=_margin(gap, side, taste),
        words=_words(gap, side, taste),
        reason=gap.reason,
        solid=solid,
        soft=soft,
        condensation_at=None if low is None else scale.percent(low),
        temperature_at=None if high is None else scale.percent(high),
        notch_at=None if low is None or gap.limit_k is None else scale.percent(low + gap.limit_k),
        reversed=_is_reversed(gap),
        ends=_ends(gap, taste),
    )


def side_of(gap: Gap) -> str:
    """Say where the margin lies against zero and the notch; a margin of 0 is wet: water is there already."""
    margin = gap.margin_k
    if gap.validity is Validity.UNKNOWN or margin is None:
        return "unknown"
    if margin <= 0:
        return "wet"
    # Rounded as the limits are judged, so that bar and verdict never differ by a last binary digit.
    beyond = None if gap.limit_k is None else round(margin - gap.limit_k, 4)
    if beyond is not None and beyond < 0:
        return "short"
    if gap.validity is Validity.BOUND:
        return "bound"
    return _above(beyond, gap.expanded_u_k or 0.0)


def _above(beyond_k: float | None, expanded_u_k: float) -> str:
    if beyond_k is None:
        return "plain"
    return "near" if beyond_k < expanded_u_k else "clear"


def _spans(low_c: float, high_c: float, edge_k: float, scale: Scale) -> tuple[Span, Span | None]:
    """Return the solid part and the soft edge around the temperature end, as wide as ± the uncertainty."""
    soft = _span(scale, high_c - edge_k, high_c + edge_k) if edge_k else None
    if high_c < low_c:
        return _span(scale, min(high_c + edge_k, low_c), low_c), soft
    return _span(scale, low_c, max(high_c - edge_k, low_c)), soft


def _span(scale: Scale, left_c: float, right_c: float) -> Span:
    left = scale.percent(left_c)
    return left, round(scale.percent(right_c) - left, 2)


def _margin(gap: Gap, side: str, taste: Taste) -> str:
    if side == "unknown" or gap.margin_k is None:
        return "unknown"
    text = f"{number_beside(gap.margin_k, gap.limit_k, 0.0)} {sign(taste)}"
    return text if gap.expanded_u_k is None else f"{text} ± {number(gap.expanded_u_k)} {sign(taste)}"


def _words(gap: Gap, side: str, taste: Taste) -> str:
    limit = "" if gap.limit_k is None else f"the limit of {number(gap.limit_k, 2).removesuffix('0')} {sign(taste)}"
    words = {
        "wet": "wet side",
        "short": f"dry side, below {limit}",
        "near": f"dry side, {limit} lies within the uncertainty",
        "clear": f"dry side, above {limit}",
        "plain": "dry side, no limit set",
        "bound": "bound only: too dry for this sensor to resolve",
        "unknown": f"limit {limit.removeprefix('the limit of ')}" if limit else "no limit set",
    }[side]
    not_stated = side != "unknown" and gap.expanded_u_k is None
    return words + _further_on(gap, taste) + ("; uncertainty not stated" if not_stated else "")


def _further_on(gap: Gap, taste: Taste) -> str:
    """The margin of a piece is that of the worst wall from it on, the bar is the piece itself: say which."""
    if gap.condensation_point_c is None or gap.temperature_c is None or gap.margin_k is None:
        return ""
    here = gap.temperature_c - gap.condensation_point_c
    if abs(here - gap.margin_k) < _SAME_K:
        return ""
    return f"; the worst wall is further on, the gap here is {number_beside(here, 0.0)} {sign(taste)}"


def _ends(gap: Gap, taste: Taste) -> tuple[str, ...]:
    low = f"{'frost' if gap.frost else 'dew'} point {_degrees(gap.condensation_point_c, taste)}"
    if gap.frost and not _is_steel(gap.group):
        low += ", ice may block"
    high = f"temperature {_degrees(gap.temperature_c, taste)}"
    return (high, low) if _is_reversed(gap) else (low, high)


def _is_reversed(gap: Gap) -> bool:
    low, high = gap.condensation_point_c, gap.temperature_c
    return low is not None and high is not None and high < low


def _degrees(value: float | None, taste: Taste) -> str:
    return "unknown" if value is None else f"{number(value)} {taste.temperature}"
