"""Short gaps bridged and jitter taken out of clips; stills are left as they are."""

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture.body_points import BodyPoints
from ergo.posture.time_segments import Run, clip_runs
from ergo.timeline import Timeline, longest_gap_s

CUTOFF_HZ = 1.0
"""Second-order Butterworth low-pass, run forwards and backwards: half the amplitude is left
here. Seated work is slow, the landmarks' jitter is not (ours). [1/s]"""

_ORDER = 2
_HIGHEST_SHARE = 0.45  # of the frame rate; a clip analysed more slowly is not filtered
_UNEVEN = 0.25  # steps that differ more than this from the usual one are evened out first
_FEWEST = 4


def bridged(timeline: Timeline, points: BodyPoints) -> tuple[BodyPoints, FloatArray]:
    """Return the points with gaps of at most 0.6 s filled by straight lines.

    Returns
    -------
    BodyPoints
    array (frame,)
        How far the nearest seen frame is from a bridged one, for the point of
        which that is furthest; 0 where nothing was bridged. [s]
    """
    xyz = points.xyz.copy(order="K")
    away_s = np.zeros(len(points))
    for run in clip_runs(timeline):
        frames = slice(run.start, run.stop)
        seen = np.isfinite(xyz[frames, :, 0])
        if seen.all():
            continue
        longest_s = longest_gap_s(np.diff(timeline.time_s[frames]))
        for point in np.flatnonzero(seen.any(axis=0) & ~seen.all(axis=0)):
            filled, distance_s = _filled(
                timeline.time_s[frames], xyz[frames, point], seen[:, point], longest_s
            )
            xyz[frames, point] = filled
            away_s[frames] = np.maximum(away_s[frames], distance_s)
    return BodyPoints(xyz), away_s


def _filled(
    time_s: FloatArray, values: FloatArray, seen: BoolArray, longest_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return values (frame, xyz) with short gaps filled, and the distance to what was seen."""
    known = np.flatnonzero(seen)
    after = np.searchsorted(known, np.arange(len(seen)))
    has_both = (after > 0) & (after < len(known)) & ~seen
    previous = time_s[known[np.maximum(after - 1, 0)]]
    following = time_s[known[np.minimum(after, len(known) - 1)]]
    fill = has_both & (following - previous <= longest_s)
    filled = values.copy()
    for axis in range(values.shape[1]):
        filled[fill, axis] = np.interp(time_s[fill], time_s[known], values[known, axis])
    nearest_s = np.minimum(time_s - previous, following - time_s)
    return filled, np.where(fill, nearest_s, 0.0)


def smoothed(timeline: Timeline, points: BodyPoints) -> BodyPoints:
    """Return the points of clips after a zero-phase low-pass; never across gaps or clips."""
    xyz = points.xyz.copy(order="K")
    for run in clip_runs(timeline):
        seen = np.isfinite(xyz[run.start : run.stop, :, 0])
        for members in _seen_alike(seen):
            for part in _stretches(seen[:, members[0]], run.start):
                frames = slice(part.start, part.stop)
                series = xyz[frames, members].reshape(part.stop - part.start, -1)
                low = low_passed(timeline.time_s[frames], series)
                xyz[frames, members] = low.reshape(-1, len(members), 3)
    return BodyPoints(xyz)


def _seen_alike(seen: BoolArray) -> list[list[int]]:
    """Return groups of columns of ``seen`` (frame, point) that are equal."""
    groups: dict[bytes, list[int]] = {}
    for point, column in enumerate(seen.T):
        groups.setdefault(column.tobytes(), []).append(point)
    return list(groups.values())


def _stretches(seen: BoolArray, first: int) -> list[Run]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(int)))
    return [
        Run(first + int(a), first + int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


def low_passed(time_s: FloatArray, series: FloatArray) -> FloatArray:
    """Return series (frame, quantity) without what moves faster than the cut-off.

    Unevenly timed series are evened out at their usual step, filtered, and read
    off at their own times. Too short or too slow ones are returned as they are.
    """
    if len(time_s) < _FEWEST:
        return series
    step_s = np.diff(time_s)
    usual_s = float(np.median(step_s))
    if usual_s * CUTOFF_HZ >= _HIGHEST_SHARE:
        return series
    if np.abs(step_s - usual_s).max() <= _UNEVEN * usual_s:
        return _filtered(series, 1 / usual_s)
    even_s = np.linspace(time_s[0], time_s[-1], 1 + round((time_s[-1] - time_s[0]) / usual_s))
    low = _filtered(_read_off(even_s, time_s, series), 1 / usual_s)
    return _read_off(time_s, even_s, low)


def _filtered(series: FloatArray, rate_hz: float) -> FloatArray:
    from scipy.signal import butter, sosfiltfilt  # takes 0.5 s and 40 MB to load

    sections = butter(_ORDER, CUTOFF_HZ, fs=rate_hz, output="sos")
    padding = min(len(series) - 1, int(2 * rate_hz / CUTOFF_HZ))
    low: FloatArray = sosfiltfilt(sections, series, axis=0, padlen=padding)
    return low


def _read_off(at_s: FloatArray, time_s: FloatArray, series: FloatArray) -> FloatArray:
    return np.stack([np.interp(at_s, time_s, column) for column in series.T], axis=1)
