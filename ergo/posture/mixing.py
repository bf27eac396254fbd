"""Angles mixed the shorter way round: between 170 and -170 degrees lies 180, not 0."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.geometry import wrapped_deg

IS_TURN = np.array(["_deg" in name for name in NAMES])
"""Which quantities come round again after 360; the others are lengths."""


def wrapped(value: FloatArray) -> FloatArray:
    """Return the same angles (..., angle) within -180 < value <= 180 deg; lengths as they are."""
    return np.where(IS_TURN, wrapped_deg(value), value)


def apart(value: FloatArray, base: FloatArray) -> FloatArray:
    """Return how far angles (..., angle) lie from others, the shorter way; lengths: the difference.

    -180 < apart <= 180 [deg]; NaN where one is not seen.
    """
    return wrapped(value - base)


def mixed(first: FloatArray, second: FloatArray, share: FloatArray) -> FloatArray:
    """Return angles (..., angle) on the shorter way from ``first`` to ``second``.

    Parameters
    ----------
    first, second : array (..., angle)
        In the order of ``angle_names.NAMES``. [deg], shoulder raise [mm]
    share : array (..., angle)
        Of ``second``, 0..1. What has no share may be NaN.
    """
    between = wrapped(first + share * apart(second, first))
    return np.where(share <= 0, first, np.where(share >= 1, second, between))


def mixed_variance(
    first: FloatArray, second: FloatArray, share: FloatArray, apart: FloatArray
) -> FloatArray:
    """Return the variance of what is the one or the other, by shares.

    Parameters
    ----------
    first, second : array (..., angle)
        Variance of each. What has no share may be NaN.
    share : array (..., angle)
        Of ``second``, 0..1.
    apart : array (..., angle)
        How far the two lie apart: what they disagree by is uncertainty too.
    """
    with np.errstate(invalid="ignore"):  # infinite: not told, and here without a share
        between = (1 - share) * first + share * second + share * (1 - share) * apart**2
    return np.where(share <= 0, first, np.where(share >= 1, second, between))


def unrolled(name: str, series: FloatArray) -> FloatArray:
    """Return one angle over time (frame,), without its jumps of 360 deg; a length as it is."""
    if not IS_TURN[COLUMN[name]]:
        return series
    steps: FloatArray = np.unwrap(series, period=360.0)
    return steps


def rolled(name: str, series: FloatArray) -> FloatArray:
    """Return one angle (...,) within -180 < value <= 180 deg; a length as it is."""
    return wrapped_deg(series) if IS_TURN[COLUMN[name]] else series
