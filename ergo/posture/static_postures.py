"""Static holds and repeated movements of one angle.

A *hold* is a posture kept longer than 4 s with slight variation only (ISO
11226:2000, definition of static working posture, as quoted in [ntp-847]). The
standard gives no figure for "slight"; ours is :data:`HOLD_TOLERANCE_DEG`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.posture.mixing import rolled, unrolled
from ergo.posture.posture_track import PostureTrack
from ergo.posture.time_segments import clip_runs, seen_runs
from ergo.timeline import Timeline

HOLD_TOLERANCE_DEG = 5.0
"""Slight variation: the angle stays within this much of the middle of its range (ours) [deg]."""

HOLD_MINIMUM_S = 4.0
"""A posture held longer than this is static (ISO 11226:2000) [s]."""

REPEAT_SWING_DEG = 15.0
"""A movement there and back counts from this size: three times the tolerance (ours) [deg]."""

REPEAT_WINDOW_S = 60.0
"""Repetitions are counted over this much time round each moment [s]."""

_LEAST_JUDGED_S = 15.0


@dataclass(frozen=True, slots=True)
class Hold:
    """One static hold.

    Attributes
    ----------
    source : str
        Name of the clip.
    first, last : int
        Its first and last frame in the timeline.
    start_s, end_s : float
        Time of its first and last frame in the clip [s].
    angle : str
        Name of the angle that was held.
    mean, sd : float
        Mean of the angle over the hold, and one standard deviation of that
        mean; errors of one view hardly average out, so it is that of a frame.
    unjudged_share : float
        Share of the hold in which the angle was bridged or not seen, 0..1.
    """

    source: str
    first: int
    last: int
    start_s: float
    end_s: float
    angle: str
    mean: float
    sd: float
    unjudged_share: float

    @property
    def length_s(self) -> float:
        """Return how long it was held [s]."""
        return self.end_s - self.start_s


_Asked = tuple[Timeline, str, float, float]
_found: WeakKeyDictionary[PostureTrack, dict[_Asked, tuple[Hold, ...]]] = WeakKeyDictionary()


def find_holds(
    timeline: Timeline,
    posture: PostureTrack,
    angle_name: str,
    tolerance_deg: float = HOLD_TOLERANCE_DEG,
    minimum_s: float = HOLD_MINIMUM_S,
) -> tuple[Hold, ...]:
    """Return the static holds of one angle, in order of time, source after source.

    Holds do not overlap; where several readings are possible the longest hold
    is taken first. A hold lies within one clip and ends at a gap longer than
    0.6 s. Stills have none. What was found is kept as long as ``posture`` is.
    """
    kept = _found.setdefault(posture, {})
    asked = (timeline, angle_name, tolerance_deg, minimum_s)
    if asked not in kept:
        kept[asked] = _searched(*asked, posture)
    return kept[asked]


def _searched(
    timeline: Timeline,
    angle_name: str,
    tolerance_deg: float,
    minimum_s: float,
    posture: PostureTrack,
) -> tuple[Hold, ...]:
    parts = _seen_parts(timeline, posture.angle(angle_name))
    value = _unrolled(posture, angle_name, parts)
    walled, begins = _walled(value, parts)
    reach = _reach(walled, 2 * tolerance_deg)
    found: list[Hold] = []
    for frames, begin in zip(parts, begins, strict=True):
        ends = reach[begin : begin + len(frames)] - begin
        spans = _longest_first(timeline.time_s[frames], ends, minimum_s)
        if spans:
            found += _holds(timeline, posture, angle_name, value, frames, np.array(spans))
    return tuple(found)


def _seen_parts(timeline: Timeline, value: FloatArray) -> list[IndexArray]:
    """Return the seen frames of every part of a clip without a long gap."""
    seen = np.isfinite(value)
    return [
        part.start + np.flatnonzero(seen[part.start : part.stop])
        for run in clip_runs(timeline)
        for part in seen_runs(timeline, run, seen)
    ]


def _unrolled(posture: PostureTrack, angle_name: str, parts: Sequence[IndexArray]) -> FloatArray:
    """Return an angle (frame,) without its jumps from 180 to -180 deg within each part."""
    value = posture.angle(angle_name).copy()
    for part in parts:
        value[part] = unrolled(angle_name, value[part])
    return value


def _walled(value: FloatArray, parts: Sequence[IndexArray]) -> tuple[FloatArray, list[int]]:
    """Return the parts' values one after the other, and where in this each part begins.

    After each part stands an infinite value, which no hold and no movement crosses:
    what is searched in all parts at once is found in each as if it were alone.
    """
    pieces = [piece for part in parts for piece in (value[part], [np.inf])]
    begins = np.cumsum([0, *(len(part) + 1 for part in parts)])[:-1]
    return np.concatenate(pieces or [np.empty(0)]), begins.tolist()


def held_longer_than(timeline: Timeline, holds: Iterable[Hold], seconds: float) -> BoolArray:
    """Return where a hold longer than ``seconds`` goes on, array (frame,)."""
    held = np.zeros(len(timeline), dtype=bool)
    for hold in holds:
        if hold.length_s > seconds:
            held[hold.first : hold.last + 1] = True
    return held


def repetitions_per_minute(
    timeline: Timeline,
    posture: PostureTrack,
    angle_name: str,
    swing_deg: float = REPEAT_SWING_DEG,
) -> FloatArray:
    """Return how often the angle goes up and down again round each moment.

    Returns
    -------
    array (frame,)
        Turning points upwards of at least ``swing_deg`` in the minute round each
        frame, per minute judged; NaN for stills and where less than 15 s of that
        minute were judged. [1/min]
    """
    from scipy.signal import find_peaks  # takes 0.5 s and 40 MB to load

    rate = np.full(len(timeline), np.nan)
    parts = _seen_parts(timeline, posture.angle(angle_name))
    walled, begins = _walled(_unrolled(posture, angle_name, parts), parts)
    peaks, _ = find_peaks(walled, prominence=swing_deg)
    peaks = peaks[np.isfinite(walled[peaks])]
    of_part = np.searchsorted(peaks, [*begins, len(walled)])
    for part, (frames, begin) in enumerate(zip(parts, begins, strict=True)):
        own = peaks[of_part[part] : of_part[part + 1]] - begin
        rate[frames] = _rate(timeline.time_s[frames], own)
    return rate


def _rate(time_s: FloatArray, peaks: IndexArray) -> FloatArray:
    """Return the peaks in the minute round each time of one part, per minute judged."""
    start = np.maximum(time_s - REPEAT_WINDOW_S / 2, time_s[0])
    end = np.minimum(time_s + REPEAT_WINDOW_S / 2, time_s[-1])
    count = np.searchsorted(time_s[peaks], end, "right") - np.searchsorted(time_s[peaks], start)
    judged_s = end - start
    enough = judged_s >= _LEAST_JUDGED_S
    return np.where(enough, 60.0 * count / np.where(enough, judged_s, 1.0), np.nan)


def _holds(
    timeline: Timeline,
    posture: PostureTrack,
    angle_name: str,
    value: FloatArray,
    frames: IndexArray,
    spans: IndexArray,
) -> list[Hold]:
    """Return the holds of spans (hold, start and stop) of seen frames of one clip.

    ``value`` (frame,) is the angle by :func:`_unrolled`.
    """
    every = np.arange(frames[0], frames[-1] + 1)
    is_unjudged = np.isnan(posture.angle(angle_name)[every]) | posture.is_bridged[every]
    ends = frames[spans - (0, 1)]
    source = timeline.sources[timeline.source_index[frames[0]]]
    time_s, span_of_every = timeline.time_s, ends - frames[0] + (0, 1)
    columns = (
        ends,
        time_s[ends],
        rolled(angle_name, _means(time_s[frames], value[frames], spans)),
        _means(time_s[frames], posture.angle_sd(angle_name)[frames], spans),
        _means(time_s[every], is_unjudged.astype(float), span_of_every),
    )
    return [
        Hold(source, first, last, start_s, end_s, angle_name, mean, sd, unjudged_share)
        for (first, last), (start_s, end_s), mean, sd, unjudged_share in zip(
            *(column.tolist() for column in columns), strict=True
        )
    ]


def _means(time_s: FloatArray, value: FloatArray, spans: IndexArray) -> FloatArray:
    """Return the mean over time of each span (start, stop) of frames, by the trapezoid rule."""
    area = np.diff(time_s) * (value[:-1] + value[1:]) / 2
    begin, end = spans[:, 0], spans[:, 1] - 1
    so_far = np.concatenate([[0.0], np.cumsum(area)])
    means: FloatArray = (so_far[end] - so_far[begin]) / (time_s[end] - time_s[begin])
    return means


def _longest_first(
    time_s: FloatArray, reach: IndexArray, minimum_s: float
) -> list[tuple[int, int]]:
    """Return spans (start, stop) longer than ``minimum_s``, in order, the longest taken first.

    Parameters
    ----------
    time_s : array (frame,)
    reach : array (frame,)
        For each start the first frame that a span cannot hold; never falls.
    minimum_s : float
    """
    length_s = time_s[reach - 1] - time_s
    spans, open_parts = [], [(0, len(time_s))]
    while open_parts:
        start, stop = open_parts.pop()
        if stop - start < 2 or time_s[stop - 1] - time_s[start] <= minimum_s:
            continue
        cut = start + int(np.searchsorted(reach[start:stop], stop))  # from here on to the end
        longest_s, best, end = time_s[stop - 1] - time_s[cut], cut, stop
        if cut > start:
            uncut = start + int(np.argmax(length_s[start:cut]))
            if length_s[uncut] >= longest_s:
                longest_s, best, end = length_s[uncut], uncut, int(reach[uncut])
        if longest_s > minimum_s:
            spans.append((best, end))
            open_parts += [(start, best), (end, stop)]
    return sorted(spans)


def _reach(value: FloatArray, band: float) -> IndexArray:
    """Return for each start the first frame at which the range would exceed ``band``.

    Highest and lowest values of stretches of 1, 2, 4, ... frames are kept, and
    each start goes on by the longest stretch that still fits, then shorter ones.
    """
    count = len(value)
    highs, lows = [value], [value]
    while 2 ** len(highs) <= count:
        half = 2 ** (len(highs) - 1)
        highs.append(np.maximum(highs[-1][:-half], highs[-1][half:]))
        lows.append(np.minimum(lows[-1][:-half], lows[-1][half:]))
    end = np.arange(count)
    top, bottom = np.full(count, -np.inf), np.full(count, np.inf)
    for power in reversed(range(len(highs))):
        last = len(highs[power]) - 1
        at = np.minimum(end, last)
        high, low = np.maximum(top, highs[power][at]), np.minimum(bottom, lows[power][at])
        with np.errstate(invalid="ignore"):  # between two walls
            fits = (end <= last) & (high - low <= band)
        top, bottom = np.where(fits, high, top), np.where(fits, low, bottom)
        end = end + np.where(fits, 2**power, 0)
    return end
