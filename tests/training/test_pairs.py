"""The fit of who operates: its slopes, what it learns, and that the committed one is its own."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from ergo.landmarks.joints import JOINT, JOINTS
from ergo.landmarks.network import MIRRORED_JOINTS
from ergo.posture.body_points import POINTS
from ergo.tracking.pairs import MODEL_PATH, first_operates, measures, mirrored
from ergo.training.examples import read_examples
from ergo.training.pairs import (
    LEAST_DEVIATION,
    WRONG_BODY_M,
    fitted,
    read_errors,
    read_scenes,
    seen,
    side_of,
    slopes,
    through_cameras,
    views_of,
)

POINT = {"c7": "trunk_top"}


@pytest.fixture(scope="module")
def committed():
    with np.load(MODEL_PATH) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}


@pytest.fixture(scope="module")
def real_pairs():
    """Return joints and spreads of operator and assistant as the network saw them in stills."""
    examples = read_examples()
    places = {}
    for at, (scene, role) in enumerate(zip(examples.scene, examples.role, strict=True)):
        places.setdefault(scene, {})[role] = at
    pairs = np.array([(at["operator"], at["assistant"]) for at in places.values() if len(at) == 2])
    true_px, px_per_m = seen(
        examples.truth.xyz[:, [examples_point(name) for name in JOINTS]], examples.focal_px
    )
    off_px = examples.joint_px[..., :2] - examples.centre_px[:, None] - true_px[..., :2]
    off_m = np.median(np.linalg.norm(off_px, axis=-1), axis=1) / px_per_m
    is_them = (off_m[pairs] < WRONG_BODY_M).all(axis=1)
    return pairs[is_them], examples


def examples_point(name):
    return POINTS.index(POINT.get(name, name))


def test_slopes_are_those_of_the_chance_of_the_true_order():
    rng = np.random.default_rng(2)
    shapes = {
        "first/weight": (5, 4),
        "first/bias": (4,),
        "second/weight": (4, 3),
        "second/bias": (3,),
        "last/weight": (3,),
    }
    weights = {name: rng.normal(0, 0.7, shape) for name, shape in shapes.items()}
    value = rng.normal(0, 1, (6, 2, 5))

    def unlikely(flat, name):
        model = {**weights, name: flat.reshape(shapes[name]), "mean": 0.0, "deviation": 1.0}
        return np.mean(np.log1p(np.exp(-first_operates(value, model))))

    told = slopes(weights, value)
    for name, shape in shapes.items():
        measured = approx_fprime(weights[name].ravel(), unlikely, 1e-6, name).reshape(shape)
        assert told[name] == pytest.approx(measured, abs=2e-5), name


def test_the_fit_finds_what_tells_two_apart_and_nothing_else():
    rng = np.random.default_rng(4)

    def invented(count):
        first, second = rng.normal(0, 1, (2, count, 3))
        first[:, 0] += 3.0
        return np.stack([np.hstack([first, second]), np.hstack([second, first])], axis=1)

    network = fitted(invented(3000))
    fresh = first_operates(invented(1000), network)
    best = (
        0.983  # of all rules: P(difference of two normals, 3 apart, is positive) = Phi(3 / sqrt 2)
    )
    assert np.mean(fresh > 0) == pytest.approx(best, abs=0.015)
    assert (network["deviation"] >= LEAST_DEVIATION).all()


def test_cameras_keep_lengths_and_look_at_the_people():
    joints, mouths = read_scenes()
    moved, focal_px = through_cameras(joints[:50], mouths[:50], np.random.default_rng(1))
    flat, moved_flat = (joints_m.reshape(50, -1, 3) for joints_m in (joints[:50], moved))
    assert np.linalg.norm(np.diff(moved_flat, axis=1), axis=-1) == pytest.approx(
        np.linalg.norm(np.diff(flat, axis=1), axis=-1)
    )
    across = np.linalg.norm(moved[:, 0, :, :2].mean(axis=1), axis=1) / moved[:, 0, :, 2].mean(
        axis=1
    )
    assert np.median(across) < 0.3
    assert (focal_px > 0).all()


def test_scenes_are_of_right_handed_operators_who_sit_nearer_and_lower():
    joints, mouths = read_scenes()
    hips = joints[:, :, [JOINT["hip_left"], JOINT["hip_right"]]].mean(axis=2)
    away = np.linalg.norm(hips[..., :2] - mouths[:, None, :2], axis=-1)
    assert np.mean(away[:, 1] - away[:, 0]) > 0
    assert np.mean(hips[:, 1, 2] - hips[:, 0, 2]) == pytest.approx(0.08, abs=0.06)
    hours = (np.degrees(np.arctan2(hips[..., 0], hips[..., 1])) / 30) % 12
    assert ((hours[:, 1] > 1.5) & (hours[:, 1] < 5)).mean() > 0.97  # assistants, 2 to 4 o'clock
    assert ((hours[:, 0] > 6.5) | (hours[:, 0] < 1.5)).mean() > 0.97


def test_errors_come_with_their_mirror_images_in_the_order_of_sides():
    errors = read_errors()
    assert (np.diff(errors.side) >= 0).all()
    assert np.median(errors.side) == pytest.approx(0, abs=0.05)
    heights = np.sort(errors.off_m[:, JOINT["wrist_left"], 1])
    assert heights == pytest.approx(np.sort(errors.off_m[:, JOINT["wrist_right"], 1]))


def test_a_left_side_to_the_right_of_the_picture_is_nought():
    joints = np.zeros((len(JOINTS), 3))
    for stem in ("shoulder", "hip"):
        joints[JOINT[f"{stem}_left"]] = (0.2, 0, 0)
    assert side_of(joints) == pytest.approx(0)
    assert side_of(joints[:, [2, 1, 0]]) == pytest.approx(np.pi / 2)


def odds_of(real_pairs, network):
    pairs, examples = real_pairs
    read = [
        measures(examples.joint_px[[pair]], examples.joint_sd_px[[pair]], width, is_known=False)
        for pair, width in zip(pairs, examples.width_px[pairs[:, 0]], strict=True)
    ]
    return first_operates(np.concatenate(read), network)


def test_operators_of_rendered_stills_that_were_never_fitted_on_are_told(real_pairs, committed):
    odds = odds_of(real_pairs, committed)
    assert len(odds) > 300
    assert np.mean(odds > 0) > 0.93
    belief = 1 / (1 + np.exp(-np.abs(odds)))
    assert np.mean(belief) <= np.mean(odds > 0) + 0.02  # never surer than it is right


def test_fitting_again_gives_the_committed_network(real_pairs, committed):
    again = {
        name: values.astype(np.float16) for name, values in fitted(views_of(*read_scenes())).items()
    }
    mine, theirs = (odds_of(real_pairs, network) for network in (again, committed))
    assert np.mean(np.sign(mine) == np.sign(theirs)) > 0.98
    assert np.median(np.abs(mine - theirs)) < 0.2


def test_a_mirrored_scene_shows_the_mirrored_pair():
    joints, mouths = read_scenes()
    moved, focal_px = through_cameras(joints[:5], mouths[:5], np.random.default_rng(1))
    both = np.repeat(focal_px[:, None], 2, axis=1)
    assert seen(mirrored(moved), both)[0] == pytest.approx(mirrored(seen(moved, both)[0]))
    assert len(set(MIRRORED_JOINTS)) == len(JOINTS)
