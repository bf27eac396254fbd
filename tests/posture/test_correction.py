import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import BodyPoints
from ergo.posture.learned import correction
from ergo.posture.learned.body_regions import PARTS
from ergo.posture.learned.correction import (
    VARIANTS,
    corrected,
    growth_of,
    model,
    neutral_with_c7,
)
from ergo.posture.limbs import LIMB, limbs_of, mirrored_points, other_side, with_limbs

KNOWN, ASSUMED = np.array([True]), np.array([False])


def seated(turn_deg=40.0, away_m=2.2, bend_deg=0.0):
    """The average body, bent, turned about the vertical and put in front of the camera."""
    xyz = neutral_with_c7().xyz[0]
    a, b = np.radians(turn_deg), np.radians(bend_deg)
    bend = np.array([[1, 0, 0], [0, np.cos(b), np.sin(b)], [0, -np.sin(b), np.cos(b)]])
    turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    return BodyPoints((xyz @ bend.T @ turn.T + [0.1, 0.3, away_m])[None])


SPREAD_M = 0.02


def fixed(points, is_level_known, spread_m=SPREAD_M):
    """Correct points that are all equally well seen."""
    return corrected(points, np.full(points.xyz.shape[:2], spread_m), is_level_known)


def angles(done):
    return body_angles(done.points, neutral_with_c7())


def learned_columns():
    names = [angle for part in PARTS.values() for angle in part.angles]
    return [COLUMN[name] for name in names]


def test_every_learned_angle_has_a_spread_and_no_other_has():
    sd = fixed(seated(), KNOWN).sd[0]
    has_mirror = [other_side(NAMES[column]) for column in learned_columns()]
    learned = set(learned_columns()) | {COLUMN[name] for name in has_mirror}
    assert set(np.flatnonzero(~np.isnan(sd))) == learned
    assert np.nanmin(sd) > 0.5


def test_known_and_assumed_level_use_different_models():
    known, assumed = fixed(seated(), KNOWN), fixed(seated(), ASSUMED)
    assert np.abs(known.points.xyz - assumed.points.xyz).max() > 1e-4


def test_frames_of_both_kinds_are_each_corrected_by_their_own():
    both = BodyPoints(np.repeat(seated().xyz, 2, axis=0))
    mixed = fixed(both, np.array([True, False]))
    assert mixed.points.xyz[0] == pytest.approx(fixed(seated(), KNOWN).points.xyz[0])
    assert mixed.points.xyz[1] == pytest.approx(fixed(seated(), ASSUMED).points.xyz[0])


@settings(max_examples=20)
@given(turn_deg=st.floats(-180, 180), bend_deg=st.floats(-10, 40))
def test_the_body_in_the_mirror_is_corrected_as_in_the_mirror(turn_deg, bend_deg):
    plain = fixed(seated(turn_deg, bend_deg=bend_deg), KNOWN)
    mirror = fixed(mirrored_points(seated(turn_deg, bend_deg=bend_deg)), KNOWN)
    for name in ("upper_arm_elevation_deg_left", "elbow_flexion_deg_right"):
        swapped = COLUMN[other_side(name)]
        assert angles(plain)[0, COLUMN[name]] == pytest.approx(angles(mirror)[0, swapped], abs=1e-6)
        # the trunk's model, which is no exact mirror image, tells how unusual the posture is
        assert plain.sd[0, COLUMN[name]] == pytest.approx(mirror.sd[0, swapped], rel=0.01)


@settings(max_examples=20)
@given(pan_deg=st.floats(-25, 25))
def test_panning_a_level_camera_does_not_change_the_angles(pan_deg):
    a = np.radians(pan_deg)
    pan = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    there = fixed(seated(), KNOWN)
    panned = fixed(seated().turned(pan), KNOWN)
    assert angles(panned) == pytest.approx(angles(there), abs=1e-6, nan_ok=True)


def far_away():
    """A body that no example resembles: eight times as large as anybody."""
    body = seated()
    middle = body.xyz.mean(axis=1, keepdims=True)
    return BodyPoints(middle + 8 * (body.xyz - middle))


def test_far_from_every_example_the_correction_fades_to_the_plain_limbs():
    body = far_away()
    plain = limbs_of(body)
    found = limbs_of(fixed(body, KNOWN).points)
    for name in ("trunk_to_shoulders", "ears", "upper_arm_left", "forearm_right"):
        assert found[0, LIMB[name]] == pytest.approx(plain[0, LIMB[name]], abs=0.02)


def test_far_from_every_example_the_intervals_are_wider():
    near, far = fixed(seated(), KNOWN).sd[0], fixed(far_away(), KNOWN).sd[0]
    columns = learned_columns()
    assert (np.isinf(far[columns]) | (far[columns] > 1.3 * near[columns])).all()


@pytest.mark.parametrize("variant", VARIANTS)
def test_one_arm_far_up_makes_the_intervals_of_the_whole_body_wider(variant):
    usual = np.zeros((1, len(NAMES)))
    for part in PARTS:
        columns = [COLUMN[name] for name in PARTS[part].angles]
        usual[:, columns] = model(variant)[part].usual_mean
        usual[:, [COLUMN[other_side(NAMES[column])] for column in columns]] = usual[:, columns]
    raised = usual.copy()
    raised[0, COLUMN["upper_arm_elevation_deg_right"]] += 70
    raised[0, COLUMN["shoulder_abduction_deg_right"]] += 70
    learned = learned_columns() + [COLUMN[other_side(NAMES[at])] for at in learned_columns()]
    assert (growth_of(usual, model(variant)) == 1).all()
    wider = growth_of(raised, model(variant))[0]
    assert (wider[learned] > 1.05).all()
    assert (np.delete(wider, learned) == 1).all()


def test_the_angles_are_those_of_the_corrected_points():
    done = fixed(seated(bend_deg=15), KNOWN)
    assert done.angles == pytest.approx(angles(done), nan_ok=True)


def test_an_angle_that_a_guess_would_tell_as_well_is_not_told():
    sd = fixed(seated(), KNOWN, 0.3).sd[0]
    column = COLUMN["elbow_flexion_deg_left"]
    assert np.isinf(sd[column])
    assert np.isfinite(fixed(seated(), KNOWN, 0.005).sd[0, COLUMN["trunk_flexion_deg"]])


def test_joints_that_are_hardly_seen_make_wider_intervals():
    column = COLUMN["elbow_flexion_deg_left"]
    clear, hidden = fixed(seated(), KNOWN, 0.01).sd[0], fixed(seated(), KNOWN, 0.08).sd[0]
    assert hidden[column] > 1.15 * clear[column]


def test_a_missing_elbow_leaves_the_trunk_known_and_that_arm_unknown():
    xyz = seated().xyz.copy()
    body = BodyPoints(xyz)
    body["elbow_left"][:] = np.nan
    done = fixed(body, KNOWN)
    assert np.isfinite(done.sd[0, COLUMN["trunk_flexion_deg"]])
    assert np.isnan(done.sd[0, COLUMN["upper_arm_elevation_deg_left"]])
    assert np.isnan(done.sd[0, COLUMN["elbow_flexion_deg_left"]])
    assert np.isfinite(done.sd[0, COLUMN["elbow_flexion_deg_right"]])


def test_nobody_seen_gives_nothing():
    done = fixed(BodyPoints(np.full_like(seated().xyz, np.nan)), KNOWN)
    assert np.isnan(done.sd).all()
    assert np.isnan(done.points.xyz).all()


def test_no_frames_give_no_frames():
    assert len(fixed(BodyPoints(np.empty((0, *seated().xyz.shape[1:]))), KNOWN[:0]).sd) == 0


def test_limbs_put_back_as_they_were_change_no_angle():
    body = seated(bend_deg=20)
    moved = with_limbs(body, limbs_of(body))
    neutral = neutral_with_c7()
    assert body_angles(moved, neutral) == pytest.approx(
        body_angles(body, neutral), abs=1e-6, nan_ok=True
    )


def test_the_models_are_small():
    assert correction.MODEL_PATH.stat().st_size < 1_000_000
    for variant in VARIANTS:
        assert set(model(variant)) == set(PARTS)


@pytest.mark.parametrize("turn_deg", [40.0, 130.0, -75.0])
@pytest.mark.parametrize("back_deg", [56.0, 40.0])
def test_far_from_every_example_the_joints_stand_alone_and_less_sure(back_deg, turn_deg):
    """Nobody among the examples leans back so far: nobody must be drawn upright."""
    trunk = COLUMN["trunk_flexion_deg"]
    done = fixed(seated(turn_deg, bend_deg=back_deg), KNOWN)
    usual = fixed(seated(turn_deg, bend_deg=-15.0), KNOWN)
    assert done.angles[0, trunk] == pytest.approx(-back_deg, abs=0.1)  # as it was built
    assert done.sd[0, trunk] > 1.5 * usual.sd[0, trunk]


def test_what_is_usual_is_corrected_and_leaning_back_the_correction_fades():
    moved = []
    for back_deg in (-15.0, 20.0, 40.0):
        body = seated(bend_deg=back_deg)
        limb = fixed(body, KNOWN).points.trunk - body.trunk
        moved.append(float(np.linalg.norm(limb)))
    assert moved[0] > 0.005
    assert moved[2] < 1e-6


def test_the_stored_reach_is_that_of_the_examples():
    from ergo.posture.learned.correction import REACH_PATH
    from ergo.training.examples import read_examples
    from ergo.training.reach import table

    assert REACH_PATH.read_text(encoding="utf-8") == table(read_examples())
