"""Propagated uncertainty against Monte Carlo (JCGM 101:2008) and the cases people get wrong."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import psychrometrics as air
from gateway.uncertainty import propagate

ATMOSPHERE = 101_325.0
RECTANGULAR = 3**0.5


def dew_point(t_c: float, rh: float) -> float:
    return air.dew_point_c(t_c, rh, ATMOSPHERE)


def spread(t_c: float, rh: float) -> float:
    """Air temperature less the dew point of the same probe."""
    return t_c - dew_point(t_c, rh)


def drawn(value: float, half_width: float, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(value - half_width, value + half_width, 200_000)


@pytest.mark.parametrize(
    ("t_c", "percent", "expected"),
    [(5, 80, 0.263), (10, 85, 0.262), (20, 50, 0.378), (20, 85, 0.274),
     (25, 60, 0.344), (30, 85, 0.287), (35, 30, 0.615), (30, 20, 0.837)],
)  # fmt: skip
def test_dew_point_uncertainty_matches_monte_carlo(t_c: float, percent: float, expected: float) -> None:
    """A probe of 0.3 K and 2 % half width: within 5 % of 200,000 draws, and of the tabled standard uncertainty."""
    found = propagate(dew_point, (t_c, percent / 100), (0.3 / RECTANGULAR, 0.02 / RECTANGULAR))
    draws = air.dew_point_array_c(drawn(t_c, 0.3, 1), drawn(percent / 100, 0.02, 2), ATMOSPHERE)
    assert found == pytest.approx(float(draws.std()), rel=0.05)
    assert found == pytest.approx(expected, rel=0.01)


def test_an_input_used_twice_brings_its_covariance() -> None:
    """T less dew point of one probe at 35 C and 95 % has u = 0.22 K; taken as independent it would be 0.46 K."""
    us = (0.5 / RECTANGULAR, 0.02 / RECTANGULAR)
    found = propagate(spread, (35.0, 0.95), us)
    t, rh = drawn(35.0, 0.5, 3), drawn(0.95, 0.02, 4)
    assert found == pytest.approx(0.22, abs=0.005)
    assert found == pytest.approx(float((t - air.dew_point_array_c(t, rh, ATMOSPHERE)).std()), rel=0.05)
    independent = propagate(
        lambda t, dew: t - dew, (35.0, dew_point(35.0, 0.95)), (us[0], propagate(dew_point, (35.0, 0.95), us))
    )
    assert independent == pytest.approx(0.46, abs=0.01)


def test_a_margin_to_steel_adds_the_steel_sensor() -> None:
    """Steel of 0.5 K half width over a probe of 0.3 K and 2 % at 20 C and 85 %: u = 0.398 K."""
    us = (0.5 / RECTANGULAR, 0.3 / RECTANGULAR, 0.02 / RECTANGULAR)
    found = propagate(lambda steel, t, rh: steel - dew_point(t, rh), (21.0, 20.0, 0.85), us)
    assert found == pytest.approx(0.398, abs=0.004)


@pytest.mark.parametrize("us", [(None, 0.01), (0.2, None), (None, None), (0.0, None)])
def test_an_accuracy_that_is_not_stated_makes_the_result_not_stated(us: tuple[float | None, ...]) -> None:
    """Never 0: an unknown uncertainty is unknown."""
    assert propagate(dew_point, (20.0, 0.5), us) is None


def test_not_stated_does_not_call_the_formula() -> None:
    """A formula that cannot hold is not asked when the answer is already not stated."""
    assert propagate(dew_point, (20.0, 2.0), (0.2, None)) is None


def test_an_exact_input_contributes_nothing() -> None:
    """u = 0 is a statement, and the other input remains."""
    assert propagate(lambda a, b: 3 * a + b, (1.0, 2.0), (0.1, 0.0)) == pytest.approx(0.3)
    assert propagate(lambda a, b: a + b, (1.0, 2.0), (0.0, 0.0)) == 0.0


def test_saturated_air_still_has_an_uncertainty() -> None:
    """At 100 % there is no step up, so the step down is taken: it is within 10 % of that at 99 %."""
    us = (0.3 / RECTANGULAR, 0.02 / RECTANGULAR)
    at_limit, below = (propagate(dew_point, (20.0, rh), us) for rh in (1.0, 0.985))
    assert at_limit == pytest.approx(below, rel=0.1)


def test_the_lowest_humidity_takes_the_step_up() -> None:
    """Where one step down leaves no water, the step up is taken."""
    step_up = dew_point(20.0, 0.02) - dew_point(20.0, 0.01)
    assert propagate(dew_point, (20.0, 0.01), (0.0, 0.01)) == pytest.approx(step_up)


def test_a_formula_that_holds_nowhere_says_why() -> None:
    """The formula's own error comes through."""
    with pytest.raises(air.OutOfRange, match="relative humidity"):
        propagate(dew_point, (20.0, 5.0), (0.0, 0.01))


def test_a_formula_that_holds_on_neither_side_says_why() -> None:
    """An isolated value has no uncertainty that could be computed, and 0 would be a lie."""

    def only_at_one(x: float) -> float:
        if x != 1.0:
            raise air.OutOfRange("x", x, "1")
        return x

    with pytest.raises(air.OutOfRange, match="allowed is 1"):
        propagate(only_at_one, (1.0,), (0.1,))


@pytest.mark.parametrize(
    ("us", "message"),
    [((0.1,), "shorter"), ((0.1, -0.1), "must be 0 or more"), ((0.1, float("nan")), "must be 0 or more")],
)
def test_a_wrong_uncertainty_is_refused(us: tuple[float, ...], message: str) -> None:
    """One standard uncertainty for each input, none negative or nan."""
    with pytest.raises(ValueError, match=message):
        propagate(lambda a, b: a + b, (1.0, 2.0), us)


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-50, 50), st.floats(0, 3)), min_size=1, max_size=5))
def test_a_linear_formula_is_exact(terms: list[tuple[float, float, float]]) -> None:
    """Root of the sum of squares of coefficient times u."""
    factors, values, us = zip(*terms, strict=True)
    formula: Callable[..., float] = lambda *x: sum(c * v for c, v in zip(factors, x, strict=True))  # noqa: E731
    expected = sum((c * u) ** 2 for c, u in zip(factors, us, strict=True)) ** 0.5
    assert propagate(formula, values, us) == pytest.approx(expected, rel=1e-6, abs=1e-9)
