"""The people of the neutral bench: another neck and back, the same true relative angles."""

import numpy as np
import pytest

from ergo.posture.angle_names import COLUMN
from ergo.posture.angles import body_angles
from tests.accuracy.neutral import turned_person
from tests.posture.bodies import scenes, true_points

NAMES = ("trunk_flexion_deg", "head_inclination_deg", "neck_flexion_deg", "neck_rotation_deg")


def person(points, head_deg, trunk_deg):
    names = scenes()["names"]
    turned = turned_person(dict(zip(names, points, strict=True)), head_deg, trunk_deg)
    return np.array([turned[name] for name in names])


@pytest.mark.parametrize(("head_deg", "trunk_deg"), [(10.0, 0.0), (-6.0, -4.0), (4.0, 5.0)])
def test_another_person_has_the_same_angles_against_their_own_neutral_posture(head_deg, trunk_deg):
    clip = scenes()["clip"]
    neutral = np.array(clip["neutral_m"])
    work = [np.array(frame["points_m"]) for frame in clip["frames"]]
    before = body_angles(true_points(work), true_points([neutral]))
    made = true_points([person(each, head_deg, trunk_deg) for each in work])
    own = true_points([person(neutral, head_deg, trunk_deg)])
    after, average = body_angles(made, own), body_angles(made, true_points([neutral]))
    for name in NAMES:
        same = np.abs(after[:, COLUMN[name]] - before[:, COLUMN[name]])
        assert np.nanmax(same) < 2.5, name
    moved = average[:, COLUMN["head_inclination_deg"]] - before[:, COLUMN["head_inclination_deg"]]
    assert np.nanmean(moved) == pytest.approx(head_deg + trunk_deg, abs=2.0)
