"""Joint centres against the truth of rendered people, and by the picture's own symmetries."""

from pathlib import Path

import numpy as np
import pytest

from ergo.errors import MissingLibrary
from ergo.landmarks.joints import (
    JOINT,
    JOINTS,
    LYING_SIDE_M,
    MODEL_PATH,
    Joints,
    joints_of,
    lying_of,
)
from ergo.landmarks.network import Box, PoseNetwork, crop_of, joined, upper_body_box
from ergo.training.collect import settled_box
from ergo.training.scenes import hands_px, px_per_m, read_scene, recorded, true_px

SCENES = Path(__file__).parents[1] / "training" / "scenes"  # never shown to the taught branch
JOINTS_AT = 5  # of the network's outputs
HEIGHT_M = 1.7  # of a usual body: the measure of errors in the picture


@pytest.fixture(scope="module")
def heavy():
    return PoseNetwork("heavy")


@pytest.fixture(scope="module")
def picture():
    rng = np.random.default_rng(5)
    return rng.integers(0, 255, (240, 320, 3), dtype=np.uint8)


def joints(place=0.0, spread=1.0, deep_spread=1.0):
    count = len(JOINTS)
    return Joints(np.full((count, 3), place), np.full(count, spread), np.full(count, deep_spread))


def test_the_answer_is_read_joint_by_joint():
    count = len(JOINTS)
    answer = np.zeros(5 * count)
    answer[2] = 0.25  # x of the second joint
    answer[3 * count + 1] = 0.1  # its depth
    read = joints_of(answer)
    assert read.place[1].tolist() == [0.25, 0.0, 0.1]
    assert read.place[0].tolist() == [0.0, 0.0, 0.0]
    # a radial Laplace distribution exp(-r / b) / (2 pi b^2) has E[r^2] = 6 b^2: per axis 3 b^2
    assert read.spread == pytest.approx(np.full(count, np.sqrt(3)))
    # a Laplace distribution of scale b has the variance 2 b^2
    assert read.deep_spread == pytest.approx(np.full(count, np.sqrt(2)))


def test_of_the_answer_the_second_part_is_the_patient_and_the_last_number_the_belief():
    count = len(JOINTS)
    answer = np.zeros(10 * count + 1)
    answer[2] = 0.5  # of the first head
    answer[5 * count + 2] = 0.25
    answer[-1] = np.log(3.0)  # the logit of 3 to 1
    read, belief = lying_of(answer)
    assert read.place[1].tolist() == [0.25, 0.0, 0.0]
    assert belief == pytest.approx(0.75)
    assert joints_of(answer).place[1].tolist() == [0.5, 0.0, 0.0]


def test_the_model_is_a_few_megabytes():
    assert MODEL_PATH.stat().st_size < 12_000_000


def test_joints_move_with_the_picture(heavy, picture):
    small = heavy.look(picture, Box(160, 120, 100, 0.0)).joints
    moved = heavy.look(np.roll(picture, 20, axis=1), Box(180, 120, 100, 0.0)).joints
    assert small.place.shape == (len(JOINTS), 3)
    assert moved.place - small.place == pytest.approx(
        np.tile([20.0, 0.0, 0.0], (len(JOINTS), 1)), abs=0.5
    )


def test_a_mirrored_look_shows_what_the_mirrored_picture_shows(heavy, picture):
    box = Box(150.0, 120.0, 100.0, 0.0)
    # pixel columns 0 and 319 change places, the crop's edge lies half a crop away
    edge = 319 + box.side_px / 256
    flipped = np.ascontiguousarray(picture[:, ::-1])
    plain = heavy.look(picture, box).joints
    mirror = heavy.look(flipped, Box(edge - 150, 120, 100, 0.0), mirrored=True).joints
    left, right = JOINT["shoulder_left"], JOINT["shoulder_right"]
    assert edge - mirror.place[right, 0] == pytest.approx(plain.place[left, 0], abs=0.1)
    assert mirror.place[right, 1:] == pytest.approx(plain.place[left, 1:], abs=0.1)
    assert mirror.spread[right] == pytest.approx(plain.spread[left], rel=0.01)


def test_a_network_without_the_branch_gives_no_joints(picture):
    assert PoseNetwork("full").look(picture, Box(160, 120, 100, 0.0)).joints is None


def test_the_closer_crop_holds_head_and_shoulders():
    seen = joints()
    for name, place in (("shoulder", (50.0, 60.0, 0.0)), ("ear", (54.0, 20.0, 0.0))):
        for side in ("left", "right"):
            seen.place[JOINT[f"{name}_{side}"]] = place
    box = upper_body_box(Box(0.0, 100.0, 200.0, 0.3), seen)
    assert 50 < box.x_px < 54
    assert 20 < box.y_px < 60
    assert box.side_px < 200
    assert box.angle_rad == 0.3


def test_of_two_looks_the_surer_counts_more():
    # by hand: weights 1 / 1^2 and 1 / 2^2, so 4/5 of the first and 1/5 of the second
    both = joined(joints(0.0, spread=1.0), joints(10.0, spread=2.0))
    assert both.place[:, :2] == pytest.approx(np.full((len(JOINTS), 2), 2.0))
    assert both.spread == pytest.approx(np.ones(len(JOINTS)))


def test_depths_of_a_closer_look_are_moved_to_the_same_shoulders():
    both = joined(joints(0.0), joints(7.0))
    assert both.place[:, 2] == pytest.approx(np.zeros(len(JOINTS)))


@pytest.fixture(scope="module", params=["train_001", "train_015", "train_016"])
def operator(request, heavy):
    """Return joints as seen, true joints (x, y, depth), what is visible, and the height, in px."""
    scene = read_scene(SCENES / f"{request.param}.json")
    person = next(one for one in scene.people if one["role"] == "operator")
    box = settled_box(scene, person, heavy)
    whole = heavy.look(scene.picture, box).joints
    seen = heavy.closer_joints(scene.picture, box, whole, is_mirrored_too=True)
    depth_m = scene.in_camera_m(person, JOINTS)[:, 2]
    hips_m = depth_m[[JOINT["hip_left"], JOINT["hip_right"]]].mean()
    px_per_m = scene.lens[0, 0] / hips_m
    true = np.column_stack([true_px(person, JOINTS), (depth_m - hips_m) * px_per_m])
    is_visible = np.array([person["points"][recorded(name)]["visible"] for name in JOINTS]) == 1
    return seen, true, is_visible, HEIGHT_M * px_per_m


def test_visible_joints_lie_near_the_true_ones(operator):
    seen, true, is_visible, height_px = operator
    off = np.linalg.norm((seen.place - true)[:, :2], axis=1)[is_visible]
    assert off.mean() < 0.03 * height_px
    assert off.max() < 0.08 * height_px


def test_hidden_joints_lie_near_the_true_ones_too(operator):
    seen, true, is_visible, height_px = operator
    off = np.linalg.norm((seen.place - true)[:, :2], axis=1)[~is_visible]
    assert off.mean() < 0.04 * height_px
    assert off.max() < 0.13 * height_px


def test_depths_tell_which_side_is_nearer(operator):
    seen, true, _, height_px = operator
    off = np.abs(seen.place[:, 2] - true[:, 2])
    assert off.mean() < 0.05 * height_px
    clear = np.abs(true[:, 2]) > 0.1 * height_px
    assert clear.any()
    assert (np.sign(seen.place[clear, 2]) == np.sign(true[clear, 2])).all()


def test_errors_are_of_the_size_of_the_stated_spreads(operator):
    seen, true, _, _ = operator
    off = np.abs(seen.place - true)[:, :2] / seen.spread[:, None]
    # of a Laplace distribution 94 % lie within two standard deviations, if errors are as stated
    assert (off < 2).mean() > 0.8
    assert (off > 0.25).any()


def lying(heavy, still):
    """Return joints near the operator's hands, belief in a patient, scene and crop."""
    scene = read_scene(SCENES / f"{still}.json")
    operator = next(one for one in scene.people if one["role"] == "operator")
    box = Box(*hands_px(operator), LYING_SIDE_M * px_per_m(scene, operator), 0.0)
    output = heavy._shown(crop_of(scene.picture, box)).get_output_tensor(JOINTS_AT).data
    read, belief = lying_of(np.array(output, dtype=np.float64).ravel())
    middle = np.array([box.x_px, box.y_px])
    return read.place[:, :2] * box.side_px + middle, belief, scene, box


@pytest.mark.parametrize("still", ["train_015", "train_016"])
def test_a_patient_is_seen_from_the_operators_hands(heavy, still):
    seen, belief, scene, box = lying(heavy, still)
    assert belief > 0.9
    patient = next(one for one in scene.people if one["role"] == "patient")
    off_m = np.linalg.norm(seen - true_px(patient, JOINTS), axis=1) / box.side_px * LYING_SIDE_M
    head = [JOINT["ear_left"], JOINT["ear_right"], JOINT["nose"]]
    hips = [JOINT["hip_left"], JOINT["hip_right"]]
    assert off_m[head].max() < 0.2
    assert off_m[hips].max() < 0.25


def test_no_patient_is_seen_where_there_is_none(heavy):
    _, belief, _, _ = lying(heavy, "train_001")
    assert belief < 0.1


def test_weights_that_do_not_fit_the_network_are_refused_in_one_line(monkeypatch):
    from ergo.landmarks import joints as module

    name, weights = next(kv for kv in module._weights().items() if kv[0].startswith("taught/"))
    wrong = {**module._weights(), name: np.zeros((*weights.shape, 2), dtype=np.float32)}
    monkeypatch.setattr(module, "_weights", lambda: wrong)
    with pytest.raises(MissingLibrary, match="another order"):
        PoseNetwork("heavy")
