"""A part that keeps its shape, against shapes turned in known ways."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ergo.posture.rigid import held_rigid

HEAD = np.array([[0, 10, -3], [4.5, 8, 2], [-4.5, 8, 2], [7, 0, 0], [-7, 0, 0.0]]) / 100


def turned(shape, frames=40, seed=1):
    turns = Rotation.random(frames, rng=np.random.default_rng(seed)).as_matrix()
    return np.einsum("fij,pj->fpi", turns, shape) + [0.3, -0.2, 2.5], turns


def test_a_part_that_keeps_its_shape_stays_where_it_is():
    points, _ = turned(HEAD)
    assert held_rigid(points, 1.3 * HEAD, 0.5) == pytest.approx(points, abs=1e-9)


def test_chance_errors_turn_the_part_less_than_its_single_lines():
    points, turns = turned(HEAD)
    noisy = points + np.random.default_rng(2).normal(0, 0.006, points.shape)

    def off_deg(found):
        line = found[:, 3] - found[:, 4]
        true = turns[..., 0]
        cosine = np.sum(line * true, axis=1) / np.linalg.norm(line, axis=1)
        return np.degrees(np.arccos(np.clip(cosine, -1, 1))).mean()

    assert off_deg(held_rigid(noisy, HEAD, 0.0)) < 0.85 * off_deg(noisy)


@pytest.mark.parametrize(("trust", "longer"), [(0.0, 1.2), (0.5, 1.1), (1.0, 1.0)])
def test_the_shape_that_is_held_lies_between_own_and_usual(trust, longer):
    """A nose 20 % longer than usual; sizes are made equal first, hence the tolerance."""
    own = HEAD.copy()
    own[0] *= 1.2
    points, _ = turned(own)
    held = held_rigid(points, HEAD, trust)
    ears, nose = (held[:, 3] + held[:, 4]) / 2, held[:, 0]
    size = np.linalg.norm(held[:, 3] - held[:, 4], axis=1) / 0.14
    reach = np.linalg.norm(nose - ears, axis=1) / np.linalg.norm(HEAD[0]) / size
    assert reach == pytest.approx(longer, abs=0.02)


def test_frames_in_which_a_point_is_not_seen_stay_as_they_are():
    points, _ = turned(HEAD, 6)
    points[2, 1] = np.nan
    held = held_rigid(points, HEAD, 0.5)
    assert held[2] == pytest.approx(points[2], nan_ok=True)
    assert np.isfinite(np.delete(held, 2, axis=0)).all()


def test_a_part_never_seen_whole_stays_as_it_is():
    points = np.full((3, 5, 3), np.nan)
    assert np.isnan(held_rigid(points, HEAD, 0.5)).all()
