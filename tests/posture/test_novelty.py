"""What is usual, and by how much spreads grow outside it, on numbers made up for the test."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.posture.learned.novelty import KNOTS, distance2, growth, novelty_of

AT_KNOTS = np.array([1.0, 1.2, 1.3, 1.5])


def test_usual_angles_lie_one_standard_deviation_off_on_average():
    rng = np.random.default_rng(7)
    covariance = np.array([[100.0, 30.0], [30.0, 25.0]])
    angles = rng.multivariate_normal([10.0, -5.0], covariance, 20_000)
    squared = distance2(angles, np.array([10.0, -5.0]), np.linalg.inv(covariance))
    assert squared.mean() == pytest.approx(1.0, abs=0.03)


def test_an_angle_just_past_half_a_turn_is_near_one_just_before_it():
    mean, inverse = np.array([179.0]), np.array([[1 / 4.0]])
    assert distance2(np.array([[-179.0]]), mean, inverse) == pytest.approx(1.0)


def test_parts_that_were_not_seen_do_not_count():
    seen, unseen = np.array([4.0, 4.0]), np.array([4.0, np.nan])
    assert novelty_of([seen, unseen]) == pytest.approx([2.0, 2.0])
    assert novelty_of([np.array([np.nan])]) == pytest.approx([0.0])


def test_usual_postures_keep_their_spread_and_knots_have_their_own():
    assert growth(np.array([0.0, 0.7, *KNOTS]), AT_KNOTS) == pytest.approx([1, 1, *AT_KNOTS])


def test_beyond_what_was_checked_spreads_grow_in_proportion():
    beyond = growth(np.array([2.0, 4.0]) * KNOTS[-1], AT_KNOTS)
    assert beyond == pytest.approx([3.0, 6.0])


@given(st.floats(0, 30), st.floats(0, 30))
def test_who_is_further_outside_is_never_surer(one, other):
    near, far = growth(np.sort([one, other]), AT_KNOTS)
    assert near <= far + 1e-12
