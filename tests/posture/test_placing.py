from dataclasses import replace

import numpy as np
import pytest

from ergo.landmarks.names import INDEX
from ergo.posture.angle_names import COLUMN
from ergo.posture.angles import body_angles
from ergo.posture.body_points import POINTS, POSITION
from ergo.posture.placing import level_points
from tests.posture.bodies import (
    LEVEL_FROM_WORLD,
    TRUE_FIELD,
    camera_of,
    perfect_track,
    scenes,
    stills_timeline,
    true_points,
)

SEEN_POINTS = [name for name in POINTS if name != "trunk_top"]


def placed(records, cameras):
    track = perfect_track([r["camera"] for r in records], [r["points_m"] for r in records])
    return level_points(track, cameras, stills_timeline(len(records)))


def test_perfect_landmarks_through_a_known_camera_give_the_true_gravity_and_limbs():
    records = scenes()["stills"]
    points = placed(records, [camera_of(record) for record in records])
    neutral = true_points([record["neutral_m"] for record in records])
    angles = body_angles(points, neutral)
    for name in (
        "trunk_inclination_deg",
        "head_inclination_deg",
        "elbow_flexion_deg_left",
        "elbow_flexion_deg_right",
        "upper_arm_elevation_deg_left",
        "upper_arm_elevation_deg_right",
    ):
        true = np.array([record["angles"][TRUE_FIELD[name]] for record in records])
        seen = np.isfinite(angles[:, COLUMN[name]])
        assert seen.mean() > 0.5
        assert np.abs(angles[seen, COLUMN[name]] - true[seen]).max() < 1.0, name


def test_perfect_landmarks_return_to_their_places_in_the_room():
    records = scenes()["stills"]
    points = placed(records, [camera_of(record) for record in records])
    for frame, record in enumerate(records):
        camera = camera_of(record)
        to_level = camera.level_from_camera @ np.array(record["camera"]["R"])
        world = true_points([record["points_m"]]).xyz[0] @ LEVEL_FROM_WORLD
        expected = (world - record["camera"]["position"]) @ to_level.T
        apart = np.linalg.norm(points.xyz[frame] - expected, axis=1)
        assert np.nanmax(apart) < 0.02


def test_a_point_outside_the_picture_is_not_seen():
    record = scenes()["stills"][0]
    track = perfect_track([record["camera"]], [record["points_m"]])
    picture = track.picture_px.copy()
    picture[0, :, INDEX["ear_left"], 0] = -3.0
    track = replace(track, picture_px=picture)
    points = level_points(track, [camera_of(record)], stills_timeline(1))
    assert np.isnan(points["ear_left"]).all()
    assert np.isfinite(points["ear_right"]).all()


def test_a_person_who_was_not_found_is_nan_in_that_frame_alone():
    records = scenes()["stills"][:3]
    track = perfect_track([r["camera"] for r in records], [r["points_m"] for r in records])
    for array in (track.picture_px, track.world_m):
        array[1] = np.nan
    points = level_points(track, [camera_of(r) for r in records], stills_timeline(3))
    assert np.isnan(points.xyz[1]).all()
    assert np.isfinite(points.xyz[[0, 2], POSITION["hip_left"]]).all()


@pytest.mark.parametrize("roll_deg", [-12.0, 20.0])
def test_a_rolled_camera_leans_the_trunk_by_its_roll_unless_it_is_known(roll_deg):
    record = scenes()["stills"][2]
    camera = camera_of(record)
    wrong = replace(camera, roll_deg=camera.roll_deg + roll_deg)
    right_trunk = placed([record], [camera]).trunk[0]
    wrong_trunk = placed([record], [wrong]).trunk[0]
    cosine = right_trunk @ wrong_trunk / np.linalg.norm(right_trunk) / np.linalg.norm(wrong_trunk)
    assert np.degrees(np.arccos(cosine)) == pytest.approx(abs(roll_deg), rel=0.2)


def test_looks_are_averaged():
    record = scenes()["stills"][0]
    track = perfect_track([record["camera"]], [record["points_m"]])
    shift = np.zeros_like(track.world_m)
    shift[0, 0, INDEX["elbow_left"], 2] = 0.1
    both = replace(
        track,
        looks=("a", "b"),
        picture_px=np.concatenate([track.picture_px] * 2, axis=1),
        world_m=np.concatenate([track.world_m + shift, track.world_m - shift], axis=1),
        visibility=np.concatenate([track.visibility] * 2, axis=1),
    )
    camera, timeline = [camera_of(record)], stills_timeline(1)
    apart = level_points(both, camera, timeline).xyz - level_points(track, camera, timeline).xyz
    assert np.nanmax(np.abs(apart)) < 0.002
