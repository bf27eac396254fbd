import numpy as np
import pytest

from ergo.scores.iso11226 import holding_line_origin, iso11226, max_holding_time_s
from ergo.scores.readings import complete_readings


def verdicts(posture, circumstances, **readings):
    return iso11226(posture, circumstances, complete_readings(readings))


def whole(posture, circumstances, **readings):
    return verdicts(posture, circumstances, **readings)[0]


def printed(score):
    return score.levels[score.level[0] - 1].printed if score.level[0] else "not judged"


@pytest.mark.parametrize(
    ("flexion_deg", "verdict"),
    [(5.0, 1), (20.0, 1), (20.5, 2), (60.0, 2), (60.5, 3), (-1.0, 3)],
)
def test_trunk_verdicts_by_inclination_and_backward_not_recommended(
    flexion_deg, verdict, posture_of, circumstances_of
):
    posture = posture_of(trunk_flexion_deg=flexion_deg, trunk_inclination_deg=abs(flexion_deg))
    assert whole(posture, circumstances_of()).steps["trunk"].tolist() == [verdict]


@pytest.mark.parametrize("flexion_deg", [-30.0, 40.0])
def test_a_fully_supported_trunk_is_acceptable_up_to_60(flexion_deg, posture_of, circumstances_of):
    posture = posture_of(trunk_flexion_deg=flexion_deg, trunk_inclination_deg=abs(flexion_deg))
    around = circumstances_of(support=[{"trunk": True}])
    assert whole(posture, around).steps["trunk"].tolist() == [1]


@pytest.mark.parametrize(("head_deg", "verdict"), [(25.0, 1), (26.0, 2), (85.0, 2), (86.0, 3)])
def test_head_verdicts_by_inclination(head_deg, verdict, posture_of, circumstances_of):
    posture = posture_of(head_inclination_deg=head_deg)
    assert whole(posture, circumstances_of()).steps["head"].tolist() == [verdict]


@pytest.mark.parametrize(("neck_deg", "verdict"), [(25.0, 1), (25.5, 3), (-0.5, 3)])
def test_a_neck_bent_beyond_25_is_not_recommended_at_once(
    neck_deg, verdict, posture_of, circumstances_of
):
    posture = posture_of(neck_flexion_deg=neck_deg)
    assert whole(posture, circumstances_of()).steps["neck"].tolist() == [verdict]


@pytest.mark.parametrize(
    ("angle", "part"),
    [
        ("trunk_twist_deg", "trunk"),
        ("trunk_side_bend_deg", "trunk"),
        ("neck_rotation_deg", "neck"),
        ("neck_side_bend_deg", "neck"),
    ],
)
@pytest.mark.parametrize("sign", [-1, 1])
def test_asymmetry_is_not_recommended(angle, part, sign, posture_of, circumstances_of):
    score = whole(posture_of(**{angle: sign * 12.0}), circumstances_of())
    assert score.steps[part].tolist() == [3]
    assert printed(score) == "not recommended"


@pytest.mark.parametrize(("elevation_deg", "verdict"), [(20.0, 1), (21.0, 2), (60.0, 2), (61.0, 3)])
def test_upper_arm_verdicts_by_elevation(elevation_deg, verdict, posture_of, circumstances_of):
    posture = posture_of(upper_arm_elevation_deg_right=elevation_deg)
    _, left, right = verdicts(posture, circumstances_of())
    assert right.score.tolist() == [verdict]
    assert left.score.tolist() == [1]


def test_a_supported_arm_is_acceptable_up_to_60(posture_of, circumstances_of):
    posture = posture_of(upper_arm_elevation_deg_left=50.0)
    around = circumstances_of(support=[{"arm_left": True}])
    assert verdicts(posture, around)[1].score.tolist() == [1]


def test_a_raised_shoulder_is_not_recommended(posture_of, circumstances_of):
    posture = posture_of(shoulder_raise_mm_left=30.0)
    assert verdicts(posture, circumstances_of())[1].score.tolist() == [3]


def test_the_whole_is_as_bad_as_its_worst_part(posture_of, circumstances_of):
    posture = posture_of(head_inclination_deg=40.0)
    assert printed(whole(posture, circumstances_of())) == "time-limited"


@pytest.mark.parametrize(
    "angle",
    ["trunk_flexion_deg", "trunk_inclination_deg", "head_inclination_deg", "neck_flexion_deg"],
)
def test_a_part_that_was_not_seen_leaves_the_whole_not_judged(angle, posture_of, circumstances_of):
    score = whole(posture_of(sd=4.0, **{angle: np.nan}), circumstances_of())
    assert score.score.tolist() == [0]
    assert np.all(np.isnan(score.level_probability))


def test_a_verdict_on_an_edge_is_as_likely_as_not(posture_of, circumstances_of):
    posture = posture_of(
        upper_arm_elevation_deg_left=60.0,
        sd={"upper_arm_elevation_deg_left": 2.0, "shoulder_raise_mm_left": 1.0},
    )
    chances = verdicts(posture, circumstances_of())[1].level_probability[0]
    assert chances == pytest.approx([0.0, 0.5, 0.5], abs=1e-6)


@pytest.mark.parametrize(("joint", "first", "last"), [("trunk", 20, 60), ("head", 25, 85)])
def test_there_is_no_limit_before_the_line_and_no_time_after_it(joint, first, last):
    times = max_holding_time_s(joint, np.array([first - 0.01, last + 0.01, np.nan]))
    assert times[0] == np.inf
    assert times[1] == 0
    assert np.isnan(times[2])


def test_the_upper_arm_line_is_marked_as_memory():
    assert holding_line_origin("upper_arm").is_from_memory
    assert not holding_line_origin("head").is_from_memory
