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


def arm_outward(posture: PostureTrack, side: str) -> tuple[FloatArray, FloatArray]:
    """Return how far an upper arm leaves the trunk's sagittal plane, and one sd.

    The arc sine of the outward part of the direction from shoulder to elbow. For a
    hanging arm it is ``shoulder_abduction_deg``; for an arm held forward that projection
    grows towards 90 with hardly any way outward, this angle does not.

    Parameters
    ----------
    posture : PostureTrack
    side : str
        ``"left"`` or ``"right"``.

    Returns
    -------
    array (frame,), array (frame,)
        0 = in the plane, + = away from the body, -90..90; NaN where shoulder flexion or
        abduction is not told. [deg]
        The sd is that of first order for errors of both that do not depend on one
        another, but not more than that of one error of the same size in every direction:
        near the horizontal both angles are off together.
    """
    names = f"shoulder_flexion_deg_{side}", f"shoulder_abduction_deg_{side}"
    flexion, abduction = (np.radians(posture.angle(name)) for name in names)
    flexion_sd, abduction_sd = (posture.angle_sd(name) for name in names)
    tangent = np.abs(np.tan(abduction) * np.cos(flexion))
    outward = np.copysign(np.arctan(tangent), np.sin(abduction))
    by_abduction = np.cos(flexion) * (np.cos(outward) / np.cos(abduction)) ** 2
    by_flexion = np.tan(abduction) * np.sin(flexion) * np.cos(outward) ** 2
    apart = np.hypot(by_abduction * abduction_sd, by_flexion * flexion_sd)
    forward = np.cos(outward) * np.sin(flexion)
    any_way = np.maximum(
        flexion_sd * np.cos(outward), abduction_sd * np.sqrt(np.maximum(1 - forward**2, 0.0))
    )
    return np.degrees(outward), np.minimum(apart, any_way)


FARTHEST_BACK_DEG = 90.0
"""No upper arm is drawn back further: what reads as more has been raised forward past the
trunk line (range of shoulder extension about 60; ours). [deg]"""


def raised_forward(flexion_deg: FloatArray) -> FloatArray:
    """Return shoulder flexion with arms raised past the vertical beyond 180, not below -90.

    array (frame,): -90..270, + = forward. [deg]
    """
    return np.where(flexion_deg < -FARTHEST_BACK_DEG, flexion_deg + 360.0, flexion_deg)


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
