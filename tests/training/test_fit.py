"""The committed models follow from the committed examples, and the fit does what it says."""

import numpy as np
import pytest

from ergo.posture.learned.body_regions import COLUMNS
from ergo.posture.learned.correction import MODEL_PATH, kernel_weights
from ergo.posture.learned.novelty import KNOTS, distance2, growth, novelty_of
from ergo.training.__main__ import average_neutral, fitted
from ergo.training.examples import FOLDS, read_examples
from ergo.training.fit import (
    growth_at_knots,
    kernels,
    left_out_angles,
    left_out_sd,
    plain_errors,
    task,
    wrapped,
)
from ergo.training.kernel_centres import spread_out

USUAL = ("usual_mean", "usual_inverse")


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
    weights = kernels(places, wanted, np.ones(400), places[:120], ridge=0.001)
    fresh = rng.uniform(-0.9, 0.9, (100, 2))
    found = kernel_weights(fresh, places[:120]) @ weights
    assert np.abs(found[:, 0] - np.sin(2 * fresh[:, 0]) * fresh[:, 1]).max() < 0.05
    assert np.abs(kernel_weights(fresh + 20, places[:120]) @ weights).max() < 1e-6


def test_kept_examples_reach_the_rare_ones():
    crowd = np.random.default_rng(1).normal(0, 0.1, (500, 3))
    rare = np.array([[5.0, 0, 0], [0, 5, 0], [0, 0, 5]])
    kept = spread_out(np.concatenate([crowd, rare]), 20)
    assert {500, 501, 502} <= set(kept.tolist())
    assert len(kept) <= 20


@pytest.mark.parametrize("noise", [1e-15, -1e-15])
def test_of_mirror_images_the_one_kept_before_is_kept_again_whatever_rounding_says(noise):
    crowd = np.random.default_rng(1).normal(0, 0.1, (500, 2))
    pair = np.array([[5.0, 0.0], [-5.0 + noise, 0.0]])
    examples = np.concatenate([np.zeros((1, 2)), pair, crowd, np.zeros((1, 2))])
    for before in (1, 2):
        kept = spread_out(examples, 2, examples[[before, 5]])
        assert {1, 2} & set(kept.tolist()) == {before}


def test_growth_makes_intervals_hold_that_were_too_narrow_far_out():
    rng = np.random.default_rng(5)
    far = np.concatenate([rng.uniform(0.3, 1.2, 8000), rng.uniform(0.8, 4.0, 4000)])
    is_broad = np.arange(len(far)) >= 8000
    too_narrow = np.interp(far, KNOTS, [1.0, 1.3, 1.6, 2.0])
    ratio = (np.abs(rng.normal(size=far.shape)) / 1.6449 * too_narrow)[:, None]
    at_knots = growth_at_knots(ratio, far, is_broad)
    assert at_knots[0] == 1.0
    assert (np.diff(at_knots) >= 0).all()
    for low, high in ((1, 1.5), (1.5, 2), (2, 3), (3, 4)):
        there = (far > low) & (far < high)
        before = np.mean(ratio[there, 0] < 1)
        after = np.mean(ratio[there, 0] < np.interp(far[there], KNOTS, at_knots))
        assert 0.88 < after < 0.95, (low, before, after)
        assert before < after


def test_intervals_of_left_out_people_hold_at_the_chair_and_far_outside(again):
    stored, _ = again
    examples = read_examples()
    job, neutral = task(examples, "known"), average_neutral(examples)
    found, plain = left_out_angles(job, neutral), plain_errors(job, neutral)
    errors = wrapped(found - job.angle)
    far = novelty_of(
        distance2(found[:, columns], *(stored[f"known/{name}/{of}"] for of in USUAL))
        for name, columns in COLUMNS
    )
    for name in ("trunk", "head"):
        columns = next(each for part, each in COLUMNS if part == name)
        sd = left_out_sd(job, name, errors, plain)
        sd *= growth(far, stored[f"known/{name}/growth"])[:, None]
        is_estimated = np.isfinite(errors[:, columns])
        holds = np.abs(errors[:, columns]) < 1.6449 * sd
        for people in (job.is_broad, ~job.is_broad):
            share = holds[people][is_estimated[people]].mean()
            assert 0.86 < share < 0.96, (name, share)
