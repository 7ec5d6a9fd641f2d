"""Standard uncertainty of a derived value, kept as what each raw input contributes to it.

Inputs are what the sensors gave (temperature, humidity, pressure of one probe), by sensor id. A value carries
one signed contribution for each, so two values made from one sensor bring their covariance with them when they
are combined, and one is never stated by hand. Follows JCGM 100:2008 (GUM), 5.1.2 and 5.2.2.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import hypot, sqrt
from typing import NamedTuple


class Uncertain(NamedTuple):
    """A value, what each raw input contributes to its uncertainty, and that uncertainty, all in one unit.

    Made by `raw` and `weighted`. parts: input id -> df/dx u(x), signed; none where the uncertainty of any input is
    not stated. u: combined standard uncertainty, None when not stated, never 0 for that.
    Source: JCGM 100:2008, equations 10 and 13.
    """

    value: float
    parts: Mapping[str, float]
    u: float | None


def raw(name: str, value: float, u: float | None) -> Uncertain:
    """Return one raw input with its standard uncertainty, None when not stated. Raises: ValueError if u < 0."""
    if u is None:
        return Uncertain(value, {}, None)
    if not u >= 0.0:
        raise ValueError(f"standard uncertainty {u} must be 0 or more")
    return Uncertain(value, {name: u}, u)


def weighted(value: float, *terms: tuple[float, Uncertain]) -> Uncertain:
    """Return value with the parts of each term times its factor: exact for a sum, first order else.

    Source: JCGM 100:2008, equations 10 and 13, the factors being the derivatives df/dx.
    """
    parts: dict[str, float] = {}
    for factor, term in terms:
        if term.u is None:
            return Uncertain(value, {}, None)
        for name, part in term.parts.items():
            if name in parts:
                parts[name] += factor * part
            else:
                parts[name] = factor * part
    return Uncertain(value, parts, hypot(*parts.values()))


def u_of_two(by_one: float, one: Uncertain, by_other: float, other: Uncertain) -> float | None:
    """Standard uncertainty of by_one * one + by_other * other, None when not stated.

    Two without a raw input in common need no covariance. Source: JCGM 100:2008, equations 10 and 13.
    """
    if one.u is None or other.u is None:
        return None
    for name in one.parts:
        if name in other.parts:
            return weighted(0.0, (by_one, one), (by_other, other)).u
    return hypot(by_one * one.u, by_other * other.u)


def through(f: Callable[..., float], *inputs: Uncertain, value: float | None = None) -> Uncertain:
    """Return f of uncertain values, by the chain rule over whatever raw inputs they share.

    value: f of them where the caller has it already. Raises: whatever f raises; for a derivative only where f
    holds on neither side. Source: JCGM 100:2008, equations 10 and 13, with the differences of 5.1.3, note 2.
    """
    values = [each.value for each in inputs]
    value = f(*values) if value is None else value
    return weighted(value, *[(slope(f, values, i, each.u), each) for i, each in enumerate(inputs)])


def slope(f: Callable[..., float], inputs: Sequence[float], i: int, u: float | None) -> float:
    """Derivative of f to input i over a step of its own u; 0, and f not asked, where that is 0 or not stated.

    Raises: what f raises where it holds on neither side. Source: JCGM 100:2008, 5.1.3, note 2.
    """
    return _contribution(f, inputs, i, u) / u if u else 0.0


def propagate(f: Callable[..., float], inputs: Sequence[float], us: Sequence[float | None]) -> float | None:
    """Combined standard uncertainty of f(*inputs), in the unit of f; None means not stated, never 0.

    Args: inputs: independent raw inputs; us: standard uncertainty of each, same unit, None if not stated.
    Raises: ValueError when the two differ in length or a u is negative or nan; whatever f raises when it
    holds on neither side of an input.
    Source: JCGM 100:2008, equation 10, with the differences of 5.1.3, note 2. Within 5 % of Monte Carlo
    (JCGM 101:2008) where the humidity is at least 2.5 times its accuracy.
    """
    pairs = list(zip(inputs, us, strict=True))
    stated = [u for u in us if u is not None]
    if not all(u >= 0.0 for u in stated):
        raise ValueError(f"standard uncertainties {stated} must be 0 or more")
    if len(stated) < len(pairs):
        return None
    return sqrt(sum(_contribution(f, inputs, i, u) ** 2 for i, u in enumerate(stated) if u > 0.0))


def _contribution(f: Callable[..., float], inputs: Sequence[float], i: int, u: float) -> float:
    """Half the change of f when input i moves from -u to +u, or the change on the one side where f holds."""
    moved, middle = list(inputs), inputs[i]
    try:
        moved[i] = middle + u
        up = f(*moved)
        moved[i] = middle - u
        return (up - f(*moved)) / 2.0
    except ValueError:  # saturated air is the usual case: one step up there is no humidity above 100 %
        return _one_sided(f, inputs, i, u)


def _one_sided(f: Callable[..., float], inputs: Sequence[float], i: int, u: float) -> float:
    """The change of f on the side of input i where it holds; raises what f says where it holds on neither."""
    here, moved = f(*inputs), list(inputs)
    moved[i] = inputs[i] + u
    try:
        return f(*moved) - here
    except ValueError as error:
        moved[i] = inputs[i] - u
        try:
            return here - f(*moved)
        except ValueError:
            raise error from None


def asymmetric_interval(
    point: Callable[[float], float], rh: float, half_width_rh: float, u_others: float
) -> tuple[float | None, float]:
    """(low, high) of the 95 % interval of a condensation point near the dry end, where it is lopsided.

    Args: point: humidity 0..1 -> point [C], the other inputs at their values; rh above 0; half_width_rh: half
    the 95 % interval of the humidity; u_others: standard uncertainty of the point from all other inputs [K].
    low is None, no lower bound, when the humidity may be 0 or lower than the physics reaches.
    Raises: whatever point raises at rh. Source: JCGM 101:2008, 7.7, whose interval it stands in for: each end
    of the humidity goes through the formula, the others are added in quadrature (ours).
    """
    middle, others = point(rh), 2.0 * u_others
    high = middle + hypot(point(min(rh + half_width_rh, 1.0)) - middle, others)
    if rh <= half_width_rh:
        return None, high
    try:
        return middle - hypot(middle - point(rh - half_width_rh), others), high
    except ValueError:
        return None, high


def u_of_mean(u_random: float | None, u_systematic: float | None, n: int) -> float | None:
    """Standard uncertainty of the mean of n readings, never below what they all have in common.

    u_random: of one reading, from its scatter; u_systematic: what is the same in all of them, as a sensor's
    accuracy is; None when either is not stated. Raises: ValueError for n below 1 or a negative u.
    Source: JCGM 100:2008, 4.2.3 for the scatter of a mean; equation 13 for what all readings share.
    """
    if n < 1:
        raise ValueError(f"a mean of {n} readings")
    if u_random is None or u_systematic is None:
        return None
    if not (u_random >= 0.0 and u_systematic >= 0.0):
        raise ValueError(f"standard uncertainties {u_random} and {u_systematic} must be 0 or more")
    return hypot(u_random / sqrt(n), u_systematic)
