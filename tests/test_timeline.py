import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.errors import InputError
from ergo.timeline import build_timeline, held_s


def test_a_steady_clip_stands_for_its_steps() -> None:
    assert held_s(np.arange(10) * 0.2) == pytest.approx(np.full(10, 0.2))


def test_a_frame_before_a_long_step_stands_for_half_of_it() -> None:
    assert held_s(np.array([0.0, 1.0, 4.0])) == pytest.approx([1.5, 2.0, 2.5])


@given(st.lists(st.floats(0.01, 5), min_size=1, max_size=30))
def test_a_clip_stands_for_its_length_and_one_median_step(steps: list[float]) -> None:
    times = np.concatenate([[0.0], np.cumsum(steps)])
    assert held_s(times).sum() == pytest.approx(times[-1] + np.median(np.diff(times)))


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
