"""The committed models follow from the committed examples, and the fit does what it says."""

import numpy as np
import pytest

from ergo.posture.correction import MODEL_PATH, nearness
from ergo.training.__main__ import fitted
from ergo.training.examples import FOLDS, read_examples
from ergo.training.fit import bells, spread_out


@pytest.fixture(scope="module")
def again():
    return fitted(read_examples())


def test_fitting_again_gives_the_committed_models(again):
    stored, _ = again
    with np.load(MODEL_PATH) as committed:
        assert set(committed.files) == set(stored)
        for name in committed.files:
            assert stored[name] == pytest.approx(committed[name], abs=1e-6, rel=1e-6), name


def test_no_scene_is_in_two_folds():
    examples = read_examples()
    folds = dict(zip(examples.scene, examples.fold, strict=True))
    assert [folds[scene] for scene in examples.scene] == examples.fold.tolist()
    assert set(folds.values()) == set(range(FOLDS))


def test_bells_learn_a_smooth_function_and_forget_it_far_away():
    rng = np.random.default_rng(3)
    places = rng.uniform(-1, 1, (400, 2))
    wanted = np.sin(2 * places[:, :1]) * places[:, 1:]
    weights = bells(places, wanted, np.ones(400), places[:120], ridge=0.001)
    fresh = rng.uniform(-0.9, 0.9, (100, 2))
    found = nearness(fresh, places[:120]) @ weights
    assert np.abs(found[:, 0] - np.sin(2 * fresh[:, 0]) * fresh[:, 1]).max() < 0.05
    assert np.abs(nearness(fresh + 20, places[:120]) @ weights).max() < 1e-6


def test_kept_examples_reach_the_rare_ones():
    crowd = np.random.default_rng(1).normal(0, 0.1, (500, 3))
    rare = np.array([[5.0, 0, 0], [0, 5, 0], [0, 0, 5]])
    kept = spread_out(np.concatenate([crowd, rare]), 20)
    assert {500, 501, 502} <= set(kept.tolist())
    assert len(kept) <= 20
