import numpy as np
import pytest

from ergo.multi_camera.fusion import fuse
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack

NECK = COLUMN["neck_flexion_deg"]


def posture(values, sd):
    value = np.full((len(values), len(NAMES)), np.nan)
    value[:, NECK] = values
    spread = np.where(np.isfinite(value), sd, np.nan)
    return PostureTrack(value, spread, np.isfinite(value[:, NECK]), np.zeros(len(values), bool))


def test_the_surer_view_counts_more():
    times = np.arange(3) / 5
    joined, counted = fuse(
        [posture([20, 20, 20], 2.0), posture([26, 26, 26], 4.0)], [times, times], [0, 0]
    )
    assert joined.angle("neck_flexion_deg") == pytest.approx([21.2] * 3)  # (20/4 + 26/16)/(5/16)
    assert (joined.angle_sd("neck_flexion_deg") < 2.0).all()
    assert (counted[:, NECK] == 0).all()


def test_a_view_can_count_several_times_over():
    times = np.arange(3) / 5
    views = [posture([20, 20, 20], 2.0), posture([26, 26, 26], 4.0)]
    joined, counted = fuse(views, [times, times], [0, 0], [1.0, 8.0])
    assert joined.angle("neck_flexion_deg") == pytest.approx([24.0] * 3)  # 20/4 + 8 * 26/16 of 3/4
    assert (joined.angle_sd("neck_flexion_deg") < 2.0).all()
    assert (counted[:, NECK] == 1).all()


def test_what_one_view_does_not_see_is_taken_from_the_other():
    times = np.arange(3) / 5
    joined, counted = fuse(
        [posture([20, np.nan, 20], 2.0), posture([np.nan, 30, np.nan], 4.0)], [times, times], [0, 0]
    )
    assert joined.angle("neck_flexion_deg").tolist() == [20, 30, 20]
    assert joined.angle_sd("neck_flexion_deg")[1] == pytest.approx(4.0)
    assert counted[:, NECK].tolist() == [0, 1, 0]


def test_what_no_view_sees_stays_not_seen():
    times = np.arange(2) / 5
    joined, counted = fuse(
        [posture([np.nan] * 2, 2.0), posture([np.nan] * 2, 2.0)], [times] * 2, [0, 0]
    )
    assert np.isnan(joined.value).all()
    assert np.isnan(joined.sd).all()
    assert (counted == -1).all()


def test_a_later_start_is_allowed_for():
    times = np.arange(20) / 5
    blind = posture([np.nan] * 20, 2.0)
    joined, _ = fuse([blind, posture(10 * times, 2.0)], [times, times], [0.0, 1.0])
    seen = joined.angle("neck_flexion_deg")
    assert np.isnan(seen[:4]).all()
    assert seen[5:] == pytest.approx(10 * (times[5:] - 1.0))


def test_views_that_contradict_each_other_are_less_sure():
    times = np.arange(2) / 5
    agree, _ = fuse([posture([20, 20], 2.0), posture([21, 21], 2.0)], [times] * 2, [0, 0])
    differ, _ = fuse([posture([20, 20], 2.0), posture([60, 60], 2.0)], [times] * 2, [0, 0])
    assert differ.angle_sd("neck_flexion_deg")[0] > 3 * agree.angle_sd("neck_flexion_deg")[0]
