"""Who stands and who sits, by thighs placed by hand."""

import numpy as np
import pytest

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.body_points import POINTS, POSITION, BodyPoints
from ergo.posture.standing import seated_share, standing_variance

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


def added(seated, *, is_level_known=True, left_in=0.0):
    """What standing adds to the spread of each angle, by name. [deg]"""
    usual = np.full((1, len(NAMES)), left_in)
    found = standing_variance(np.array([seated]), np.array([is_level_known]), usual)[0]
    return {name: np.sqrt(found[at]) for name, at in COLUMN.items()}


def test_who_sits_is_no_less_sure_and_who_half_stands_by_half_the_variance():
    assert set(added(1.0).values()) == {0.0}
    stands, half = added(0.0), added(0.5)
    for name in NAMES:
        assert half[name] ** 2 == pytest.approx(stands[name] ** 2 / 2)


def test_the_zero_of_who_stands_is_worth_five_degrees():
    stands = added(0.0)
    assert stands["neck_flexion_deg"] == pytest.approx(5.0)
    assert stands["trunk_flexion_deg"] == pytest.approx(np.hypot(5.0, 8.5))  # and its depth
    assert stands["elbow_flexion_deg_right"] == 0.0  # has no zero of its own
    assert stands["shoulder_raise_mm_left"] == 0.0


def test_depth_that_was_left_in_already_is_not_counted_twice():
    assert added(0.0, left_in=17.0)["trunk_flexion_deg"] == pytest.approx(5.0)


def test_what_is_read_against_gravity_leans_with_a_camera_of_unknown_level():
    known, unknown = added(0.0), added(0.0, is_level_known=False)
    assert unknown["upper_arm_elevation_deg_left"] == pytest.approx(12.0)
    assert unknown["head_inclination_deg"] == pytest.approx(13.0)
    assert unknown["neck_flexion_deg"] == known["neck_flexion_deg"]
