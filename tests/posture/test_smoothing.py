import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.posture.body_points import POINTS, POSITION, BodyPoints
from ergo.posture.smoothing import CUTOFF_HZ, bridged, low_passed, smoothed
from tests.posture.bodies import clip_timeline, random_body, stills_timeline


def wave(time_s, hz):
    return np.sin(2 * np.pi * hz * time_s)[:, None]


def body_moving(series):
    """Every point moves along x as ``series`` does."""
    xyz = np.zeros((len(series), len(POINTS), 3))
    xyz[:, :, 0] = np.reshape(series, (-1, 1))
    return BodyPoints(xyz)


def amplitude_left(hz, time_s):
    low = low_passed(time_s, wave(time_s, hz))[:, 0]
    middle = slice(len(low) // 4, -len(low) // 4)
    phase = np.exp(2j * np.pi * hz * time_s[middle])
    return 2 * np.abs(np.mean(low[middle] * phase))


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 30.0])
def test_slow_movement_stays_half_is_left_at_the_cutoff_and_jitter_goes(rate_hz):
    time_s = np.arange(0, 80, 1 / rate_hz)
    assert amplitude_left(0.2, time_s) == pytest.approx(1, abs=0.01)
    assert amplitude_left(CUTOFF_HZ, time_s) == pytest.approx(0.5, abs=0.03)
    assert amplitude_left(2.2, time_s) < 0.1


def test_nothing_is_delayed():
    time_s = np.arange(0, 40, 0.2)
    low = low_passed(time_s, wave(time_s, 0.1))
    assert np.abs(low - wave(time_s, 0.1)).max() < 0.03


def test_unevenly_timed_pictures_are_filtered_at_their_own_times():
    steps = np.random.default_rng(0).uniform(0.05, 0.35, 300)
    time_s = np.cumsum(steps)
    jitter = np.random.default_rng(1).normal(0, 0.2, (300, 1))
    low = low_passed(time_s, wave(time_s, 0.1) + jitter)
    assert np.std(low - wave(time_s, 0.1)) < 0.6 * np.std(jitter)


@pytest.mark.parametrize("count", range(6))
def test_short_clips_do_not_break_it(count):
    series = np.ones((count, 2))
    assert np.allclose(low_passed(np.arange(count) * 0.2, series), series)


@given(seed=st.integers(0, 1000), count=st.integers(1, 40))
def test_a_body_that_does_not_move_is_not_moved(seed, count):
    still = BodyPoints(np.repeat(random_body(seed, 1).xyz, count, axis=0))
    timeline = clip_timeline(np.arange(count) * 0.2 if count > 1 else np.array([0.0, 0.2]))
    if count == 1:
        still = BodyPoints(np.repeat(still.xyz, 2, axis=0))
    assert np.allclose(smoothed(timeline, still).xyz, still.xyz)


def test_stills_are_left_as_they_are():
    body = random_body(4, 30)
    timeline = stills_timeline(30)
    assert np.array_equal(smoothed(timeline, body).xyz, body.xyz)


def test_one_clip_does_not_leak_into_the_next():
    time_s = np.arange(0, 5, 0.2)
    timeline = clip_timeline(time_s, time_s)
    body = body_moving(np.repeat([0.0, 100.0], len(time_s)))
    assert np.allclose(smoothed(timeline, body).xyz, body.xyz)
    xyz = body.xyz.copy()
    xyz[len(time_s) - 1] = np.nan  # the last picture of the first clip
    filled, away_s = bridged(timeline, BodyPoints(xyz))
    assert np.isnan(filled.xyz[len(time_s) - 1]).all()
    assert not away_s.any()


@pytest.mark.parametrize(("missing", "is_filled"), [(1, True), (3, True), (4, False)])
def test_a_gap_of_up_to_six_tenths_of_a_second_is_bridged_by_a_straight_line(missing, is_filled):
    series = np.arange(20.0)
    xyz = body_moving(series).xyz.copy()
    xyz[8 : 8 + missing, POSITION["nose"]] = np.nan
    timeline = clip_timeline(np.arange(20) * 0.2)
    filled, away_s = bridged(timeline, BodyPoints(xyz))
    if is_filled:
        assert np.allclose(filled["nose"][:, 0], series)
        assert away_s.max() == pytest.approx(0.2 * ((missing + 1) // 2))
    else:
        assert np.isnan(filled["nose"][8 : 8 + missing]).all()
        assert not away_s.any()


def test_the_filter_does_not_reach_across_a_long_gap():
    series = np.repeat([0.0, np.nan, 50.0], [20, 10, 20])
    body = body_moving(series)
    low = smoothed(clip_timeline(np.arange(50) * 0.2), body)
    assert np.allclose(low.xyz, body.xyz, equal_nan=True)


def test_how_far_a_bridged_frame_is_from_what_was_seen_is_the_nearer_side():
    time_s = np.array([0.0, 0.1, 0.3, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
    xyz = np.ones((10, len(POINTS), 3))
    xyz[2:4, 0] = np.nan  # between 0.1 and 0.5 s
    xyz[3, 1] = np.nan  # another point, between 0.3 and 0.5 s
    _, away_s = bridged(clip_timeline(time_s), BodyPoints(xyz))
    assert away_s[2:4] == pytest.approx([0.2, 0.15])
    assert not away_s[[0, 1, 4, 5, 6, 7, 8, 9]].any()
