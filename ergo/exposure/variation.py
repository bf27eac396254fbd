"""Exposure variation: how long an angle stayed in one band without a break.

After the exposure variation analysis of Mathiassen SE, Winkel J (1991).
Quantifying variation in physical load using exposure-vs-time data. Ergonomics
34(12):1455-1468 (status: memory). Long stays matter more than the mean shows.
"""

from dataclasses import dataclass
from math import inf

import numpy as np

from ergo.arrays import FloatArray, StepArray
from ergo.exposure.bands import LimitSet, bands_held
from ergo.posture.posture_track import PostureTrack
from ergo.posture.time_segments import clip_runs, seen_runs
from ergo.timeline import Timeline

STAY_EDGES_S = (0.0, 1.0, 3.0, 4.0, 7.0, 15.0, 31.0, inf)
"""Classes of stays, roughly doubling, as in the paper; 4 s is an edge more, where
ISO 11226 begins to call a posture static. A stay on an edge belongs below it. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Variation:
    """Share of time by band and by length of the uninterrupted stay in it.

    Attributes
    ----------
    limits : LimitSet
        The bands, one per row.
    share : array (band, stay class)
        0..1 of the session; classes as in :data:`STAY_EDGES_S`. Sums to 1 with
        ``unjudged``; NaN where the session stands for nothing.
    unjudged : float
        Share in which the angle was not seen or, in stills, has no length.
    """

    limits: LimitSet
    share: FloatArray
    unjudged: float


def variation_of(timeline: Timeline, posture: PostureTrack, limits: LimitSet) -> Variation:
    """Return the exposure variation of one angle.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
        What may be counted.
    limits : LimitSet

    Returns
    -------
    Variation
        A gap of up to 0.6 s does not end a stay and counts as not judged.
    """
    place = bands_held(limits, posture)
    amount = np.zeros((len(limits.bands), len(STAY_EDGES_S) - 1))
    for run in clip_runs(timeline):
        for part in seen_runs(timeline, run, place < len(limits.bands)):
            frames = part.start + np.flatnonzero(place[part.start : part.stop] < len(limits.bands))
            amount += _stays(place[frames], timeline.held[frames], amount.shape)
    total = timeline.total
    share = amount / total if total > 0 else np.full(amount.shape, np.nan)
    return Variation(limits, share, float(1 - np.sum(share)))


def _stays(place: StepArray, held: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """Return the time in each band and stay class of one run, array (band, stay class)."""
    starts = np.flatnonzero(np.diff(place, prepend=-1))
    length_s = np.add.reduceat(held, starts)
    stay_class = np.searchsorted(STAY_EDGES_S[1:], length_s - 1e-9)
    amount = np.zeros(shape)
    np.add.at(amount, (place[starts], stay_class), length_s)
    return amount
