"""The moments to look at: furthest beyond the headline limits, apart in time."""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import FloatArray
from ergo.exposure.bands import LimitSet, edges_of
from ergo.exposure.exposure import WorstMoment
from ergo.posture.posture_track import PostureTrack
from ergo.timeline import Timeline

MOMENTS = 6
"""How many moments are picked at most."""

APART_S = 10.0
"""Two moments of one clip lie at least this far apart (ours). [s]"""


def sure_excess(posture: PostureTrack, limits: LimitSet) -> FloatArray:
    """Return how far an angle surely lies beyond its limit.

    Parameters
    ----------
    posture : PostureTrack
    limits : LimitSet

    Returns
    -------
    array (frame,)
        Distance beyond the nearest edge of strain 2, less one standard
        deviation, so that a doubtful frame is not taken for a bad one; 0 where
        within, or not seen. [unit of the angle]
    """
    value = posture.angle(limits.angle.name)
    edges = edges_of(limits, posture.is_supported(limits.angle.name))
    distances = [
        value - edge if below.strain < above.strain else edge - value
        for below, above, edge in zip(limits.bands, limits.bands[1:], edges, strict=False)
        if (below.strain == 2) != (above.strain == 2)
    ]
    excess = np.max(distances, axis=0, initial=0.0) - posture.angle_sd(limits.angle.name)
    excess = np.maximum(excess, 0.0)
    return np.where(np.isfinite(value), excess, 0.0)


def worst_moments(
    timeline: Timeline, posture: PostureTrack, limits: Sequence[LimitSet]
) -> tuple[WorstMoment, ...]:
    """Return the worst moments, worst first.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
    limits : sequence of LimitSet
        Those that count; their excesses are added up.

    Returns
    -------
    tuple of WorstMoment
    """
    if not limits or not len(timeline):
        return ()
    excess = np.array([sure_excess(posture, each) for each in limits])
    left = excess.sum(axis=0)
    picked: list[WorstMoment] = []
    while len(picked) < MOMENTS and (frame := int(np.argmax(left))) >= 0 and left[frame] > 0:
        picked.append(_moment(timeline, posture, limits, excess[:, frame], frame))
        left[_near(timeline, frame)] = 0.0
    return tuple(picked)


def _near(timeline: Timeline, frame: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    same = timeline.source_index == timeline.source_index[frame]
    near: np.ndarray[tuple[int], np.dtype[np.bool_]] = same & (
        np.abs(timeline.time_s - timeline.time_s[frame]) < APART_S
    )
    return near


def _moment(
    timeline: Timeline,
    posture: PostureTrack,
    limits: Sequence[LimitSet],
    excess: FloatArray,
    frame: int,
) -> WorstMoment:
    worst = limits[int(np.argmax(excess))]
    names = [each.angle.name for each, by in zip(limits, excess, strict=True) if by > 0]
    return WorstMoment(
        source=timeline.sources[timeline.source_index[frame]],
        time_s=float(timeline.time_s[frame]),
        frame=frame,
        reason=worst.angle.name,
        rule=worst.rule,
        limit=worst.limit,
        values={name: float(posture.angle(name)[frame]) for name in names},
        sds={name: float(posture.angle_sd(name)[frame]) for name in names},
    )
