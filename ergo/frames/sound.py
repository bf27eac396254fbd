"""The loudness of a clip's sound over time, for laying recordings side by side."""

from pathlib import Path

import av
import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import UnreadableClip

RATE_HZ = 8000


def loudness(path: Path, rate_hz: float = 100.0) -> FloatArray | None:
    """Return the loudness of a clip.

    Parameters
    ----------
    path : Path
    rate_hz : float
        Samples a second of the result.

    Returns
    -------
    array (sample,) or None
        Logarithm of the mean power, from the start of the clip; None where it has no sound.

    Raises
    ------
    UnreadableClip
        If the file cannot be opened.
    """
    try:
        with av.open(str(path)) as container:
            if not container.streams.audio:
                return None
            samples = _samples(container)
    except (av.FFmpegError, OSError) as cause:
        raise UnreadableClip("cannot be opened.", where=f"{path.name}:") from cause
    step = round(RATE_HZ / rate_hz)
    whole = len(samples) // step * step
    if not whole:
        return None
    power = (samples[:whole].reshape(-1, step) ** 2).mean(axis=1)
    loud: FloatArray = np.log(power + 1e-8)
    return loud


def _samples(container: av.container.InputContainer) -> FloatArray:
    """Return the whole sound in one channel, -1..1, at :data:`RATE_HZ`."""
    resampler = av.AudioResampler(format="flt", layout="mono", rate=RATE_HZ)
    parts = []
    for frame in container.decode(audio=0):
        parts += [part.to_ndarray()[0] for part in resampler.resample(frame)]
    parts += [part.to_ndarray()[0] for part in resampler.resample(None)]
    return np.concatenate([*parts, np.zeros(0)]).astype(np.float64)
