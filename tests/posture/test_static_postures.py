import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.posture.static_postures import find_holds, held_longer_than, repetitions_per_minute
from tests.posture.bodies import clip_timeline, posture_of, stills_timeline

HEAD = "head_inclination_deg"


def holds_of(values, time_s=None, **options):
    time_s = np.arange(len(values)) * 0.2 if time_s is None else time_s
    return find_holds(clip_timeline(time_s), posture_of({HEAD: values}), HEAD, **options)


def steps(*parts):
    return np.concatenate([np.full(count, value) for value, count in parts])


def test_two_postures_are_two_holds_with_their_angle_and_length():
    first, second = holds_of(steps((10.0, 51), (40.0, 101)))
    assert (first.mean, second.mean) == pytest.approx((10, 40))
    assert (first.length_s, second.length_s) == pytest.approx((10, 20))
    assert (first.start_s, second.start_s) == pytest.approx((0, 10.2))
    assert first.source == "clip 0"


@pytest.mark.parametrize(("frames", "count"), [(21, 0), (22, 1)])
def test_a_hold_is_longer_than_four_seconds(frames, count):
    assert (
        len(holds_of(steps((0.0, 5), (30.0, frames), (60.0, 5)), np.arange(frames + 10) / 5))
        == count
    )


@pytest.mark.parametrize(("swing", "count"), [(4.9, 1), (5.1, 0)])
def test_variation_up_to_the_tolerance_is_slight(swing, count):
    values = 30 + swing * np.where(np.arange(60) % 2, 1.0, -1.0)
    assert len(holds_of(values, tolerance_deg=5.0)) == count


def test_slow_drift_ends_a_hold():
    drifting = holds_of(np.linspace(0, 60, 301), tolerance_deg=5.0)
    assert len(drifting) > 1
    assert all(hold.length_s <= 10.01 for hold in drifting)


def test_the_longest_hold_is_not_cut_by_the_movement_before_it():
    moving = np.linspace(0, 38, 12)
    still = 40 + 4.0 * np.sin(np.arange(150))
    hold = max(holds_of(np.concatenate([moving, still])), key=lambda h: h.length_s)
    assert hold.length_s >= 149 * 0.2 - 1e-9


def test_a_hold_ends_with_its_clip():
    time_s = np.arange(30) * 0.2
    holds = find_holds(clip_timeline(time_s, time_s), posture_of({HEAD: np.full(60, 20.0)}), HEAD)
    assert [hold.source for hold in holds] == ["clip 0", "clip 1"]
    assert all(hold.length_s == pytest.approx(5.8) for hold in holds)


def test_a_short_gap_is_part_of_a_hold_and_counts_as_unjudged():
    values = np.full(60, 20.0)
    values[30:33] = np.nan
    (hold,) = holds_of(values)
    assert hold.length_s == pytest.approx(11.8)
    assert hold.unjudged_share == pytest.approx(0.6 / 11.8)


def test_a_long_gap_ends_a_hold():
    values = np.full(60, 20.0)
    values[30:34] = np.nan
    assert len(holds_of(values)) == 2


def test_stills_hold_nothing():
    posture = posture_of({HEAD: np.full(50, 20.0)})
    assert find_holds(stills_timeline(50), posture, HEAD) == ()


@given(st.lists(st.floats(-90, 90), min_size=1, max_size=80), st.floats(0.5, 40))
def test_every_hold_is_long_enough_narrow_enough_and_apart_from_the_others(values, tolerance):
    values = np.array(values)
    if len(values) < 2:
        return
    holds = holds_of(values, tolerance_deg=tolerance, minimum_s=1.0)
    last = -1.0
    for hold in holds:
        inside = values[round(hold.start_s * 5) : round(hold.end_s * 5) + 1]
        assert hold.length_s > 1.0
        assert np.ptp(inside) <= 2 * tolerance
        assert hold.start_s > last
        last = hold.end_s
    if len(values) > 6 and not holds:
        windows = np.lib.stride_tricks.sliding_window_view(values, 7)
        assert (np.ptp(windows, axis=1) > 2 * tolerance).all()


def test_frames_within_long_holds_are_marked():
    values = steps((10.0, 51), (40.0, 401))
    timeline = clip_timeline(np.arange(len(values)) * 0.2)
    holds = find_holds(timeline, posture_of({HEAD: values}), HEAD)
    marked = held_longer_than(timeline, holds, 60.0)
    assert not marked[:51].any()
    assert marked[51:].all()


@pytest.mark.parametrize("per_minute", [3, 6, 12])
def test_repeated_movement_is_counted_per_minute(per_minute):
    time_s = np.arange(0, 180, 0.2)
    values = 30 - 20 * np.cos(2 * np.pi * per_minute / 60 * time_s)
    timeline = clip_timeline(time_s)
    rate = repetitions_per_minute(timeline, posture_of({HEAD: values}), HEAD)
    assert rate[len(rate) // 2] == pytest.approx(per_minute, abs=1)


def test_small_movements_are_no_repetitions_and_too_little_time_is_not_judged():
    time_s = np.arange(0, 60, 0.2)
    small = posture_of({HEAD: 5 * np.sin(time_s)})
    assert (repetitions_per_minute(clip_timeline(time_s), small, HEAD) == 0).all()
    short = posture_of({HEAD: np.full(50, 20.0)})
    rate = repetitions_per_minute(clip_timeline(np.arange(50) * 0.2), short, HEAD)
    assert np.isnan(rate).all()
