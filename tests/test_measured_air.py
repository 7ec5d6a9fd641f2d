"""The air of one probe: its derivatives, what walls and pressures make of it, and where it is lopsided."""

from __future__ import annotations

import numpy as np
import pytest

from alerts.measured import Measured, Validity, unknown
from gateway import psychrometrics as air
from gateway.compressed_air import condensation_point_at
from gateway.measured_air import (
    Air,
    Point,
    air_of,
    gap,
    humidity_at,
    ln_slope_per_k,
    measured,
    point_of,
)
from gateway.said import Channels, Told
from gateway.uncertainty import Uncertain, propagate, raw, weighted
from tests.sites import site

ATMOSPHERE = 101_325.0
RECTANGULAR = 3**0.5
SAY = {"air-t": 22.0, "air-rh": 0.62, "baro": ATMOSPHERE, "steel": 19.0, "line-p": 600_000.0, "pot-skin": 25.0}
U = {name: (sensor.u or 0.0) for name, sensor in ((each.id, each) for each in site().sensors)}


def channels(**changes: float | Measured) -> Channels:
    def read(name: str) -> Measured:
        said = {**SAY, **{key.replace("_", "-"): value for key, value in changes.items()}}[name]
        return said if isinstance(said, Measured) else Measured(said, U[name], 0, Validity.GOOD)

    made = Channels(site(), read)
    made.renew(SAY)
    return made


def exact(point: Point) -> Uncertain:
    """A point that is known, with its parts."""
    assert point.exact is not None
    return point.exact


def open_air(of: Channels) -> Air:
    baro = of["baro"]
    return air_of(of["air-t"], of["air-rh"], baro.exact, baro.measured)


def point_c(t_c: float, rh: float, p_pa: float, at_pa: float) -> float:
    return condensation_point_at(air.vapour_pressure_pa(t_c, rh, p_pa), p_pa, at_pa)[0]


@pytest.mark.parametrize(("t_c", "rh"), [(22.0, 0.62), (35.0, 0.95), (5.0, 0.4), (-8.0, 0.8), (40.0, 0.1)])
def test_parts_of_the_point_are_derivatives_times_u(t_c: float, rh: float) -> None:
    """Against central differences of the whole formula a hundred times finer: within 0.6 % of u."""
    of = channels(air_t=t_c, air_rh=rh)
    point = exact(point_of(open_air(of), of["baro"].exact))
    state, total = [t_c, rh, ATMOSPHERE], point.u or 0.0
    for i, name in enumerate(("air-t", "air-rh", "baro")):
        step = U[name] / 100
        up, down = ([*state[:i], state[i] + by, *state[i + 1 :]] for by in (step, -step))
        fine = (point_c(*up, up[2]) - point_c(*down, down[2])) / 2 * 100
        assert point.parts[name] == pytest.approx(fine, abs=0.006 * total)
    assert point.value == pytest.approx(point_c(*state, ATMOSPHERE), abs=1e-9)


@pytest.mark.parametrize("frost", [False, True])
def test_the_closed_slope_against_the_difference_quotient(frost: bool) -> None:
    """Clausius and Clapeyron's slope against the fitted surface itself, 0.7 to 16 bar: what its docstring says."""
    for t_c in range(-99, 1 if frost else 101):
        for p_pa in (0.7e5, 1e5, 3e5, 8e5, 16e5):
            if (t_c > 88 and p_pa < 1.1e5) or (not frost and t_c == 0):  # beyond boiling; two fits meet at 0
                continue
            ends = [air.saturated_vapour_pressure_pa(t_c + by, p_pa, frost) for by in (-0.1, 0.0)]
            quotient = (ends[1] - ends[0]) / (0.1 * (ends[0] + ends[1]) / 2)
            usual = -60 <= t_c <= 60 and p_pa <= 8e5
            assert ln_slope_per_k(t_c - 0.05, frost) == pytest.approx(quotient, rel=0.008 if usual else 0.04)


def test_a_line_s_point_takes_each_pressure_once() -> None:
    """Vapour of the open air where the gauge says 6 bar: one barometer under both, against the whole formula."""
    of = channels(air_rh=0.1)
    gauge, baro = of["line-p"], of["baro"]
    at = weighted(gauge.exact.value + baro.exact.value, (1.0, gauge.exact), (1.0, baro.exact))
    point = point_of(open_air(of), at, gauge.measured)

    def whole(t_c: float, rh: float, p_pa: float, gauge_pa: float) -> float:
        return point_c(t_c, rh, p_pa, gauge_pa + p_pa)

    names = ("air-t", "air-rh", "baro", "line-p")
    expected = propagate(whole, [of[n].exact.value for n in names], [U[n] for n in names])
    assert exact(point).u == pytest.approx(expected, rel=0.005)
    assert point.value_c == pytest.approx(whole(*(of[n].exact.value for n in names)), abs=1e-9)


def test_a_line_s_point_says_what_its_own_pressure_sensor_said() -> None:
    """A gauge that is silent makes the point unknown; one that is doubtful has its words in front."""
    for said in (unknown("line-p: silent", 3), Measured(6e5, 1.0, 3, Validity.GOOD, "line-p: jumped")):
        of = channels(line_p=said, air_rh=Measured(0.1, 0.01, 5, Validity.GOOD, "air-rh: check"))
        point = point_of(open_air(of), raw("p", 7e5, 1.0), of["line-p"].measured)
        known = said.value is not None
        assert (point.value_c is not None) is known
        assert point.told.reason == ("line-p: jumped; air-rh: check" if known else "line-p: silent")


def test_the_humidity_at_a_wall_has_the_uncertainty_of_the_whole_formula() -> None:
    """One probe and the steel; the barometer nearly cancels, its accuracy must be stated all the same."""
    of = channels()

    def whole(wall_c: float, t_c: float, rh: float, p_pa: float) -> float:
        return air.relative_humidity(wall_c, air.vapour_pressure_pa(t_c, rh, p_pa), p_pa)

    names = ("steel", "air-t", "air-rh", "baro")
    expected = propagate(whole, [SAY[n] for n in names], [U[n] for n in names])
    found = humidity_at(of["steel"], open_air(of))
    assert found.u == pytest.approx(expected, abs=1e-4)
    assert found.value == pytest.approx(whole(*(SAY[n] for n in names)), abs=1e-4)
    bare = channels(baro=Measured(ATMOSPHERE, None, 0, Validity.GOOD))
    assert humidity_at(bare["steel"], open_air(bare)).u is None


def test_a_barometer_far_off_does_not_reach_the_humidity_at_a_wall() -> None:
    """u = 20 hPa at the barometer: the whole formula moves by less than the rounding, and so does ours."""
    of = channels(baro=Measured(ATMOSPHERE, 2000.0, 0, Validity.GOOD))
    plain = channels()
    found, without = (humidity_at(each["steel"], open_air(each)).u for each in (of, plain))
    assert found == pytest.approx(without, abs=1e-4)


def test_a_margin_is_the_steel_less_the_point_exactly() -> None:
    """Parts of the steel and, with the other sign, of the point."""
    of = channels()
    point = point_of(open_air(of), of["baro"].exact)
    found = gap(of["steel"], point)
    u = exact(point).u or 0.0
    assert found.u == pytest.approx((u**2 + U["steel"] ** 2) ** 0.5, abs=1e-4)
    assert found.value == round(19.0 - exact(point).value, 4)
    own = gap(of["air-t"], point)  # the probe's own temperature: T less its dew point
    assert own.u is not None and own.u < u


def lopsided(rh: float | Measured) -> Measured:
    of = channels(air_rh=rh)
    return gap(of["steel"], point_of(open_air(of), of["baro"].exact))


def test_near_the_dry_end_the_reason_says_lopsided_and_u_does_not_understate() -> None:
    """±2 % at 3 %: half of the larger side of the 95 % interval; from 2.5 half widths on, nothing is said."""
    dry, plain = lopsided(0.03), lopsided(0.0501)
    assert "air-rh: near the least this sensor resolves, uncertainty lopsided" in dry.reason
    assert plain.reason == ""
    chance = np.random.default_rng(3)
    t, rh = chance.uniform(21.7, 22.3, 200_000), chance.uniform(0.01, 0.05, 200_000)
    steel = chance.uniform(18.5, 19.5, 200_000)
    points = air.condensation_point_array_c(air.vapour_pressure_array_pa(t, rh, ATMOSPHERE), ATMOSPHERE)[0]
    low, high = np.percentile(steel - points, [2.5, 97.5])
    assert dry.u is not None and dry.value is not None
    assert 2 * dry.u == pytest.approx(max(high - dry.value, dry.value - low), rel=0.03)


def test_the_ends_of_the_lopsided_interval_are_in_the_reason() -> None:
    """Both ends, within 0.1 K of 400,000 draws; with no lower end the wet side or first order counts."""
    assert "condensation point -32.6 to -17.6 °C (95 %)" in lopsided(0.03).reason
    open_end = lopsided(0.018)
    assert "condensation point up to " in open_end.reason and "no lower bound (95 %)" in open_end.reason
    wet = point_c(22.0, 0.018 + 0.019, ATMOSPHERE, ATMOSPHERE) - point_c(22.0, 0.018, ATMOSPHERE, ATMOSPHERE)
    assert open_end.u is not None and 2 * open_end.u >= wet

    def margin(steel_c: float, t_c: float, rh: float, p_pa: float) -> float:
        return steel_c - point_c(t_c, rh, p_pa, p_pa)

    names = ("steel", "air-t", "air-rh", "baro")
    fine = propagate(margin, (19.0, 22.0, 0.018, ATMOSPHERE), [U[n] / 100 for n in names])
    assert fine is not None and open_end.u == pytest.approx(100 * fine, rel=0.01)


def test_a_reason_that_is_there_already_stays_in_front() -> None:
    """Flag and words of the sensor first; a bound is not called lopsided, it says by itself what it is."""
    said = Measured(0.03, U["air-rh"], 0, Validity.GOOD, "air-rh: check both")
    assert lopsided(said).reason.startswith("air-rh: check both; air-rh: near the least")
    bound = said._replace(validity=Validity.BOUND)
    assert lopsided(bound).reason == "air-rh: check both"


def test_air_out_of_range_is_unknown_at_every_wall_with_the_reason() -> None:
    """The physics' own words; a missing wall is told before them."""
    of = channels(baro=5e6)
    wet = open_air(of)
    for said in (gap(of["steel"], point_of(wet, of["baro"].exact)), humidity_at(of["steel"], wet)):
        assert said.value is None and said.validity is Validity.UNKNOWN
        assert said.reason.startswith("outside the range of the physics: total pressure")
    far = point_of(open_air(channels()), raw("p", 5e6, 1.0))
    assert far.value_c is None and far.told.reason.startswith("outside the range of the physics")
    silent = channels(baro=5e6, steel=unknown("steel: silent", 2))
    assert humidity_at(silent["steel"], open_air(silent)) == unknown("steel: silent", 0)
    hot = channels(steel=900.0)
    assert "temperature" in humidity_at(hot["steel"], open_air(hot)).reason


def test_values_are_rounded_and_a_missing_one_is_unknown() -> None:
    """To 1e-4, value and u alike."""
    told = Told(4, Validity.GOOD, "said")
    assert measured(told, raw("x", 1.23456, 0.00014)) == Measured(1.2346, 0.0001, 4, Validity.GOOD, "said")
    assert measured(told, raw("x", 1.0, None)).u is None
    assert measured(Told(4, Validity.UNKNOWN, "why"), None) == unknown("why", 4)
