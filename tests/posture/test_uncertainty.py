import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from ergo.camera.camera import Camera
from ergo.posture.angle_names import ANGLES, COLUMN, NAMES
from ergo.posture.body_points import BodyPoints
from ergo.posture.neutral import population_neutral
from ergo.posture.uncertainty import (
    CHANGES_SIDE,
    is_estimable,
    standard_deviation,
    usual_error,
    usual_spread,
    view_azimuth_deg,
)
from ergo.published_tables import rows
from tests.posture.bodies import Pose, built

STEMS = {angle.name.removesuffix("_left").removesuffix("_right"): angle.side for angle in ANGLES}
KNOWN = Camera(
    640, 480, 450.0, (320, 240), level_origin="notes", level_sd_deg=1, focal_is_known=True
)
ASSUMED = Camera(640, 480, 450.0, (320, 240))


def sd_of(azimuth, away_s=0.0, camera=KNOWN):
    azimuth = np.atleast_1d(np.asarray(azimuth, float))
    away = np.full(len(azimuth), away_s)
    known = np.full(len(azimuth), camera.level_origin != "assumed")
    spread = usual_spread(azimuth, known)
    return standard_deviation(spread, away, [camera], np.zeros(len(azimuth), int))


@pytest.mark.parametrize("azimuth", [0.0, 40.0, 90.0, 135.0, -40.0, -90.0, 180.0])
def test_the_view_is_the_direction_of_the_camera_from_the_person(azimuth):
    # unturned, the built body looks ahead: away from the camera, three metres off
    turn = Rotation.from_euler("y", 180 + azimuth, degrees=True).as_matrix()
    body = built(Pose(trunk_flexion=20)).turned(turn)
    (found,) = view_azimuth_deg(BodyPoints(body.xyz - body.middle("shoulder") + [0, 0, 3.0]))
    assert np.mod(found - azimuth + 180, 360) - 180 == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("level", ["known", "assumed"])
@pytest.mark.parametrize("stem", STEMS)
def test_the_table_holds_every_angle_in_every_view(stem, level):
    views = [
        float(row["azimuth_deg"])
        for row in rows("posture", "hybrid_errors")
        if row["angle"] == stem and row["level"] == level
    ]
    assert views == list(range(0, 181 if STEMS[stem] == "whole" else 360, 45))


@given(st.floats(-180, 180) | st.just(float("nan")))
def test_a_spread_is_always_a_number_above_nothing(azimuth):
    for camera in (KNOWN, ASSUMED):
        assert (sd_of(azimuth, camera=camera) > 0).all()


def test_an_unknown_view_is_as_uncertain_as_the_worst():
    all_views = sd_of(np.arange(-180, 180, 5.0))
    assert (sd_of(np.nan) >= all_views.max(axis=0) - 1e-9).all()


def test_the_spread_grows_with_the_way_to_the_nearest_seen_frame():
    assert (sd_of(90, away_s=0.3) > sd_of(90, away_s=0.1)).all()
    assert (sd_of(90, away_s=0.1) > sd_of(90)).all()


@given(st.floats(-180, 180))
def test_a_mirrored_view_has_the_mirrored_error(azimuth):
    known = np.array([True, True])
    here, there = usual_error(np.array([azimuth, -azimuth]), known)
    for angle in ANGLES:
        sign = -1 if angle.name in CHANGES_SIDE else 1
        other = (
            angle.name.replace("left", "RIGHT").replace("right", "left").replace("RIGHT", "right")
        )
        assert there[COLUMN[other]] == pytest.approx(sign * here[COLUMN[angle.name]])


def test_a_view_that_turns_a_little_changes_the_error_a_little():
    azimuth = np.arange(-180, 180.5, 0.5)
    error = usual_error(azimuth, np.ones(len(azimuth), bool))
    degrees = ["_deg" in name for name in NAMES]
    assert np.abs(np.diff(error[:, degrees], axis=0)).max() < 0.5


def test_only_relative_angles_are_shifted():
    error = usual_error(np.array([30.0]), np.array([True]))[0]
    assert not error[[not angle.is_relative for angle in ANGLES]].any()


def test_an_interval_as_wide_as_the_joint_moves_tells_nothing():
    sd = np.full((1, len(NAMES)), 20.0)
    sd[0, COLUMN["elbow_flexion_deg_left"]] = 40.0
    told = is_estimable(sd)[0]
    assert told.sum() == len(NAMES) - 1
    assert not told[COLUMN["elbow_flexion_deg_left"]]


def test_the_average_body_is_symmetric_and_sits_upright():
    body = population_neutral()
    assert np.allclose(body["shoulder_left"] * [-1, 1, 1], body["shoulder_right"])
    assert body.trunk[0, 1] < -0.4  # up, in metres
    assert np.allclose(body["elbow_left"][0, [0, 2]], body["shoulder_left"][0, [0, 2]], atol=0.01)
