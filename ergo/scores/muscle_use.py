"""Static and repeated work, from holds and repetitions of the angles."""

from collections.abc import Mapping

import numpy as np

from ergo.posture.posture_track import PostureTrack
from ergo.posture.static_postures import find_holds, held_longer_than, repetitions_per_minute
from ergo.scores.circumstances import MuscleUse
from ergo.scores.table import limit
from ergo.timeline import Timeline

LIMITS = {"1min": "activity", "10min": "activity_10min"}

GROUP_ANGLES: Mapping[str, tuple[str, ...]] = {
    "left": ("upper_arm_elevation_deg_left",),
    "right": ("upper_arm_elevation_deg_right",),
    "body": ("neck_flexion_deg", "trunk_flexion_deg"),
}
"""Angles whose holds and repetitions make a group static or repeated."""


def muscle_use(
    timeline: Timeline, posture: PostureTrack, static_after: str
) -> dict[tuple[str, str], MuscleUse]:
    """Return static and repeated work by method and group.

    A group is static within a hold of one of its angles that is longer than the
    method's limit, and repeated where one of them goes up and down more often
    than the limit. Where that cannot be known, neither is taken.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
    static_after : str
        RULA's reading; the REBA sources print 1 minute.
    """
    by_method = {"rula": LIMITS[static_after], "reba": LIMITS["1min"]}
    use: dict[tuple[str, str], MuscleUse] = {}
    for group, angles in GROUP_ANGLES.items():
        holds = [hold for angle in angles for hold in find_holds(timeline, posture, angle)]
        rate = np.stack([repetitions_per_minute(timeline, posture, angle) for angle in angles])
        for method, limits in by_method.items():
            is_repeated = np.any(rate > limit(limits, "repeated_per_min"), axis=0)
            is_static = held_longer_than(timeline, holds, limit(limits, "static_after_s"))
            use[method, group] = MuscleUse(is_static, is_repeated)
    return use
