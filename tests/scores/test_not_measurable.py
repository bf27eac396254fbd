"""What a view does not tell: counted as strained or not judged, and never low."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.scores.interpretations import complete_readings
from ergo.scores.reba import reba
from ergo.scores.rula import rula
from ergo.scores.table import grid_table

METHODS = {"rula": rula, "reba": reba}
TURNS = {
    "neck_rotation": "neck_rotation_deg",
    "neck_side_bend": "neck_side_bend_deg",
    "trunk_twist": "trunk_twist_deg",
    "trunk_side_bend": "trunk_side_bend_deg",
}
ARM_INPUTS = {
    "lower_arm": ("elbow_flexion_deg_left", 130.0, 80.0),
    "upper_arm_abduction": ("shoulder_abduction_deg_left", 40.0, 0.0),
}
"""Input to its angle, a strained and a good value of it. [deg]"""
each_arm_input = pytest.mark.parametrize("name", ARM_INPUTS)
both = pytest.mark.parametrize("method", METHODS)
each_turn = pytest.mark.parametrize("turn", TURNS)


def left(method, posture, around, **readings):
    return METHODS[method](posture, around, complete_readings(readings))[0]


@both
@each_arm_input
def test_an_arm_input_the_view_does_not_tell_scores_as_a_strained_one(
    method, name, posture_of, circumstances_of
):
    angle, strained_deg, good_deg = ARM_INPUTS[name]
    arm, around = {"shoulder_flexion_deg_left": 30.0}, circumstances_of()
    unseen = left(method, posture_of(**arm, **{angle: np.nan}), around)
    strained = left(method, posture_of(**arm, **{angle: strained_deg}), around)
    good = left(method, posture_of(**arm, **{angle: good_deg}), around)
    part = "upper_arm" if name.startswith("upper") else name
    assert unseen.score.tolist() == strained.score.tolist()
    assert unseen.level_probability.tolist() == strained.level_probability.tolist()
    assert unseen.steps[part].tolist() == strained.steps[part].tolist()
    assert (good.steps[part] + 1).tolist() == strained.steps[part].tolist()
    assert unseen.strained[name].tolist() == [True]
    assert unseen.steps["score_if_not_strained"].tolist() == good.score.tolist()
    assert strained.strained == good.strained == {}


@both
@each_arm_input
@given(true_deg=st.floats(0, 160), arm_deg=st.floats(-30, 120), neck_deg=st.floats(-20, 50))
def test_such_a_score_is_never_lower_than_the_true_angle_would_give(
    method, name, true_deg, arm_deg, neck_deg, posture_of, circumstances_of
):
    angle = ARM_INPUTS[name][0]
    other = {"shoulder_flexion_deg_left": arm_deg, "neck_flexion_deg": neck_deg}
    around = circumstances_of()
    unseen = left(method, posture_of(**other, **{angle: np.nan}), around)
    known = left(method, posture_of(**other, **{angle: true_deg}), around)
    assert unseen.score[0] >= known.score[0]


def test_by_the_printed_tables_a_lower_arm_moves_the_rula_score_by_1_at_most():
    a, c = grid_table("rula_table_a").cells, grid_table("rula_table_c").cells
    for upper, wrist, twist in itertools.product(range(6), range(4), range(2)):
        for added, d in itertools.product(range(5), range(7)):
            first, second = (min(a[upper, low, wrist, twist] + added, 8) for low in (0, 1))
            assert 0 <= c[second - 1, d] - c[first - 1, d] <= 1


def test_by_the_printed_tables_abduction_moves_the_rula_score_by_2_in_35_of_4200_cases():
    a, c = grid_table("rula_table_a").cells, grid_table("rula_table_c").cells
    moved = []
    for upper, low, wrist, twist in itertools.product(range(5), range(3), range(4), range(2)):
        for added, d in itertools.product(range(5), range(7)):
            steps = (a[upper, low, wrist, twist], a[upper + 1, low, wrist, twist])
            first, second = (min(step + added, 8) for step in steps)
            moved.append(c[second - 1, d] - c[first - 1, d])
    assert (len(moved), moved.count(2), max(moved), min(moved)) == (4200, 35, 2, 0)


def test_by_the_printed_tables_an_arm_input_rarely_moves_the_reba_score_by_2_or_more():
    b, c = grid_table("reba_table_b").cells, grid_table("reba_table_c").cells
    elbow = [
        c[score_a, b[upper, 1, wrist] - 1] - c[score_a, b[upper, 0, wrist] - 1]
        for upper, wrist, score_a in itertools.product(range(6), range(3), range(12))
    ]
    abduction = [
        c[score_a, b[upper + 1, low, wrist] - 1] - c[score_a, b[upper, low, wrist] - 1]
        for upper, low, wrist, score_a in itertools.product(range(5), range(2), range(3), range(12))
    ]
    assert (len(elbow), sum(each >= 2 for each in elbow), min(elbow)) == (216, 3, 0)
    assert (len(abduction), sum(each >= 2 for each in abduction), min(abduction)) == (360, 33, 0)


@both
@each_arm_input
def test_by_the_other_reading_an_arm_input_that_is_not_told_leaves_no_score(
    method, name, posture_of, circumstances_of
):
    posture = posture_of(**{ARM_INPUTS[name][0]: np.nan})
    score = left(method, posture, circumstances_of(), arm_not_measurable="not-judged")
    part = "upper_arm" if name.startswith("upper") else name
    assert score.score.tolist() == score.steps[part].tolist() == [0]
    assert score.strained == {}


@both
def test_where_the_whole_arm_was_not_seen_nothing_is_counted_in_its_place(
    method, posture_of, circumstances_of
):
    gone = {f"{name}_deg_left": np.nan for name in ("shoulder_flexion", "shoulder_abduction")}
    gone["elbow_flexion_deg_left"] = np.nan
    score = left(method, posture_of(**gone), circumstances_of())
    assert score.score.tolist() == score.steps["lower_arm"].tolist() == [0]
    assert score.strained == {}


@both
@each_turn
def test_a_turn_the_view_does_not_tell_is_not_judged_unless_the_reading_counts_it(
    method, turn, posture_of, circumstances_of
):
    around, unseen = circumstances_of(), posture_of(**{TURNS[turn]: np.nan})
    assert left(method, unseen, around).score.tolist() == [0]
    counted = left(method, unseen, around, turn_not_measurable="strained")
    assert (
        counted.score.tolist()
        == left(method, posture_of(**{TURNS[turn]: 30.0}), around).score.tolist()
    )
    assert counted.strained[turn].tolist() == [True]
    straight = left(method, posture_of(), around)
    assert counted.steps["score_if_not_strained"].tolist() == straight.score.tolist()


@each_turn
def test_a_turn_of_a_part_whose_bend_was_not_seen_is_never_counted(
    turn, posture_of, circumstances_of
):
    bend = "neck_flexion_deg" if turn.startswith("neck") else "trunk_flexion_deg"
    unseen = posture_of(**{TURNS[turn]: np.nan, bend: np.nan})
    score = left("rula", unseen, circumstances_of(), turn_not_measurable="strained")
    assert score.score.tolist() == [0]
    assert score.strained == {}


def test_reba_adds_1_once_so_a_measured_twist_leaves_nothing_to_the_unseen_bend(
    posture_of, circumstances_of
):
    posture = posture_of(trunk_flexion_deg=30.0, trunk_twist_deg=25.0, trunk_side_bend_deg=np.nan)
    score = left("reba", posture, circumstances_of(), turn_not_measurable="strained")
    measured = posture_of(trunk_flexion_deg=30.0, trunk_twist_deg=25.0)
    assert score.score.tolist() == left("reba", measured, circumstances_of()).score.tolist()
    assert score.steps["score_if_not_strained"].tolist() == score.score.tolist()
