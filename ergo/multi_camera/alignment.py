"""How much later one recording began than another, from what both of them noticed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack

StartOrigin = Literal["sound", "movement", "notes"]

APART_S = 1.0
"""Offsets within this of each other are the same, more or less exactly (ours). [s]"""


@dataclass(frozen=True, slots=True)
class Trust:
    """When two signals are taken to show the same (ours).

    Attributes
    ----------
    slow_s : float
        What changes more slowly than this says little about when: it is taken off. [s]
    overlap_s : float
        Least time in common. [s]
    likeness : float
        Least correlation.
    lead : float
        How many times clearer than any offset elsewhere the best one must be.
    """

    slow_s: float
    overlap_s: float
    likeness: float
    lead: float


TRUST: Mapping[StartOrigin, Trust] = {
    "sound": Trust(slow_s=0.5, overlap_s=3.0, likeness=0.2, lead=1.5),
    "movement": Trust(slow_s=4.0, overlap_s=10.0, likeness=0.6, lead=1.3),
}
STRIDE_S = 0.6
"""Movement is the way from half of this before to half after: jitter is no movement (ours). [s]"""
STILL = 0.1
"""Speeds well below this are alike (ours). [trunk lengths a second]"""
_SHOULDERS = [INDEX["shoulder_left"], INDEX["shoulder_right"]]
_HIPS = [INDEX["hip_left"], INDEX["hip_right"]]


@dataclass(frozen=True, slots=True)
class Start:
    """When a recording began on the clock of another, and how that was found.

    Attributes
    ----------
    offset_s : float
        Positive where it began later. [s]
    origin : str
        By ``"sound"``, by ``"movement"``, or as the ``"notes"`` state it.
    likeness : float
        Correlation of what both noticed, up to 1; NaN where the offset was stated.
    halves_apart_s : float
        By how much the offsets of the first and the second half of the common
        time differ; NaN where a half alone does not tell. [s]
    """

    offset_s: float
    origin: StartOrigin
    likeness: float = np.nan
    halves_apart_s: float = np.nan


def start_of(
    first: FloatArray, second: FloatArray, rate_hz: float, origin: StartOrigin
) -> Start | None:
    """Return when the second signal began on the clock of the first.

    Parameters
    ----------
    first, second : array (sample,)
        Loudness or speed of movement, evenly sampled; NaN = not known.
    rate_hz : float
        Samples a second.
    origin : str
        What the signals are.

    Returns
    -------
    Start or None
        Finer than a sample. None where the two do not overlap or look alike as
        :data:`TRUST` asks.
    """
    trust = TRUST[origin]
    least = int(trust.overlap_s * rate_hz)
    if min(len(first), len(second)) < least:
        return None
    slow = trust.slow_s * rate_hz
    first, second = _quick(first, slow), _quick(second, slow)
    likeness, clearness = _likeness(first, second, least)
    best = int(np.argmax(clearness))
    far = np.abs(np.arange(len(clearness)) - best) > APART_S * rate_hz
    elsewhere = clearness[far].max() if far.any() else 0.0
    if likeness[best] < trust.likeness or clearness[best] < trust.lead * elsewhere:
        return None
    lag = best - (len(second) - 1)
    apart_s = _halves_apart(first, second, lag, int(APART_S * rate_hz), trust.likeness)
    apart_s /= rate_hz
    offset_s = (lag + _between(likeness, best)) / rate_hz
    told = (offset_s, likeness[best], apart_s)
    offset_s, alike, apart_s = (round(float(each), 6) for each in told)  # as they are stored
    return Start(offset_s, origin, alike, apart_s)


def _quick(signal: FloatArray, slow: float) -> FloatArray:
    """Return the signal less its mean over ``slow`` samples; 0 where it is not known."""
    known = np.isfinite(signal)
    window = np.ones(min(len(signal), 2 * round(slow / 2) + 1))
    amount = _correlated(known * 1.0, window)
    course = _correlated(np.where(known, signal, 0.0), window) / np.maximum(amount, 0.5)
    side = len(window) // 2
    return np.where(known, signal - course[side : side + len(signal)], 0.0)


def _likeness(first: FloatArray, second: FloatArray, least: int) -> tuple[FloatArray, FloatArray]:
    """Return the correlation at every lag and how clear it is; -1 where the overlap is short.

    How clear: its distance from chance, which makes short overlaps look alike more
    often than long ones (Fisher 1921: atanh of a correlation has a standard
    deviation of one over the root of the number of values).
    """
    both = _correlated(first, second)
    ones = np.ones(len(second))
    power = _correlated(first**2, ones) * _correlated(np.ones(len(first)), second**2)
    overlap = _correlated(np.ones(len(first)), ones)
    likeness = both / np.sqrt(np.maximum(power, 1e-12))
    clearness = np.arctanh(np.clip(likeness, -0.999, 0.999)) * np.sqrt(np.maximum(overlap, 0.0))
    is_long = overlap > least - 0.5
    return np.where(is_long, likeness, -1.0), np.where(is_long, clearness, -1.0)


def _correlated(first: FloatArray, second: FloatArray) -> FloatArray:
    size = len(first) + len(second) - 1
    spectrum = np.fft.rfft(first, 2 * size) * np.fft.rfft(second[::-1], 2 * size)
    return np.fft.irfft(spectrum, 2 * size)[:size]


def _between(likeness: FloatArray, best: int) -> float:
    """Return where between samples the peak of a parabola through three of them lies."""
    if not 0 < best < len(likeness) - 1:
        return 0.0
    before, at, after = likeness[best - 1 : best + 2]
    bend = before - 2 * at + after
    return float(0.5 * (before - after) / bend) if bend < 0 and before > -1 < after else 0.0


def _halves_apart(
    first: FloatArray, second: FloatArray, lag: int, reach: int, least_likeness: float
) -> float:
    """Return by how many samples the best lags near ``lag`` of both halves differ; NaN = unsure."""
    begin, end = max(0, lag), min(len(first), lag + len(second))
    middle = (begin + end) // 2
    found = []
    for part in (slice(begin, middle), slice(middle, end)):
        own, other = first[part], second[part.start - lag : part.stop - lag]
        likeness, _ = _likeness(own, other, max(1, len(own) - reach))
        best = int(np.argmax(likeness))
        if likeness[best] < least_likeness:
            return np.nan
        found.append(best + _between(likeness, best))
    return abs(found[1] - (len(first[middle:end]) - len(first[begin:middle])) - found[0])


def movement(track: PoseTrack, time_s: FloatArray, rate_hz: float) -> FloatArray:
    """Return how fast a person's landmarks move, array (sample,) at an even rate.

    Parameters
    ----------
    track : PoseTrack
        Of one clip.
    time_s : array (frame,)
        Rising. [s]
    rate_hz : float
        Samples a second of the result.

    Returns
    -------
    array (sample,)
        Logarithm of trunk lengths a second, the median over landmarks; NaN = not seen.
    """
    at_s = np.arange(0.0, time_s[-1], 1 / rate_hz)
    points = track.picture_px[..., :2].mean(axis=1)
    seen_at = [np.interp(at_s, time_s, column) for column in points.reshape(len(points), -1).T]
    even = np.stack(seen_at, axis=1).reshape(len(at_s), -1, 2)  # NaN beside what was not seen
    trunk = even[:, _SHOULDERS].mean(axis=1) - even[:, _HIPS].mean(axis=1)
    half = round(STRIDE_S * rate_hz / 2)
    speed = np.full(len(at_s), np.nan)
    if len(at_s) <= 2 * half:
        return speed
    stride = np.linalg.norm(even[2 * half :] - even[: -2 * half], axis=-1) / STRIDE_S
    is_seen = np.isfinite(stride).any(axis=1)
    middle = slice(half, len(at_s) - half)
    speed[middle][is_seen] = np.nanmedian(stride[is_seen], axis=1)
    quick: FloatArray = np.log(speed / np.linalg.norm(trunk, axis=-1) + STILL)
    return quick
