import numpy as np
import pytest
from scipy.stats import norm

from ergo.scores.interpretations import complete_readings
from ergo.scores.iso11226 import holding_line_origin, iso11226, max_holding_time_s


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


def test_a_lean_that_cannot_be_told_from_upright_is_upright(posture_of, circumstances_of):
    for flexion_deg in (-3.3, -0.1, 0.1):
        posture = posture_of(
            trunk_flexion_deg=flexion_deg,
            trunk_inclination_deg=9.0,  # this person's own neutral line leans
            sd={"trunk_flexion_deg": 3.5, "trunk_inclination_deg": 2.0},
        )
        score = whole(posture, circumstances_of())
        assert score.steps["trunk"].tolist() == [1]
        assert score.level_probability[0, 2] == pytest.approx(norm.cdf(0, flexion_deg, 3.5))


def test_a_lean_told_from_upright_is_backward_by_its_own_spread(posture_of, circumstances_of):
    sd = {"trunk_flexion_deg": 2.0, "trunk_inclination_deg": 15.0}
    posture = posture_of(trunk_flexion_deg=-9.0, trunk_inclination_deg=17.0, sd=sd)
    score = whole(posture, circumstances_of())
    assert score.steps["trunk"].tolist() == [3]
    assert score.level_probability[0, 2] == pytest.approx(norm.cdf(0, -9.0, 2.0), abs=1e-6)


@pytest.mark.parametrize(
    ("flexion_deg", "bend_deg", "vertical_deg", "verdict"),
    [
        (15.0, 0.0, 24.0, 1),  # a neutral line that leans 9 forward is taken off
        (23.0, 0.0, 14.0, 2),  # one that leans backward too
        (19.0, 9.0, 19.5, 2),  # forward and sideways together pass 20
        (-58.0, 0.0, 50.0, 3),
        (59.95, 9.5, 55.0, 3),
    ],
)
def test_the_trunk_is_judged_from_its_reference_line_not_from_the_vertical(
    flexion_deg, bend_deg, vertical_deg, verdict, posture_of, circumstances_of
):
    posture = posture_of(
        trunk_flexion_deg=flexion_deg,
        trunk_side_bend_deg=bend_deg,
        trunk_inclination_deg=vertical_deg,
    )
    assert whole(posture, circumstances_of()).steps["trunk"].tolist() == [verdict]


@pytest.mark.parametrize(("flexion_deg", "bend_deg"), [(19.0, -6.0), (57.0, 4.0), (-8.0, 3.0)])
def test_the_chances_of_the_trunk_are_those_of_drawn_lines(
    flexion_deg, bend_deg, posture_of, circumstances_of
):
    noise = np.random.default_rng(4).normal(size=(2, 40_000))
    flexion = np.radians(flexion_deg + 4.0 * noise[0])
    bend = np.radians(bend_deg + 0.8 * noise[1])
    line = np.stack([np.tan(flexion), np.tan(bend), np.ones_like(bend)])
    lean = np.degrees(np.arccos(1 / np.linalg.norm(line, axis=0)))
    verdict = np.where((lean > 60) | (flexion < 0), 3, np.where(lean > 20, 2, 1))
    drawn = np.bincount(verdict, minlength=4)[1:] / len(verdict)
    posture = posture_of(
        trunk_flexion_deg=flexion_deg,
        trunk_side_bend_deg=bend_deg,
        trunk_inclination_deg=30.0,
        sd={
            "trunk_flexion_deg": 4.0,
            "trunk_side_bend_deg": 0.8,
            "trunk_inclination_deg": 1.0,
        },
    )
    assert whole(posture, circumstances_of()).level_probability[0] == pytest.approx(drawn, abs=0.01)


@pytest.mark.parametrize("flexion_deg", [-66.0, -30.0, 40.0])
def test_a_fully_supported_trunk_is_acceptable_up_to_60_forward_and_backward(
    flexion_deg, posture_of, circumstances_of
):
    posture = posture_of(trunk_flexion_deg=flexion_deg, trunk_inclination_deg=61.0)
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


@pytest.mark.parametrize(("side", "verdicts_of_arms"), [("left", [1, 2]), ("right", [2, 1])])
def test_one_supported_arm_leaves_the_other_time_limited(
    side, verdicts_of_arms, posture_of, circumstances_of
):
    posture = posture_of(upper_arm_elevation_deg_left=50.0, upper_arm_elevation_deg_right=50.0)
    around = circumstances_of(support=[{f"arm_{side}": True}])
    assert [int(arm.score[0]) for arm in verdicts(posture, around)[1:]] == verdicts_of_arms


@pytest.mark.parametrize(("head_deg", "verdict"), [(84.0, 1), (86.0, 3), (-1.0, 3)])
def test_an_inclined_head_is_carried_by_a_supported_trunk(
    head_deg, verdict, posture_of, circumstances_of
):
    around = circumstances_of(support=[{"trunk": True}])
    score = whole(posture_of(head_inclination_deg=head_deg), around)
    assert score.steps["head"].tolist() == [verdict]


def test_a_raised_shoulder_is_not_recommended(posture_of, circumstances_of):
    posture = posture_of(shoulder_raise_mm_left=30.0)
    assert verdicts(posture, circumstances_of())[1].score.tolist() == [3]


def test_the_whole_is_as_bad_as_its_worst_part(posture_of, circumstances_of):
    posture = posture_of(head_inclination_deg=40.0)
    assert printed(whole(posture, circumstances_of())) == "time-limited"


@pytest.mark.parametrize(
    "angle",
    [
        "trunk_flexion_deg",
        "trunk_side_bend_deg",
        "trunk_inclination_deg",
        "head_inclination_deg",
        "neck_flexion_deg",
    ],
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
