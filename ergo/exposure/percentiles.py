"""Amplitude distribution of angles: what is passed in 90, 50 and 10 % of the judged time.

After the amplitude probability distribution of Jonsson B (1982). Measurement and
evaluation of local muscular strain in the shoulder during constrained work. J
Hum Ergol 11(1):73-88 (status: memory), which uses the same percentiles for muscle
load. Its limits are for muscle load and do not apply to angles.
"""

import numpy as np
from scipy.special import ndtri

from ergo.arrays import FloatArray
from ergo.exposure.exposure import Estimate, Percentiles
from ergo.exposure.uncertain import COMMON_SHARE, INTERVAL
from ergo.posture.angle_names import ANGLES
from ergo.posture.posture_track import PostureTrack

_SHARES = np.array([0.1, 0.5, 0.9])


def angle_percentiles(posture: PostureTrack, held: FloatArray) -> tuple[Percentiles, ...]:
    """Return the percentiles of every angle that was seen, in the order of names.

    Parameters
    ----------
    posture : PostureTrack
    held : array (frame,)
        [unit of the timeline]
    """
    found = []
    for angle in ANGLES:
        value, sd = posture.angle(angle.name), posture.angle_sd(angle.name)
        seen = np.isfinite(value) & (held > 0)
        if np.any(seen):
            least = 0.0 if "unsigned" in angle.positive else -np.inf
            estimates = _estimates(value[seen], sd[seen], held[seen], least)
            found.append(Percentiles(angle, *estimates))
    return tuple(found)


def _estimates(
    value: FloatArray, sd: FloatArray, held: FloatArray, least: float
) -> tuple[Estimate, ...]:
    """Return 10th, 50th and 90th percentile, none of them below ``least``.

    A common error moves every frame its own way but all in one direction, so
    the interval's ends are the percentiles with that error at its own ends.
    Errors that are new in every frame average out over the effective number of
    frames.
    """
    frames = held.sum() ** 2 / np.sum(held**2)
    moved = sd * np.sqrt(COMMON_SHARE + (1 - COMMON_SHARE) / frames)
    low, high = (
        weighted_quantiles(np.maximum(value + z * moved, least), held, _SHARES)
        for z in ndtri(INTERVAL)
    )
    middle = weighted_quantiles(value, held, _SHARES)
    return tuple(
        Estimate(float(m), float(a), float(b)) for m, a, b in zip(middle, low, high, strict=True)
    )


def weighted_quantiles(value: FloatArray, weight: FloatArray, shares: FloatArray) -> FloatArray:
    """Return the smallest values at or below which at least ``shares`` of the weight lie.

    Parameters
    ----------
    value, weight : array (frame,)
        Without NaN; weights not negative.
    shares : array (quantile,)
        0..1.

    Returns
    -------
    array (quantile,)
        NaN where the weights sum to 0.
    """
    used = weight > 0
    if not np.any(used):
        return np.full(len(shares), np.nan)
    order = np.argsort(value[used])
    passed = np.cumsum(weight[used][order])
    wanted = shares * passed[-1] * (1 - 1e-12)
    quantiles: FloatArray = value[used][order][np.searchsorted(passed, wanted)]
    return quantiles
