import numpy as np
import pytest

from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.network import Box, PoseNetwork
from ergo.landmarks.refine import JOINT, JOINTS, MODEL_PATH, Glimpse, joints_in, starts


def glimpse(**changes):
    """A person standing upright in the middle of the crop, evenly warm, without texture."""
    place = np.zeros((len(LANDMARKS), 2))
    world = np.zeros((len(LANDMARKS), 3))
    for name, right, down in (
        ("ear", 0.07, -0.65),
        ("shoulder", 0.17, -0.48),
        ("hip", 0.11, 0.0),
        ("knee", 0.12, 0.42),
        ("ankle", 0.12, 0.82),
    ):
        for side, sign in (("left", 1), ("right", -1)):
            world[INDEX[f"{name}_{side}"], :2] = sign * right, down
    place[:] = world[:, :2] * 0.4
    parts = {
        "place": place,
        "raw_place": place,
        "world_m": world,
        "seen": np.full(len(LANDMARKS), 5.0),
        "heat": np.full((64, 64, 39), -4.0),
        "texture": np.zeros((48, 64, 64)),
    }
    return Glimpse(**{**parts, **changes})


def test_without_refinement_a_joint_starts_at_its_landmark():
    at = starts(glimpse())
    assert at[JOINT["shoulder_left"], :2] == pytest.approx([0.068, -0.192])
    assert at[JOINT["c7"], :2] == pytest.approx([0.0, (-0.65 - 0.48) / 2 * 0.4])


def test_depth_starts_in_the_scale_of_the_picture_from_mid_hip():
    world = glimpse().world_m
    deep = world.copy()
    deep[:, 2] = 0.3
    deep[INDEX["wrist_left"], 2] = 0.8
    at = starts(glimpse(world_m=deep))
    assert at[JOINT["wrist_left"], 2] == pytest.approx(0.5 * 0.4)
    assert at[JOINT["hip_left"], 2] == pytest.approx(0.0)


def test_every_joint_gets_a_place_and_a_spread():
    found = joints_in(glimpse())
    assert found.place.shape == (len(JOINTS), 3)
    assert np.isfinite(found.place).all()
    assert (found.spread > 0).all()


def test_joints_stay_near_the_body_however_odd_the_input():
    wild = glimpse(texture=np.full((48, 64, 64), 1e4), seen=np.full(len(LANDMARKS), -300.0))
    found = joints_in(wild)
    assert np.isfinite(found.place).all()
    assert np.abs(found.place[:, :2] - starts(wild)[:, :2]).max() < 1.0


def test_the_model_is_a_few_megabytes():
    assert MODEL_PATH.stat().st_size < 3_000_000


@pytest.fixture(scope="module")
def heavy():
    return PoseNetwork("heavy")


@pytest.fixture(scope="module")
def picture():
    rng = np.random.default_rng(5)
    return rng.integers(0, 255, (240, 320, 3), dtype=np.uint8)


def test_a_look_of_the_heavy_network_carries_joints_in_the_picture(heavy, picture):
    small = heavy.look(picture, Box(160, 120, 100, 0.0))
    moved = heavy.look(np.roll(picture, 20, axis=1), Box(180, 120, 100, 0.0))
    assert small.joint_px.shape == (len(JOINTS), 3)
    assert moved.joint_px - small.joint_px == pytest.approx(
        np.tile([20.0, 0.0, 0.0], (len(JOINTS), 1)), abs=0.5
    )


def test_a_mirrored_look_at_a_mirrored_picture_gives_the_mirrored_joints(heavy, picture):
    plain = heavy.look(picture, Box(150, 120, 100, 0.0))
    flipped = np.ascontiguousarray(picture[:, ::-1])
    mirror = heavy.look(flipped, Box(320 - 150, 120, 100, 0.0), mirrored=True)
    left, right = JOINT["shoulder_left"], JOINT["shoulder_right"]
    assert 320 - mirror.joint_px[right, 0] == pytest.approx(plain.joint_px[left, 0], abs=4.0)
    assert mirror.joint_px[right, 1] == pytest.approx(plain.joint_px[left, 1], abs=4.0)


def test_a_network_without_a_refiner_gives_no_joints(picture):
    assert PoseNetwork("full").look(picture, Box(160, 120, 100, 0.0)).joint_px is None
