"""How much later one recording began than another, from what both of them noticed."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import InputError
from ergo.landmarks.pose_track import PoseTrack

LEAST_OVERLAP_S = 3.0
LEAST_LIKENESS = 0.35
"""Correlation below which two recordings are not taken to show the same (ours)."""
LEAST_LEAD = 0.03
"""By how much the best offset must beat the best one elsewhere (ours)."""
APART_S = 1.0


def offset_s(first: FloatArray, second: FloatArray, rate_hz: float) -> float:
    """Return when the second signal began on the clock of the first.

    Parameters
    ----------
    first, second : array (sample,)
        Loudness or speed of movement, evenly sampled; NaN = not known.
    rate_hz : float
        Samples a second.

    Returns
    -------
    float
        Positive where the second began later. Finer than a sample. [s]

    Raises
    ------
    InputError
        Where the two do not overlap enough or do not look alike.
    """
    least = int(LEAST_OVERLAP_S * rate_hz)
    if min(len(first), len(second)) < least:
        raise InputError(_TOO_LITTLE, remedy=_REMEDY)
    likeness = _likeness(_filled(first), _filled(second), least)
    best = int(np.argmax(likeness))
    far = np.abs(np.arange(len(likeness)) - best) > APART_S * rate_hz
    elsewhere = likeness[far].max() if far.any() else -1.0
    if likeness[best] < LEAST_LIKENESS or likeness[best] - elsewhere < LEAST_LEAD:
        raise InputError(_TOO_LITTLE, remedy=_REMEDY)
    lag = best - (len(second) - 1) + _between(likeness, best)
    return float(lag / rate_hz)


_TOO_LITTLE = "The recordings have too little in common to find how they lie in time."
_REMEDY = "Film at least some seconds with both cameras at once, with sound or with movement."


def _filled(signal: FloatArray) -> FloatArray:
    known = np.isfinite(signal)
    if not known.any():
        return np.zeros(len(signal))
    middle = np.median(signal[known])
    return np.where(known, signal - middle, 0.0)


def _likeness(first: FloatArray, second: FloatArray, least: int) -> FloatArray:
    """Return the correlation at every lag, -1 where the overlap is short."""
    both = _correlated(first, second)
    ones = np.ones(len(second))
    power = _correlated(first**2, ones) * _correlated(np.ones(len(first)), second**2)
    overlap = _correlated(np.ones(len(first)), ones)
    likeness = both / np.sqrt(np.maximum(power, 1e-12))
    return np.where(overlap >= least, likeness, -1.0)


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
        Trunk lengths a second, the median over landmarks; NaN = not seen.
    """
    points = track.picture_px[..., :2].mean(axis=1)
    trunk = np.linalg.norm(points[:, 11:13].mean(axis=1) - points[:, 23:25].mean(axis=1), axis=-1)
    step = np.linalg.norm(np.diff(points, axis=0), axis=-1) / np.diff(time_s)[:, None]
    speed = np.median(step, axis=1) / trunk[1:]
    middle = (time_s[1:] + time_s[:-1]) / 2
    at = np.arange(0.0, time_s[-1], 1 / rate_hz)
    seen = np.isfinite(speed)
    if seen.sum() < 2:
        return np.full(len(at), np.nan)
    even: FloatArray = np.interp(at, middle[seen], speed[seen])
    return even
