"""Who stands and who sits, by thighs placed by hand."""

import numpy as np
import pytest

from ergo.posture.body_points import POINTS, POSITION, BodyPoints
from ergo.posture.standing import seated_share

UP, AHEAD = np.array([0.0, -1.0, 0.0]), np.array([0.0, 0.0, 1.0])  # level axes: y down


def person(left_thigh, right_thigh, trunk=UP):
    xyz = np.zeros((1, len(POINTS), 3))
    for side, thigh in (("left", left_thigh), ("right", right_thigh)):
        xyz[0, POSITION[f"knee_{side}"]] = 0.45 * np.asarray(thigh)
        xyz[0, POSITION[f"shoulder_{side}"]] = 0.5 * np.asarray(trunk)
    return BodyPoints(xyz)


def turned(deg):
    """Return a thigh turned ahead from hanging down."""
    return -UP * np.cos(np.radians(deg)) + AHEAD * np.sin(np.radians(deg))


def share(body, *, is_level_known=True):
    return float(seated_share(body, np.array([is_level_known]))[0])


@pytest.mark.parametrize("is_level_known", [True, False])
def test_level_thighs_sit_and_hanging_ones_stand(is_level_known):
    assert share(person(AHEAD, AHEAD), is_level_known=is_level_known) == 1.0
    assert share(person(-UP, -UP), is_level_known=is_level_known) == 0.0


def test_one_hanging_thigh_is_enough_to_stand():
    assert share(person(AHEAD, -UP)) == 0.0


def test_a_saddle_stool_is_a_seat():
    assert share(person(turned(45), turned(45))) == 1.0


def test_between_standing_and_sitting_the_share_goes_over():
    assert share(person(turned(32.5), turned(32.5))) == pytest.approx(0.5)


def test_how_the_camera_is_held_does_not_matter_where_the_level_is_not_known():
    tilted = person(turned(40), turned(40), trunk=-turned(40))  # standing, seen by a tilted camera
    assert share(tilted, is_level_known=False) == 0.0


def test_thighs_that_were_not_seen_are_taken_to_sit():
    unseen = person(np.full(3, np.nan), np.full(3, np.nan))
    assert share(unseen) == 1.0
    assert share(unseen, is_level_known=False) == 1.0
