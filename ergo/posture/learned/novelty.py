"""How far a posture lies outside chairside work, and how much less sure angles are there.

Spreads were learned mostly from chairside postures. Far outside them errors are
larger than any one part of the body tells, so the measured posture of the whole
body says how much wider its intervals must be.
"""

from collections.abc import Iterable

import numpy as np

from ergo.arrays import FloatArray

KNOTS = (1.0, 1.5, 2.0, 3.0)
"""Unusualness at which the growth of spreads was learned: 1 is a chairside posture, 1.5 is passed
by one in fifteen of them and by two thirds of postures drawn far outside (ours)."""


def distance2(angles: FloatArray, mean: FloatArray, inverse: FloatArray) -> FloatArray:
    """Return the mean squared distance of one part's angles from the usual, array (frame,).

    Parameters
    ----------
    angles : array (frame, angle)
        [deg]
    mean, inverse : array (angle,), (angle, angle)
        Mean and inverse covariance in chairside work. [deg], [1/deg^2]

    Returns
    -------
    array (frame,)
        In standard deviations squared: 1 on average in chairside work. NaN where not seen.
    """
    off = (angles - mean + 180.0) % 360.0 - 180.0
    found: FloatArray = np.einsum("fa,ab,fb->f", off, inverse, off) / off.shape[1]
    return found


def novelty_of(squared: Iterable[FloatArray]) -> FloatArray:
    """Return how far whole postures lie outside chairside work, array (frame,); 1 is usual.

    Parameters
    ----------
    squared : iterable of array (frame,)
        Of each part, by :func:`distance2`; parts that were not seen (NaN) do not count,
        and where none was seen nothing is known to be unusual: 0.
    """
    each = np.stack(list(squared))
    is_seen = np.isfinite(each)
    total = np.where(is_seen, each, 0.0).sum(axis=0)
    found: FloatArray = np.sqrt(total / np.maximum(is_seen.sum(axis=0), 1))
    return found


def growth(unusual: FloatArray, at_knots: FloatArray) -> FloatArray:
    """Return by how much spreads grow, array (frame,): between the knots by straight lines.

    Beyond the last knot nothing was checked: there they grow in proportion.
    """
    beyond = np.maximum(unusual / KNOTS[-1], 1.0)
    found: FloatArray = np.interp(unusual, KNOTS, at_knots) * beyond
    return found
