import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from ergo.exposure.percentiles import angle_percentiles, weighted_quantiles
from ergo.exposure.uncertain import COMMON_SHARE
from tests.exposure.conftest import posture_of


@given(
    st.lists(st.tuples(st.floats(-90, 90), st.integers(1, 9)), min_size=1, max_size=30),
    st.sampled_from([0.1, 0.25, 0.5, 0.9]),
)
def test_weighted_quantiles_equal_numpys_of_repeated_values(pairs, share):
    value, weight = (np.array(each) for each in zip(*pairs, strict=True))
    repeated = np.repeat(value, weight)
    wanted = np.quantile(repeated, share, method="inverted_cdf")
    assert weighted_quantiles(value, weight.astype(float), np.array([share])) == wanted


def test_percentiles_count_seconds_not_frames():
    posture = posture_of(3, 0.001, neck_flexion_deg=[10, 20, 30])
    (found,) = angle_percentiles(posture, np.array([1.0, 1.0, 18.0]))
    assert [each.value for each in (found.p10, found.p50, found.p90)] == [20, 30, 30]


def test_a_common_error_moves_the_whole_distribution():
    value = np.linspace(0, 40, 2001)
    (found,) = angle_percentiles(posture_of(2001, 5.0, neck_flexion_deg=value), np.ones(2001))
    half_width = norm.ppf(0.95) * 5 * np.sqrt(COMMON_SHARE)
    assert found.p50.value == pytest.approx(20, abs=0.05)
    assert found.p50.high - found.p50.value == pytest.approx(half_width, abs=0.1)
    assert found.p50.value - found.p50.low == pytest.approx(half_width, abs=0.1)


def test_a_single_frame_keeps_its_whole_uncertainty():
    (found,) = angle_percentiles(posture_of(1, 5.0, neck_flexion_deg=[30]), np.ones(1))
    assert found.p50.high == pytest.approx(30 + norm.ppf(0.95) * 5)


def test_an_unsigned_angle_never_goes_below_zero():
    (found,) = angle_percentiles(posture_of(2, 9.0, trunk_inclination_deg=[2, 3]), np.ones(2))
    assert found.p10.low == 0


def test_an_angle_that_was_never_seen_has_no_percentiles():
    posture = posture_of(3, 1.0, neck_flexion_deg=[np.nan, 5, np.nan])
    assert angle_percentiles(posture, np.array([1.0, 0.0, 1.0])) == ()
