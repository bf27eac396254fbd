from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from ergo.posture.angle_names import ANGLES, COLUMN, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import POINTS, POSITION, BodyPoints, body_points
from tests.posture.bodies import TRUE_FIELD, Pose, built, random_body, scenes, true_points

SEEDS = st.integers(0, 10_000)
CHANGES_SIGN = {
    "trunk_side_bend_deg",
    "trunk_twist_deg",
    "neck_side_bend_deg",
    "neck_rotation_deg",
}
# Mid-shoulder moves against C7 when the shoulders are raised or the trunk is bent to a side.
TELLS_C7_APART = {"neck_side_bend_deg", "neck_rotation_deg", "trunk_twist_deg", "neck_flexion_deg"}
TELLS_C7_APART |= {
    f"shoulder_{what}_{s}"
    for what in ("flexion_deg", "abduction_deg", "raise_mm")
    for s in ("left", "right")
}


def records():
    stills = scenes()["stills"]
    clip = scenes()["clip"]
    return stills + [frame | {"neutral_m": clip["neutral_m"]} for frame in clip["frames"]]


def measured(top):
    all_records = records()
    points = true_points([r["points_m"] for r in all_records], top=top)
    neutral = true_points([r["neutral_m"] for r in all_records], top=top)
    return body_angles(points, neutral), all_records


@pytest.mark.parametrize("name", sorted(TRUE_FIELD))
def test_true_points_give_the_true_angle(name):
    angles, all_records = measured("c7")
    field = TRUE_FIELD[name].removesuffix("_sh")  # the same from C7
    true = np.array([record["angles"][field] for record in all_records])
    assert np.abs(angles[:, COLUMN[name]] - true).max() < 0.1


@pytest.mark.parametrize("name", sorted(set(TRUE_FIELD) - TELLS_C7_APART))
def test_the_middle_of_the_shoulders_does_as_well_where_c7_plays_no_part(name):
    angles, all_records = measured("mid_shoulder")
    true = np.array([record["angles"][TRUE_FIELD[name]] for record in all_records])
    assert np.abs(angles[:, COLUMN[name]] - true).max() < 0.1


@pytest.mark.parametrize("name", sorted(TELLS_C7_APART))
def test_without_c7_the_other_angles_stay_close(name):
    angles, all_records = measured("mid_shoulder")
    true = np.array([record["angles"][TRUE_FIELD[name]] for record in all_records])
    assert np.abs(angles[:, COLUMN[name]] - true).mean() < 2.5


def random_pose(seed):
    draw = np.random.default_rng(seed).uniform
    arms = tuple((draw(-40, 80), draw(-20, 80), draw(1, 150)) for _ in range(2))
    return Pose(
        draw(-180, 180),
        draw(-20, 60),
        *draw(-30, 30, 2),
        draw(-70, 70),
        draw(-40, 60),
        draw(-40, 40),
        arms,
    )


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("lean_deg", [0.0, 8.0, -5.0])
def test_angles_equal_those_a_body_was_built_with_by_scipy(seed, lean_deg):
    pose = random_pose(seed)
    neutral = built(Pose(heading=35.0), lean_deg)
    angles = body_angles(built(pose, lean_deg), neutral)[0]
    expected = {
        "trunk_flexion_deg": pose.trunk_flexion,
        "trunk_side_bend_deg": pose.trunk_side_bend,
        "trunk_twist_deg": pose.trunk_twist,
        "neck_rotation_deg": pose.neck_rotation,
        "neck_flexion_deg": pose.neck_flexion,
        "neck_side_bend_deg": pose.neck_side_bend,
    }
    for side, (flexion, abduction, elbow) in zip(("left", "right"), pose.arms, strict=True):
        expected[f"shoulder_flexion_deg_{side}"] = flexion
        expected[f"shoulder_abduction_deg_{side}"] = abduction
        expected[f"elbow_flexion_deg_{side}"] = elbow
    for name, value in expected.items():
        assert angles[COLUMN[name]] == pytest.approx(value, abs=1e-6), name


@pytest.mark.parametrize(("palmward", "thumbward"), [(30.0, 0.0), (0.0, 20.0), (-40.0, -15.0)])
@pytest.mark.parametrize(("side", "thumb_points"), [("left", 1.0), ("right", -1.0)])
def test_a_hand_bent_to_the_palm_and_to_the_thumb_is_read_as_such(
    palmward, thumbward, side, thumb_points
):
    # arm forward, palm down: the left thumb points right (x), the right one left; z is ahead
    hand = Rotation.from_euler("y", thumb_points * thumbward, degrees=True) * Rotation.from_euler(
        "x", -palmward, degrees=True
    )
    knuckles = {"index": thumb_points * 0.03, "pinky": -thumb_points * 0.03}
    points = {f"elbow_{side}": [0, 0, 0.0], f"wrist_{side}": [0, 0, 0.25]}
    for name, across in knuckles.items():
        points[f"{name}_{side}"] = np.array([0, 0, 0.25]) + hand.apply([across, 0, 0.08])
    body = body_points({name: np.array([p], float) for name, p in points.items()})
    angles = body_angles(body)[0]
    assert angles[COLUMN[f"wrist_flexion_deg_{side}"]] == pytest.approx(palmward)
    if palmward == 0 or thumbward == 0:
        assert angles[COLUMN[f"wrist_deviation_deg_{side}"]] == pytest.approx(thumbward)
    else:
        assert np.sign(angles[COLUMN[f"wrist_deviation_deg_{side}"]]) == np.sign(thumbward)


@given(seed=SEEDS, turn_deg=st.floats(-180, 180))
def test_turning_the_room_about_the_vertical_changes_nothing(seed, turn_deg):
    body, neutral = random_body(seed), built(Pose(), 5.0)
    turn = Rotation.from_euler("y", turn_deg, degrees=True).as_matrix()
    assert_same(body_angles(body.turned(turn), neutral), body_angles(body, neutral))


@given(seed=SEEDS, size=st.floats(0.2, 5))
def test_a_larger_body_has_the_same_angles_and_a_larger_shoulder_raise(seed, size):
    body, neutral = random_body(seed), built(Pose(), 5.0)
    larger = body_angles(BodyPoints(size * body.xyz), BodyPoints(size * neutral.xyz))
    factor = np.array([size if "_mm" in name else 1.0 for name in NAMES])
    assert_same(larger, body_angles(body, neutral) * factor)


@given(seed=SEEDS)
def test_mirroring_the_body_swaps_the_sides_and_turns_sideways_signs_round(seed):
    body, neutral = random_body(seed), built(Pose(), 5.0)
    angles = body_angles(body, neutral)
    mirrored = body_angles(_mirrored(body), neutral)
    for angle in ANGLES:
        sign = -1.0 if angle.name in CHANGES_SIGN else 1.0
        assert_same(
            mirrored[:, COLUMN[_other_side(angle.name)]], sign * angles[:, COLUMN[angle.name]]
        )


@pytest.mark.parametrize("point", POINTS)
def test_an_unseen_point_never_leaves_a_number_that_needed_it(point):
    body = built(random_pose(1))
    xyz = body.xyz.copy()
    xyz[:, POSITION[point]] = np.nan
    full, less = body_angles(body)[0], body_angles(BodyPoints(xyz))[0]
    still = np.isfinite(less)
    assert np.allclose(less[still], full[still])
    stem = point.removesuffix("_left").removesuffix("_right")
    needs = {
        "hip": "trunk_flexion_deg",
        "ear": "head_inclination_deg",
        "trunk_top": "neck_flexion_deg",
    }
    if stem in needs:
        assert np.isnan(less[COLUMN[needs[stem]]])
    if stem in ("elbow", "shoulder"):
        assert np.isnan(less[COLUMN[point.replace(stem, "upper_arm_elevation_deg")]])


def test_a_limb_without_length_is_not_seen_rather_than_hanging():
    xyz = built(Pose()).xyz.copy()
    xyz[:, POSITION["elbow_left"]] = xyz[:, POSITION["shoulder_left"]]
    angles = body_angles(BodyPoints(xyz))[0]
    for stem in ("upper_arm_elevation", "shoulder_flexion", "shoulder_abduction", "elbow_flexion"):
        assert np.isnan(angles[COLUMN[f"{stem}_deg_left"]])


def test_a_body_is_neutral_against_itself():
    pose = replace(random_pose(3), heading=10.0)
    body = built(pose)
    relative = [angle.is_relative for angle in ANGLES]
    assert np.abs(body_angles(body, body)[0, relative]).max() < 1e-9


def test_no_frames_give_no_angles():
    assert body_angles(BodyPoints(np.empty((0, len(POINTS), 3)))).shape == (0, len(NAMES))


def _other_side(name):
    if name.endswith("left"):
        return name.removesuffix("left") + "right"
    if name.endswith("right"):
        return name.removesuffix("right") + "left"
    return name


def _mirrored(body):
    order = [POSITION[_other_side(name)] for name in POINTS]
    return BodyPoints(body.xyz[:, order] * [-1.0, 1.0, 1.0])


def assert_same(first, second):
    """Equal, and the same in size where an angle is just at +-180."""
    apart = np.abs(first - second)
    apart = np.minimum(apart, np.abs(apart - 360))
    assert np.array_equal(np.isnan(first), np.isnan(second))
    assert np.nanmax(apart, initial=0) < 1e-6 * max(1.0, float(np.nanmax(np.abs(first), initial=1)))
