"""Angles from two projections against vectors, which know nothing of projections."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.posture_track import PostureTrack
from ergo.posture.projections import arm_outward, raised_forward, trunk_inclination
from tests.posture.bodies import scenes, true_points


def posture_of(sd, **angles):
    frames = max(np.size(value) for value in angles.values())
    value = np.full((frames, len(NAMES)), np.nan)
    for name, values in angles.items():
        value[:, COLUMN[name]] = values
    spread = np.where(np.isfinite(value), sd, np.nan)
    return PostureTrack(value, spread, np.ones(frames, bool), np.zeros(frames, bool))


def projected(outward_deg, forward_deg):
    """Return flexion and abduction of an arm that leaves the sagittal plane by so much."""
    out, forward = np.radians(outward_deg), np.radians(forward_deg)
    arm = np.array([np.sin(out), np.cos(out) * np.sin(forward), -np.cos(out) * np.cos(forward)])
    flexion = np.degrees(np.arctan2(arm[1], -arm[2]))
    return flexion, np.degrees(np.arctan2(arm[0], -arm[2]))


@given(st.floats(-85, 85), st.floats(-88, 175))
def test_the_way_out_of_the_plane_comes_back_from_both_projections(outward, forward):
    flexion, abduction = projected(outward, forward)
    posture = posture_of(
        3.0, shoulder_flexion_deg_right=flexion, shoulder_abduction_deg_right=abduction
    )
    assert arm_outward(posture, "right")[0] == pytest.approx(outward, abs=1e-3)


def test_an_arm_89_forward_and_3_out_is_3_out():
    flexion, abduction = projected(3.0, 89.0)
    assert abduction == pytest.approx(72, abs=0.5)  # what the projection makes of it
    posture = posture_of(
        5.0, shoulder_flexion_deg_left=flexion, shoulder_abduction_deg_left=abduction
    )
    value, sd = arm_outward(posture, "left")
    assert value == pytest.approx(3.0)
    assert sd[0] < 5.1


def test_on_true_bodies_it_is_the_arc_sine_of_the_outward_part():
    points = true_points([each["points_m"] for each in scenes()["stills"]])
    found = body_angles(points)
    names = ("shoulder_flexion_deg_left", "shoulder_abduction_deg_left")
    posture = posture_of(1.0, **{name: found[:, COLUMN[name]] for name in names})
    arm = points["elbow_left"] - points["shoulder_left"]
    trunk = points.trunk / np.linalg.norm(points.trunk, axis=1, keepdims=True)
    left = points["shoulder_left"] - points["shoulder_right"]
    left = left - np.sum(left * trunk, axis=1, keepdims=True) * trunk
    part = np.sum(arm * left, axis=1) / (np.linalg.norm(arm, axis=1) * np.linalg.norm(left, axis=1))
    assert arm_outward(posture, "left")[0] == pytest.approx(np.degrees(np.arcsin(part)), abs=1e-6)


def test_the_other_arm_is_told_by_its_own_angles():
    posture = posture_of(
        2.0,
        shoulder_flexion_deg_left=0.0,
        shoulder_abduction_deg_left=35.0,
        shoulder_flexion_deg_right=0.0,
        shoulder_abduction_deg_right=-10.0,
    )
    assert arm_outward(posture, "left")[0] == pytest.approx(35)
    assert arm_outward(posture, "right")[0] == pytest.approx(-10)
    assert arm_outward(posture, "left")[1] == pytest.approx(2)


@pytest.mark.parametrize(("flexion", "abduction"), [(5.0, 25.0), (40.0, 22.0), (-15.0, 18.0)])
def test_the_spread_of_the_way_out_is_that_of_drawn_angles(flexion, abduction):
    noise = np.random.default_rng(1).normal(0, 3.0, (2, 20_000))
    drawn = posture_of(
        3.0,
        shoulder_flexion_deg_left=flexion + noise[0],
        shoulder_abduction_deg_left=abduction + noise[1],
    )
    one = posture_of(3.0, shoulder_flexion_deg_left=flexion, shoulder_abduction_deg_left=abduction)
    spread = np.std(arm_outward(drawn, "left")[0])
    assert arm_outward(one, "left")[1][0] == pytest.approx(spread, rel=0.06)


def test_an_arm_raised_past_the_trunk_line_is_not_drawn_back():
    assert raised_forward(np.array([-30.0, 170.0, -170.0])).tolist() == [-30.0, 170.0, 190.0]


@given(st.floats(0, 85), st.floats(-180, 180))
def test_the_inclination_comes_back_from_flexion_and_side_bend(lean, towards):
    tangent = np.tan(np.radians(lean)) * np.array(
        [np.cos(np.radians(towards)), np.sin(np.radians(towards))]
    )
    flexion, bend = np.degrees(np.arctan(tangent))
    posture = posture_of(
        2.0, trunk_flexion_deg=flexion, trunk_side_bend_deg=bend, trunk_inclination_deg=1.0
    )
    value, sd = trunk_inclination(posture)
    assert value == pytest.approx(lean, abs=1e-6)
    assert sd[0] <= 2.0001


def test_what_is_not_told_is_not_known():
    posture = posture_of(2.0, trunk_flexion_deg=3.0, shoulder_flexion_deg_left=20.0)
    for found in (*trunk_inclination(posture), *arm_outward(posture, "left")):
        assert np.isnan(found).all()
