"""Time to limit on series whose future is known: a sine day, a front, a gap. Expectations are worked out here."""

from __future__ import annotations

import random
from math import exp, log, pi, sin

import numpy as np
import pytest

from alerts import early, time_to_limit
from alerts.early import Early, Rung, Stay
from alerts.forecast import (
    DAY,
    FIRST_WEIGHTS,
    HORIZONS_MIN,
    TREND,
    Scale,
    Track,
    Word,
    _learn,
    at_steps,
    feed,
    paths_of,
    probabilities,
)  # fmt: skip
from alerts.forecast_paths import DAMPED, HELD, RETURNING, Habit, Holt, UsualDay
from alerts.forecast_scores import MOVE, RATE, SHARE, Odds, Spread, reweighed
from alerts.measured import Quantity
from alerts.time_to_limit import Outlook, hear, last_start_min, outlook, reaches, span, words
from gateway.payload import canonical
from tests.bench.weather import fronts
from tests.sites import margin_limit

LIMIT = margin_limit()
DAY_MIN = 1440
T0 = 20_000 * DAY_MIN  # midnight UTC


def sine_day_k(minute: int, noise: random.Random | None = None) -> float:
    """Margin 6 + 6 sin: highest at 12:00, falls through 3 K at 20:00 (sin = -1/2), rises through it at 04:00."""
    return 6 - 6 * -sin(2 * pi * (minute - 360) / DAY_MIN) + (noise.gauss(0, 0.15) if noise else 0.0)


def hear_sine(days: float) -> Track:
    track, noise = Track(), random.Random(4)
    for minute in range(round(days * DAY_MIN)):
        hear(track, LIMIT, T0 + minute, sine_day_k(minute, noise) - 3.0, 2.0)
    return track


@pytest.fixture(scope="module")
def week_to_seven_in_the_evening() -> Track:
    """Eight days and 19 hours: one hour before the limit is crossed."""
    return hear_sine(8 + 19 / 24)


# -- two paths -------------------------------------------------------------------------------------------


def test_a_trend_dies_out_and_is_no_straight_line() -> None:
    """Level 1, trend 0.1 a minute: after h minutes 1 + 0.1 (q + q² + ... + q^h); never beyond 0.1 q / (1 - q)."""
    one, two, endless = Holt(1.0, 0.1, True).path((1, 2, 10_000))
    assert one == pytest.approx(1 + 0.1 * DAMPED.fade)
    assert two == pytest.approx(1 + 0.1 * (DAMPED.fade + DAMPED.fade**2))
    assert endless == pytest.approx(1 + 0.1 * DAMPED.fade / (1 - DAMPED.fade))


def test_a_trend_follows_a_ramp_and_lives_through_a_missing_minute() -> None:
    """A ramp of 0.02 a minute is followed closely; a minute without a value moves on by the trend alone."""
    trend = Holt()
    for minute in range(300):
        trend.feed(0.02 * minute)
    assert trend.level == pytest.approx(0.02 * 299, abs=0.02)
    assert 0.01 < trend.trend < 0.02
    level, slope = trend.level, trend.trend
    trend.feed(None)
    assert trend.trend == pytest.approx(slope * DAMPED.fade)
    assert trend.level == pytest.approx(level + slope * DAMPED.fade)


@pytest.mark.parametrize("habit", [DAMPED, RETURNING])
def test_a_habit_is_the_matrix_form_of_its_textbook(habit: Habit) -> None:
    """x = F x + k (seen - h F x), k the steady gain, and n minutes ahead F^n x (Kalman 1960; time-invariant)."""
    ours, noise = Holt(), random.Random(1)
    f, k = np.array([[habit.stays, habit.fade], [0.0, habit.fade]]), np.array([habit.level, habit.trend])
    ours.feed(0.3, habit)
    x = np.array([0.3, 0.0])
    for minute in range(40):
        seen = None if minute % 7 == 3 else noise.gauss(0.3, 0.1)
        ours.feed(seen, habit)
        x = f @ x
        if seen is not None:
            x = x + k * (seen - x[0])
    assert (ours.level, ours.trend) == pytest.approx(tuple(x))
    ahead = [float((np.linalg.matrix_power(f, n) @ x)[0]) for n in (1, 60)]
    assert ours.path((1, 60), habit) == pytest.approx(ahead)


def test_a_difference_returns_as_far_as_the_usual_day_has_held() -> None:
    """Nothing of it held: the habit of the plain trend. Half: half way to the returning one."""
    usual = UsualDay(together=0.0)
    assert usual.habit == DAMPED
    usual.together = 0.5
    assert usual.habit == pytest.approx(tuple((a + b) / 2 for a, b in zip(DAMPED, RETURNING, strict=True)))
    usual.together = 2.0
    assert usual.habit == pytest.approx(RETURNING)


def sine_usual(together: float = 1.0) -> UsualDay:
    """A usual day known by two sines around 1."""
    usual = UsualDay()
    for minute in range(2 * DAY_MIN + 1):
        usual.feed(minute, 1 + sin(2 * pi * minute / DAY_MIN))
    usual.together = together
    return usual


def test_the_usual_day_shrinks_to_its_mean_where_it_has_not_held() -> None:
    """At 06:00 the sine around 1 is 2: whole it says 2, half 1.5, of no use or against it 1."""
    assert [round(sine_usual(each).at(360), 2) for each in (1.0, 0.5, 0.0, -1.0)] == [2.0, 1.5, 1.0, 1.0]


def test_how_much_of_the_usual_day_comes_is_a_ratio_of_sums() -> None:
    """Half of every usual rise comes: after some hundred it is believed, and never more than the whole."""
    usual = UsualDay()
    assert usual.held == HELD
    for _ in range(500):
        usual.learn(0.4, 0.1)
    assert usual.held == pytest.approx(0.25, abs=0.005)
    for _ in range(20):
        usual.learn(1.0, 100.0)
    assert usual.held == 1.0


def test_a_usual_rise_leaves_out_the_quarter_this_day_has_changed() -> None:
    """From minute 0 the rise of an hour is read from 8 to 68; the quarter before, over since, changes nothing."""
    usual = sine_usual()
    expected = sin(2 * pi * 68 / DAY_MIN) - sin(2 * pi * 8 / DAY_MIN)
    assert usual.rise(0, 60) == pytest.approx(expected, abs=0.01)
    usual.means[-1] += 100.0
    assert usual.rise(0, 60) == pytest.approx(expected, abs=0.01)


def test_the_usual_day_is_the_mean_of_days_by_the_hour() -> None:
    """Two days of a sine give the sine back within 0.01 and are needed; a quarter hardly seen does not count."""
    usual = UsualDay()
    for minute in range(2 * DAY_MIN):
        usual.feed(minute, sin(2 * pi * minute / DAY_MIN))
    assert not usual.known  # its last quarter is not over
    usual.feed(2 * DAY_MIN, 0.0)
    assert usual.known
    usual.together = usual.square  # it has held
    for minute in (0, 100, 367, 1000, 1439):
        assert usual.at(minute) == pytest.approx(sin(2 * pi * minute / DAY_MIN), abs=0.01)
    usual.feed(2 * DAY_MIN + 15, 5.0)  # one value of the first quarter of day three: too few
    assert usual.days[0] == 2


def test_the_usual_day_forgets() -> None:
    """The eighth day counts one seventh: 1 becomes 1 + (8 - 1) / 7 = 2."""
    usual = UsualDay()
    for minute in range(8 * DAY_MIN + 1):
        usual.feed(minute, 1.0 if minute < 7 * DAY_MIN else 8.0)
    assert usual.means[40] == pytest.approx(2.0)


# -- what is learned -------------------------------------------------------------------------------------


def test_ends_move_out_after_a_miss_and_in_after_a_hit() -> None:
    """Gibbs and Candès 2021: by MOVE after a miss, by a ninth of it after a hit: one in ten misses."""
    missed, hit = Spread(1.0), Spread(1.0)
    missed.learn(-2.0)
    hit.learn(0.0)
    assert missed.low == pytest.approx(-1.28 - MOVE)
    assert missed.high == pytest.approx(1.28 - MOVE / 9)
    assert hit.low == pytest.approx(-1.28 + MOVE / 9)
    assert missed.square == pytest.approx(1 + (4 - 1) / 31)


@pytest.mark.parametrize("shape", ["wide", "skewed"])
def test_intervals_hold_whatever_the_errors_are(shape: str) -> None:
    """80 % of 4,000 errors of another size and shape than assumed lie inside, 75 to 85 % as promised."""
    chance, spread, inside = random.Random(7), Spread(1.0), 0
    for _ in range(4000):
        error = chance.gauss(0, 5) if shape == "wide" else chance.expovariate(1.0)
        inside += spread.low * spread.error <= error <= spread.high * spread.error
        spread.learn(error)
    assert 0.75 <= inside / 4000 <= 0.85


def test_odds_find_the_curve_outcomes_were_drawn_from() -> None:
    """8,000 outcomes of 1 / (1 + exp(1 + z)) bring a near -1 and b near -1 from elsewhere."""
    chance, odds = random.Random(2), Odds()
    for _ in range(8000):
        z = chance.uniform(-3, 3)
        odds.learn(z, chance.random() < 1 / (1 + 2.718281828 ** (1 + z)))
    assert odds.a == pytest.approx(-1, abs=0.2)
    assert odds.b == pytest.approx(-1, abs=0.2)
    assert odds.probability(0.0) == pytest.approx(1 / (1 + 2.718281828**-odds.a))


def test_weights_follow_the_losses_and_what_is_lost_can_return() -> None:
    """e^(-RATE loss) each, made whole; then SHARE by their difference of the first weights is given back."""
    one, other = reweighed([0.5, 0.5], [0.9, 0.1], [0.6, 0.4])
    share = 0.8 * SHARE
    assert one == pytest.approx((1 - share) * exp(-0.8 * RATE) / (1 + exp(-0.8 * RATE)) + share * 0.6)
    assert one + other == pytest.approx(1.0)
    assert reweighed([1.0, 0.0], [1.0, 0.0], [0.6, 0.4])[1] == pytest.approx(SHARE * 0.4)
    assert reweighed([0.1, 0.9], [0.04, 0.04], [0.6, 0.4]) == pytest.approx([0.1, 0.9])  # a draw says nothing


def test_a_mean_by_weights_is_never_much_worse_than_the_trend() -> None:
    """3,000 outcomes that fool the other way: it keeps a twentieth of the say, SHARE x 0.3 / RATE; then it has it.

    So the mean loses ln(1 / 0.7) / RATE = 1.2 points while it learns (Kivinen and Warmuth 1999) and, the square
    being convex, at most a twentieth of what the other way loses on the trend.
    """
    chance, weights, excess, other = random.Random(3), list(FIRST_WEIGHTS), 0.0, 0.0
    for number in range(3100):
        came = chance.random() < 0.5
        right, wrong = 0.3 + 0.4 * came, 0.95 - 0.9 * came
        said = (right, wrong) if number < 3000 else (wrong, right)
        losses = [(p - came) ** 2 for p in said]
        if number < 3000:
            mixed = sum(weight * p for weight, p in zip(weights, said, strict=True))
            excess += (mixed - came) ** 2 - losses[TREND]
            other += losses[DAY] - losses[TREND]
        weights = reweighed(weights, losses, FIRST_WEIGHTS)
        if number == 2999:
            assert weights[DAY] == pytest.approx(SHARE * 0.3 / RATE, abs=0.01)
    assert 0 < excess <= log(1 / 0.7) / RATE + 0.06 * other
    assert weights[DAY] > 0.8


def test_the_way_that_scores_better_of_late_speaks() -> None:
    """Said 0.4 and 0.8 side by side at 60 or 120 min: where it came the usual day gains weight, else the trend."""
    track = Track()
    track.ways, track.weights = [track.ways[TREND], track.ways[TREND].heir()], list(FIRST_WEIGHTS)
    word = Word(0, True, [0.0, 0.0], [0.0, 0.0], [0.4, 0.8])
    assert track.way == TREND
    _learn(track, 0, Word(0, True, [0.0, 0.0], [0.0, 0.0], []), True)  # 15 min do not compare
    assert track.weights == list(FIRST_WEIGHTS)
    for _ in range(20):
        _learn(track, 3, word, True)
    assert track.way == DAY
    for _ in range(20):
        _learn(track, 3, word, False)
    assert track.way == TREND


def test_both_ways_are_mixed_by_their_weights(week_to_seven_in_the_evening: Track) -> None:
    """Weights of one half give the mean of what each says alone."""
    track = canonical.from_checkpoint(canonical.checkpoint(week_to_seven_in_the_evening), Track)
    found = []
    for share in (0.0, 0.5, 1.0):
        track.weights = [1 - share, share]
        found.append(probabilities(track)[3])
    trend, level, day = found
    assert abs(day - trend) > 0.02
    assert level == pytest.approx((trend + day) / 2)
    assert probabilities(track, (15, 30, 60, 120)) == probabilities(track)[:4]


def test_the_usual_day_begins_with_what_the_trend_knows_of_errors() -> None:
    """When two days are known the second way is there: the same curve and errors, not the same objects."""
    assert len(hear_sine(1.99).ways) == 1
    trend, day = hear_sine(2.01).ways
    assert day.odds[5] != Odds()  # 15 minutes old: of eight hours it has seen no outcome of its own
    heir = trend.heir()
    assert (heir.odds, heir.inside, heir.outside) == (trend.odds, trend.inside, trend.outside)
    assert heir.path == Holt()
    assert all(one is not other for one, other in zip(trend.odds, heir.odds, strict=True))


def test_a_day_like_no_other_leaves_the_usual_day_without_a_say() -> None:
    """Fronts at moments that have nothing to do with the hour: hardly anything of the usual day is left."""
    track = Track()
    for minute, margin in enumerate(fronts(6, 11)):
        feed(track, T0 + minute, Scale.of(LIMIT).y(margin - 3.0))
    assert len(track.ways) == 2
    assert track.usual.held < 0.3
    trend, day = paths_of(track)
    assert day == pytest.approx(trend, abs=0.15)


# -- warnings and their budget ---------------------------------------------------------------------------


def test_a_stay_is_told_from_a_dip() -> None:
    """Nine minutes outside are a dip, ten a stay that began with its first; ten past the deadband end it."""
    stay, began = Stay(), []
    series = [1.0] * 5 + [-1.0] * 9 + [1.0] + [-1.0] * 30 + [0.2] * 20 + [0.6] * 9 + [0.2] + [0.6] * 10
    series += [-1.0] * 10
    for minute, distance in enumerate(series):
        first = stay.feed(minute, distance, 0.5)
        began += [] if first is None else [(first, minute)]
    assert began == [(15, 24), (85, 94)]


def test_a_warning_that_ends_by_itself_was_false_and_one_a_stay_ends_was_right() -> None:
    """Below half the threshold for half an hour ends it; so do four hours; a stay settles it."""
    rung = Rung()
    assert rung.feed(0, 0.8, 0.7)
    assert not rung.feed(1, 0.9, 0.7)
    for minute in range(2, 32):
        rung.feed(minute, 0.3, 0.7)
    assert (rung.since, rung.false) == (0, 0.0)
    rung.feed(32, 0.3, 0.7)
    assert (rung.since, rung.false) == (None, 1.0)
    assert not rung.feed(60, 0.9, 0.7)  # it rests for an hour
    assert rung.feed(95, 0.9, 0.7)
    rung.settle(120)
    assert (rung.since, rung.false) == (None, 1.0)
    assert rung.feed(200, 0.9, 0.7)
    assert [rung.feed(minute, 0.9, 0.7) for minute in range(201, 442)] == [False] * 241
    assert (rung.since, rung.false) == (None, 2.0)


def test_the_threshold_keeps_to_the_budget() -> None:
    """Before anything is known 0.70 gives two a week; each false one seen moves it up, a smaller budget, too."""
    ladder = Early()
    assert ladder.threshold(2.0) == 0.7
    assert ladder.threshold(1.0) == 0.85  # 2 (1 - 0.85) / 0.3 = 1 a week
    assert ladder.threshold(0.0) == early.HIGHEST
    ladder.known_min = early.WEEK_MIN
    assert ladder.threshold(2.0) == 0.6  # four weeks, three of them the guess of 2.67 each at 0.6: 2.0 a week
    for rung in ladder.rungs:
        rung.false = 3.0
    assert ladder.threshold(2.0) == 0.75  # (3 + 3 x 1.67) / 4 weeks


def test_the_ladder_of_an_older_program_loses_its_lower_rungs() -> None:
    """It had fourteen from 0.30 on: the last eight are those of 0.60 to 0.95, and keep what they have seen."""
    ladder = Early(rungs=[Rung(false=float(n)) for n in range(14)])
    ladder.feed(0, 1.0, 0.5, 0.1, 2.0)
    assert [round(rung.false) for rung in ladder.rungs] == [6, 7, 8, 9, 10, 11, 12, 13]
    assert len(early.LADDER) == 8


def test_warnings_keep_to_the_budget_on_a_site_that_fools_the_forecast() -> None:
    """A probability of 0.8 every three hours and never a stay, for four weeks: one a week at most is said."""
    ladder, aloud = Early(), 0
    for minute in range(28 * DAY_MIN):
        p = 0.8 if minute % 180 < 60 else 0.0
        aloud += ladder.feed(minute, 1.0, 0.5, p, 2.0)
    assert 1 <= aloud <= 4
    assert ladder.threshold(2.0) > 0.8


# -- the scale -------------------------------------------------------------------------------------------


def test_a_margin_is_taken_as_a_logarithm_and_a_temperature_straight() -> None:
    """The limit lies at 0; a margin of 11 K against 3 K at log(16 / 8); both ways round."""
    margin, warm = Scale.of(LIMIT), Scale.of(margin_limit(quantity=Quantity.STEEL_TEMPERATURE, unit="°C"))
    assert margin.y(0.0) == 0.0
    assert margin.y(8.0) == pytest.approx(log(2))
    assert margin.distance(margin.y(-4.5)) == pytest.approx(-4.5)
    assert margin.y(-50.0) == margin.y(-7.9)  # a margin far below the dew point is as far as one can be
    assert warm.y(5.0) == 0.5
    assert warm.distance(0.5) == 5.0


def test_figures_at_leads_reach_every_step() -> None:
    """Straight between the leads (15, 30, ..., 120, 240): at 20 min one third on from the first, at 180 half."""
    found = at_steps([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0])
    steps = time_to_limit.STEPS_MIN
    assert found[steps.index(15)] == pytest.approx(1.0)
    assert found[steps.index(20)] == pytest.approx(1 + 1 / 3)
    assert found[steps.index(180)] == pytest.approx(12.0)
    assert found[steps.index(5)] < 1.0


# -- a sine day ------------------------------------------------------------------------------------------


def test_after_a_week_the_evening_is_foreseen_to_a_quarter_of_an_hour(week_to_seven_in_the_evening: Track) -> None:
    """An hour before 3 K are crossed the site's own day speaks: likely 45 to 75 min, surely within two hours."""
    found = outlook(week_to_seven_in_the_evening, LIMIT)
    assert found.basis == time_to_limit.HISTORY
    assert found.inside
    assert dict(found.within)[15] < 0.1
    assert dict(found.within)[120] > 0.9
    assert found.likely_min is not None
    assert found.earliest_min is not None
    assert found.latest_min is not None
    assert 45 <= found.likely_min <= 75
    assert found.earliest_min < 60 < found.latest_min


def test_work_that_must_end_inside_begins_before_the_earliest_crossing(
    week_to_seven_in_the_evening: Track,
) -> None:
    """Half an hour of work may begin half an hour before the earliest crossing; four hours are too late."""
    found = outlook(week_to_seven_in_the_evening, LIMIT)
    assert found.earliest_min is not None
    assert last_start_min(found, 30) == pytest.approx(found.earliest_min - 30)
    late = last_start_min(found, 240)
    assert late is not None
    assert late < 0


def test_outside_it_says_when_it_is_inside_again(week_to_seven_in_the_evening: Track) -> None:
    """At 02:00 the sine is back at 04:00: likely in 120 min, surely a little later; no probability is given."""
    track = canonical.from_checkpoint(canonical.checkpoint(week_to_seven_in_the_evening), Track)
    for minute in range(19 * 60, 26 * 60):
        hear(track, LIMIT, T0 + 8 * DAY_MIN + minute, sine_day_k(minute) - 3.0, 2.0)
    found = outlook(track, LIMIT)
    assert not found.inside
    assert found.within == ()
    assert found.again_min in (100, 120, 150)
    assert found.again_by_min is not None
    assert found.again_by_min >= found.again_min


def test_a_new_site_is_warned_by_its_trend_and_says_so() -> None:
    """Shortly before the first evening's crossing: no history yet, two hours at most; later ones are likelier."""
    found = outlook(hear_sine(19.8 / 24), LIMIT)
    assert found.basis == time_to_limit.NO_HISTORY
    assert [minutes for minutes, _ in found.within] == [15, 30, 60, 120]
    shares = [p for _, p in found.within]
    assert shares == sorted(shares)
    assert shares[-1] > 0.5


def test_every_evening_of_the_second_week_is_warned_of_and_no_morning_is() -> None:
    """From day four on each crossing at 20:00 is warned of 15 minutes to two hours and a half before it."""
    track, noise = Track(), random.Random(4)
    series = [sine_day_k(minute, noise) - 3.0 for minute in range(9 * DAY_MIN)]
    warned = [minute for minute, at in enumerate(series) if hear(track, LIMIT, T0 + minute, at, 2.0)]
    later = [divmod(minute, DAY_MIN) for minute in warned if minute >= 4 * DAY_MIN]
    assert [day for day, _ in later] == [4, 5, 6, 7, 8]
    assert all(15 <= 20 * 60 - at <= 150 for _, at in later)


# -- a gap -----------------------------------------------------------------------------------------------


def test_silence_gives_no_forecast(week_to_seven_in_the_evening: Track) -> None:
    """One unknown minute and nothing is said; a short gap is bridged, a long one begins the paths anew."""
    track = canonical.from_checkpoint(canonical.checkpoint(week_to_seven_in_the_evening), Track)
    assert not hear(track, LIMIT, track.minute + 1, None, 2.0)
    assert outlook(track, LIMIT) == Outlook(why_not=time_to_limit.UNKNOWN)
    hear(track, LIMIT, track.minute + 3, 3.0, 2.0)
    assert outlook(track, LIMIT).why_not == ""
    start = track.minute + 60
    hear(track, LIMIT, start, 3.0, 2.0)
    assert outlook(track, LIMIT) == Outlook(why_not=time_to_limit.TOO_SHORT)
    assert track.usual.known  # what a day is like is not forgotten
    for minute in range(1, 16):
        hear(track, LIMIT, start + minute, 3.0, 2.0)
    assert outlook(track, LIMIT).why_not == ""


def test_a_long_silence_minute_by_minute_is_a_gap_too() -> None:
    """Told each minute that nothing is known, it begins anew as well."""
    track = hear_sine(0.5)
    for _ in range(11):
        hear(track, LIMIT, track.minute + 1, None, 2.0)
    hear(track, LIMIT, track.minute + 1, 3.0, 2.0)
    assert outlook(track, LIMIT) == Outlook(why_not=time_to_limit.TOO_SHORT)


def test_an_outcome_that_was_not_seen_teaches_nothing() -> None:
    """A word whose quarter of an hour was half silent scores no probability."""
    track = Track()
    for minute in range(41):
        feed(track, T0 + minute, 0.2)
    before = track.ways[TREND].odds[0].aa
    waiting = len(track.words[0])
    for minute in range(41, 50):
        feed(track, T0 + minute, None if minute < 45 else 0.2)
    assert waiting
    assert track.ways[TREND].odds[0].aa == before


def test_no_forecast_without_values_and_none_of_the_humidity_of_air() -> None:
    """Nothing heard, or a quantity of which nothing is promised: it says which."""
    assert outlook(None, LIMIT).why_not == time_to_limit.UNKNOWN
    air = margin_limit(quantity=Quantity.RELATIVE_HUMIDITY, relation="at most", threshold=85.0, unit="%RH")
    assert outlook(hear_sine(0.1), air).why_not == time_to_limit.TOO_FAST
    line = margin_limit(quantity=Quantity.PRESSURE_DEW_POINT)
    assert outlook(None, line).why_not == time_to_limit.NOT_OFFERED


# -- the memory ------------------------------------------------------------------------------------------


def test_the_memory_is_bounded_and_survives_a_checkpoint(week_to_seven_in_the_evening: Track) -> None:
    """Eight days and nine are of one size, below 20 kB; what comes out of a checkpoint goes on the same way."""
    body = canonical.checkpoint(week_to_seven_in_the_evening)
    ours, other = (canonical.from_checkpoint(body, Track) for _ in range(2))
    for minute in range(1, DAY_MIN + 1):
        hear(ours, LIMIT, week_to_seven_in_the_evening.minute + minute, 4 + sin(minute / 90), 2.0)
    assert abs(len(canonical.checkpoint(ours)) - len(body)) < 500
    assert len(body) < 20_000
    other = canonical.from_checkpoint(canonical.checkpoint(other), Track)
    for minute in range(1, 31):
        hear(other, LIMIT, other.minute + 1, 3.0, 2.0)
        hear(week_to_seven_in_the_evening, LIMIT, week_to_seven_in_the_evening.minute + 1, 3.0, 2.0)
        if minute == 10:
            other = canonical.from_checkpoint(canonical.checkpoint(other), Track)
    assert other == week_to_seven_in_the_evening
    assert paths_of(other) == paths_of(week_to_seven_in_the_evening)


def test_a_minute_heard_twice_counts_once_and_a_clock_set_back_begins_anew() -> None:
    """The same minute again changes nothing; an hour back is a gap."""
    track = hear_sine(0.2)
    body = canonical.checkpoint(track)
    hear(track, LIMIT, track.minute, 100.0, 2.0)
    assert canonical.checkpoint(track) == body
    hear(track, LIMIT, track.minute - 60, 3.0, 2.0)
    assert track.known == 1


def test_probabilities_never_fall_with_the_horizon(week_to_seven_in_the_evening: Track) -> None:
    """What is outside within an hour is outside within two."""
    found = probabilities(week_to_seven_in_the_evening)
    assert len(found) == len(HORIZONS_MIN)
    assert found == sorted(found)


# -- words -----------------------------------------------------------------------------------------------


def test_a_curve_is_read_straight_between_its_points() -> None:
    """From 0 at now to 0.2 at 15 min the tenth is reached after 7.5 min; 0.9 is never."""
    curve = [(15, 0.2), (30, 0.2), (60, 0.5)]
    assert reaches(curve, 0.1) == pytest.approx(7.5)
    assert reaches(curve, 0.5) == pytest.approx(60)
    assert reaches(curve, 0.35) == pytest.approx(45)
    assert reaches(curve, 0.9) is None


def test_words_for_a_person() -> None:
    """The line says when, how sure, how likely and from what."""
    within = ((15, 0.0), (30, 0.04), (60, 0.41), (120, 0.9), (240, 0.97))
    found = Outlook("", "from this site's usual day", 0, True, 480, within, 40.0, 71.0, 120.0)
    assert words(found) == (
        "crosses in about 70 min (80 %: 40 min to 2 h); "
        "outside within 15 min 0 %, 30 min 4 %, 60 min 41 %, 2 h 90 % (from this site's usual day)"
    )
    calm = Outlook("", "b", 0, True, 120, ((15, 0.01),))
    assert words(calm) == "no crossing expected within 2 h; outside within 15 min 1 % (b)"
    perhaps = Outlook("", "b", 0, True, 120, ((120, 0.3),), 90.0)
    assert words(perhaps).startswith("may cross from 90 min on, more likely not within 2 h;")
    open_ended = Outlook("", "b", 0, True, 120, ((120, 0.6),), 20.0, 100.0)
    assert words(open_ended).startswith("crosses in about 100 min (80 %: 20 min or after 2 h)")
    assert words(Outlook("", "b", again_min=100, again_by_min=150)) == (
        "outside now; inside again in about 100 min, in nine of ten by 2 h 30 min (b)"
    )
    assert words(Outlook("", "b", reach_min=120)) == "outside now; not expected inside again within 2 h (b)"
    assert (
        words(Outlook("", "b", again_min=100)) == "outside now; inside again in about 100 min, not sure when (b)"
    )
    assert words(Outlook(why_not="no forecast: x")) == "no forecast: x"


def test_spans() -> None:
    """To the minute below 20, then to five, hours from two on."""
    assert [span(m) for m in (7.4, 22, 118, 121, 185)] == ["7 min", "20 min", "2 h", "2 h", "3 h 5 min"]


def test_no_warning_during_a_stay_nor_below_the_limit_and_old_false_ones_fade() -> None:
    """Outside is no place to warn of the outside; a false warning counts half after 28 days times ln 2."""
    ladder = Early()
    assert not ladder.feed(0, -1.0, 0.5, 0.99, 2.0)
    ladder.stay.began = 0
    assert not ladder.feed(1, 1.0, 0.5, 0.99, 2.0)
    ladder.stay.began, ladder.rungs[0].false = None, 1.0
    for minute in range(2, 2 + round(early.MEMORY_MIN * log(2))):
        ladder.feed(minute, 1.0, 0.5, None, 2.0)
    assert ladder.rungs[0].false == pytest.approx(0.5, abs=0.01)
    assert ladder.feed(10**6, 1.0, 0.5, 0.99, 2.0)
