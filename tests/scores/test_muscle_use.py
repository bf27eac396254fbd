"""Static and repeated work at the exact edges of the printed limits (60 s, 4 a minute)."""

import numpy as np
import pytest

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.muscle_use import GROUP_ANGLES, muscle_use
from ergo.timeline import build_timeline

STEP_S = 0.25  # exact in binary: a minute is a minute


def clip(**angles):
    frames = len(next(iter(angles.values())))
    value = np.full((frames, len(NAMES)), np.nan)
    for name, values in angles.items():
        value[:, COLUMN[name]] = values
    timeline = build_timeline(("clip",), (np.arange(frames) * STEP_S,), (True,))
    sd = np.where(np.isfinite(value), 1.0, np.nan)
    return timeline, PostureTrack(value, sd, np.ones(frames, bool), np.zeros(frames, bool))


def held(seconds):
    """An arm held still between two that are far from it."""
    still = round(seconds / STEP_S) + 1
    return np.concatenate([np.full(8, 0.0), np.full(still, 45.0), np.full(8, 90.0)])


@pytest.mark.parametrize(("static_after", "limit_s"), [("1min", 60.0), ("10min", 600.0)])
@pytest.mark.parametrize(("more_s", "is_static"), [(0.0, False), (STEP_S, True)])
def test_what_is_held_for_exactly_the_limit_is_not_static_yet(
    static_after, limit_s, more_s, is_static
):
    arm = held(limit_s + more_s)
    use = muscle_use(*clip(upper_arm_elevation_deg_left=arm), static_after)
    assert use["rula", "left"].is_static[8:-8].all() == is_static
    assert use["rula", "left"].is_static.any() == is_static
    assert not use["rula", "right"].is_static.any()
    assert not use["rula", "body"].is_static.any()
    assert use["reba", "left"].is_static.any() == (limit_s + more_s > 60)


def raised(at_s, length_s):
    """Raised by 30 degrees for a second at each of these times."""
    time_s = np.arange(0, length_s + STEP_S, STEP_S)
    return sum(30.0 * np.clip(1 - np.abs(time_s - at), 0, 1) for at in at_s)


@pytest.mark.parametrize(("count", "is_repeated"), [(3, False), (4, False), (5, True)])
@pytest.mark.parametrize("group", GROUP_ANGLES)
def test_exactly_four_a_minute_is_not_repeated_and_five_is(group, count, is_repeated):
    at_s = 2.0 + np.arange(count) * 56.0 / (count - 1)
    angle = GROUP_ANGLES[group][-1]
    use = muscle_use(*clip(**{angle: raised(at_s, 60.0)}), "1min")
    middle = round(30.0 / STEP_S)  # the only frame with a whole minute round it
    for method in ("rula", "reba"):
        for each in GROUP_ANGLES:
            wanted = is_repeated and each == group
            assert use[method, each].is_repeated[middle] == wanted


def test_a_burst_of_repetitions_is_repeated_work_where_it_is_and_nowhere_else():
    at_s = 100.0 + 2.0 * np.arange(10)  # 20 s of ten movements in five minutes
    timeline, posture = clip(upper_arm_elevation_deg_right=raised(at_s, 300.0))
    use = muscle_use(timeline, posture, "1min")
    repeated_s = timeline.time_s[use["reba", "right"].is_repeated]
    # more than four lie within half a minute either way: from the 5th on, up to the 6th last
    assert (repeated_s[0], repeated_s[-1]) == (108.0 - 30.0, 110.0 + 30.0)
    assert len(repeated_s) == round((140.0 - 78.0) / STEP_S) + 1
    assert not use["reba", "left"].is_repeated.any()
