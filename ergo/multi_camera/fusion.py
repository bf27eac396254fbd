"""Two or more cameras on the same session: their clocks aligned, their angles joined.

Angles belong to the body, so they can be joined whatever the cameras' places: each
counts by its own uncertainty, and the view that sees an angle best counts most.
What two views tell together (:mod:`ergo.multi_camera.limb_triangulation`) counts as one more view,
and twice over: it holds what both saw.
"""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.errors import InputError
from ergo.posture.mixing import apart, mixed, wrapped
from ergo.posture.posture_track import PostureTrack

COMMON_ERROR = 0.6
"""Share of the error variance that views have in common: same networks, same body, and what two
views tell together comes from the same landmarks (ours)."""
TOGETHER = 2.0
"""How many times over counts what two views tell together: it holds what both saw. On twelve drawn
operators with errors made up, more would be better still (head, neck); on the same ones rendered
and seen by the networks, 1 is best for head and neck, and for the trunk all do alike (ours)."""
CONFLICT_SD = 2.5
"""Beyond so many standard deviations views contradict each other; the spread grows (ours)."""


def fuse(
    postures: Sequence[PostureTrack],
    times_s: Sequence[FloatArray],
    offsets_s: Sequence[float],
    counts: Sequence[float] | None = None,
) -> tuple[PostureTrack, IndexArray]:
    """Return the operator's angles from all views, at the times of the first.

    Parameters
    ----------
    postures : sequence of PostureTrack
        One per view.
    times_s : sequence of array (frame,)
        Time of each frame of each view since its own start. [s]
    offsets_s : sequence of float
        Start of each view on the clock of the first; 0 for the first. [s]
    counts : sequence of float, optional
        How many times over each view counts; once each where not given.

    Returns
    -------
    PostureTrack
        An angle is NaN where no view tells it. A frame between two seen frames of
        another view takes their straight mixture.
    array (frame, angle)
        Position of the view that counts most; -1 where none tells the angle.
    """
    if not len(postures) == len(times_s) == len(offsets_s) or not postures:
        raise InputError("There must be times and an offset for every view.")
    at = times_s[0] + offsets_s[0]
    views = [
        _at_times(posture, time_s + offset, at)
        for posture, time_s, offset in zip(postures, times_s, offsets_s, strict=True)
    ]
    of_views, of_sds = np.stack([v for v, _ in views]), np.stack([s for _, s in views])
    times_over = np.ones(len(views)) if counts is None else np.asarray(counts, float)
    weight = times_over[:, None, None] * np.nan_to_num(of_sds**-2.0)
    value, sd = _joined(of_views, of_sds, weight)
    found = postures[0].person_found | np.isfinite(value).any(axis=1)
    is_bridged = postures[0].is_bridged & ~_saw(views[1:], len(at))
    counted = np.where(np.isfinite(value), weight.argmax(axis=0), -1)
    return PostureTrack(value, sd, found, is_bridged), counted


def _saw(views: Sequence[tuple[FloatArray, FloatArray]], frames: int) -> BoolArray:
    saw = np.zeros(frames, dtype=bool)
    for value, _ in views:
        saw |= np.isfinite(value).any(axis=1)
    return saw


def _at_times(
    posture: PostureTrack, time_s: FloatArray, at: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return value and sd (frame, angle) at other times; NaN outside and beside gaps."""
    after = np.clip(np.searchsorted(time_s, at), 1, max(len(time_s) - 1, 1))
    if len(time_s) < 2:
        after = np.zeros(len(at), dtype=np.int64)
    before = np.maximum(after - 1, 0)
    step = np.where(after > before, time_s[after] - time_s[before], 1.0)
    share = ((at - time_s[before]) / step)[:, None]
    edge = np.median(np.diff(time_s)) / 2 if len(time_s) > 1 else 0.0
    is_outside = (at < time_s[0] - edge) | (at > time_s[-1] + edge)
    share = np.clip(share, 0.0, 1.0)
    near = np.where(share < 0.5, before[:, None], after[:, None])[:, 0]
    value = mixed(posture.value[before], posture.value[after], share)
    sd = posture.sd[near]
    is_known = np.isfinite(value) & np.isfinite(sd) & ~is_outside[:, None]
    return np.where(is_known, value, np.nan), np.where(is_known, sd, np.nan)


def _joined(value: FloatArray, sd: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the weighted mean over views (view, frame, angle) and its sd."""
    sureness = np.nan_to_num(sd**-2.0)
    total = weight.sum(axis=0)
    is_known = total > 0
    total = np.where(is_known, total, 1.0)
    base = np.take_along_axis(value, weight.argmax(axis=0)[None], axis=0)
    away = apart(value, base)
    mean = base[0] + (weight * np.nan_to_num(away)).sum(axis=0) / total
    all_sure, best_sure = sureness.sum(axis=0), sureness.max(axis=0)
    variance = (1 - COMMON_ERROR) / np.where(is_known, all_sure, 1.0)
    variance += COMMON_ERROR / np.where(is_known, best_sure, 1.0)
    spread = (weight * np.nan_to_num(away - (mean - base[0])) ** 2).sum(axis=0) / total
    is_conflict = spread > CONFLICT_SD**2 * variance
    variance = np.where(is_conflict, variance + spread, variance)
    mean = np.where(is_known, wrapped(mean), np.nan)
    return mean, np.where(is_known, np.sqrt(variance), np.nan)
