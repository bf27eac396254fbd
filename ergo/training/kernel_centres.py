"""Which examples the bells of a part stand on."""

import numpy as np

from ergo.arrays import FloatArray, IndexArray

_ALIKE = 1e-9


def spread_out(of: FloatArray, count: int, before: FloatArray | None = None) -> IndexArray:
    """Return which examples to keep: by turns every k-th, and the one furthest from all kept.

    A person and the mirror image are often equally far, and rounding alone, which no two
    machines share, would choose. Of those equally far, the one is kept that was kept before.

    Parameters
    ----------
    of : array (example, feature)
    count : int
    before : array (centre, feature), optional
        What the stored model keeps, scaled as ``of``; without it the first example is kept.
    """
    half = min(count // 2, len(of))
    kept = list(np.linspace(0, len(of) - 1, half).astype(int))
    apart = _from_nearest(of, of[kept])
    while len(kept) < min(count, len(of)):
        furthest = np.flatnonzero(apart >= apart.max() * (1 - _ALIKE))
        if before is not None and len(furthest) > 1:
            furthest = furthest[[np.argmin(_from_nearest(of[furthest], before))]]
        kept.append(int(furthest[0]))
        apart = np.minimum(apart, _from_one(of, of[kept[-1]]))
    return np.array(sorted(set(kept)))


def _from_nearest(of: FloatArray, kept: FloatArray) -> FloatArray:
    """Return each example's squared distance to the nearest of those kept."""
    apart = np.full(len(of), np.inf)
    for one in kept:
        apart = np.minimum(apart, _from_one(of, one))
    return apart


def _from_one(of: FloatArray, one: FloatArray) -> FloatArray:
    distance: FloatArray = ((of - one) ** 2).sum(axis=-1)
    return distance
