"""Left is not right, body is not arm, and one spread is not another: inputs that differ."""

import numpy as np
import pytest
from scipy.stats import norm

from ergo.notes.notes import Notes
from ergo.scores.circumstances import MuscleUse, circumstances
from ergo.scores.dental_sitting import dental_sitting
from ergo.scores.interpretations import complete_readings
from ergo.scores.iso11226 import iso11226
from ergo.scores.reba import reba
from ergo.scores.rula import rula
from ergo.scores.table import grid_table

METHODS = {"rula": rula, "reba": reba}
DEFAULT = complete_readings({})
GROUPS = ("left", "right", "body")
NO, YES = np.zeros(1, bool), np.ones(1, bool)


def around_with(timeline, use, **notes):
    """Return circumstances with muscle use by group; no group not named is static or repeated."""
    by_group = {
        (method, group): use.get(group, MuscleUse(NO, NO)) for method in METHODS for group in GROUPS
    }
    return circumstances(timeline, [Notes.model_validate(notes)], by_group)


def cell(table, **steps):
    named = {axis: np.array([step]) for axis, step in steps.items()}
    return int(grid_table(table).look_up(**named)[0])


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("supported", "steps"), [("left", (1, 2)), ("right", (2, 1))])
def test_only_the_supported_arm_scores_one_less(
    method, supported, steps, posture_of, circumstances_of
):
    posture = posture_of(shoulder_flexion_deg_left=30.0, shoulder_flexion_deg_right=30.0)
    around = circumstances_of(support=[{f"arm_{supported}": True}])
    scores = METHODS[method](posture, around, DEFAULT)
    assert tuple(int(score.steps["upper_arm"][0]) for score in scores) == steps
    told = [("arm_support" not in score.assumed) for score in scores]
    assert told == [supported == "left", supported == "right"]


@pytest.mark.parametrize("method", METHODS)
def test_each_side_is_scored_by_its_own_arm(method, posture_of, circumstances_of):
    posture = posture_of(
        shoulder_flexion_deg_left=10.0,
        shoulder_flexion_deg_right=70.0,
        elbow_flexion_deg_left=120.0,
        wrist_flexion_deg_right=40.0,
        shoulder_abduction_deg_left=35.0,
        shoulder_raise_mm_right=40.0,
    )
    left, right = METHODS[method](posture, circumstances_of(), DEFAULT)
    parts = ("upper_arm", "lower_arm", "wrist")
    wrist = 3 if method == "rula" else 2
    assert [int(left.steps[part][0]) for part in parts] == [2, 2, 1]
    assert [int(right.steps[part][0]) for part in parts] == [4, 1, wrist]


@pytest.mark.parametrize(
    ("group", "added"), [("left", (1, 0, 0)), ("right", (0, 1, 0)), ("body", (0, 0, 1))]
)
@pytest.mark.parametrize("use", [MuscleUse(YES, NO), MuscleUse(NO, YES)])
def test_rula_adds_muscle_use_to_the_group_that_has_it(group, added, use, posture_of, timeline_of):
    left, right = rula(posture_of(), around_with(timeline_of(), {group: use}), DEFAULT)
    found = (
        left.additions["muscle_use_A"][0],
        right.additions["muscle_use_A"][0],
        left.additions["muscle_use_B"][0],
    )
    assert found == added
    assert right.additions["muscle_use_B"][0] == added[2]


@pytest.mark.parametrize(
    ("group", "added"), [("left", (1, 0)), ("right", (0, 1)), ("body", (1, 1))]
)
@pytest.mark.parametrize("use", [MuscleUse(YES, NO), MuscleUse(NO, YES)])
def test_reba_adds_activity_for_body_or_arm_alone(group, added, use, posture_of, timeline_of):
    scores = reba(posture_of(), around_with(timeline_of(), {group: use}), DEFAULT)
    assert tuple(int(score.additions["activity"][0]) for score in scores) == added


def test_reba_adds_both_where_the_body_is_static_and_one_arm_repeats(posture_of, timeline_of):
    use = {"body": MuscleUse(YES, NO), "right": MuscleUse(NO, YES)}
    left, right = reba(posture_of(), around_with(timeline_of(), use), DEFAULT)
    assert (left.additions["activity"][0], right.additions["activity"][0]) == (1, 2)


def test_assumed_worse_keeps_load_and_muscle_use_of_rula(posture_of, timeline_of):
    posture = posture_of(shoulder_flexion_deg_left=30.0, neck_flexion_deg=15.0)
    use = {"left": MuscleUse(YES, NO)}
    around = around_with(
        timeline_of(), use, force=[{"load_kg": 5.0}], support=[{"trunk": True, "feet": True}]
    )
    score = rula(posture, around, DEFAULT)[0]
    # worse: lower arm across (2), wrist twisted (2); load 5 kg adds 1, static adds 1 to the arm
    a = cell("rula_table_a", upper_arm=2, lower_arm=2, wrist=1, wrist_twist=2)
    b = cell("rula_table_b", neck=2, trunk=1, legs=1)
    worse = cell("rula_table_c", score_c=a + 1 + 1, score_d=b + 1)
    assert score.steps["score_if_assumed_worse"].tolist() == [worse]
    a = cell("rula_table_a", upper_arm=2, lower_arm=1, wrist=1, wrist_twist=1)
    shown = cell("rula_table_c", score_c=a + 1 + 1, score_d=b + 1)
    assert score.score.tolist() == [shown]
    assert worse > shown


def test_assumed_worse_keeps_load_and_activity_of_reba(posture_of, timeline_of):
    posture = posture_of(
        shoulder_flexion_deg_left=30.0, shoulder_abduction_deg_left=30.0, trunk_flexion_deg=30.0
    )
    use = {"body": MuscleUse(YES, NO), "left": MuscleUse(NO, YES)}
    around = around_with(
        timeline_of(), use, force=[{"load_kg": 7.0}], support=[{"feet": True, "arm_left": False}]
    )
    score = reba(posture, around, DEFAULT)[0]
    a = cell("reba_table_a", trunk=3, neck=1, legs=1) + 1
    worse_b = cell("reba_table_b", upper_arm=3, lower_arm=1, wrist=2)
    worse = cell("reba_table_c", score_a=a, score_b=worse_b) + 2
    assert score.steps["score_if_assumed_worse"].tolist() == [worse]
    b = cell("reba_table_b", upper_arm=3, lower_arm=1, wrist=1)
    assert score.score.tolist() == [cell("reba_table_c", score_a=a, score_b=b) + 2]


def test_the_chances_of_iso_11226_go_by_each_angles_own_spread(posture_of, circumstances_of):
    angles = {
        "neck_flexion_deg": (21.0, 6.0),
        "neck_rotation_deg": (-7.0, 2.0),
        "neck_side_bend_deg": (4.0, 3.0),
        "head_inclination_deg": (80.0, 9.0),
        "trunk_flexion_deg": (16.0, 5.0),
        "trunk_side_bend_deg": (-6.0, 0.5),
        "trunk_twist_deg": (8.0, 4.0),
        "trunk_inclination_deg": (30.0, 11.0),
    }
    posture = posture_of(
        sd={name: sd for name, (_, sd) in angles.items()},
        **{name: value for name, (value, _) in angles.items()},
    )

    def within(name, low, high):
        value, sd = angles[name]
        return norm.cdf(high, value, sd) - norm.cdf(low, value, sd)

    neck = (
        within("neck_flexion_deg", 0, 25)
        * within("neck_rotation_deg", -10, 10)
        * within("neck_side_bend_deg", -10, 10)
    )
    head_time, head_free = (
        within("head_inclination_deg", 25, 85),
        within("head_inclination_deg", 0, 25),
    )
    # how far the trunk leans hardly depends on a side bend of 6 known to half a degree
    across, lean = np.tan(np.radians(6.0)), np.random.default_rng(5).normal(16.0, 5.0, 200_000)
    off = np.degrees(np.arctan(np.hypot(np.tan(np.radians(lean)), across)))
    straight = within("trunk_twist_deg", -10, 10) * within("trunk_side_bend_deg", -10, 10)
    trunk_free = np.mean((lean >= 0) & (off <= 20)) * straight
    trunk_any = np.mean((lean >= 0) & (off <= 60)) * straight
    free = neck * head_free * trunk_free
    allowed = neck * (head_free + head_time) * trunk_any
    whole = iso11226(posture, circumstances_of(), DEFAULT)[0]
    assert whole.level_probability[0] == pytest.approx(
        [free, allowed - free, 1 - allowed], abs=0.01
    )


@pytest.mark.parametrize(("side", "other"), [("left", "right"), ("right", "left")])
def test_each_arm_of_iso_11226_has_its_own_spread(side, other, posture_of, circumstances_of):
    values = {f"upper_arm_elevation_deg_{each}": 57.0 for each in (side, other)}
    sd = {f"upper_arm_elevation_deg_{side}": 2.0, f"upper_arm_elevation_deg_{other}": 9.0}
    arms = iso11226(posture_of(sd=sd, **values), circumstances_of(), DEFAULT)[1:]
    beyond = {arm.side: arm.level_probability[0, 2] for arm in arms}
    assert beyond[side] == pytest.approx(norm.sf(60, 57, 2.0), abs=1e-6)
    assert beyond[other] == pytest.approx(norm.sf(60, 57, 9.0), abs=1e-6)


@pytest.mark.parametrize(
    ("angle", "part"), [("neck_flexion_deg", "neck"), ("head_inclination_deg", "head")]
)
@pytest.mark.parametrize(
    ("value", "sd", "verdict"), [(-3.0, 4.0, 1), (-3.0, 2.0, 3), (24.0, 9.0, 1)]
)
def test_head_and_neck_are_backward_only_where_that_is_told(
    angle, part, value, sd, verdict, posture_of, circumstances_of
):
    posture = posture_of(sd={angle: sd, "trunk_flexion_deg": 0.1}, **{angle: value})
    whole = iso11226(posture, circumstances_of(), DEFAULT)[0]
    assert whole.steps[part].tolist() == [verdict]
    below = norm.cdf(0, value, sd)
    above = norm.sf(25 if part == "neck" else 85, value, sd)
    assert whole.level_probability[0, 2] == pytest.approx(below + above, abs=1e-3)


@pytest.mark.parametrize(("sd", "verdict"), [(2.0, 1), (0.5, 3)])
def test_the_sitting_requirements_are_as_careful_about_backward(
    sd, verdict, posture_of, circumstances_of
):
    angles = {"trunk_flexion_deg": -1.0, "neck_flexion_deg": -1.5}
    posture = posture_of(sd=dict.fromkeys(angles, sd), **angles)
    steps = dental_sitting(posture, circumstances_of(), DEFAULT)[0].steps
    assert steps["trunk_forward_inclination"].tolist() == [verdict]
    assert steps["neck_flexion"].tolist() == [verdict]
