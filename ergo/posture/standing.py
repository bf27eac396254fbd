"""Who stands: what was learned from seated people does not hold for them.

The joint centres and their correction were learned from scenes of seated people
with few others among them (training/MODEL_CARD.md). Where a thigh comes
near the vertical they fade out, and the plain landmarks, learned from people of
every kind, stand alone with the spread of their own errors. So does the usual error
of the plain landmarks where the level is known: it was measured on seated people too.
What nobody measured on standing people is said in their spread.
"""

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES
from ergo.posture.body_points import BodyPoints
from ergo.posture.uncertainty import AGAINST_GRAVITY

STANDING_DEG, SEATED_DEG = 25.0, 40.0
"""Thigh against the vertical, where that is known: below the first a person stands, above the
second one sits. On a saddle stool it is about 45 degrees (common practice, no source); the
borders are ours."""
STRETCHED_DEG, BENT_DEG = 140.0, 120.0
"""Thigh against the trunk, where the vertical is not known: stretched hips stand, bent ones sit.
In 99.7 % of 1,508 rendered seated people it was below 113 degrees (ours)."""

ZERO_SD_DEG = 5.0
"""What the zero of a standing person is worth: there is no reference posture that all take, hips
and shoulders lie differently to each other than on a stool (two real people seen by four
cameras; ours). [deg]"""
DEPTH_SD_DEG = 8.5
"""By how much more forward the network's depth puts the trunk of who stands: 5 to 12 degrees in
four views of the same people (ours). [deg]"""
TILT_SD_DEG = 12.0
"""Where the level is not known, plain landmarks lean with the camera; phones are tilted by so much
(ours). [deg]"""

_IS_RELATIVE = np.array([each.is_relative and "_deg" in each.name for each in ANGLES])
_IS_LEANING = np.array([each.name in AGAINST_GRAVITY for each in ANGLES])
_HAS_DEPTH = np.array([each.name == "trunk_flexion_deg" for each in ANGLES])


def standing_variance(
    seated: FloatArray, is_level_known: BoolArray, left_in: FloatArray
) -> FloatArray:
    """Return what standing adds to the variance of angles by the plain landmarks, (frame, angle).

    Parameters
    ----------
    seated : array (frame,)
        By :func:`seated_share`.
    is_level_known : array (frame,)
    left_in : array (frame, angle)
        The usual error of seated people, as far as it was not taken off: the depth of the
        trunk is in it already. [deg]
    """
    variance = np.broadcast_to(_IS_RELATIVE * ZERO_SD_DEG**2, left_in.shape).copy()
    depth = np.maximum(DEPTH_SD_DEG**2 - left_in**2, 0.0)
    variance += np.where(_HAS_DEPTH, depth, 0.0)
    variance += np.where(_IS_LEANING & ~is_level_known[:, None], TILT_SD_DEG**2, 0.0)
    return (1 - seated[:, None]) * variance


def seated_share(points: BodyPoints, is_level_known: BoolArray) -> FloatArray:
    """Return array (frame,): 1 for who sits, 0 for who stands, between them in between.

    Parameters
    ----------
    points : BodyPoints
        Level axes. Thighs that were not seen are taken to be those of a seated person.
    is_level_known : array (frame,)
        Where False, level axes are those of a camera taken as level.
    """
    trunk = points.middle("shoulder") - points.middle("hip")
    share = np.ones(len(points))
    for side in ("left", "right"):
        thigh = points[f"knee_{side}"] - points[f"hip_{side}"]
        by_level = _between(g.between_deg(thigh, -g.UP), STANDING_DEG, SEATED_DEG)
        by_hips = _between(g.between_deg(thigh, trunk), STRETCHED_DEG, BENT_DEG)
        share = np.fmin(share, np.where(is_level_known, by_level, by_hips))
    return share


def _between(value: FloatArray, none: float, full: float) -> FloatArray:
    """Return 0 up to ``none``, 1 from ``full`` on."""
    share: FloatArray = np.clip((value - none) / (full - none), 0.0, 1.0)
    return share
