"""The loudness of a clip's sound over time, for laying recordings side by side."""

from collections.abc import Iterator

import av
import numpy as np
from av.container import InputContainer

from ergo.arrays import FloatArray
from ergo.frames.clips import opened_clip
from ergo.frames.frame import SourceFacts

_SILENCE = 1e-8  # mean power of the quietest sound that counts, full scale = 1


def loudness(facts: SourceFacts, rate_hz: float = 100.0) -> FloatArray | None:
    """Return the loudness of a clip.

    Parameters
    ----------
    facts : SourceFacts
        Of the clip.
    rate_hz : float
        Samples a second of the result.

    Returns
    -------
    array (sample,) or None
        Logarithm of the mean power since the clip's first picture; NaN where the
        sound has a gap. None where the clip has no sound that can be decoded.

    Raises
    ------
    UnreadableClip
        If the file cannot be opened.
    """
    with opened_clip(facts.path, facts.name) as container:
        if not container.streams.audio:
            return None
        heard = [_by_sample(at_s, sound, rate_hz) for at_s, sound in _sounds(container)]
    size = max((first + len(power) for first, power, _ in heard), default=0)
    if not size:
        return None
    total, count = np.zeros((2, size))
    for first, power, number in heard:
        total[first : first + len(power)] += power
        count[first : first + len(number)] += number
    with np.errstate(invalid="ignore"):
        loud: FloatArray = np.log(total / count + _SILENCE)
    return loud


def _by_sample(
    at_s: FloatArray, sound: FloatArray, rate_hz: float
) -> tuple[int, FloatArray, FloatArray]:
    """Return the first sample of the result concerned; power and number of values by sample."""
    at = np.floor(at_s * rate_hz + 1e-6).astype(np.int64)
    is_later = at >= 0  # sound may begin before the first picture
    at, sound = at[is_later], sound[is_later]
    if not len(at):
        return 0, np.zeros(0), np.zeros(0)
    power, number = np.bincount(at - at[0], sound**2), np.bincount(at - at[0])
    return int(at[0]), power.astype(np.float64), number.astype(np.float64)


def _sounds(container: InputContainer) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield times since the first picture [s] and samples -1..1 in one channel."""
    video = container.streams.video[0]
    origin_s = float((video.start_time or 0) * (video.time_base or 0))
    resampler = av.AudioResampler(format="fltp", layout="mono")
    try:
        for frame in container.decode(audio=0):
            for part in resampler.resample(frame):
                samples = part.to_ndarray()[0].astype(np.float64)
                start_s = float((part.pts or 0) * (part.time_base or 0)) - origin_s
                yield start_s + np.arange(len(samples)) / part.sample_rate, samples
    except av.FFmpegError:
        return  # what was heard before a damaged place is enough
