import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.arrays import FloatArray
from ergo.errors import InputError
from ergo.timeline import BRIDGE_S, Timeline, build_timeline, held_s, usual_step_s


def test_a_steady_clip_stands_for_its_steps() -> None:
    assert held_s(np.arange(10) * 0.2) == pytest.approx(np.full(10, 0.2))


def clip(time_s: FloatArray) -> Timeline:
    return build_timeline(("clip",), (np.asarray(time_s, float),), (True,))


def test_a_frame_beside_a_bridged_step_stands_for_half_of_it() -> None:
    assert held_s(np.array([0.0, 0.2, 0.4, 1.0])) == pytest.approx([0.2, 0.2, 0.4, 0.4])


def test_a_jump_in_time_is_nobodys() -> None:
    timeline = clip(np.concatenate([np.arange(50) * 0.2, 70 + np.arange(50) * 0.2]))
    assert timeline.held == pytest.approx(np.full(100, 0.2))
    assert timeline.gap_after[49] == pytest.approx(70 - 9.8 - 0.2)
    assert np.count_nonzero(timeline.gap_after) == 1
    assert timeline.total == pytest.approx(80.0)


@pytest.mark.parametrize(("step_s", "is_bridged"), [(0.8, True), (0.801, False)])
def test_what_bridging_allows_is_stood_for_and_no_more(step_s: float, is_bridged: bool) -> None:
    timeline = clip(np.concatenate([np.arange(10) * 0.2, 1.8 + step_s + np.arange(10) * 0.2]))
    assert (timeline.gap_after[9] == 0) == is_bridged
    assert timeline.held[9] == pytest.approx((0.2 + step_s) / 2 if is_bridged else 0.2)


def test_two_pictures_before_a_long_hole_do_not_make_the_hole_usual() -> None:
    timeline = clip(np.array([0.0, 0.2, 60.0]))
    assert timeline.held == pytest.approx(np.full(3, 0.2))


def test_pictures_further_apart_than_any_sampling_show_nothing_in_between() -> None:
    timeline = clip(np.arange(5) * 60.0)
    assert timeline.held == pytest.approx(np.full(5, 10.0))
    assert timeline.total == pytest.approx(4 * 60 + 10)
    assert clip(np.arange(5) * 10.0).gap_after.tolist() == [0] * 5


@given(st.lists(st.floats(0.01, 90), min_size=1, max_size=30))
def test_frames_and_jumps_add_up_to_the_length_and_one_usual_step(steps: list[float]) -> None:
    times = np.concatenate([[0.0], np.cumsum(steps)])
    timeline, usual_s = clip(times), usual_step_s(np.diff(times))
    assert timeline.total == pytest.approx(times[-1] + usual_s)
    assert timeline.held.max() <= BRIDGE_S + 1.001 * usual_s + 1e-9


def test_jumps_of_one_clip_are_not_those_of_the_next() -> None:
    times = np.concatenate([np.arange(5) * 0.2, 30 + np.arange(5) * 0.2])
    timeline = build_timeline(("a", "b"), (np.arange(20) * 0.2, times), (True, True))
    assert np.flatnonzero(timeline.gap_after).tolist() == [24]


def test_times_that_do_not_rise_are_refused() -> None:
    with pytest.raises(InputError, match="rise"):
        held_s(np.array([0.0, 0.2, 0.2]))


def test_stills_alone_count_as_pictures() -> None:
    timeline = build_timeline(("a", "b"), (np.zeros(1), np.zeros(1)), (False, False))
    assert timeline.unit == "picture"
    assert timeline.total == 2


def test_stills_beside_a_clip_stand_for_no_time() -> None:
    timeline = build_timeline(("a", "clip"), (np.zeros(1), np.arange(5) * 0.2), (False, True))
    assert timeline.unit == "second"
    assert timeline.total == pytest.approx(1.0)
    assert timeline.is_still.tolist() == [True, False, False, False, False, False]


def test_a_session_without_frames_is_empty() -> None:
    assert build_timeline((), (), ()).total == 0
