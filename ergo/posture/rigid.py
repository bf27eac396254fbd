"""Parts of the body that keep their shape: fitted as one piece to their points."""

import numpy as np

from ergo.arrays import FloatArray

_ROUNDS = 4  # shape and turns by turns; it no longer changes after three


def held_rigid(points: FloatArray, usual: FloatArray, trust: float) -> FloatArray:
    """Return a part's points with one shape in all frames, where all of them are seen.

    Parameters
    ----------
    points : array (frame, point, xyz)
        NaN = not seen; frames in which one is not seen stay as they are. [m]
    usual : array (point, xyz)
        The shape of the average body, in axes of any kind. [m]
    trust : float
        Share of the usual shape, made as large as the part is, in the shape that is held;
        the rest is the mean shape over all frames.

    Notes
    -----
    Turns are the closest ones in the sense of least squares (Kabsch 1976), shape and
    turns are found by turns.
    """
    seen = np.isfinite(points).all(axis=(1, 2))
    held = points.copy()
    if not seen.any():
        return held
    middle = points[seen].mean(axis=1, keepdims=True)
    about = points[seen] - middle
    usual = usual - usual.mean(axis=0)
    shape = usual
    for _ in range(_ROUNDS):
        own = (np.swapaxes(_turns(shape, about), 1, 2) @ about.swapaxes(1, 2)).mean(axis=0).T
        size = np.sqrt(np.sum(own**2) / np.sum(usual**2))
        shape = (1 - trust) * own + trust * size * usual
    held[seen] = middle + shape @ np.swapaxes(_turns(shape, about), 1, 2)
    return held


def _turns(shape: FloatArray, about: FloatArray) -> FloatArray:
    """Return the turns (frame, xyz, xyz) that lay a shape (point, xyz) on points best."""
    left, _, right = np.linalg.svd(about.swapaxes(1, 2) @ shape)
    handed = np.ones((len(about), 1, 3))
    handed[:, 0, 2] = np.sign(np.linalg.det(left @ right))
    turns: FloatArray = (left * handed) @ right
    return turns
