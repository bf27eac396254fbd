"""Angles that follow from two projections of the same line, each with its spread.

The trunk line is told by its flexion and its side bend, the upper arm by shoulder
flexion and abduction: projections into two planes square to one another. From both
the line itself is known, and with it angles that neither projection is.
"""

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.posture_track import PostureTrack

_NO_LEAN = 1e-9


def trunk_inclination(posture: PostureTrack) -> tuple[FloatArray, FloatArray]:
    """Return how far the trunk line is inclined from its reference line, and one sd.

    The working value less the reference value, as ISO 11226 and EN 1005-4 want it:
    ``trunk_flexion_deg`` and ``trunk_side_bend_deg`` are both read against the neutral
    posture, ``trunk_inclination_deg`` is read against the vertical.

    Parameters
    ----------
    posture : PostureTrack

    Returns
    -------
    array (frame,), array (frame,)
        0 = as in the neutral posture, unsigned, 0..180; NaN where flexion, side bend
        or the plain inclination is not told. [deg]
    """
    flexion, bend = posture.angle("trunk_flexion_deg"), posture.angle("trunk_side_bend_deg")
    sd = posture.angle_sd("trunk_flexion_deg"), posture.angle_sd("trunk_side_bend_deg")
    is_known = np.isfinite(posture.angle("trunk_inclination_deg"))
    value, spread = _off_axis(flexion, bend, *sd)
    return np.where(is_known, value, np.nan), np.where(is_known, spread, np.nan)


def _off_axis(
    first: FloatArray, second: FloatArray, first_sd: FloatArray, second_sd: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the angle between a line and the axis that both projections are read from.

    Its sd is that of first order; on the axis itself, where the direction of the
    error is open, the mean of both variances.
    """
    tangents = np.tan(np.radians([first, second]))
    size = np.hypot(*tangents)
    value = np.degrees(np.arctan(size))
    is_on_axis = size < _NO_LEAN
    shares = np.where(is_on_axis, np.sqrt(0.5), tangents / np.where(is_on_axis, 1.0, size))
    growth = (1 + tangents**2) / (1 + size**2)
    variance = np.sum((shares * growth * np.array([first_sd, second_sd])) ** 2, axis=0)
    return np.where(np.abs(first) > 90.0, 180.0 - value, value), np.sqrt(variance)
