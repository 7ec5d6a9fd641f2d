"""Propagated uncertainty against Monte Carlo (JCGM 101:2008) and the cases people get wrong."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import psychrometrics as air
from gateway.uncertainty import (
    Uncertain,
    asymmetric_interval,
    propagate,
    raw,
    slope,
    through,
    u_of_mean,
    u_of_two,
    weighted,
)

ATMOSPHERE = 101_325.0
RECTANGULAR = 3**0.5


def dew_point(t_c: float, rh: float) -> float:
    return air.dew_point_c(t_c, rh, ATMOSPHERE)


def spread(t_c: float, rh: float) -> float:
    """Air temperature less the dew point of the same probe."""
    return t_c - dew_point(t_c, rh)


def drawn(value: float, half_width: float, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(value - half_width, value + half_width, 200_000)


TABLE = [
    # T, RH, slope to T, slope to RH [K per %], u and U of the dew point, U of a second probe, u and U of a margin
    (5, 80, 0.975, 0.175, 0.263, 0.53, 0.65, 0.391, 0.78),
    (10, 85, 0.981, 0.172, 0.262, 0.52, 0.64, 0.390, 0.78),
    (20, 50, 0.919, 0.297, 0.378, 0.76, 1.05, 0.475, 0.95),
    (20, 85, 0.980, 0.186, 0.274, 0.55, 0.68, 0.398, 0.80),
    (25, 60, 0.938, 0.262, 0.344, 0.69, 0.93, 0.449, 0.90),
    (30, 85, 0.979, 0.201, 0.287, 0.57, 0.73, 0.407, 0.81),
    (35, 30, 0.858, 0.517, 0.615, 1.23, 1.80, 0.679, 1.36),
    (30, 20, 0.820, 0.715, 0.837, 1.67, 2.48, 0.886, 1.77),
]
BY_STATE = [pytest.param(*row, id=f"{row[0]} C, {row[1]} %") for row in TABLE]
COLUMNS = ("t_c", "percent", "by_t", "by_rh", "u", "expanded", "expanded_other", "u_margin", "expanded_margin")


@pytest.mark.parametrize(COLUMNS, BY_STATE)
def test_dew_point_and_margin_have_the_tabled_uncertainty(
    t_c: float, percent: float, by_t: float, by_rh: float, u: float, expanded: float,
    expanded_other: float, u_margin: float, expanded_margin: float,
) -> None:  # fmt: skip
    """Within 5 % of the table: probe ±0.3 K, ±2 %; a second probe ±0.2 K, ±3 %; steel ±0.5 K; all rectangular.

    The table is JCGM 100:2008, equation 10, worked out apart from this program.
    """
    steel = raw("steel", t_c, 0.5 / RECTANGULAR)
    t, rh = raw("t", t_c, 0.3 / RECTANGULAR), raw("rh", percent / 100, 0.02 / RECTANGULAR)
    point = through(dew_point, t, rh)
    margin = weighted(t_c - point.value, (1.0, steel), (-1.0, point))
    other = through(dew_point, raw("t", t_c, 0.2 / RECTANGULAR), raw("rh", percent / 100, 0.03 / RECTANGULAR))
    found = (
        slope(dew_point, (t_c, percent / 100), 0, t.u), slope(dew_point, (t_c, percent / 100), 1, rh.u) / 100,
        point.u, 2 * (point.u or 0), 2 * (other.u or 0), margin.u, 2 * (margin.u or 0),
    )  # fmt: skip
    stated = (by_t, by_rh, u, expanded, expanded_other, u_margin, expanded_margin)
    assert found == pytest.approx(stated, rel=0.05)


@pytest.mark.parametrize(COLUMNS[:2], [row.values[:2] for row in BY_STATE])
def test_dew_point_uncertainty_matches_monte_carlo(t_c: float, percent: float) -> None:
    """A probe of 0.3 K and 2 % half width: within 5 % of 200,000 draws (JCGM 101:2008)."""
    found = propagate(dew_point, (t_c, percent / 100), (0.3 / RECTANGULAR, 0.02 / RECTANGULAR))
    draws = air.dew_point_array_c(drawn(t_c, 0.3, 1), drawn(percent / 100, 0.02, 2), ATMOSPHERE)
    assert found == pytest.approx(float(draws.std()), rel=0.05)


@pytest.mark.parametrize("rh", [0.05, 0.055, 0.08, 0.15])
def test_dry_air_down_to_two_and_a_half_half_widths_matches_monte_carlo(rh: float) -> None:
    """±2 % at 5 % and more: first order is within 5 % of 200,000 draws."""
    found = propagate(dew_point, (20.0, rh), (0.3 / RECTANGULAR, 0.02 / RECTANGULAR))
    draws = air.dew_point_array_c(drawn(20.0, 0.3, 1), drawn(rh, 0.02, 2), ATMOSPHERE)
    assert found == pytest.approx(float(draws.std()), rel=0.05)


def test_an_input_used_twice_brings_its_covariance() -> None:
    """T less dew point of one probe at 35 C and 95 % has u = 0.22 K; taken as independent it would be 0.46 K.

    That is ±0.5 K and ±2 %RH as limits, rectangular; taken as k=2 it would be 0.19 and 0.40 K.
    """
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


def test_a_chain_of_values_from_one_probe_is_the_one_formula() -> None:
    """Air less its own dew point, made in two steps, is the same 0.22 K; so is it through a function of both."""
    us = (0.5 / RECTANGULAR, 0.02 / RECTANGULAR)
    t, rh = raw("t", 35.0, us[0]), raw("rh", 0.95, us[1])
    point = through(dew_point, t, rh)
    two_steps = weighted(t.value - point.value, (1.0, t), (-1.0, point))
    assert two_steps.u == pytest.approx(propagate(spread, (35.0, 0.95), us), rel=1e-6)
    assert through(lambda a, b: a - b, t, point).u == pytest.approx(two_steps.u, rel=1e-6)
    assert two_steps.u == pytest.approx(0.22, abs=0.005)
    as_limits_at_k_2 = propagate(spread, (35.0, 0.95), (0.25, 0.01))
    assert as_limits_at_k_2 == pytest.approx(0.19, abs=0.005)


def test_one_barometer_under_two_gauges_brings_its_covariance() -> None:
    """JCGM 100:2008, equation 13: the difference of two absolute pressures does not hold the barometer's u."""
    baro, first, second = raw("baro", 1e5, 60.0), raw("p1", 7e5, 300.0), raw("p2", 6e5, 400.0)
    one, other = weighted(8e5, (1.0, first), (1.0, baro)), weighted(7e5, (1.0, second), (1.0, baro))
    assert one.u == pytest.approx((300.0**2 + 60.0**2) ** 0.5)
    assert weighted(1e5, (1.0, one), (-1.0, other)).u == pytest.approx(500.0)
    assert weighted(15e5, (1.0, one), (1.0, other)).u == pytest.approx((500.0**2 + 120.0**2) ** 0.5)


def test_the_chain_rule_asks_for_derivatives_over_the_inputs_own_u() -> None:
    """d(x^2 y) at (3, 2): 12 and 9; parts keep their sign."""
    made = through(lambda x, y: x * x * y, raw("x", 3.0, 0.01), raw("y", 2.0, 0.1))
    assert made.value == 18.0
    assert made.parts == pytest.approx({"x": 0.12, "y": 0.9}, rel=1e-9)
    assert through(lambda x: -x, raw("x", 1.0, 0.2)).parts == pytest.approx({"x": -0.2})
    assert through(lambda x: x + 1.0, raw("x", 1.0, 0.2), value=7.0).value == 7.0


@pytest.mark.parametrize(("t_c", "rh"), [(35.0, 0.3), (20.0, 0.85), (5.0, 0.6), (-10.0, 0.7)])
def test_derivatives_agree_with_finer_differences(t_c: float, rh: float) -> None:
    """Steps of u and of a thousandth of it give the same derivative within 0.5 %."""
    for i, u in ((0, 0.3 / RECTANGULAR), (1, 0.02 / RECTANGULAR)):
        coarse, fine = (slope(dew_point, (t_c, rh), i, step) for step in (u, u / 1000))
        assert coarse == pytest.approx(fine, rel=0.005)


def test_a_derivative_is_taken_on_the_side_that_holds() -> None:
    """At 100 % only the step down is left; where neither is, the formula's own words come through."""
    u = 0.02 / RECTANGULAR
    down = (dew_point(20.0, 1.0) - dew_point(20.0, 1.0 - u)) / u
    assert slope(dew_point, (20.0, 1.0), 1, u) == pytest.approx(down)
    up = (dew_point(20.0, 0.01 + u) - dew_point(20.0, 0.01)) / u
    assert slope(dew_point, (20.0, 0.01), 1, u) == pytest.approx(up)
    with pytest.raises(air.OutOfRange, match="relative humidity"):
        slope(dew_point, (20.0, 5.0), 1, u)
    assert slope(dew_point, (20.0, 5.0), 1, 0.0) == 0.0
    assert slope(dew_point, (20.0, 5.0), 1, None) == 0.0


def test_what_is_not_stated_stays_so_through_every_step() -> None:
    """One input without an accuracy: the value stands, u is None, never 0 and never a part of it."""
    bare = raw("baro", 1e5, None)
    assert bare == Uncertain(1e5, {}, None)
    assert through(lambda a, b: a + b, raw("x", 1.0, 0.1), bare) == Uncertain(100_001.0, {}, None)
    assert weighted(5.0, (1.0, raw("x", 1.0, 0.1)), (0.0, bare)).u is None
    assert raw("x", 1.0, 0.0).u == 0.0


def test_two_values_have_a_covariance_only_where_they_share_an_input() -> None:
    """3-4-5 where they share none; what they share adds or cancels as the whole sum does; not stated stays so."""
    one, other = raw("x", 1.0, 1.5), raw("y", 1.0, 1.0)
    assert u_of_two(2.0, one, -4.0, other) == pytest.approx(5.0, rel=1e-15)
    both = weighted(2.0, (1.0, one), (1.0, other))
    assert u_of_two(1.0, both, -1.0, one) == pytest.approx(1.0, rel=1e-15)
    assert u_of_two(1.0, both, 1.0, one) == pytest.approx(10**0.5, rel=1e-15)
    assert u_of_two(1.0, one, -1.0, one) == 0.0
    bare = raw("z", 1.0, None)
    assert u_of_two(1.0, one, 0.0, bare) is None and u_of_two(1.0, bare, 0.0, one) is None


@pytest.mark.parametrize("u", [-0.1, float("nan")])
def test_a_raw_input_has_no_wrong_uncertainty(u: float) -> None:
    """Negative and nan are refused where they come in."""
    with pytest.raises(ValueError, match="must be 0 or more"):
        raw("x", 1.0, u)


def ends_by_draws(t_c: float, rh: np.ndarray) -> tuple[float, float]:
    """2.5 and 97.5 % of the condensation point, no humidity counting as the driest."""
    e = air.vapour_pressure_array_pa(drawn(t_c, 0.3, 6), np.where(rh > 0, rh, np.nan), ATMOSPHERE)
    points = np.nan_to_num(air.condensation_point_array_c(e, ATMOSPHERE)[0], nan=-999.0)
    low, high = np.percentile(points, [2.5, 97.5])
    return float(low), float(high)


def interval(t_c: float, rh: float, half_width_rh: float) -> tuple[float | None, float]:
    def point(humidity: float, t: float = t_c) -> float:
        return air.condensation_point_c(air.vapour_pressure_pa(t, humidity, ATMOSPHERE), ATMOSPHERE)[0]

    u_t = propagate(lambda t: point(rh, t), (t_c,), (0.3 / RECTANGULAR,))
    assert u_t is not None
    return asymmetric_interval(point, rh, half_width_rh, u_t)


@pytest.mark.parametrize(("t_c", "rh"), [(20.0, 0.04), (20.0, 0.03), (30.0, 0.045), (35.0, 0.021)])
def test_the_lopsided_interval_matches_monte_carlo(t_c: float, rh: float) -> None:
    """±2 % as limits: each end within 2 % of the width of 200,000 draws (JCGM 101:2008, 7.7); drier is farther."""
    low, high = interval(t_c, rh, 0.95 * 0.02)
    drawn_low, drawn_high = ends_by_draws(t_c, drawn(rh, 0.02, 7))
    width = drawn_high - drawn_low
    assert low == pytest.approx(drawn_low, abs=0.02 * width)
    assert high == pytest.approx(drawn_high, abs=0.02 * width)


@pytest.mark.parametrize("rh", [0.06, 0.04])
def test_the_lopsided_interval_of_a_normal_humidity_matches_monte_carlo(rh: float) -> None:
    """±3 % at k=2: each end within 4 % of the width of 200,000 draws."""
    low, high = interval(20.0, rh, 0.03)
    drawn_low, drawn_high = ends_by_draws(20.0, np.random.default_rng(8).normal(rh, 0.015, 200_000))
    width = drawn_high - drawn_low
    assert low == pytest.approx(drawn_low, abs=0.04 * width)
    assert high == pytest.approx(drawn_high, abs=0.04 * width)


def test_no_lower_bound_where_there_may_be_no_humidity_at_all() -> None:
    """At or below the half width, and where the point would be colder than the physics reaches."""
    low, high = interval(20.0, 0.019, 0.019)
    assert low is None and high == pytest.approx(-21.7, abs=0.5)
    assert interval(20.0, 0.0190001, 0.019)[0] is None
    low, _ = interval(20.0, 0.03, 0.019)
    assert low is not None


def test_the_others_widen_both_ends_in_quadrature_and_humidity_stops_at_100() -> None:
    """A formula that returns the humidity itself shows the sums: 3 and 4 make 5."""
    assert asymmetric_interval(lambda x: x, 0.5, 0.03, 0.02) == pytest.approx((0.45, 0.55))
    assert asymmetric_interval(lambda x: x, 0.99, 0.03, 0.0) == pytest.approx((0.96, 1.0))
    assert asymmetric_interval(lambda x: x, 0.02, 0.03, 0.0) == (None, 0.05)


def test_the_mean_of_many_readings_is_never_below_what_they_have_in_common() -> None:
    """0.4 K of scatter fades with the root of n; 0.3 K of accuracy does not."""
    assert u_of_mean(0.4, 0.3, 1) == pytest.approx(0.5)
    assert u_of_mean(0.4, 0.0, 16) == pytest.approx(0.1)
    assert u_of_mean(0.4, 0.3, 10**8) == pytest.approx(0.3)
    assert (u_of_mean(0.4, None, 5), u_of_mean(None, 0.3, 5)) == (None, None)


@pytest.mark.parametrize(
    ("random", "systematic", "n", "message"),
    [(0.1, 0.1, 0, "a mean of 0"), (-0.1, 0.1, 3, "0 or more"), (0.1, float("nan"), 3, "0 or more")],
)
def test_a_mean_of_nothing_or_with_a_wrong_u_is_refused(
    random: float, systematic: float, n: int, message: str
) -> None:
    """One reading at least, no negative or nan u."""
    with pytest.raises(ValueError, match=message):
        u_of_mean(random, systematic, n)


@given(st.floats(0, 5), st.floats(0, 5), st.integers(1, 10_000))
def test_a_mean_lies_between_its_systematic_part_and_one_reading(random: float, systematic: float, n: int) -> None:
    """For any scatter, accuracy and number."""
    u = u_of_mean(random, systematic, n)
    one = u_of_mean(random, systematic, 1)
    assert u is not None and one is not None
    assert systematic <= u * (1 + 1e-12) and u <= one * (1 + 1e-12)
