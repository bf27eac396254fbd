"""What is packed comes back within half a step."""

import numpy as np
import pytest

from ergo.landmarks.joints import MODEL_PATH, read_weights
from ergo.training.packing import packed, write_weights


@pytest.fixture
def weights():
    rng = np.random.default_rng(11)
    channels = np.array([1e-3, 1.0, 40.0, 0.0])
    return {
        "taught/7": rng.normal(0, 1, (4, 30, 9, 9)) * channels[:, None, None, None],
        "head/near/weight": rng.normal(0, 0.1, (8, 12)),
        "head/near/bias": rng.normal(0, 5, 40_000),
    }


def test_large_weights_come_back_within_half_a_step_of_their_channel(weights, tmp_path):
    write_weights(tmp_path / "joints.npz", weights)
    back = read_weights(tmp_path / "joints.npz")
    wanted = weights["taught/7"]
    # the largest weight of a channel is 127 steps away from zero
    step = np.abs(wanted).reshape(4, -1).max(axis=1) / 127
    off = np.abs(back["taught/7"] - wanted).reshape(4, -1).max(axis=1)
    assert (off <= step / 2 * 1.001).all()
    assert (off[:3] > 0).all()


def test_small_weights_come_back_as_halves_and_biases_unchanged(weights, tmp_path):
    write_weights(tmp_path / "joints.npz", weights)
    back = read_weights(tmp_path / "joints.npz")
    assert set(back) == set(weights)
    # a half has 11 significant bits
    assert back["head/near/weight"] == pytest.approx(weights["head/near/weight"], rel=2**-11)
    assert back["head/near/bias"] == pytest.approx(weights["head/near/bias"], rel=1e-6)


def test_packing_the_committed_weights_again_changes_nothing():
    committed = read_weights(MODEL_PATH)
    with np.load(MODEL_PATH) as stored:
        again = packed(committed)
        assert set(again) == set(stored.files)
        for name in stored.files:
            if name.endswith("/steps"):
                assert np.array_equal(again[name], stored[name]), name
