import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.interpretations import complete_readings
from ergo.scores.rula import rula
from ergo.scores.table import grid_table

DEFAULT = complete_readings({})
SUPPORTED = [{"trunk": True}]
STRAINED = {
    "shoulder_flexion_deg_left": 30.0,
    "neck_flexion_deg": 25.0,
    "trunk_flexion_deg": 30.0,
}


def left(posture, circumstances, **readings):
    return rula(posture, circumstances, complete_readings(readings))[0]


def step_of(part, posture, circumstances, **readings):
    return int(left(posture, circumstances, **readings).steps[part][0])


def grand(a, b, add_a, add_b):
    """Return the grand score from the posture scores and their additions."""
    c, d = np.array([min(a + add_a, 8)]), np.array([min(b + add_b, 7)])
    return int(grid_table("rula_table_c").look_up(score_c=c, score_d=d)[0])


def a_score(*steps):
    axes = ("upper_arm", "lower_arm", "wrist", "wrist_twist")
    table = grid_table("rula_table_a")
    named = {axis: np.array([step]) for axis, step in zip(axes, steps, strict=True)}
    return int(table.look_up(**named)[0])


def b_score(neck, trunk, legs):
    table = grid_table("rula_table_b")
    steps = {"neck": np.array([neck]), "trunk": np.array([trunk]), "legs": np.array([legs])}
    return int(table.look_up(**steps)[0])


# worked examples, each with the text that prints it


def test_example_carton_from_a_solved_exercise(posture_of, circumstances_of):
    # [rula-exercise-es]: whole chain, repeated work, light load
    posture = posture_of(
        shoulder_flexion_deg_left=45.0, elbow_flexion_deg_left=45.0, trunk_flexion_deg=0.0
    )
    around = circumstances_of(
        repeated=True,
        support=[{"trunk": True, "feet": True}],
        force=[{"load_kg": 0.25, "manner": "repeated"}],
    )
    score = left(posture, around)
    printed = {
        "upper_arm": 2, "lower_arm": 2, "wrist": 1, "wrist_twist": 1,
        "neck": 1, "trunk": 1, "legs": 1,
        "posture_score_A": 3, "posture_score_B": 1, "score_C": 4, "score_D": 2,
    }  # fmt: skip
    assert {name: int(score.steps[name][0]) for name in printed} == printed
    assert score.score.tolist() == [3]
    assert score.levels[score.level[0] - 1].printed == "2"


def test_example_carton_would_start_lower_by_the_older_worksheet(posture_of, circumstances_of):
    posture = posture_of(shoulder_flexion_deg_left=45.0, elbow_flexion_deg_left=45.0)
    around = circumstances_of()
    assert step_of("posture_score_A", posture, around, rula_table_a="older-worksheet") == 2


def test_example_coursework_sheet():
    # [rula-coursework-es]: steps given, 1 added to either group
    assert a_score(4, 3, 3, 1) == 5
    assert b_score(3, 4, 2) == 6
    assert grand(5, 6, 1, 1) == 7


def test_example_thesis_phase_4():
    # [rula-thesis-id], movement phase 4: action level 3
    assert grand(4, 4, 1, 1) == 6


def test_example_thesis_phase_5(posture_of, circumstances_of):
    # [rula-thesis-id], phase 5: arm at 58, elbow at 65, wrist beyond 15
    posture = posture_of(
        shoulder_flexion_deg_left=58.0, elbow_flexion_deg_left=65.0, wrist_flexion_deg_left=16.0
    )
    score = left(posture, circumstances_of())
    assert [int(score.steps[part][0]) for part in ("upper_arm", "lower_arm", "wrist")] == [3, 1, 3]
    assert score.steps["posture_score_A"].tolist() == [4]


def test_example_carrying_a_file(posture_of, circumstances_of):
    # [rula-office-id]: five angles and the final score
    posture = posture_of(
        shoulder_flexion_deg_left=18.0,
        elbow_flexion_deg_left=45.0,
        wrist_flexion_deg_left=80.0,
        neck_flexion_deg=12.0,
        trunk_flexion_deg=22.0,
    )
    parts = ("upper_arm", "lower_arm", "wrist", "neck", "trunk")
    score = left(posture, circumstances_of())
    assert [int(score.steps[part][0]) for part in parts] == [1, 2, 3, 2, 3]
    assert grand(3, 4, 2, 2) == 7


@pytest.mark.parametrize("neck", [1, 2, 3])
def test_example_twisted_and_bent_trunk(neck, posture_of, circumstances_of):
    # [rula-case]: trunk band 3, twisted and bent sideways
    posture = posture_of(trunk_flexion_deg=40.0, trunk_twist_deg=15.0, trunk_side_bend_deg=-12.0)
    assert step_of("trunk", posture, circumstances_of()) == 5
    assert b_score(neck, 5, 1) == 6


def test_grand_scores_1_and_2_need_both_groups_at_2_or_less():
    # statement of [rula-paper-copy], and its converse
    cells = grid_table("rula_table_c").cells
    assert np.all(cells[:2, :2] <= 2)
    assert np.argwhere(cells <= 2).max() < 2


# readings and circumstances


@pytest.mark.parametrize(
    ("load_kg", "manner", "score"),
    [
        (0.0, "intermittent", 0),
        (1.9, "intermittent", 0),
        (2.0, "intermittent", 1),
        (10.0, "intermittent", 1),
        (2.0, "static", 2),
        (10.0, "repeated", 2),
        (10.5, "intermittent", 2),
        (10.5, "static", 3),
        (10.5, "repeated", 3),
        (0.5, "shock", 3),
    ],
)
def test_force_scores_as_printed_in_six_lines(load_kg, manner, score, posture_of, circumstances_of):
    around = circumstances_of(force=[{"load_kg": load_kg, "manner": manner}])
    assert left(posture_of(), around).additions["force"].tolist() == [score]


def test_the_force_score_is_added_to_both_groups(posture_of, circumstances_of):
    score = left(posture_of(), circumstances_of(force=[{"load_kg": 5.0, "manner": "static"}]))
    assert score.steps["score_C"].tolist() == (score.steps["posture_score_A"] + 2).tolist()
    assert score.steps["score_D"].tolist() == (score.steps["posture_score_B"] + 2).tolist()


def test_the_worksheets_give_3_for_any_load_over_10_kg(posture_of, circumstances_of):
    around = circumstances_of(force=[{"load_kg": 11.0}])
    other = left(posture_of(), around, rula_load_over_10_kg="3")
    assert other.additions["force"].tolist() == [3]


def test_static_and_repeated_work_adds_1_or_by_the_other_reading_2(posture_of, circumstances_of):
    around = circumstances_of(static=True, repeated=True)
    usual = left(posture_of(), around)
    each = left(posture_of(), around, rula_muscle_use="each")
    assert (
        usual.additions["muscle_use_A"].tolist() == usual.additions["muscle_use_B"].tolist() == [1]
    )
    assert each.additions["muscle_use_A"].tolist() == [2]
    assert each.steps["score_C"] == usual.steps["score_C"] + 1


@pytest.mark.parametrize(
    ("option", "choice", "part", "angles", "default_step", "other_step"),
    [
        ("rula_upper_arm_band_1", "15", "upper_arm", {"shoulder_flexion_deg_left": 18.0}, 1, 2),
        ("rula_lower_arm_band_1", "0-90", "lower_arm", {"elbow_flexion_deg_left": 95.0}, 1, 2),
        ("rula_lower_arm_band_1", "40-90", "lower_arm", {"elbow_flexion_deg_left": 50.0}, 2, 1),
        ("rula_trunk_1", "upright", "trunk", {"trunk_flexion_deg": 2.0}, 2, 1),
        ("rula_wrist_plus_1", "near-maximum", "wrist", {"wrist_flexion_deg_left": 75.0}, 3, 4),
        ("shared_edge", "higher", "neck", {"neck_flexion_deg": 20.0}, 2, 3),
        ("abducted_beyond", "45", "upper_arm", {"shoulder_abduction_deg_left": 30.0}, 2, 1),
        ("backward_beyond", "5", "neck", {"neck_flexion_deg": -3.0}, 4, 1),
        (
            "rula_table_a",
            "older-worksheet",
            "posture_score_A",
            {"shoulder_flexion_deg_left": 30.0, "elbow_flexion_deg_left": 50.0},
            3,
            2,
        ),
    ],
)
def test_each_reading_changes_the_step_it_names(
    option, choice, part, angles, default_step, other_step, posture_of, circumstances_of
):
    posture, around = posture_of(**angles), circumstances_of()
    assert step_of(part, posture, around) == default_step
    assert step_of(part, posture, around, **{option: choice}) == other_step


def test_the_lower_arm_reading_moves_the_score_if_assumed_worse(posture_of, circumstances_of):
    posture, around = posture_of(**STRAINED), circumstances_of()
    together = step_of("score_if_assumed_worse", posture, around)
    apart = step_of("score_if_assumed_worse", posture, around, rula_lower_arm_sides="separate")
    group_b = b_score(3, 3, 2)
    assert together == grand(a_score(2, 2, 1, 2), group_b, 0, 0)
    assert apart == grand(a_score(2, 3, 1, 2), group_b, 0, 0)
    assert apart > together


def test_a_shoulder_that_was_not_seen_could_be_raised(posture_of, circumstances_of):
    around = circumstances_of()
    seen = step_of("score_if_assumed_worse", posture_of(**STRAINED), around)
    unseen = posture_of(**STRAINED, shoulder_raise_mm_left=np.nan)
    worse = grand(a_score(3, 2, 1, 2), b_score(3, 3, 2), 0, 0)
    assert step_of("score_if_assumed_worse", unseen, around) == worse > seen


@pytest.mark.parametrize(
    ("angle", "part", "more"),
    [
        ("shoulder_abduction_deg_left", "upper_arm", 1),
        ("shoulder_raise_mm_left", "upper_arm", 1),
        ("wrist_deviation_deg_left", "wrist", 1),
        ("neck_rotation_deg", "neck", 1),
        ("neck_side_bend_deg", "neck", 1),
        ("trunk_twist_deg", "trunk", 1),
        ("trunk_side_bend_deg", "trunk", 1),
    ],
)
def test_each_modifier_adds_1_beyond_its_named_limit(
    angle, part, more, posture_of, circumstances_of
):
    around = circumstances_of()
    without = step_of(part, posture_of(), around)
    assert step_of(part, posture_of(**{angle: 25.0}), around) == without + more
    assert step_of(part, posture_of(**{angle: 9.0}), around) == without


def test_a_supported_arm_takes_1_off_but_never_below_1(posture_of, circumstances_of):
    around = circumstances_of(support=[{"arm_left": True}])
    assert step_of("upper_arm", posture_of(shoulder_flexion_deg_left=50.0), around) == 2
    assert step_of("upper_arm", posture_of(), around) == 1


@pytest.mark.parametrize(("flexion_deg", "step"), [(-15.0, 1), (3.0, 1), (12.0, 2), (30.0, 3)])
def test_a_supported_trunk_is_1_unless_it_leans_forward(
    flexion_deg, step, posture_of, circumstances_of
):
    around = circumstances_of(support=SUPPORTED)
    assert step_of("trunk", posture_of(trunk_flexion_deg=flexion_deg), around) == step


def test_support_holds_only_in_the_span_of_the_notes(posture_of, circumstances_of):
    around = circumstances_of(4, support=[{"trunk": True, "from_s": 0.2, "to_s": 0.6}])
    assert left(posture_of(4), around).steps["trunk"].tolist() == [2, 1, 1, 2]


def test_feet_without_support_make_legs_2(posture_of, circumstances_of):
    around = circumstances_of(support=[{"feet": False}])
    assert step_of("legs", posture_of(), around) == 2
    assert step_of("legs", posture_of(), circumstances_of()) == 1


# not seen, assumed


NEEDED = (
    "shoulder_flexion_deg_left",
    "neck_flexion_deg", "neck_rotation_deg", "neck_side_bend_deg",
    "trunk_flexion_deg", "trunk_twist_deg", "trunk_side_bend_deg",
)  # fmt: skip


@pytest.mark.parametrize("angle", NEEDED)
def test_a_frame_whose_needed_angle_was_not_seen_is_not_judged(angle, posture_of, circumstances_of):
    score = left(posture_of(sd=5.0, **{angle: np.nan}), circumstances_of())
    assert score.score.tolist() == score.level.tolist() == [0]
    assert np.all(np.isnan(score.level_probability))


def test_an_arm_that_was_not_seen_leaves_the_other_side_judged(posture_of, circumstances_of):
    one, other = rula(posture_of(shoulder_flexion_deg_left=np.nan), circumstances_of(), DEFAULT)
    assert one.score.tolist() == [0]
    assert other.score[0] > 0


def test_what_no_camera_gave_is_assumed_neutral_and_named(posture_of, circumstances_of):
    posture = posture_of(
        wrist_flexion_deg_left=np.nan,
        wrist_deviation_deg_left=np.nan,
        shoulder_raise_mm_left=np.nan,
    )
    score = left(posture, circumstances_of())
    assert score.steps["wrist"].tolist() == [1]
    assert set(score.assumed) == {
        "raised_shoulder", "arm_support", "lower_arm_across_or_out", "wrist_flexion",
        "wrist_deviation", "wrist_twist", "trunk_support", "feet_support",
    }  # fmt: skip


def test_what_was_measured_or_stated_is_not_called_assumed(posture_of, circumstances_of):
    stated = {"trunk": False, "feet": True, "arm_left": False}
    score = left(posture_of(), circumstances_of(support=[stated]))
    assert set(score.assumed) == {"lower_arm_across_or_out", "wrist_twist"}


def test_the_score_if_assumed_worse_is_that_of_steps_one_worse(posture_of, circumstances_of):
    posture = posture_of(
        wrist_flexion_deg_left=np.nan, wrist_deviation_deg_left=np.nan, neck_flexion_deg=15.0
    )
    score = left(posture, circumstances_of())
    worse = grand(a_score(1, 2, 3, 2), b_score(2, 2, 2), 0, 0)
    assert score.steps["score_if_assumed_worse"].tolist() == [worse]
    assert score.score.tolist() == [grand(a_score(1, 1, 1, 1), b_score(2, 2, 1), 0, 0)]


# arms held forward


@pytest.mark.parametrize(("side", "other"), [("left", 1), ("right", 0)])
def test_an_arm_held_forward_is_not_abducted_by_a_few_degrees_outward(
    side, other, posture_of, circumstances_of
):
    # 89 forward and 3 outward: the projection into the frontal plane says 72
    arm = {f"shoulder_flexion_deg_{side}": 89.0, f"shoulder_abduction_deg_{side}": 71.6}
    posture = posture_of(sd=4.0, **arm)
    scores = rula(posture, circumstances_of(), complete_readings({}))
    by_projection = rula(
        posture, circumstances_of(), complete_readings({"abduction_by": "projection"})
    )
    mine = 1 - other
    assert scores[mine].steps["upper_arm"].tolist() == [3]
    assert by_projection[mine].steps["upper_arm"].tolist() == [4]
    assert scores[other].steps["upper_arm"].tolist() == [1]


@pytest.mark.parametrize("flexion_deg", [120.0, 179.0, -179.0, -150.0])
def test_an_arm_raised_over_the_horizontal_is_no_extension(
    flexion_deg, posture_of, circumstances_of
):
    posture = posture_of(shoulder_flexion_deg_left=flexion_deg)
    assert left(posture, circumstances_of()).steps["upper_arm"].tolist() == [4]


# properties


def _frame(seed, sd=4.0):
    random = np.random.default_rng(seed)
    value = random.normal(10, 20, (1, len(NAMES)))
    for side in ("left", "right"):
        value[0, COLUMN[f"elbow_flexion_deg_{side}"]] = random.uniform(30, 140)
    return PostureTrack(value, np.full_like(value, sd), np.array([True]), np.array([False]))


def _mirrored(posture):
    value = posture.value.copy()
    for name in NAMES:
        if name.endswith("_left"):
            pair = [COLUMN[name], COLUMN[name.replace("_left", "_right")]]
            value[:, pair] = value[:, pair[::-1]]
        elif "side_bend" in name or "twist" in name or "rotation" in name:
            value[:, COLUMN[name]] *= -1
    return PostureTrack(value, posture.sd, posture.person_found, posture.is_bridged)


@settings(max_examples=40)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_mirrored_body_swaps_the_sides(seed, circumstances_of):
    posture, around = _frame(seed), circumstances_of()
    here = rula(posture, around, DEFAULT)
    there = rula(_mirrored(posture), around, DEFAULT)
    for one, two in zip(here, there[::-1], strict=True):
        assert one.score.tolist() == two.score.tolist()
        assert one.level_probability == pytest.approx(two.level_probability)


@settings(max_examples=60)
@given(seed=st.integers(0, 2**32 - 1), more=st.floats(0, 60))
@pytest.mark.parametrize(
    "angle",
    [
        "shoulder_flexion_deg_left",
        "shoulder_abduction_deg_left",
        "shoulder_raise_mm_left",
        "neck_flexion_deg",
        "neck_rotation_deg",
        "trunk_flexion_deg",
        "trunk_side_bend_deg",
        "wrist_flexion_deg_left",
    ],
)
def test_no_score_falls_when_one_angle_goes_further_from_neutral(
    angle, seed, more, circumstances_of
):
    posture = _frame(seed)
    value = posture.value.copy()
    value[:, COLUMN[angle]] = abs(value[:, COLUMN[angle]])
    if angle == "shoulder_flexion_deg_left":  # else it leaves its plane less and less
        value[:, COLUMN["shoulder_abduction_deg_left"]] = 0.0
    further = value.copy()
    further[:, COLUMN[angle]] += more
    both = PostureTrack(
        np.vstack((value, further)),
        np.zeros((2, len(NAMES))),
        np.array([True, True]),
        np.array([False, False]),
    )
    score = left(both, circumstances_of(2)).score
    assert score[1] >= score[0]
