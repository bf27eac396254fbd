import numpy as np
import pytest
from scipy.optimize import curve_fit

from ergo.comparison.compared_measures import percentile
from ergo.comparison.trend import beyond_trend, figure_trend, trend_of
from ergo.errors import InputError
from ergo.exposure.limits import limit_set
from tests.comparison.test_compare import measured


def test_the_slope_is_that_of_weighted_least_squares():
    days = np.array([0.0, 20, 31, 55, 80, 120])
    value = np.array([0.60, 0.50, 0.55, 0.41, 0.40, 0.24])
    error = np.array([0.05, 0.04, 0.08, 0.05, 0.06, 0.05])
    line, _ = curve_fit(lambda day, a, b: a + b * day / 30, days, value, sigma=error)
    found = trend_of(days, value, error)
    assert found.scatter == 0
    assert found.slope.value == pytest.approx(line[1], rel=1e-5)
    assert found.verdict == "better"


def test_noise_is_called_a_trend_in_at_most_one_case_in_twenty():
    chance = np.random.default_rng(4)
    called = 0
    for _ in range(1000):
        error = chance.uniform(0.02, 0.1, 8)
        value = 0.4 + chance.normal(0, np.hypot(error, 0.08))  # errors, and sessions that scatter
        called += trend_of(np.arange(8) * 14.0, value, error).verdict != "no_evidence"
    assert called <= 65  # 50 expected; 65 is passed by chance once in 60 runs


def test_the_interval_holds_the_true_slope_in_95_of_100_cases():
    chance = np.random.default_rng(5)
    days = np.array([0, 10, 25, 40, 80, 100, 130.0])
    held = 0
    for _ in range(1000):
        error = chance.uniform(0.02, 0.1, 7)
        value = 0.6 - 0.05 * days / 30 + chance.normal(0, np.hypot(error, 0.05))
        slope = trend_of(days, value, error).slope
        held += slope.low <= -0.05 <= slope.high
    assert 930 <= held <= 980


def test_sessions_that_scatter_make_the_interval_wider():
    days, error = np.arange(8) * 10.0, np.full(8, 0.01)
    straight = 0.5 - 0.002 * days
    ragged = straight + 0.1 * np.array([1, -1, 1, -1, -1, 1, -1, 1])
    width = [s.high - s.low for s in (trend_of(days, v, error).slope for v in (straight, ragged))]
    assert width[1] > 5 * width[0]


def test_few_sessions_are_too_little():
    found = trend_of(np.arange(4.0), np.arange(4.0), np.ones(4))
    assert found.verdict == "too_little_seen"
    assert np.isnan(found.slope.value)


def test_sessions_in_which_nothing_was_judged_are_left_out():
    days, value = np.arange(7.0), np.array([1, np.nan, 2, 3, 4, np.nan, 5])
    assert len(trend_of(days, value, np.ones(7)).value) == 5


def test_arrays_of_different_length_are_refused():
    with pytest.raises(InputError, match="one value per session"):
        trend_of(np.arange(3.0), np.arange(2.0), np.ones(3))


def test_a_neck_that_is_bent_less_from_month_to_month_is_better():
    sessions = [measured(mean, seed) for seed, mean in enumerate([40, 36, 31, 27, 22, 18])]
    limits = limit_set("iso11226", "neck_flexion_deg")
    found = beyond_trend(range(0, 180, 30), sessions, limits, same_view=True)
    assert found.verdict == "better"
    assert found.slope.value < -0.05


def test_sessions_of_other_views_know_less_about_a_trend():
    sessions = [measured(30, seed, sd=6.0) for seed in range(6)]

    def median(pool):
        return percentile(pool, "neck_flexion_deg", 0.5)

    found = [figure_trend(range(6), sessions, median, same_view=same) for same in (True, False)]
    assert np.all(found[1].error > found[0].error)
    assert found[0].value == pytest.approx(found[1].value)
