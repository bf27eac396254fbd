"""Who stands: what was learned from seated people does not hold for them.

The joint centres and their correction were learned from scenes of seated people
with few others among them (model card in DEVELOPERS.md). Where a thigh comes
near the vertical they fade out, and the plain landmarks, learned from people of
every kind, stand alone with the spread of their own errors. So does the usual error
of the plain landmarks where the level is known: it was measured on seated people too.
"""

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture import geometry as g
from ergo.posture.body_points import BodyPoints

STANDING_DEG, SEATED_DEG = 25.0, 40.0
"""Thigh against the vertical, where that is known: below the first a person stands, above the
second one sits. On a saddle stool it is about 45 degrees (common practice, no source); the
borders are ours."""
STRETCHED_DEG, BENT_DEG = 140.0, 120.0
"""Thigh against the trunk, where the vertical is not known: stretched hips stand, bent ones sit.
In 99.7 % of 1,508 rendered seated people it was below 113 degrees (ours)."""


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
