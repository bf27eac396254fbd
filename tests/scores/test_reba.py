import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.interpretations import complete_readings
from ergo.scores.reba import reba
from ergo.scores.table import grid_table


def left(posture, circumstances, **readings):
    return reba(posture, circumstances, complete_readings(readings))[0]


def cell(table, **steps):
    named = {axis: np.array([step]) for axis, step in steps.items()}
    return int(grid_table(table).look_up(**named)[0])


# worked examples, each with the text that prints it


def test_example_handling_a_load(posture_of, circumstances_of):
    # [reba-examples-es], example 1; its bent knees (legs 2) stand for feet without support
    posture = posture_of(
        trunk_flexion_deg=20.0,
        neck_flexion_deg=10.0,
        shoulder_flexion_deg_left=20.0,
        shoulder_abduction_deg_left=30.0,
        elbow_flexion_deg_left=80.0,
    )
    around = circumstances_of(support=[{"feet": False}], force=[{"load_kg": 12.0}])
    score = left(posture, around)
    printed = {
        "neck": 1, "legs": 2, "trunk": 2, "upper_arm": 2, "lower_arm": 1, "wrist": 1,
        "table_A": 3, "score_A": 5, "table_B": 1, "score_B": 1, "score_C": 4,
    }  # fmt: skip
    assert {name: int(score.steps[name][0]) for name in printed} == printed
    assert score.score.tolist() == [4]
    assert score.levels[score.level[0] - 1].printed == "2"


def test_example_pushing_a_bottle(posture_of, circumstances_of):
    # [reba-thesis-bc-id], Fig. 4.33: wrist at 27; coupling "fair" adds 1 to B
    posture = posture_of(shoulder_flexion_deg_left=30.0, wrist_flexion_deg_left=27.0)
    score = left(posture, circumstances_of())
    parts = ("upper_arm", "lower_arm", "wrist", "table_B")
    assert [int(score.steps[part][0]) for part in parts] == [2, 1, 2, 2]
    assert cell("reba_table_c", score_a=5, score_b=2 + 1) == 4


@pytest.mark.parametrize(("feet", "legs", "printed"), [(True, 1, 5), (False, 2, 6)])
def test_example_unloading_sand(feet, legs, printed, posture_of, circumstances_of):
    # [reba-thesis-a-id], Fig. 4.4, as printed and with legs corrected to 2
    posture = posture_of(trunk_flexion_deg=65.0, neck_flexion_deg=25.0)
    around = circumstances_of(support=[{"feet": feet}], force=[{"load_kg": 2.5}])
    score = left(posture, around)
    parts = ("trunk", "neck", "legs", "score_A")
    assert [int(score.steps[part][0]) for part in parts] == [4, 2, legs, printed]


@pytest.mark.parametrize("score_a", [6, 7, 8])
def test_example_exercise_sheet(score_a):
    # [reba-exercise-es]: Table B 6, score B 9, score C 10, activity 1, REBA 11
    assert cell("reba_table_b", upper_arm=4, lower_arm=2, wrist=2) == 6
    assert cell("reba_table_c", score_a=score_a, score_b=9) == 10


# readings and circumstances


@pytest.mark.parametrize(
    ("load_kg", "manner", "score"),
    [
        (0.0, "intermittent", 0),
        (4.9, "static", 0),
        (5.0, "intermittent", 1),
        (10.0, "repeated", 1),
        (10.5, "static", 2),
        (10.5, "shock", 3),
        (1.0, "shock", 1),
    ],
)
def test_load_scores_as_printed_with_1_more_for_shock(
    load_kg, manner, score, posture_of, circumstances_of
):
    around = circumstances_of(force=[{"load_kg": load_kg, "manner": manner}])
    assert left(posture_of(), around).additions["load_force"].tolist() == [score]


@pytest.mark.parametrize(
    ("static", "repeated", "more"), [(False, False, 0), (True, False, 1), (True, True, 2)]
)
def test_static_and_repeated_work_add_1_each(static, repeated, more, posture_of, circumstances_of):
    around = circumstances_of(static=static, repeated=repeated)
    score = left(posture_of(), around)
    assert score.additions["activity"].tolist() == [more]
    assert score.score.tolist() == (score.steps["score_C"] + more).tolist()


def test_twist_and_bend_add_1_together_or_by_the_worksheet_1_each(posture_of, circumstances_of):
    posture = posture_of(
        trunk_twist_deg=20.0, trunk_side_bend_deg=20.0,
        neck_rotation_deg=20.0, neck_side_bend_deg=20.0,
    )  # fmt: skip
    around = circumstances_of()
    together = left(posture, around)
    apart = left(posture, around, reba_twist_and_bend="separate")
    assert [int(together.steps[part][0]) for part in ("trunk", "neck")] == [2, 2]
    assert [int(apart.steps[part][0]) for part in ("trunk", "neck")] == [3, 3]


def test_a_neck_at_its_highest_stays_within_table_a(posture_of, circumstances_of):
    posture = posture_of(neck_flexion_deg=40.0, neck_rotation_deg=20.0, neck_side_bend_deg=20.0)
    apart = left(posture, circumstances_of(), reba_twist_and_bend="separate")
    assert apart.steps["neck"].tolist() == [3]


def test_the_thesis_misprint_can_be_chosen(posture_of, circumstances_of):
    posture = posture_of(shoulder_flexion_deg_left=30.0, elbow_flexion_deg_left=50.0)
    around = circumstances_of()
    assert left(posture, around).steps["table_B"].tolist() == [2]
    other = left(posture, around, reba_table_b="one-thesis")
    assert other.steps["table_B"].tolist() == [1]


def test_neck_bands_are_those_of_reba_not_of_rula(posture_of, circumstances_of):
    around = circumstances_of()
    steps = [
        int(left(posture_of(neck_flexion_deg=angle), around).steps["neck"][0])
        for angle in (-1.0, 15.0, 20.5)
    ]
    assert steps == [2, 1, 2]


def test_what_was_not_seen_is_not_judged(posture_of, circumstances_of):
    score = left(posture_of(sd=3.0, trunk_twist_deg=np.nan), circumstances_of())
    assert score.score.tolist() == score.level.tolist() == [0]
    assert score.steps["score_if_assumed_worse"].tolist() == [0]
    assert np.all(np.isnan(score.level_probability))
    assert score.assumed == ()


@pytest.mark.parametrize(("deviation_deg", "score", "worse"), [(0.0, 2, 3), (15.0, 3, 3)])
def test_a_wrist_that_does_not_deviate_could_still_be_twisted(
    deviation_deg, score, worse, posture_of, circumstances_of
):
    posture = posture_of(
        shoulder_flexion_deg_left=30.0,
        shoulder_abduction_deg_left=40.0,  # abducted: a rotation would add nothing more
        trunk_flexion_deg=10.0,
        wrist_deviation_deg_left=deviation_deg,
    )
    found = left(posture, circumstances_of(support=[{"feet": True}]))
    assert found.score.tolist() == [score]
    assert found.steps["score_if_assumed_worse"].tolist() == [worse]


def test_coupling_and_rapid_change_are_always_named_as_assumed(posture_of, circumstances_of):
    assert {"coupling", "rapid_change"} <= set(left(posture_of(), circumstances_of()).assumed)


@pytest.mark.parametrize(("abduction_deg", "may_be_rotated"), [(5.0, True), (40.0, False)])
def test_a_rotated_and_a_gravity_assisted_arm_are_named_as_assumed(
    abduction_deg, may_be_rotated, posture_of, circumstances_of
):
    # the printed +1 is for abducted or rotated: an abducted arm gets no second one
    posture = posture_of(
        shoulder_flexion_deg_left=30.0,
        shoulder_abduction_deg_left=abduction_deg,
        trunk_flexion_deg=10.0,
        wrist_deviation_deg_left=15.0,
    )
    around = circumstances_of(support=[{"feet": True}])
    score = left(posture, around)
    assert "gravity_assistance" in score.assumed
    assert ("arm_rotation" in score.assumed) is may_be_rotated
    arm, wrist = 2 + (not may_be_rotated), 2
    worse = cell("reba_table_b", upper_arm=arm + may_be_rotated, lower_arm=1, wrist=wrist)
    group_a = cell("reba_table_a", trunk=2, neck=1, legs=1)
    assert score.steps["upper_arm"].tolist() == [arm]
    assert score.steps["score_if_assumed_worse"].tolist() == [
        cell("reba_table_c", score_a=group_a, score_b=worse)
    ]


@settings(max_examples=40)
@given(seed=st.integers(0, 2**32 - 1))
def test_scores_stay_within_the_printed_range(seed, circumstances_of):
    random = np.random.default_rng(seed)
    value = random.normal(0, 60, (5, len(NAMES)))
    posture = PostureTrack(
        value, np.full_like(value, 10.0), np.ones(5, dtype=bool), np.zeros(5, dtype=bool)
    )
    around = circumstances_of(
        5, static=True, repeated=True, force=[{"load_kg": 50.0, "manner": "shock"}]
    )
    for score in reba(posture, around, complete_readings({})):
        assert np.all((score.score >= 1) & (score.score <= 15))
        assert score.level_probability.sum(axis=1) == pytest.approx(np.ones(5))


@settings(max_examples=40)
@given(seed=st.integers(0, 2**32 - 1), more=st.floats(0, 60))
@pytest.mark.parametrize(
    "angle", ["trunk_flexion_deg", "neck_flexion_deg", "shoulder_flexion_deg_left"]
)
def test_no_score_falls_when_one_angle_goes_further_from_neutral(
    angle, seed, more, circumstances_of
):
    value = np.tile(np.random.default_rng(seed).normal(20, 30, len(NAMES)), (2, 1))
    start = abs(value[0, COLUMN[angle]])
    value[:, COLUMN["shoulder_abduction_deg_left"]] = 0.0  # else it leaves its plane less and less
    value[:, COLUMN[angle]] = (start, start + more)
    both = PostureTrack(value, np.zeros_like(value), np.ones(2, bool), np.zeros(2, bool))
    score = left(both, circumstances_of(2)).score
    assert score[1] >= score[0]
