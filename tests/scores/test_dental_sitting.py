import numpy as np
import pytest

from ergo.scores.dental_sitting import dental_sitting
from ergo.scores.interpretations import complete_readings


def verdicts(posture, circumstances, **readings):
    return dental_sitting(posture, circumstances, complete_readings(readings))


@pytest.mark.parametrize(
    ("angle", "requirement", "within", "outside"),
    [
        ("neck_flexion_deg", "neck_flexion", 24.0, 26.0),
        ("neck_flexion_deg", "neck_flexion", 1.0, -1.0),
        ("trunk_flexion_deg", "trunk_forward_inclination", 9.0, 21.0),
        ("trunk_twist_deg", "symmetry", 8.0, 12.0),
        ("neck_side_bend_deg", "symmetry", -8.0, -12.0),
        ("neck_flexion_deg", "neck_flexion_north_america", 19.0, 21.0),
        ("head_inclination_deg", "head_tilt_north_america", 14.0, 16.0),
    ],
)
def test_each_requirement_is_within_or_outside(
    angle, requirement, within, outside, posture_of, circumstances_of
):
    for degrees, verdict in ((within, 1), (outside, 3)):
        whole = verdicts(posture_of(**{angle: degrees}), circumstances_of())[0]
        assert whole.steps[requirement].tolist() == [verdict]


def test_the_trunk_has_a_target_and_an_outer_limit(posture_of, circumstances_of):
    whole = verdicts(posture_of(trunk_flexion_deg=15.0), circumstances_of())[0]
    assert whole.levels[whole.level[0] - 1].printed == "within the outer limit"


@pytest.mark.parametrize(
    ("angle", "requirement", "within", "outside"),
    [
        ("shoulder_abduction_deg_left", "upper_arm_sideways", 19.0, 21.0),
        ("shoulder_flexion_deg_left", "upper_arm_forward", 24.0, 26.0),
    ],
)
def test_arms_are_judged_side_by_side(
    angle, requirement, within, outside, posture_of, circumstances_of
):
    for degrees, verdict in ((within, 1), (outside, 3)):
        _, left, right = verdicts(posture_of(**{angle: degrees}), circumstances_of())
        assert left.steps[requirement].tolist() == [verdict]
        assert right.steps[requirement].tolist() == [1]


@pytest.mark.parametrize(
    ("elbow", "shoulder", "trunk", "verdict"),
    [
        (102.0, 0.0, 0.0, 1),  # upper arm hangs, forearm 12 above the horizontal
        (110.0, 0.0, 0.0, 2),
        (90.0, 0.0, 0.0, 3),
        (120.0, 0.0, 0.0, 3),
        (102.0, 15.0, 15.0, 1),  # leaning forward with the arm still hanging
        (82.0, 20.0, 0.0, 1),  # the arm lifted forward raises the forearm with it
    ],
)
def test_the_forearm_is_read_against_the_horizontal(
    elbow, shoulder, trunk, verdict, posture_of, circumstances_of
):
    posture = posture_of(
        elbow_flexion_deg_left=elbow, shoulder_flexion_deg_left=shoulder, trunk_flexion_deg=trunk
    )
    left = verdicts(posture, circumstances_of())[1]
    assert left.steps["forearm_raise"].tolist() == [verdict]


def test_rules_of_other_schools_do_not_count(posture_of, circumstances_of):
    whole = verdicts(posture_of(neck_flexion_deg=23.0), circumstances_of())[0]
    assert whole.steps["neck_flexion_north_america"].tolist() == [3]
    assert whole.score.tolist() == [1]


def test_what_was_not_seen_is_not_judged(posture_of, circumstances_of):
    whole, left, right = verdicts(
        posture_of(neck_rotation_deg=np.nan, elbow_flexion_deg_left=np.nan), circumstances_of()
    )
    assert whole.steps["symmetry"].tolist() == whole.score.tolist() == [0]
    assert whole.steps["neck_flexion"].tolist() == [1]
    assert left.score.tolist() == [0]
    assert right.score[0] > 0


@pytest.mark.parametrize(("side", "steps"), [("left", [1, 3]), ("right", [3, 1])])
@pytest.mark.parametrize(
    ("angle", "requirement"),
    [("shoulder_abduction", "upper_arm_sideways"), ("shoulder_flexion", "upper_arm_forward")],
)
def test_one_supported_arm_may_be_raised_and_the_other_not(
    angle, requirement, side, steps, posture_of, circumstances_of
):
    posture = posture_of(**{f"{angle}_deg_{each}": 40.0 for each in ("left", "right")})
    around = circumstances_of(support=[{f"arm_{side}": True}])
    found = [int(arm.steps[requirement][0]) for arm in verdicts(posture, around)[1:]]
    assert found == steps


def test_a_supported_trunk_may_lean_as_far_as_iso_11226_accepts(posture_of, circumstances_of):
    around = circumstances_of(support=[{"trunk": True}])
    for flexion_deg, verdict in ((40.0, 1), (61.0, 3)):
        score = verdicts(posture_of(trunk_flexion_deg=flexion_deg), around)[0]
        assert score.steps["trunk_forward_inclination"].tolist() == [verdict]


@pytest.mark.parametrize(
    ("elbow_deg", "raised", "level"), [(85.0, 3, 3), (95.0, 3, 1), (102.0, 1, 1), (110.0, 2, 2)]
)
def test_a_level_forearm_is_outside_by_one_teaching_and_within_by_the_other(
    elbow_deg, raised, level, posture_of, circumstances_of
):
    posture = posture_of(elbow_flexion_deg_right=elbow_deg, trunk_flexion_deg=0.0)
    for choice, verdict in (("raised", raised), ("level", level)):
        right = verdicts(posture, circumstances_of(), dental_forearm=choice)[2]
        assert right.steps["forearm_raise"].tolist() == [verdict]
        assert right.reading["dental_forearm"] == choice


def test_an_arm_held_forward_is_not_out_sideways(posture_of, circumstances_of):
    arm = {"shoulder_flexion_deg_right": 89.0, "shoulder_abduction_deg_right": 71.6}
    for choice, verdict in (("out-of-plane", 1), ("projection", 3)):
        right = verdicts(posture_of(**arm), circumstances_of(), abduction_by=choice)[2]
        assert right.steps["upper_arm_sideways"].tolist() == [verdict]
